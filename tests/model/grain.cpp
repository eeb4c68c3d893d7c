// One grain: diffusion with a diffusivity that may depend on composition and temperature.

#include "model/grain.hpp"

#include <cmath>

#include "tests/catch.hpp"
#include "tests/quadrature.hpp"

using namespace onegrain::model;
using onegrain::tests::GrainAverage;

namespace {
constexpr double R = 5.22e-6, T = 298.15;

Eigen::VectorXd some_amplitudes(int count) {
  Eigen::VectorXd a(count);
  for (int n = 0; n < count; ++n) a[n] = 0.05 * std::cos(2.3 * n + 0.4) / ((n + 1) * (n + 1));
  return a;
}

/// D = D0 (1 + slope (x - 1/2)): polynomial, so that Galerkin's integrals can be exact.
Property linear_diffusivity(double D0, double slope) {
  return Property(Curve::pieces({0, 1}, {{D0 * (1 - slope / 2), D0 * slope}}, Curve::Beyond::tangent));
}

/// D e^2 larger at full than at empty.
Property exponential_diffusivity(double sign = 1) {
  return Property(Curve::approximation([sign](double x) { return 4e-15 * std::exp(sign * 2 * (x - 0.5)); }, 0, 1, 1e-26,
                                       Curve::Beyond::tangent),
                  25e3);
}

Eigen::VectorXd remainder_of(const Grain& grain, double mean, const Eigen::VectorXd& a, double temperature, double D0) {
  Eigen::VectorXd result(grain.count());
  grain.remainder(mean, a, temperature, D0, result);
  return result;
}

/// da/dt as the header states it.
Eigen::VectorXd rate(const Grain& grain, double mean, const Eigen::VectorXd& a, double D0, double outflow) {
  const double per_second = D0 / (grain.radius() * grain.radius());
  return (-per_second * grain.modes().decay() * a.array() + grain.drive() * outflow).matrix() +
         remainder_of(grain, mean, a, T, D0);
}
}  // namespace

TEST_CASE("under constant flux the surface of a grain ends up j R / (5 D) ahead of the mean", "[model][grain]") {
  struct Row {
    const char* name;
    double D, radius, outflow;
    int count;
  };
  const auto row = GENERATE(values<Row>({
      {"typical grain", 3.9e-14, 5.9e-6, +4e-10, 12},
      {"filling instead of emptying", 3.9e-14, 5.9e-6, -4e-10, 12},
      {"nanometre grain", 1.0e-12, 50e-9, +3e-11, 7},
      {"fewest modes", 1.0e-14, 1.0e-5, +4e-10, 2},
  }));
  CAPTURE(row.name);
  // Crank, 2nd ed., ch. 6: past the transient x = mean - (outflow R / D)(rho^2/2 - 3/10). Exact in every space.
  const Grain grain(GrainModes::of(row.count), row.radius, Property::constant(row.D));
  const Eigen::VectorXd steady =
      grain.drive() * row.outflow / (row.D / (row.radius * row.radius) * grain.modes().decay());
  const double lead = -row.outflow * row.radius / (5 * row.D);
  CHECK_THAT(grain.surface_stoichiometry(0.5, steady) - 0.5, WithinAbs(lead, 1e-12 * std::abs(lead) + 1e-16));
  CHECK(rate(grain, 0.5, steady, row.D, row.outflow).cwiseAbs().maxCoeff() <
        1e-12 * std::abs(grain.drive().maxCoeff() * row.outflow) + 1e-15);
}

TEST_CASE("surface leads of the published cells under 1C are those worked out by hand", "[model][grain]") {
  // surface minus mean j R / (5 D): 548 and 4558 mol/m3 (C.-H. Chen et al. 2020), 709 and 332 mol/m3 (S. G. Marquis et
  // al. 2019); parameters from memory, numbers computed apart from this code and printed with three or four digits.
  struct Row {
    double D, radius, c_max, j, lead;
  };
  for (const Row row : {Row{3.3e-14, 5.86e-6, 33133, 1.5425e-5, 548},
                        {4.0e-15, 5.22e-6, 63104, 1.7464e-5, 4558},
                        {3.9e-14, 10e-6, 24983, 24 / (0.18e6 * 100e-6 * 96485.33212), 709},
                        {1.0e-13, 10e-6, 51218, 24 / (0.15e6 * 100e-6 * 96485.33212), 332}}) {
    const Grain grain(GrainModes::of(12), row.radius, Property::constant(row.D));
    const Eigen::VectorXd a =
        -grain.drive() * (row.j / row.c_max) / (row.D / (row.radius * row.radius) * grain.modes().decay());
    CHECK_THAT(row.c_max * grain.surface_stoichiometry(0, a), WithinAbs(row.lead, 0.5));
  }
}

