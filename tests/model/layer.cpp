#include "model/layer.hpp"

#include <cmath>

#include "model/constants.hpp"
#include "model/stress.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using namespace onegrain::model;

// How the reaction spreads over a layer, against Radau's tables and the closed form for linear kinetics.

TEST_CASE("Radau's points and weights are those of the tables") {
  // Two and three points on [0, 1]: E. Hairer, G. Wanner, Solving Ordinary Differential Equations II (1996), IV.5, from
  // memory; they follow from exactness.
  const LayerPoints two(2), three(3);
  CHECK_THAT(two.xi()[0], WithinAbs(1.0 / 3, 1e-14));
  CHECK_THAT(two.weights()[0], WithinAbs(0.75, 1e-14));
  CHECK_THAT(two.weights()[1], WithinAbs(0.25, 1e-14));
  const double root = std::sqrt(6.0);
  CHECK_THAT(three.xi()[0], WithinAbs((4 - root) / 10, 1e-14));
  CHECK_THAT(three.xi()[1], WithinAbs((4 + root) / 10, 1e-14));
  CHECK(three.xi()[2] == 1);
  CHECK_THAT(three.weights()[0], WithinAbs((16 - root) / 36, 1e-14));
  CHECK_THAT(three.weights()[1], WithinAbs((16 + root) / 36, 1e-14));
  CHECK_THAT(three.weights()[2], WithinAbs(1.0 / 9, 1e-14));
}

TEST_CASE("the points integrate polynomials exactly, and the share is the integral of the local current") {
  for (int count = 1; count <= 12; ++count) {
    const LayerPoints points(count);
    for (int power = 0; power <= 2 * count - 2; ++power) {
      CHECK_THAT((points.weights() * points.xi().pow(power)).sum(), WithinAbs(1.0 / (power + 1), 1e-13));
    }
    for (int power = 0; power < count; ++power) {  // s = xi^power: w = xi^(power+1)/(power+1)
      const Eigen::VectorXd s = points.xi().pow(power);
      const Eigen::ArrayXd w = (points.share_at_samples() * s).array();
      CHECK((w - points.samples().pow(power + 1) / (power + 1)).abs().maxCoeff() < 1e-12);
      if (power + 1 >= count) continue;  // the weak form is exact where the integral is one of the polynomials
      const Eigen::VectorXd to_separator = points.integral_to_separator() * points.samples().pow(power).matrix();
      CHECK((to_separator.array() - (1 - points.xi().pow(power + 1)) / (power + 1)).abs().maxCoeff() < 1e-12);
    }
  }
}

TEST_CASE("a layer dissipates whatever its pores resist, however unevenly") {
  // sum_k w_k s_k (drop s)_k = int R w^2 dxi >= 0, and reciprocal: which leaves a current one way to spread.
  for (const int count : {2, 5, 12}) {
    const LayerPoints points(count);
    const Eigen::ArrayXd R = Eigen::exp(20 * (3.7 * points.samples()).sin());  // over sixteen orders of magnitude
    const Eigen::MatrixXd drop = points.integral_to_separator() * R.matrix().asDiagonal() * points.share_at_samples();
    const Eigen::MatrixXd dissipated = points.weights().matrix().asDiagonal() * drop;
    CHECK((dissipated - dissipated.transpose()).norm() < 1e-12 * dissipated.norm());
    for (int seed = 1; seed <= 5; ++seed) {
      const Eigen::VectorXd s = (Eigen::ArrayXd::LinSpaced(count, 1, count) * seed * 1.7).sin();
      CHECK(s.dot(dissipated * s) >= 0);
    }
  }
}

