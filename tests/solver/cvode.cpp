// The integrator on problems whose answers are in books.

#include "solver/ode/cvode.hpp"

#include <cmath>
#include <functional>
#include <numbers>

#include "tests/catch.hpp"

using namespace onegrain::solver;

namespace {
/// A small system given by functions, solved with a dense Jacobian.
struct Small final : OdeSystem {
  std::function<void(double, const Vector&, Vector&)> f;
  std::function<Eigen::MatrixXd(double, const Vector&)> jacobian;
  std::function<double(double, const Vector&)> root;
  std::function<Evaluation(double)> permission;
  int n = 1;
  Eigen::MatrixXd J;
  Eigen::PartialPivLU<Eigen::MatrixXd> lu;

  int size() const override { return n; }
  Evaluation rate(double t, ConstVectorView y, VectorView ydot) override {
    if (permission && permission(t) != Evaluation::ok) return Evaluation::retry_smaller_step;
    Vector result(n);
    f(t, y, result);
    ydot = result;
    return Evaluation::ok;
  }
  Evaluation linearise(double t, ConstVectorView y) override {
    J = jacobian(t, y);
    return Evaluation::ok;
  }
  bool factor(double gamma) override {
    lu.compute(Eigen::MatrixXd::Identity(n, n) - gamma * J);
    return true;
  }
  void solve(VectorView b) override { b = lu.solve(Vector(b)); }
  int root_count() const override { return root ? 1 : 0; }
  void roots(double t, ConstVectorView y, double* g) override { *g = root(t, y); }
};

/// y' = -lambda (y - cos t) - sin t, solved by cos t however stiff: A. Prothero and A. Robinson, Math. Comp. 28 (1974)
/// 145.
Small prothero_robinson(double lambda) {
  Small s;
  s.f = [lambda](double t, const Vector& y, Vector& ydot) { ydot[0] = -lambda * (y[0] - std::cos(t)) - std::sin(t); };
  s.jacobian = [lambda](double, const Vector&) { return Eigen::MatrixXd::Constant(1, 1, -lambda); };
  return s;
}

/// Three species of H. H. Robertson (1966), rate constants 0.04, 3e7, 1e4.
Small robertson() {
  Small s;
  s.n = 3;
  s.f = [](double, const Vector& y, Vector& ydot) {
    ydot[0] = -0.04 * y[0] + 1e4 * y[1] * y[2];
    ydot[2] = 3e7 * y[1] * y[1];
    ydot[1] = -ydot[0] - ydot[2];
  };
  s.jacobian = [](double, const Vector& y) {
    Eigen::MatrixXd J(3, 3);
    J << -0.04, 1e4 * y[2], 1e4 * y[1], 0.04, -1e4 * y[2] - 6e7 * y[1], -1e4 * y[1], 0, 6e7 * y[1], 0;
    return J;
  };
  return s;
}

Small decay() {
  Small s;
  s.f = [](double, const Vector& y, Vector& ydot) { ydot[0] = -y[0]; };
  s.jacobian = [](double, const Vector&) { return Eigen::MatrixXd::Constant(1, 1, -1.0); };
  return s;
}

Tolerances tolerances(double relative, Vector absolute) { return {relative, std::move(absolute)}; }

Cvode::Event run(Cvode& cvode) {
  Cvode::Event event = Cvode::Event::step;
  while (event == Cvode::Event::step) event = cvode.advance();
  return event;
}
}  // namespace

TEST_CASE("a stiff equation is followed along its slow solution in few steps", "[solver][cvode]") {
  const double lambda = GENERATE(1.0, 1e3, 1e8);
  CAPTURE(lambda);
  Small s = prothero_robinson(lambda);
  Cvode cvode(1);
  cvode.start(s, 0, Vector::Ones(1), tolerances(1e-8, Vector::Constant(1, 1e-10)), 0, 10);
  CHECK(run(cvode) == Cvode::Event::stop);
  CHECK(cvode.time() == 10);
  CHECK_THAT(cvode.state()[0], WithinAbs(std::cos(10.0), 1e-6));
  CHECK(cvode.counts().steps < 1000);  // an explicit method would take about 10 lambda / 2
}

TEST_CASE("a linear system decays by its matrix exponential", "[solver][cvode]") {
  // eigenvalues -1, -1e3, -1e6 in a basis at random angles; y(1) = V exp(Lambda) V^-1 y(0)
  Eigen::Matrix3d V;
  V << 1, 0.4, -0.3, 0.2, 1, 0.5, -0.6, 0.1, 1;
  const Eigen::Vector3d rates(-1, -1e3, -1e6);
  const Eigen::MatrixXd A = V * rates.asDiagonal() * V.inverse();
  Small s;
  s.n = 3;
  s.f = [&](double, const Vector& y, Vector& ydot) { ydot = A * y; };
  s.jacobian = [&](double, const Vector&) { return A; };
  Cvode cvode(3);
  const Vector start = Eigen::Vector3d(1, -2, 0.5);
  cvode.start(s, 0, start, tolerances(1e-9, Vector::Constant(3, 1e-12)), 0, 1);
  run(cvode);
  const Vector exact = V * Eigen::Vector3d(rates.array().exp()).asDiagonal() * V.inverse() * start;
  CHECK((cvode.state() - exact).cwiseAbs().maxCoeff() < 2e-8);
}

