// The modes of a spherical grain against the exact ones of diffusion in a sphere.
// Sources: J. Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 6; H. S. Carslaw and J. C. Jaeger, Conduction of
// Heat in Solids, 2nd ed. (1959), ch. 9. The tables hold their series with 17 digits
// (tests/reference/sphere_series.py).

#include <cmath>
#include <thread>

#include "model/grain.hpp"
#include "tests/catch.hpp"
#include "tests/quadrature.hpp"
#include "tests/reference_table.hpp"

using onegrain::model::exact_step_response;
using onegrain::model::GrainModes;
using onegrain::model::missing_step_response;
using onegrain::tests::GrainAverage;
using onegrain::tests::ReferenceTable;

TEST_CASE("the averages that these tests take over a grain are exact for polynomials", "[model][helper]") {
  const GrainAverage average;
  for (int k = 0; k <= 126; ++k) {
    CHECK_THAT(average(average.nodes.pow(k)), WithinRel(3.0 / (k + 3), 1e-13));  // 3 int rho^2 rho^k drho
  }
  using onegrain::tests::integral;
  CHECK_THAT(integral([](double t) { return std::pow(t, 9); }, -1, 2, 1), WithinRel(102.3, 1e-13));
  CHECK_THAT(integral([](double t) { return std::exp(-t); }, 0, 3, 20), WithinRel(1 - std::exp(-3.0), 1e-13));
}

TEST_CASE("modes average to zero over the grain and are orthonormal", "[model][modes]") {
  const int count = GENERATE(2, 5, 12, 24);
  CAPTURE(count);
  const GrainModes& modes = GrainModes::of(count);
  const GrainAverage average;
  const Eigen::MatrixXd Phi = modes.values(average.nodes);
  const Eigen::MatrixXd products = Phi.transpose() * average.weights.matrix().asDiagonal() * Phi;
  CHECK((average.weights.matrix().transpose() * Phi).cwiseAbs().maxCoeff() < 1e-13);
  CHECK((products - Eigen::MatrixXd::Identity(count, count)).cwiseAbs().maxCoeff() < 1e-12);
}

TEST_CASE("Gauss points of a grain integrate even polynomials exactly", "[model][modes]") {
  const int count = GENERATE(2, 8, 31);
  const GrainModes& modes = GrainModes::of(count);
  CHECK(modes.nodes().minCoeff() > 0);
  CHECK(modes.nodes().maxCoeff() < 1);
  for (int k = 0; k <= 2 * count; ++k) {  // degree of a product of two modes' slopes and more
    CHECK_THAT((modes.weights() * modes.nodes().pow(2 * k)).sum(), WithinRel(3.0 / (2 * k + 3), 1e-12));
  }
}

TEST_CASE("slopes of modes are the derivatives of their values and diagonalise diffusion", "[model][modes]") {
  const int count = GENERATE(2, 7, 20);
  CAPTURE(count);
  const GrainModes& modes = GrainModes::of(count);
  const double h = 1e-6;
  const Eigen::MatrixXd difference = (modes.values(modes.nodes() + h) - modes.values(modes.nodes() - h)) / (2 * h);
  const double steepest = modes.slope_at_nodes().cwiseAbs().maxCoeff();
  CHECK((difference - modes.slope_at_nodes()).cwiseAbs().maxCoeff() < 1e-6 * steepest);
  CHECK((modes.values(modes.nodes()) - modes.value_at_nodes()).cwiseAbs().maxCoeff() < 1e-12 * steepest);
  const Eigen::MatrixXd stiffness =
      modes.slope_at_nodes().transpose() * modes.weights().matrix().asDiagonal() * modes.slope_at_nodes();
  const Eigen::MatrixXd decay = modes.decay().matrix().asDiagonal();
  CHECK((stiffness - decay).cwiseAbs().maxCoeff() < 1e-12 * modes.decay().maxCoeff());
}

TEST_CASE("decay constants of a grain come down to the squares of the roots of tan l = l", "[model][modes]") {
  // No flux through the surface: Carslaw and Jaeger, 9.4. Galerkin's eigenvalues lie above the exact ones and fall as
  // the space grows (Rayleigh and Ritz). All eigenvalues carry the round-off of the largest.
  const ReferenceTable roots("sphere_roots.csv");
  Eigen::ArrayXd last = Eigen::ArrayXd::Constant(30, 1e300);
  for (const int count : {6, 12, 24, 48}) {
    CAPTURE(count);
    const GrainModes& modes = GrainModes::of(count);
    for (int n = 0; n < std::min(count, 30); ++n) {
      CAPTURE(n);
      const double root = roots.rows[static_cast<std::size_t>(n)][1], exact = root * root;
      const double round_off = 1e-15 * modes.decay().maxCoeff() / exact;
      CHECK(modes.decay()[n] >= exact * (1 - round_off));
      CHECK(modes.decay()[n] <= last[n] * (1 + round_off));
      last[n] = modes.decay()[n];
      // polynomials enough for every half wave and some to spare: converged, up to round-off
      if (n < 0.4 * count - 2) CHECK_THAT(modes.decay()[n], WithinRel(exact, 1e-6));
      if (n < 0.25 * count - 2) CHECK_THAT(modes.decay()[n], WithinRel(exact, 1e-12 + round_off));
    }
  }
  CHECK_THAT(GrainModes::of(12).decay()[0], WithinRel(20.190728556426629, 1e-12));  // 4.4934094579090642^2
}