TEST_CASE("a profile bends without changing how much lithium a grain holds", "[model][grain]") {
  // whatever the diffusivity, the rate of change of a(t) has no mean: checked by a quadrature of its own
  const Grain grain(GrainModes::of(14), R, exponential_diffusivity());
  const GrainAverage average;
  const Eigen::VectorXd a = some_amplitudes(14);
  const Eigen::MatrixXd Phi = grain.modes().values(average.nodes);
  CHECK_THAT(average((Phi * a).array()), WithinAbs(0, 1e-15));
  const Eigen::VectorXd dxdt = Phi * rate(grain, 0.5, a, 4e-15, 6e-10);
  CHECK(std::abs(average(dxdt.array())) < 1e-13 * dxdt.cwiseAbs().maxCoeff());
}

TEST_CASE("a parabolic profile under a linear diffusivity changes as calculus says", "[model][grain]") {
  // x = m + b rho^2, D = D0 (1 + s (x - 1/2)):
  // (1/rho^2) d/drho (rho^2 D dx/drho) = 2 b D0 [ 3 (1 + s (m - 1/2)) + 5 s b rho^2 ], with the outflow that the slope
  // at the surface makes. Everything is a polynomial inside the space, so only round-off is allowed for.
  const double m = 0.45, b = GENERATE(0.2, -0.15), s = 0.8, D0 = 4e-15;
  const int count = GENERATE(2, 5, 12);
  CAPTURE(b, count);
  const Grain grain(GrainModes::of(count), R, linear_diffusivity(D0, s));
  const GrainAverage average;
  const Eigen::ArrayXd square = average.nodes.square();
  const Eigen::MatrixXd Phi = grain.modes().values(average.nodes);
  const auto project = [&](const Eigen::ArrayXd& f) {
    return Eigen::VectorXd(Phi.transpose() * (average.weights * f).matrix());
  };
  const double mean = m + 0.6 * b;  // 3 int rho^4 = 3/5
  const Eigen::VectorXd a = project(b * (square - 0.6));
  const double outflow = -D0 * (1 + s * (m + b - 0.5)) * 2 * b / R;
  const Eigen::VectorXd expected = project(2 * b * D0 / (R * R) * (3 * (1 + s * (m - 0.5)) + 5 * s * b * square));
  const double frozen = GENERATE(1.0, 0.3);  // the split into D0 and remainder must not matter
  const Eigen::VectorXd got = rate(grain, mean, a, frozen * D0, outflow);
  const double scale = (grain.drive() * outflow).abs().maxCoeff();
  CHECK((got - expected).cwiseAbs().maxCoeff() < 1e-12 * scale);
  // and the mean: -3 outflow / R is the average of the right-hand side
  CHECK_THAT(average(2 * b * D0 / (R * R) * (3 * (1 + s * (m - 0.5)) + 5 * s * b * square)),
             WithinRel(-3 * outflow / R, 1e-12));
}

TEST_CASE("a diffusivity that happens to be the same everywhere acts like a constant one", "[model][grain]") {
  const Grain constant(GrainModes::of(15), R, Property::constant(4e-15));
  const Grain curve(GrainModes::of(15), R, Property(Curve::pieces({0, 1}, {{4e-15}}, Curve::Beyond::hold)));
  REQUIRE(constant.decoupled());
  REQUIRE_FALSE(curve.decoupled());
  const Eigen::VectorXd a = some_amplitudes(15);
  CHECK(remainder_of(constant, 0.4, a, T, 4e-15).cwiseAbs().maxCoeff() == 0);
  CHECK(remainder_of(curve, 0.4, a, T, 4e-15).cwiseAbs().maxCoeff() == 0);
  const Eigen::VectorXd one = remainder_of(constant, 0.4, a, T, 1e-15), other = remainder_of(curve, 0.4, a, T, 1e-15);
  CHECK((one - other).cwiseAbs().maxCoeff() < 1e-12 * one.cwiseAbs().maxCoeff());
}

