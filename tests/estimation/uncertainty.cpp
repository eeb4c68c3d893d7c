// Standard errors, intervals, what data do not tell, and how far residuals repeat each other.

#include "solver/estimation/uncertainty.hpp"

#include <cmath>
#include <fstream>
#include <limits>
#include <random>
#include <sstream>

#include "solver/estimation/quantiles.hpp"
#include "tests/catch.hpp"
#include "tests/estimation/nist_sets.hpp"

using namespace onegrain;
using namespace onegrain::solver;
using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

/// y = p0 + p1 x at the given x, residuals as they come.
LeastSquaresProblem line(const VectorXd& x, const VectorXd& y) {
  LeastSquaresProblem problem;
  problem.residuals = static_cast<int>(x.size());
  problem.evaluate = [x, y](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    r = (p(0) + p(1) * x.array()).matrix() - y;
    if (J) {
      J->col(0).setOnes();
      J->col(1) = x;
    }
    return true;
  };
  return problem;
}

LeastSquaresResult with_jacobian(const MatrixXd& J, const VectorXd& p) {
  LeastSquaresResult result;
  result.parameters = p;
  result.jacobian = J;
  result.residuals = VectorXd::Zero(J.rows());
  return result;
}

MatrixXd random_matrix(Eigen::Index rows, Eigen::Index columns, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  return MatrixXd::NullaryExpr(rows, columns, [&] { return normal(random); });
}

/// A set of NIST with its residuals in units of their standard deviation.
LeastSquaresProblem unit_problem(const tests::NistSet& set) {
  LeastSquaresProblem problem = tests::nist_problem(set);
  problem.scale = set.certified.cwiseAbs();
  const double s = std::sqrt(set.sum_of_squares / static_cast<double>(set.data.rows() - set.certified.size()));
  const auto plain = problem.evaluate;
  problem.evaluate = [plain, s](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    if (!plain(p, r, J)) return false;
    r /= s;
    if (J) *J /= s;
    return true;
  };
  return problem;
}

}  // namespace

TEST_CASE("quantiles of Student's t are those of its closed forms and of the tables", "[estimation][uncertainty]") {
  for (const double p : {0.001, 0.2, 0.5, 0.9, 0.975, 0.9999}) {
    CAPTURE(p);
    // Abramowitz and Stegun, sec. 26.7: distribution functions for 1, 2 degrees of freedom, inverted; for 4 as an
    // equation.
    CHECK_THAT(student_quantile(p, 1), WithinAbs(std::tan(std::numbers::pi * (p - 0.5)), 1e-10 / (p * (1 - p))));
    CHECK_THAT(student_quantile(p, 2), WithinAbs((2 * p - 1) * std::sqrt(1 / (2 * p * (1 - p))), 1e-12));
    const double t = student_quantile(p, 4), s = t / std::sqrt(4 + t * t);
    CHECK_THAT(0.5 + 0.75 * (s - s * s * s / 3), WithinAbs(p, 1e-12));
    CHECK_THAT(0.5 * std::erfc(-student_quantile(p, infinite) / std::sqrt(2.0)), WithinAbs(p, 1e-13));
  }
  // NIST/SEMATECH e-Handbook of Statistical Methods, sec. 1.3.6.7.2, critical values of Student's t (from memory).
  CHECK_THAT(student_quantile(0.975, 10), WithinAbs(2.228, 5e-4));
  CHECK_THAT(student_quantile(0.95, 30), WithinAbs(1.697, 5e-4));
  CHECK_THAT(student_quantile(0.995, 100), WithinAbs(2.626, 5e-4));
  for (const auto& [p, nu] :
       {std::pair(0.0, 3.0), {1.0, 3.0}, {0.5, 0.0}, {0.5, -1.0}, {std::nan(""), 3.0}, {0.5, std::nan("")}}) {
    CHECK_THROWS_AS(student_quantile(p, nu), std::invalid_argument);
  }
}