TEST_CASE("exact modes have the surface value sqrt(2/3)", "[model][modes]") {
  // sin(l rho) / rho with tan l = l, normalised by 3 int rho^2 Phi^2 = 1: Phi(1)^2 = 2/3 for every n
  const GrainModes& modes = GrainModes::of(40);
  for (int n = 0; n < 12; ++n) CHECK_THAT(modes.surface()[n], WithinRel(std::sqrt(2.0 / 3), 1e-10));
  CHECK(modes.surface().minCoeff() > 0);
}

TEST_CASE("the sums 1/10 of 1/l^2 and 1/350 of 1/l^4 hold for any number of modes", "[model][modes]") {
  // Crank, ch. 6: they say that the steady profile is a parabola, surface minus mean 1/5, mean square 3/175. The
  // parabola lies in every space, so only the round-off of the largest eigenvalue is allowed for. Phi(1)^2 stands for
  // 2/3.
  const int count = GENERATE(2, 3, 10, 40, 96, 200);
  CAPTURE(count);
  const GrainModes& modes = GrainModes::of(count);
  const double tolerance = 1e-13 + 1e-15 * modes.decay().maxCoeff() / modes.decay()[0];
  CHECK_THAT((1.5 * modes.surface().square() / modes.decay()).sum(), WithinRel(1.0 / 10, tolerance));
  CHECK_THAT((1.5 * modes.surface().square() / modes.decay().square()).sum(), WithinRel(1.0 / 350, tolerance));
}

TEST_CASE("the surface of a grain under constant flux follows Crank's series", "[model][modes]") {
  const ReferenceTable table("sphere_constant_flux.csv");
  const GrainModes& modes = GrainModes::of(12);
  for (const auto& row : table.rows) {
    const double tau = row[0];
    CAPTURE(tau);
    CHECK_THAT(exact_step_response(tau), WithinAbs(row[1], 1e-9));  // promised
    CHECK_THAT(modes.step_response(tau) + missing_step_response(modes, tau), WithinAbs(row[1], 1e-9));
    if (tau >= 0.01) CHECK_THAT(modes.step_response(tau), WithinAbs(row[1], 1e-8));
  }
  // short times: 2 sqrt(tau / pi) + tau + 4 tau^1.5 / (3 sqrt pi) + ..., the semi-infinite solid and its curvature
  for (const double tau : {1e-12, 1e-9, 1e-6}) {
    const double pi = 3.14159265358979324;
    CHECK_THAT(exact_step_response(tau),
               WithinRel(2 * std::sqrt(tau / pi) + tau + 4 * std::pow(tau, 1.5) / (3 * std::sqrt(pi)), 1e-9));
  }
  CHECK(exact_step_response(0) == 0);
  CHECK(modes.step_response(0) == 0);
}

TEST_CASE("the two forms of the step response meet", "[model][modes]") {
  // the series of long times takes over from that of short times at tau = 0.05; the slope there is about 3
  CHECK_THAT(exact_step_response(0.05) - exact_step_response(std::nextafter(0.05, 0.0)), WithinAbs(0, 1e-9));
}

TEST_CASE("centre and inside of a grain under constant flux follow Crank's series", "[model][modes]") {
  const ReferenceTable table("sphere_constant_flux.csv");
  const GrainModes& modes = GrainModes::of(40);
  Eigen::ArrayXd places(2);
  places << 0, 0.5;
  const Eigen::MatrixXd Phi = modes.values(places);
  for (const auto& row : table.rows) {
    const double tau = row[0];
    CAPTURE(tau);
    // a_n for unit inward flux from an even start
    const Eigen::VectorXd a = 3 * modes.surface() * (1 - (-modes.decay() * tau).exp()) / modes.decay();
    const Eigen::VectorXd x = Phi * a;
    // away from the surface the young layer does not show, once the modes resolve it (40 modes: tau > 1e-3)
    const double tolerance = tau < 1e-3 ? 1e-4 : 1e-9;
    CHECK_THAT(x[0], WithinAbs(row[3], tolerance));
    CHECK_THAT(x[1], WithinAbs(row[4], tolerance));
  }
}