TEST_CASE("Robertson's reactions end where the literature says, over eleven decades of time", "[solver][cvode]") {
  // F. Mazzia and C. Magherini, Test Set for Initial Value Problem Solvers, release 2.4 (2008), problem ROBER, which is
  // also in E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, 2nd ed. (1996); digits from memory.
  Small s = robertson();
  Cvode cvode(3);
  const Vector absolute = Eigen::Vector3d(1e-14, 1e-19, 1e-13);
  cvode.start(s, 0, Eigen::Vector3d(1, 0, 0), tolerances(1e-9, absolute), 0, 1e11);
  CHECK(run(cvode) == Cvode::Event::stop);
  CHECK_THAT(cvode.state()[0], WithinRel(0.2083340149701255e-7, 1e-5));
  CHECK_THAT(cvode.state()[1], WithinRel(0.8333360770334713e-13, 1e-5));
  CHECK_THAT(cvode.state()[2], WithinRel(0.9999999791665050, 1e-9));
  CHECK_THAT(cvode.state().sum(), WithinAbs(1, 1e-9));  // atoms are conserved
  CHECK(cvode.counts().steps < 5000);
}

TEST_CASE("errors shrink with the tolerance", "[solver][cvode]") {
  // y'' = -y as a system: after ten turns every error of phase has added up
  Small s;
  s.n = 2;
  s.f = [](double, const Vector& y, Vector& ydot) { ydot << y[1], -y[0]; };
  s.jacobian = [](double, const Vector&) { return (Eigen::MatrixXd(2, 2) << 0, 1, -1, 0).finished(); };
  Cvode cvode(2);
  double last = 1;
  for (const double tolerance : {1e-4, 1e-6, 1e-8, 1e-10}) {
    cvode.start(s, 0, Eigen::Vector2d(1, 0), tolerances(tolerance, Vector::Constant(2, tolerance)), 0,
                20 * std::numbers::pi);
    run(cvode);
    const double error = (cvode.state() - Eigen::Vector2d(1, 0)).norm();
    CAPTURE(tolerance, error);
    CHECK(error < 0.1 * last);
    CHECK(error < 3e3 * tolerance);
    last = error;
  }
}

TEST_CASE("a root is found where it is", "[solver][cvode]") {
  Cvode cvode(1);
  Small half_life = decay();
  half_life.root = [](double, const Vector& y) { return y[0] - 0.5; };
  cvode.start(half_life, 0, Vector::Ones(1), tolerances(1e-10, Vector::Constant(1, 1e-12)), 0, 5);
  CHECK(run(cvode) == Cvode::Event::root);
  CHECK_THAT(cvode.time(), WithinAbs(std::numbers::ln2, 1e-8));
  CHECK_THAT(cvode.state()[0], WithinAbs(0.5, 1e-8));
  REQUIRE(cvode.roots_found().size() == 1);
  CHECK(cvode.roots_found()[0] == -1);  // falling

  Cvode two(2);  // a stone from 20 m: sqrt(2 h / g), exact for a parabola
  Small stone;
  stone.n = 2;
  stone.f = [](double, const Vector& y, Vector& ydot) { ydot << y[1], -9.81; };
  stone.jacobian = [](double, const Vector&) { return (Eigen::MatrixXd(2, 2) << 0, 1, 0, 0).finished(); };
  stone.root = [](double, const Vector& y) { return y[0]; };
  two.start(stone, 0, Eigen::Vector2d(20, 0), tolerances(1e-8, Vector::Constant(2, 1e-8)), 0, 100);
  CHECK(run(two) == Cvode::Event::root);
  CHECK_THAT(two.time(), WithinRel(std::sqrt(2 * 20 / 9.81), 1e-7));
}

TEST_CASE("the interpolant of a step meets the state at its end and the solution inside", "[solver][cvode]") {
  Small s = decay();
  Cvode cvode(1);
  cvode.start(s, 0, Vector::Ones(1), tolerances(1e-8, Vector::Constant(1, 1e-10)), 0, 3);
  double before = 0, worst = 0;
  for (Cvode::Event event = Cvode::Event::step; event == Cvode::Event::step; before = cvode.time()) {
    event = cvode.advance();
    double origin = 0;
    Eigen::MatrixXd c;
    cvode.last_polynomial(origin, c);
    const auto at = [&](double t) {
      double y = 0;
      for (Eigen::Index k = c.cols() - 1; k >= 0; --k) y = y * (t - origin) + c(0, k);
      return y;
    };
    CHECK_THAT(at(cvode.time()), WithinAbs(cvode.state()[0], 1e-14));
    for (const double part : {0.0, 0.3, 0.6, 0.9}) {
      const double t = before + part * (cvode.time() - before);
      worst = std::max(worst, std::abs(at(t) - std::exp(-t)));
    }
  }
  CHECK(worst < 1e-6);
}