TEST_CASE("a straight line has the standard errors of the textbook", "[estimation][uncertainty]") {
  const VectorXd x = VectorXd::LinSpaced(9, 1, 5), y = (2 + 3 * x.array()).matrix() + 0.3 * random_matrix(9, 1, 3);
  LeastSquaresProblem problem = line(x, y);
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Zero(2));
  const Uncertainty u = linearised(fit, 7, 0.9);
  // N. Draper and H. Smith, Applied Regression Analysis, 3rd ed. (1998), sec. 1.4, at unit variance (from memory).
  const double mean = x.mean(), spread = (x.array() - mean).square().sum(), squares = x.squaredNorm();
  CHECK_THAT(u.standard_error(1), WithinRel(1 / std::sqrt(spread), 1e-12));
  CHECK_THAT(u.standard_error(0), WithinRel(std::sqrt(squares / (9 * spread)), 1e-12));
  CHECK_THAT(u.correlation(0, 1), WithinRel(-mean / std::sqrt(squares / 9), 1e-12));
  CHECK_THAT(u.covariance(1, 0), WithinRel(-mean / spread, 1e-12));
  CHECK_THAT(u.quantile, WithinAbs(1.895, 5e-4));  // e-Handbook as above: 0.95 at 7 degrees of freedom (from memory)
  for (int m = 0; m < 2; ++m) {
    CHECK_THAT(u.intervals[static_cast<std::size_t>(m)].lower,
               WithinRel(fit.parameters(m) - u.quantile * u.standard_error(m), 1e-12));
    CHECK_THAT(u.intervals[static_cast<std::size_t>(m)].upper,
               WithinRel(fit.parameters(m) + u.quantile * u.standard_error(m), 1e-12));
  }
  CHECK(u.untold.empty());
}

TEST_CASE("intervals hold the truth as often as they say", "[estimation][uncertainty]") {
  // Six points on a line, the variance learnt from the fit: Student's t with 4 degrees of freedom, exact for normal
  // errors. 4000 draws: a standard deviation of 0.5 %.
  const VectorXd x = VectorXd::LinSpaced(6, 0, 1);
  const MatrixXd noise = random_matrix(6, 4000, 11);
  int inside = 0;
  for (Eigen::Index k = 0; k < noise.cols(); ++k) {
    LeastSquaresResult fit =
        least_squares(line(x, (1 - 2 * x.array()).matrix() + 0.1 * noise.col(k)), VectorXd::Zero(2));
    fit.jacobian /= std::sqrt(fit.sum_of_squares / 4);
    const Interval slope = linearised(fit, 4, 0.9).intervals[1];
    inside += slope.lower < -2 && -2 < slope.upper;
  }
  CHECK_THAT(inside / 4000.0, WithinAbs(0.9, 0.02));
}

TEST_CASE("standard errors follow the units of the parameters", "[estimation][uncertainty]") {
  const MatrixXd J = random_matrix(20, 4, 5);
  const VectorXd p = VectorXd::Ones(4);
  const VectorXd units = Eigen::Vector4d(1e-150, 1e-14, 1, 1e100);
  const Uncertainty plain = linearised(with_jacobian(J, p), 16),
                    other = linearised(with_jacobian(J * units.asDiagonal(), p), 16);
  const MatrixXd exact = (J.transpose() * J).inverse();  // well-conditioned
  for (Eigen::Index m = 0; m < 4; ++m) {
    CHECK_THAT(plain.standard_error(m), WithinRel(std::sqrt(exact(m, m)), 1e-10));
    CHECK_THAT(other.standard_error(m) * units(m), WithinRel(plain.standard_error(m), 1e-10));
  }
  CHECK((plain.correlation - other.correlation).cwiseAbs().maxCoeff() < 1e-10);
}