TEST_CASE("with linear kinetics and an even potential the current spreads as a hyperbolic cosine") {
  // r s'' = L/kappa s with s = di/dxi: s = i nu cosh(nu xi) / sinh(nu), and the drop to the separator side is
  // -i r nu coth(nu), nu^2 = L / (kappa r), for a solid that conducts well. J. S. Newman, C. W. Tobias, J. Electrochem.
  // Soc. 109, 1183 (1962); Newman and Balsara, Electrochemical Systems, ch. 22.
  Cell cell = tests::published_cell();
  Electrode layer = *cell.negative;
  layer.electronic_conductivity = 1e9;
  const LayerPoints points(12);
  const Eigen::Index samples = points.samples().size();
  const Eigen::VectorXd salt = Eigen::VectorXd::Constant(samples, 1000), none = Eigen::VectorXd::Zero(samples);
  const LayerDrop drop = layer_drop(points, layer, cell.electrolyte, salt, none, 298.15);
  const Eigen::VectorXd surface = Eigen::VectorXd::Constant(12, 0.5), at_points = Eigen::VectorXd::Constant(12, 1000);
  const double i = 1e-4;  // so small that kinetics are linear
  LayerState state;
  REQUIRE(solve_layer(points, layer, drop, surface, at_points, i, 298.15, state));
  const double i0 = layer.host.exchange_current_density(0.5, 298.15);  // at half filling and 1 mol/L
  const double r = gas_constant * 298.15 / (faraday_constant * layer.roughness() * i0);
  const double kappa = cell.electrolyte.conductivity(1000, 298.15) * layer.porosity / layer.tortuosity;
  const double nu = std::sqrt(layer.thickness / kappa / r);
  for (Eigen::Index k = 0; k < 12; ++k) {
    CHECK_THAT(state.current[k], WithinRel(i * nu * std::cosh(nu * points.xi()[k]) / std::sinh(nu), 1e-6));
  }
  const double U = layer.host.potential(0.5, 298.15);
  CHECK_THAT(state.separator_side - U, WithinRel(-i * r * nu / std::tanh(nu), 1e-6));
  CHECK_THAT(points.weights().matrix().dot(state.current), WithinRel(i, 1e-12));
}

TEST_CASE("an even current gives the layer averages of the single-particle model") {
  // mean(Phi) - Phi(separator) = i L / (3 kappa) - i L / (6 sigma) + the weighted rise of the salt; S. G. Marquis et
  // al., J. Electrochem. Soc. 166, A3693 (2019).
  Cell cell = tests::published_cell();
  Electrode layer = *cell.negative;
  layer.electronic_conductivity = 2;
  const LayerPoints points(5);
  const Eigen::VectorXd salt = Eigen::VectorXd::Constant(points.samples().size(), 1000), none = 0 * salt;
  const LayerDrop drop = layer_drop(points, layer, cell.electrolyte, salt, none, 298.15);
  const double i = 20, kappa = cell.electrolyte.conductivity(1000, 298.15) * layer.porosity / layer.tortuosity;
  const Eigen::VectorXd potential = drop.drop * Eigen::VectorXd::Constant(5, i) - i * drop.solid + drop.diffusion;
  CHECK_THAT(points.weights().matrix().dot(potential),
             WithinRel(i * layer.thickness * (1 / (3 * kappa) - 1 / (6 * layer.electronic_conductivity)), 1e-10));
}

TEST_CASE("more points change the answer less and less") {
  Cell cell = tests::published_cell();
  const Electrode& layer = *cell.negative;
  const auto separator_side = [&](int count) {
    const LayerPoints points(count);
    const Eigen::VectorXd salt = (1000 + 200 * points.samples()).matrix(),
                          slope = Eigen::VectorXd::Constant(salt.size(), 200);
    const LayerDrop drop = layer_drop(points, layer, cell.electrolyte, salt, slope, 298.15);
    const Eigen::VectorXd surface = (0.3 + 0.1 * points.xi()).matrix(), at = (1000 + 200 * points.xi()).matrix();
    LayerState state;
    REQUIRE(solve_layer(points, layer, drop, surface, at, 100, 298.15, state));
    return state.separator_side;
  };
  const double converged = separator_side(18);
  double before = 1;
  for (const int count : {2, 4, 6, 9}) {
    const double error = std::abs(separator_side(count) - converged);
    CHECK(error < 0.4 * before);
    before = error;
  }
  CHECK(before < 2e-5);
}