TEST_CASE("what a system throws comes out as it was thrown, and the integrator stays usable", "[solver][cvode]") {
  struct Unexpected : std::runtime_error {
    using std::runtime_error::runtime_error;
  };
  Cvode cvode(1);
  const auto begin = [&](Small& s) {
    cvode.start(s, 0, Vector::Ones(1), tolerances(1e-6, Vector::Constant(1, 1e-9)), 0, 5);
  };
  Small in_rate = decay();
  in_rate.f = [](double t, const Vector& y, Vector& ydot) {
    if (t > 0.5) throw Unexpected("a table ends here");
    ydot = -y;
  };
  begin(in_rate);
  CHECK_THROWS_AS(run(cvode), Unexpected);
  begin(in_rate);
  CHECK_THROWS_WITH(run(cvode), "a table ends here");

  Small in_jacobian = decay();
  in_jacobian.jacobian = [](double, const Vector&) -> Eigen::MatrixXd { throw Unexpected("no Jacobian"); };
  begin(in_jacobian);
  CHECK_THROWS_WITH(run(cvode), "no Jacobian");

  Small in_root = decay();
  in_root.root = [](double t, const Vector&) -> double {
    if (t > 0.5) throw Unexpected("no root");
    return 1;
  };
  begin(in_root);
  CHECK_THROWS_WITH(run(cvode), "no root");

  Small well = decay();
  begin(well);
  CHECK(run(cvode) == Cvode::Event::stop);
  CHECK_THAT(cvode.state()[0], WithinAbs(std::exp(-5.0), 1e-5));
}

TEST_CASE("a point that a system refuses is tried again with a smaller step", "[solver][cvode]") {
  Cvode cvode(1);
  Small s = decay();
  int refused = 0;
  s.permission = [&](double t) { return t > 0.5 && refused++ < 4 ? Evaluation::retry_smaller_step : Evaluation::ok; };
  cvode.start(s, 0, Vector::Ones(1), tolerances(1e-8, Vector::Constant(1, 1e-10)), 0, 2);
  CHECK(run(cvode) == Cvode::Event::stop);
  CHECK(refused > 4);
  CHECK_THAT(cvode.state()[0], WithinAbs(std::exp(-2.0), 1e-7));
}

TEST_CASE("a system that can never go on fails with the time, the steps and the reason", "[solver][cvode]") {
  Cvode cvode(1);
  Small s = decay();
  int asked = 0;
  s.permission = [&](double) { return asked++ < 60 ? Evaluation::ok : Evaluation::retry_smaller_step; };
  const auto attempt = [&] {
    asked = 0;
    cvode.start(s, 0, Vector::Ones(1), tolerances(1e-8, Vector::Constant(1, 1e-10)), 0, 2);
    run(cvode);
  };
  CHECK_THROWS_AS(attempt(), IntegrationFailure);
  CHECK_THROWS_WITH(attempt(), HasText("CVode returned CV_"));
  CHECK_THROWS_WITH(attempt(), HasText(" at t = 0.") && HasText(" steps, the last of "));
  CHECK_THROWS_AS(cvode.start(s, 0, Vector::Ones(2), tolerances(1e-8, Vector::Ones(2)), 0, 2), std::invalid_argument);
}

TEST_CASE("an integrator that has worked before gives the same digits as a new one", "[solver][cvode]") {
  const auto solve = [](Cvode& cvode) {
    Small s = robertson();
    cvode.start(s, 0, Eigen::Vector3d(1, 0, 0), tolerances(1e-6, Eigen::Vector3d(1e-8, 1e-14, 1e-6)), 0, 4e4);
    run(cvode);
    return std::make_pair(Vector(cvode.state()), cvode.counts().steps);
  };
  Cvode fresh(3), used(3);
  Small other = robertson();
  other.root = [](double, const Vector& y) { return y[0] - 0.9; };
  used.start(other, 5, Eigen::Vector3d(0.95, 1e-6, 0.05), tolerances(1e-3, Eigen::Vector3d(1e-3, 1e-9, 1e-3)), 0.1,
             1000);
  REQUIRE(run(used) == Cvode::Event::root);
  const auto one = solve(fresh), two = solve(used), three = solve(used);
  CHECK(one.first == two.first);
  CHECK(one.first == three.first);
  CHECK(one.second == two.second);
  Cvode moved = std::move(used);
  CHECK(solve(moved).first == one.first);
}