TEST_CASE("columns that are nearly alike keep their digits", "[estimation][uncertainty]") {
  // Columns e1 and e1 + d e2: variances 1 + 1/d^2 and 1/d^2 exactly; J^T J is singular to round-off for d = 1e-9.
  const double d = 1e-7;
  MatrixXd J = MatrixXd::Zero(5, 2);
  J(0, 0) = J(0, 1) = 1;
  J(1, 1) = d;
  const Uncertainty u = linearised(with_jacobian(J, VectorXd::Ones(2)), 3);
  CHECK_THAT(u.standard_error(1), WithinRel(1 / d, 1e-8));
  CHECK_THAT(u.standard_error(0), WithinRel(std::sqrt(1 + 1 / (d * d)), 1e-8));
  REQUIRE(u.untold.size() == 1);  // p0 against p1, known to sqrt(2) / d
  CHECK_THAT(u.untold[0].standard_error, WithinRel(std::sqrt(2.0) / d, 1e-6));
  CHECK_THAT(u.untold[0].weights(0) * u.untold[0].weights(1), WithinAbs(-0.5, 1e-6));
}

TEST_CASE("two parameters that act by their product alone are named, and are infinitely uncertain",
          "[estimation][uncertainty]") {
  // f = a b exp(-c x), a = 2, b = 5: moving a up and b down by the same share changes nothing.
  const Eigen::ArrayXd x = Eigen::ArrayXd::LinSpaced(30, 0, 3), e = (-0.7 * x).exp();
  MatrixXd J(30, 3), reduced(30, 2);
  J << (5 * e), (2 * e), (-10 * x * e);
  reduced << e, (-10 * x * e);
  const Uncertainty u = linearised(with_jacobian(J, Eigen::Vector3d(2, 5, 0.7)), 27);
  CHECK(u.standard_error(0) == infinite);
  CHECK(u.standard_error(1) == infinite);
  // The decay is known as well as if the product were one parameter.
  const Uncertainty product = linearised(with_jacobian(reduced, Eigen::Vector2d(10, 0.7)), 28);
  CHECK_THAT(u.standard_error(2), WithinRel(product.standard_error(1), 1e-10));
  CHECK_THAT(u.correlation(0, 1), WithinAbs(-1, 1e-12));
  CHECK(u.correlation(0, 2) == 0);
  CHECK(u.covariance(0, 1) == -infinite);
  CHECK(u.intervals[0].lower == -infinite);
  CHECK(u.intervals[1].upper == infinite);
  CHECK_FALSE(u.covariance.hasNaN());
  CHECK_FALSE(u.correlation.hasNaN());
  REQUIRE(!u.untold.empty());
  CHECK(u.untold[0].standard_error == infinite);
  CHECK_THAT(u.untold[0].weights(0), WithinAbs(-u.untold[0].weights(1), 1e-8));  // in shares of a and b
  CHECK(u.untold[0].weights(2) == 0);
  CHECK_THAT(u.untold[0].weights.norm(), WithinRel(1, 1e-12));
}

TEST_CASE("flat directions that have nothing to do with each other are told apart", "[estimation][uncertainty]") {
  // 0 and 3 as a sum, 1 and 4 as a difference, 5 not at all, 2 by itself.
  const MatrixXd basis = random_matrix(40, 3, 9);
  MatrixXd J(40, 6);
  J << basis.col(0), basis.col(1), basis.col(2), basis.col(0), -basis.col(1), VectorXd::Zero(40);
  const Uncertainty u = linearised(with_jacobian(J, VectorXd::Ones(6)), 34);
  CHECK(std::isfinite(u.standard_error(2)));
  REQUIRE(u.untold.size() == 3);
  int pairs = 0, alone = 0;
  for (const Direction& direction : u.untold) {
    CAPTURE(direction.weights.transpose());
    CHECK(direction.standard_error == infinite);
    const auto entries = (direction.weights.array() != 0).count();
    if (entries == 1) {
      ++alone;
      CHECK(std::abs(direction.weights(5)) == 1);
    } else {
      ++pairs;
      CHECK(entries == 2);
      CHECK((J * direction.weights).norm() < 1e-9);
    }
  }
  CHECK(pairs == 2);
  CHECK(alone == 1);
}