TEST_CASE("emptying mirrors filling", "[model][grain]") {
  // x -> 1 - x turns the equation with D(x) into that with D(1 - x), inflow into outflow.
  const Grain grain(GrainModes::of(11), R, exponential_diffusivity(1)),
      mirror(GrainModes::of(11), R, exponential_diffusivity(-1));
  const Eigen::VectorXd a = some_amplitudes(11);
  const Eigen::VectorXd filling = rate(grain, 0.37, a, 4e-15, -5e-10), emptying = rate(mirror, 0.63, -a, 4e-15, 5e-10);
  CHECK((filling + emptying).cwiseAbs().maxCoeff() < 1e-12 * filling.cwiseAbs().maxCoeff());
}

TEST_CASE("small grains are large grains in slow motion", "[model][grain]") {
  // Only D / R^2 and outflow / R enter.
  const Grain grain(GrainModes::of(9), R, linear_diffusivity(4e-15, 0.5)),
      tenth(GrainModes::of(9), R / 10, linear_diffusivity(4e-15, 0.5));
  const Eigen::VectorXd a = some_amplitudes(9);
  const Eigen::VectorXd slow = rate(grain, 0.5, a, 4e-15, 5e-10), fast = rate(tenth, 0.5, a, 4e-15, 50e-10);
  CHECK((fast - 100 * slow).cwiseAbs().maxCoeff() < 1e-11 * fast.cwiseAbs().maxCoeff());
}

TEST_CASE("diffusion never sharpens a profile", "[model][grain]") {
  // d/dt of the mean square of the unevenness is -2 <D (dx/dr)^2> <= 0 without outflow, for any positive D.
  const Grain grain(GrainModes::of(13), R, exponential_diffusivity());
  for (int k = 0; k < 20; ++k) {
    Eigen::VectorXd a(13);
    for (int n = 0; n < 13; ++n) a[n] = 0.02 * std::sin(1.7 * n * n + k);
    CHECK(a.dot(rate(grain, 0.5, a, 1e-14, 0)) < 0);
  }
}

TEST_CASE("the derivatives of the diffusion rate are those of its values", "[model][grain]") {
  struct Row {
    const char* name;
    Property diffusivity;
  };
  for (const Row& row : {Row{"varying with x and T", exponential_diffusivity()},
                         Row{"varying with T", Property::constant(4e-15, 25e3)}}) {
    CAPTURE(row.name);
    const int count = 10;
    const Grain grain(GrainModes::of(count), R, row.diffusivity);
    const double mean = 0.42, temperature = 305, D0 = 3e-15, h = 1e-6;
    const Eigen::VectorXd a = some_amplitudes(count);
    Eigen::MatrixXd by_a(count, count);
    Eigen::VectorXd by_mean(count), by_T(count);
    grain.remainder_jacobian(mean, a, temperature, D0, by_a, by_mean, by_T);
    // central differences: h^2 times third derivatives, and 1e-16 / h of the values
    for (int m = 0; m < count; ++m) {
      const Eigen::VectorXd shift = h * Eigen::VectorXd::Unit(count, m);
      const Eigen::VectorXd column = (remainder_of(grain, mean, a + shift, temperature, D0) -
                                      remainder_of(grain, mean, a - shift, temperature, D0)) /
                                     (2 * h);
      CHECK((by_a.col(m) - column).cwiseAbs().maxCoeff() < 1e-8 * by_a.cwiseAbs().maxCoeff());
    }
    const Eigen::VectorXd mean_column =
        (remainder_of(grain, mean + h, a, temperature, D0) - remainder_of(grain, mean - h, a, temperature, D0)) /
        (2 * h);
    CHECK((by_mean - mean_column).cwiseAbs().maxCoeff() <= 1e-8 * std::max(by_mean.cwiseAbs().maxCoeff(), 1e-6));
    const double dT = 1e-3;
    const Eigen::VectorXd T_column =
        (remainder_of(grain, mean, a, temperature + dT, D0) - remainder_of(grain, mean, a, temperature - dT, D0)) /
        (2 * dT);
    CHECK((by_T - T_column).cwiseAbs().maxCoeff() < 1e-7 * by_T.cwiseAbs().maxCoeff());
  }
}