TEST_CASE("the derivatives of the layer are those of its equations") {
  Cell cell = tests::published_cell();
  const Electrode& layer = *cell.negative;
  const LayerPoints points(4);
  const Eigen::VectorXd salt = Eigen::VectorXd::Constant(points.samples().size(), 900), none = 0 * salt;
  const LayerDrop drop = layer_drop(points, layer, cell.electrolyte, salt, none, 298.15);
  const Eigen::VectorXd at = Eigen::VectorXd::Constant(4, 900);
  Eigen::VectorXd surface = (0.4 + 0.1 * points.xi()).matrix();
  LayerState state;
  REQUIRE(solve_layer(points, layer, drop, surface, at, 60, 298.15, state));
  // Move one surface: the equations' linearisation must foretell the currents.
  Eigen::MatrixXd A = Eigen::MatrixXd::Zero(5, 5);
  A.topLeftCorner(4, 4) = -drop.drop;
  A.topLeftCorner(4, 4).diagonal() += state.by_current;
  A.col(4).head(4).setConstant(-1);
  A.row(4).head(4) = points.weights().matrix().transpose();
  for (Eigen::Index k = 0; k < 4; ++k) {
    const double dx = 1e-5;
    Eigen::VectorXd moved = surface;
    moved[k] += dx;
    LayerState after = state;
    REQUIRE(solve_layer(points, layer, drop, moved, at, 60, 298.15, after));
    Eigen::VectorXd right = Eigen::VectorXd::Zero(5);
    right[k] = -state.by_surface[k] * dx;
    const Eigen::VectorXd change = A.lu().solve(right);
    CHECK((after.current - state.current - change.head(4)).cwiseAbs().maxCoeff() <
          2e-2 * change.head(4).cwiseAbs().maxCoeff());
    CHECK(std::abs(after.separator_side - state.separator_side - change[4]) < 2e-2 * std::abs(change[4]) + 1e-9);
  }
}

TEST_CASE("the stresses of a grain are those of the elastic sphere") {
  // Y.-T. Cheng, M. W. Verbrugge, J. Power Sources 190, 453 (2009), eq. 8 and 9 (from memory):
  //   sigma_t(r) = Omega E / (9 (1 - nu)) (2 c_av(R) + c_av(r) - 3 c(r)),  c_av(r) = 3/r^3 int_0^r c r^2 dr,
  // here by Simpson's rule for a profile that is not the parabola.
  const Stress s{3.5e-6, 15e9, 0.3, 100e6};
  const double c_max = 30000;
  const auto x = [](double rho) { return 0.5 + 0.1 * rho * rho - 0.05 * std::pow(rho, 6); };
  const auto average = [&](double rho) {
    const int n = 2000;
    double sum = 0;
    for (int k = 0; k <= n; ++k) {
      const double r = rho * k / n;
      sum += (k == 0 || k == n ? 1 : k % 2 ? 4 : 2) * x(r) * r * r;
    }
    return 3 / (rho * rho * rho) * sum * rho / n / 3;
  };
  const double scale = s.partial_molar_volume * s.youngs_modulus * c_max / (9 * (1 - s.poisson_ratio));
  const GrainStress stress = grain_stress(s, c_max, average(1), x(1), x(0));
  CHECK_THAT(stress.surface, WithinRel(scale * (2 * average(1) + average(1) - 3 * x(1)), 1e-9));
  CHECK_THAT(stress.centre, WithinRel(scale * (2 * average(1) + average(1e-3) - 3 * x(1e-3)), 1e-5));
  CHECK(stress.surface < 0);  // filled from outside: compression at the surface, tension at the centre
  CHECK(stress.largest_tension() == stress.centre);
  CHECK(grain_stress(s, c_max, 0.5, 0.5, 0.5).largest_tension() == 0);
}