TEST_CASE("a direction is useful or not by what a change of the parameters matters", "[estimation][uncertainty]") {
  MatrixXd J = MatrixXd::Zero(3, 2);
  J(0, 0) = 10;    // known to 0.1
  J(1, 1) = 0.01;  // known to 100
  const LeastSquaresResult fit = with_jacobian(J, Eigen::Vector2d(1, 1));
  IdentifiabilityOptions options;
  options.scale = Eigen::Vector2d(1, 1000);
  CHECK(linearised(fit, 1, 0.95, options).untold.empty());
  options.scale = Eigen::Vector2d(0.05, 10);
  const std::vector<Direction> both = linearised(fit, 1, 0.95, options).untold;
  REQUIRE(both.size() == 2);
  CHECK_THAT(both[0].standard_error, WithinRel(10, 1e-12));  // 100 / 10, the worst first
  CHECK_THAT(std::abs(both[0].weights(1)), WithinRel(1, 1e-12));
  CHECK_THAT(both[1].standard_error, WithinRel(2, 1e-12));
}

TEST_CASE("fewer residuals than parameters leave directions untold", "[estimation][uncertainty]") {
  const MatrixXd J = random_matrix(2, 3, 4);
  const Uncertainty u = linearised(with_jacobian(J, VectorXd::Ones(3)), 1);
  REQUIRE(u.untold.size() >= 1);
  CHECK(u.untold[0].standard_error == infinite);
  CHECK((J * u.untold[0].weights).norm() < 1e-12);
  CHECK((u.standard_error.array() == infinite).all());
}

TEST_CASE("contradictions in what is asked about an uncertainty are refused", "[estimation][uncertainty]") {
  const LeastSquaresResult fit = with_jacobian(MatrixXd::Identity(3, 2), VectorXd::Ones(2));
  CHECK_THROWS_AS(linearised(fit, 0), std::invalid_argument);
  CHECK_THROWS_AS(linearised(fit, 1, 1.0), std::invalid_argument);
  CHECK_THROWS_AS(linearised(fit, 1, 0.9, {.scale = VectorXd::Zero(2)}), std::invalid_argument);
  CHECK_THROWS_AS(linearised(with_jacobian(MatrixXd::Constant(3, 2, std::nan("")), VectorXd::Ones(2)), 1),
                  std::invalid_argument);
  CHECK_THROWS_AS(linearised(with_jacobian(MatrixXd::Identity(3, 3), VectorXd::Ones(2)), 1), std::invalid_argument);
  const LeastSquaresProblem problem = line(VectorXd::LinSpaced(3, 0, 1), VectorXd::Zero(3));
  CHECK_THROWS_AS(profile_interval(problem, fit, 2, 1), std::invalid_argument);
}

TEST_CASE("for a linear model the profile interval is the linear one", "[estimation][profile]") {
  const VectorXd x = VectorXd::LinSpaced(12, -1, 4), y = (2 + 3 * x.array()).matrix() + random_matrix(12, 1, 8);
  const LeastSquaresProblem problem = line(x, y);
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Zero(2));
  const Uncertainty u = linearised(fit, 10);
  for (int m = 0; m < 2; ++m) {
    const ProfileInterval profile = profile_interval(problem, fit, m, 10);
    const Interval& linear = u.intervals[static_cast<std::size_t>(m)];
    const double width = linear.upper - linear.lower;
    CHECK_THAT(profile.lower, WithinAbs(linear.lower, 1e-6 * width));
    CHECK_THAT(profile.upper, WithinAbs(linear.upper, 1e-6 * width));
    CHECK_FALSE(profile.lower_open);
    CHECK_FALSE(profile.upper_open);
    CHECK(profile.better.size() == 0);
    CHECK(profile.refits == 2);
  }
}