TEST_CASE("the steady profile of a grain is the parabola rho^2/2 - 3/10", "[model][modes]") {
  const int count = GENERATE(2, 3, 12, 60);
  CAPTURE(count);
  const GrainModes& modes = GrainModes::of(count);
  const double tolerance = 1e-13 + 1e-15 * modes.decay().maxCoeff() / modes.decay()[0];  // round-off, as above
  const Eigen::ArrayXd rho = Eigen::ArrayXd::LinSpaced(101, 0, 1);
  const Eigen::VectorXd a = 3 * modes.surface() / modes.decay();
  const Eigen::ArrayXd x = (modes.values(rho) * a).array();
  CHECK((x - (rho.square() / 2 - 0.3)).abs().maxCoeff() < tolerance);
  // so the surface leads the mean by 1/5 and the centre by 1/2
  CHECK_THAT(x[100], WithinAbs(0.2, tolerance));
  CHECK_THAT(x[100] - x[0], WithinAbs(0.5, tolerance));
  // and a parabola has no part in the last two polynomials, which is how well it is resolved
  if (count > 3) CHECK((modes.tail() * a).cwiseAbs().maxCoeff() < tolerance);
}

TEST_CASE("the error of a mode sum falls faster than any power of the number of modes", "[model][modes]") {
  // A method of order p divides the error by 2^p per doubling, always. Here the quotient itself grows without end.
  const double tau = GENERATE(0.003, 0.01, 0.03);
  const ReferenceTable table("sphere_constant_flux.csv");
  double exact = 0;
  for (const auto& row : table.rows) {
    if (row[0] == tau) exact = row[1];
  }
  REQUIRE(exact > 0);
  double last_error = 0, last_order = 0;
  for (int count = 2; count <= 64; count *= 2) {
    const double error = std::abs(GrainModes::of(count).step_response(tau) - exact);
    CAPTURE(tau, count, error, last_error);
    if (error < 1e-12) break;  // round-off
    if (last_error > 0) {
      const double order = std::log2(last_error / error);
      CHECK(order > 1.3 * last_order);
      last_order = order;
    }
    last_error = error;
  }
  CHECK(last_order > 8);
  CHECK(std::abs(GrainModes::of(64).step_response(tau) - exact) < 1e-12);
}

TEST_CASE("what the modes miss after a jump is gone once they resolve the layer under the surface", "[model][modes]") {
  double last = 1.01;
  for (const int count : {2, 4, 12, 30, 96}) {
    CAPTURE(count);
    const GrainModes& modes = GrainModes::of(count);
    for (double tau = modes.resolved_after(); tau < 2; tau *= 1.07) {
      CHECK(std::abs(missing_step_response(modes, tau)) < 2e-9);  // promised 1e-9, looked for in steps of a quarter
    }
    CHECK(modes.resolved_after() < last);
    last = modes.resolved_after();
  }
}

TEST_CASE("a profile survives being carried to more modes and back", "[model][modes]") {
  const GrainModes &few = GrainModes::of(7), &many = GrainModes::of(19);
  Eigen::VectorXd a(7);
  a << 0.03, -0.01, 0.004, 0.002, -0.0007, 0.0003, 1e-4;
  const Eigen::ArrayXd rho = Eigen::ArrayXd::LinSpaced(41, 0, 1);
  const Eigen::VectorXd carried = many.amplitudes(few.polynomials(a));
  CHECK((many.values(rho) * carried - few.values(rho) * a).cwiseAbs().maxCoeff() < 1e-13);
  CHECK((few.amplitudes(many.polynomials(carried)) - a).cwiseAbs().maxCoeff() < 1e-14);
  CHECK_THAT(few.polynomials(a).norm(), WithinRel(a.norm(), 1e-13));  // both bases are orthonormal
  // Fewer modes keep the best approximation: what is left out is orthogonal to what is kept.
  Eigen::VectorXd b = Eigen::VectorXd::Zero(19);
  b.head(7) = a;
  b[18] = 0.01;
  const GrainAverage average;
  const Eigen::VectorXd lost =
      many.values(average.nodes) * many.amplitudes(b) - few.values(average.nodes) * few.amplitudes(b);
  const Eigen::VectorXd overlap = few.values(average.nodes).transpose() * average.weights.matrix().asDiagonal() * lost;
  CHECK(overlap.cwiseAbs().maxCoeff() < 1e-13);
}

TEST_CASE("a number of modes is worked out once, whoever asks first, and absurd ones are refused", "[model][modes]") {
  const GrainModes* seen[4] = {};
  {
    std::vector<std::thread> threads;
    for (auto& place : seen) threads.emplace_back([&place] { place = &GrainModes::of(37); });
    for (auto& thread : threads) thread.join();
  }
  for (const auto* modes : seen) CHECK(modes == &GrainModes::of(37));
  for (const int count : {-1, 0, 1, 201}) CHECK_THROWS_WITH(GrainModes::of(count), "a grain takes 2 to 200 modes");
}