TEST_CASE("the derivative of the layer's drop with respect to the salt is that of its values") {
  const Cell cell = [] {
    Cell c = tests::published_cell();
    // properties that bend with the concentration: kappa of the set's own formula (from memory), the others invented
    c.electrolyte.conductivity = Curve::approximation(
        [](double m) { return 0.1297 * std::pow(m / 1e3, 3) - 2.51 * std::pow(m / 1e3, 1.5) + 3.329 * m / 1e3; }, 1,
        3000, 1e-12, Curve::Beyond::hold);
    c.electrolyte.transference_number =
        Curve::approximation([](double m) { return 0.2 + 1e-4 * m; }, 1, 3000, 1e-12, Curve::Beyond::hold);
    c.electrolyte.thermodynamic_factor =
        Curve::approximation([](double m) { return 1 + 3e-7 * m * m; }, 1, 3000, 1e-12, Curve::Beyond::hold);
    return c;
  }();
  const Electrode& layer = *cell.negative;
  const LayerPoints points(5);
  const Eigen::Index samples = points.samples().size(), unknowns = 3;
  Eigen::MatrixXd by(samples, unknowns), slope_by(samples, unknowns);
  for (Eigen::Index q = 0; q < samples; ++q) {  // salt = 900 + b0 xi + b1 xi^2 + b2 cos(xi)
    const double xi = points.samples()[q];
    by.row(q) << xi, xi * xi, std::cos(xi);
    slope_by.row(q) << 1, 2 * xi, -std::sin(xi);
  }
  const Eigen::VectorXd current = Eigen::VectorXd::LinSpaced(5, 10, 60);
  const auto drop = [&](const Eigen::VectorXd& b) {
    const LayerDrop d =
        layer_drop(points, layer, cell.electrolyte, (900 + (by * b).array()).matrix(), slope_by * b, 298.15);
    return Eigen::VectorXd(d.drop * current + d.diffusion);
  };
  const Eigen::Vector3d b(150, -200, 80);
  const Eigen::MatrixXd analytic = layer_drop_by_salt(
      points, layer, cell.electrolyte, (900 + (by * b).array()).matrix(), slope_by * b, current, 298.15, by, slope_by);
  for (Eigen::Index k = 0; k < unknowns; ++k) {
    const double h = 1e-2;
    const Eigen::VectorXd difference =
        (drop(b + h * Eigen::Vector3d::Unit(k)) - drop(b - h * Eigen::Vector3d::Unit(k))) / (2 * h);
    CHECK((analytic.col(k) - difference).norm() < 1e-7 * difference.norm());
  }
}

TEST_CASE("the current finds its way over a layer whose grains are almost full, from any guess") {
  // Kinetics over ten decades of exchange current, a steep potential: the equations are monotone, so that there is
  // exactly one answer, whatever the currents that the search starts from.
  const Cell cell = tests::published_cell();
  const Electrode& layer = *cell.negative;
  const LayerPoints points(6);
  const Eigen::VectorXd salt = Eigen::VectorXd::Constant(6, 1000);
  const Eigen::VectorXd even = Eigen::VectorXd::Constant(points.samples().size(), 1000);
  const LayerDrop drop = layer_drop(points, layer, cell.electrolyte, even, 0 * even, 298.15);
  Eigen::VectorXd surface(6);
  surface << 0.2, 0.5, 0.9, 1 - 1e-5, 1 - 1e-8, 1 - 1e-10;
  LayerState reference;
  REQUIRE(solve_layer(points, layer, drop, surface, salt, 50, 298.15, reference));
  CHECK(points.weights().matrix().dot(reference.current) == Approx(50).epsilon(1e-10));
  for (const double spread : {-1e5, -300.0, 0.0, 40.0, 2e4}) {
    LayerState state;
    state.current = Eigen::VectorXd::LinSpaced(6, 50 - spread, 50 + spread);
    state.separator_side = spread / 100;
    CAPTURE(spread);
    REQUIRE(solve_layer(points, layer, drop, surface, salt, 50, 298.15, state));
    CHECK((state.current - reference.current).norm() < 1e-6 * reference.current.norm());
    CHECK(state.separator_side == Approx(reference.separator_side).margin(1e-8));
  }
}