TEST_CASE("profile intervals of NIST's sets are those of an independent calculation", "[estimation][profile]") {
  // tests/reference/profile_intervals.py: SciPy's fits, walked outwards in small steps, and Brent's method. The linear
  // intervals are off by up to half of the width.
  std::ifstream in(ONEGRAIN_SOURCE_DIR "/tests/reference/profile_intervals.csv");
  REQUIRE(in);
  int rows = 0, refits = 0;
  double worst_linear = 0;
  for (std::string row; std::getline(in, row);) {
    if (row.front() == '#' || row.rfind("set,", 0) == 0) continue;
    std::istringstream cells(row);
    std::string name, parameter, lower, upper;
    for (std::string* cell : {&name, &parameter, &lower, &upper}) std::getline(cells, *cell, ',');
    const int m = std::stoi(parameter) - 1;
    const double low = std::stod(lower), high = std::stod(upper), width = high - low;
    const tests::NistSet set(name);
    const LeastSquaresProblem problem = unit_problem(set);
    const auto freedom = static_cast<double>(problem.residuals - set.certified.size());
    const LeastSquaresResult fit = least_squares(problem, set.starts[1]);
    const ProfileInterval profile = profile_interval(problem, fit, m, freedom);
    CAPTURE(row, profile.lower, profile.upper, profile.refits);
    CHECK_THAT(profile.lower, WithinAbs(low, 0.01 * width));
    CHECK_THAT(profile.upper, WithinAbs(high, 0.01 * width));
    CHECK_FALSE(profile.lower_open);
    CHECK_FALSE(profile.upper_open);
    CHECK(profile.better.size() == 0);
    CHECK(profile.refits <= 14);
    const Interval linear = linearised(fit, freedom).intervals[static_cast<std::size_t>(m)];
    worst_linear =
        std::max({worst_linear, std::abs(linear.lower - low) / width, std::abs(linear.upper - high) / width});
    ++rows;
    refits += profile.refits;
  }
  CHECK(rows == 23);
  CHECK(refits <= 8 * rows);
  CHECK(worst_linear > 0.3);  // or the check above would be one of the linear intervals
}

TEST_CASE("an interval is open where the bound of the parameter comes first", "[estimation][profile]") {
  const tests::NistSet set("Rat42");
  LeastSquaresProblem problem = unit_problem(set);  // b1 = 72.46, from 68.76 to 77.19 without bounds
  problem.lower = Eigen::Vector3d(70, -infinite, -infinite);
  problem.upper = Eigen::Vector3d(90, infinite, infinite);
  const LeastSquaresResult fit = least_squares(problem, set.starts[1]);
  const ProfileInterval profile = profile_interval(problem, fit, 0, 6);
  CHECK(profile.lower_open);
  CHECK(profile.lower == 70);
  CHECK_FALSE(profile.upper_open);
  CHECK_THAT(profile.upper, WithinAbs(77.1891393, 0.08));  // tests/reference/profile_intervals.csv

  problem.lower(0) = 74;  // the fit ends at this bound; the other end is measured from the higher sum of squares there
  const LeastSquaresResult pressed = least_squares(problem, Eigen::Vector3d(80, 3, 0.1));
  CHECK(pressed.parameters(0) == 74);
  const ProfileInterval from_bound = profile_interval(problem, pressed, 0, 6);
  CHECK(from_bound.lower_open);
  CHECK(from_bound.lower == 74);
  CHECK(from_bound.upper > 77.2);
}

TEST_CASE("an interval without an end is open to infinity", "[estimation][profile]") {
  // BoxBOD: as b2 grows the model becomes the constant b1, and the sum of squares that about the mean, 9771.5, against
  // 1168.0 at the minimum: 29.5 variances above it. t^2 at 99.9 % and 4 degrees of freedom is 8.610^2 = 74 (e-Handbook,
  // from memory).
  const tests::NistSet set("BoxBOD");
  const LeastSquaresProblem problem = unit_problem(set);
  const LeastSquaresResult fit = least_squares(problem, set.starts[1]);
  const ProfileInterval profile = profile_interval(problem, fit, 1, 4, 0.999);
  CHECK(profile.upper_open);
  CHECK(profile.upper == infinite);
  CHECK(profile.refits <= 24);
  CHECK_FALSE(profile_interval(problem, fit, 1, 4, 0.95).upper_open);
}

TEST_CASE("an interval ends, open, where the model has no answer any more", "[estimation][profile]") {
  LeastSquaresProblem problem;
  problem.residuals = 2;
  problem.evaluate = [](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    if (p(0) > 1.2) return false;
    r << p(0) - 1, p(1);
    if (J) J->setIdentity();
    return true;
  };
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Zero(2));
  const ProfileInterval profile = profile_interval(problem, fit, 0, infinite);
  CHECK(profile.upper_open);
  CHECK_THAT(profile.upper, WithinAbs(1.2, 0.01));
  CHECK_FALSE(profile.lower_open);
  CHECK_THAT(profile.lower, WithinAbs(1 - 1.95996, 1e-3));  // normal quantile at 0.975, any table
}

TEST_CASE("a lower minimum that a profile comes across is handed back", "[estimation][profile]") {
  // Both residuals vanish at 2; near 0 the first alone does.
  LeastSquaresProblem problem;
  problem.residuals = 2;
  problem.evaluate = [](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    r << p(0) * (p(0) - 2), 0.5 * (p(0) - 2);
    if (J) *J << 2 * p(0) - 2, 0.5;
    return true;
  };
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Constant(1, -0.3));
  REQUIRE(fit.parameters(0) < 0.5);
  REQUIRE(fit.sum_of_squares > 0.5);
  const ProfileInterval profile = profile_interval(problem, fit, 0, 5);
  REQUIRE(profile.better.size() == 1);
  CHECK(profile.better_sum_of_squares < fit.sum_of_squares);
  const LeastSquaresResult again = least_squares(problem, profile.better);
  CHECK_THAT(again.parameters(0), WithinAbs(2, 1e-6));
}

TEST_CASE("residuals of an autoregressive process repeat themselves (1 + phi) / (1 - phi) times",
          "[estimation][correlation]") {
  // A. Sokal's lecture notes (1996), sec. 3: tau of an exponential decay, and var(tau) / tau^2 = 2 (2 M + 1) / n with a
  // window of M = 2.5 tau. AR(1): G. Box and G. Jenkins, Time Series Analysis, sec. 3.2 (from memory): rho_k = phi^k.
  const Eigen::Index n = 40000;
  for (const double phi : {0.0, 0.5, 0.9, 0.98}) {
    for (unsigned seed = 1; seed <= 5; ++seed) {
      VectorXd r = random_matrix(n, 1, seed);
      for (Eigen::Index k = 1; k < n; ++k) r(k) += phi * r(k - 1);
      const double exact = (1 + phi) / (1 - phi), deviation = std::sqrt(2 * (5 * exact + 1) / static_cast<double>(n));
      CAPTURE(phi, seed, exact, deviation);
      CHECK_THAT(correlation_time(r), WithinRel(exact, 4 * deviation + 0.01));
    }
  }
}

TEST_CASE("the mean of residuals scatters as n / tau independent ones would", "[estimation][correlation]") {
  const Eigen::Index n = 2000;
  const MatrixXd noise = random_matrix(n, 600, 21);
  double of_means = 0, of_values = 0, tau = 0;
  for (Eigen::Index c = 0; c < noise.cols(); ++c) {
    VectorXd r = noise.col(c);
    for (Eigen::Index k = 1; k < n; ++k) r(k) += 0.8 * r(k - 1);
    of_means += r.mean() * r.mean();
    of_values += r.squaredNorm() / static_cast<double>(n);
    tau += correlation_time(r);
  }
  // 600 draws: 6 % of standard deviation in a variance.
  CHECK_THAT(static_cast<double>(n) * of_means / of_values, WithinRel(tau / 600, 0.2));
}

TEST_CASE("the correlation time stays between one and the number of residuals", "[estimation][correlation]") {
  CHECK_THAT(correlation_time(VectorXd::Constant(50, 3.0)), WithinRel(50, 1e-12));
  CHECK(correlation_time(VectorXd::Zero(50)) == 1);
  CHECK(correlation_time(VectorXd::Ones(1)) == 1);
  CHECK(correlation_time(VectorXd()) == 1);
  VectorXd alternating(50);
  for (Eigen::Index k = 0; k < 50; ++k) alternating(k) = k % 2 ? -1 : 1;
  CHECK(correlation_time(alternating) == 1);
}
