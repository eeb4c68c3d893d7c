// A whole half cell made so plain that books on diffusion have its answer: straight potential U = 4 V - x, charge
// transfer and ions without loss, constant diffusivity.
// Source: J. Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 6.

#include <cmath>
#include <numbers>

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;

namespace {
constexpr double R = 5e-6, x_start = 0.5;

/// @param resistance  in series, the only loss [ohm m2]
model::Cell plain_cell(double D, double resistance = 0) {
  model::Cell cell = tests::published_cell();
  cell.positive.host.potential = model::OpenCircuitPotential(
      model::Property(model::Curve::pieces({0, 1}, {{4, -1}}, model::Curve::Beyond::tangent)));
  cell.positive.host.diffusivity = model::Property::constant(D);
  cell.positive.host.exchange_current_density = model::Property::constant(1e12);
  cell.positive.particle_radius = R;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(1e12)};
  cell.electrolyte.conductivity = model::Property::constant(1e12);
  cell.contact_resistance = resistance;
  cell.inventory = {x_start, 0};
  return cell;
}

/// Current that fills the mean of the grain by `share` in the time.
double filling_current(const model::Cell& cell, double share, double time) {
  return -share * cell.positive.capacity() / time;
}

/// Roots of b cot b + L - 1 = 0, one in each ((n - 1) pi, n pi), by bisection.
double evaporation_root(int n, double L) {
  double low = (n - 1) * std::numbers::pi, high = n * std::numbers::pi;
  const auto f = [&](double b) { return (n % 2 == 1 ? 1 : -1) * (b * std::cos(b) + (L - 1) * std::sin(b)); };
  if (n == 1) low = 1e-8;
  for (int k = 0; k < 80; ++k) (f(0.5 * (low + high)) > 0 ? low : high) = 0.5 * (low + high);
  return 0.5 * (low + high);
}

/// Uptake M / M_infinity of a sphere whose surface takes up in proportion to what it lacks, L = R h / D: Crank, 6.3.4,
/// "surface evaporation" (formula from memory; at tau = 0 the sum is 1, as it must be).
double uptake(double tau, double L) {
  double sum = 0;
  for (int n = 1; n <= 4000; ++n) {
    const double b2 = std::pow(evaporation_root(n, L), 2);
    const double term = std::exp(-b2 * tau) * 6 * L * L / (b2 * (b2 + L * (L - 1)));
    sum += term;
    if (term < 1e-14) break;
  }
  return 1 - sum;
}
}  // namespace

TEST_CASE("the surface of the grains in a cell under constant current follows Crank's series from the first instant",
          "[solver][sphere]") {
  const tests::ReferenceTable table("sphere_constant_flux.csv");
  const double D = 4e-15, second = D / (R * R);
  const model::Cell cell = plain_cell(D);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const double duration = 1.01 / second, i = filling_current(cell, 0.3, 1 / second);
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = duration}, ""});
  Eigen::ArrayXd places(2);
  places << 0, 0.5;
  for (const auto& row : table.rows) {
    const double tau = row[0], t = tau / second;
    CAPTURE(tau);
    // mean 3 tau in the units of the table, 0.3 per unit of tau here
    CHECK_THAT(step.at(t).positive_surface, WithinAbs(x_start + 0.1 * row[1], 1e-9));
    CHECK_THAT(step.at(t).terminal.voltage, WithinAbs(4 - (x_start + 0.1 * row[1]), 1e-8));
    if (tau >= 0.03) {  // earlier, twelve modes leave 1e-6 of a ripple inside that the voltage does not see
      const Eigen::VectorXd x = step.positive_profile(t, places);
      CHECK_THAT(x[0], WithinAbs(x_start + 0.3 * tau + 0.1 * row[3], 1e-8));
      CHECK_THAT(x[1], WithinAbs(x_start + 0.3 * tau + 0.1 * row[4], 1e-8));
    }
  }
  // long after: the surface leads by j R / (5 D)
  const solver::Point last = step.last();
  CHECK_THAT(last.positive_surface - last.positive_mean, WithinRel(0.1 / 5, 1e-8));
}

TEST_CASE("just after a jump of the current the surface moves like the square root of time", "[solver][sphere]") {
  // 2 j sqrt(t / (pi D)) / c_max, the half-infinite solid: Crank, ch. 3; curvature adds sqrt(pi tau) / 2 of it.
  for (const bool varying : {false, true}) {
    const model::Cell cell = tests::published_cell(varying);
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace);
    const double i = -2 * tests::published_one_c;
    const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = 60}, ""});
    const auto& model = step.model();
    const double D_p = model.positive().diffusivity(cell.inventory.positive, 298.15);
    const double D_n = model.negative()->diffusivity(cell.inventory.negative, 298.15);
    for (const double t : {1e-6, 1e-4, 1e-2}) {
      CAPTURE(varying, t);
      const solver::Point p = step.at(t);
      const double rise = -2 * model.positive_outflow() * i * std::sqrt(t / (std::numbers::pi * D_p));
      const double fall = -2 * model.negative_outflow() * i * std::sqrt(t / (std::numbers::pi * D_n));
      CHECK_THAT(p.positive_surface - cell.inventory.positive, WithinRel(rise, 5e-3));
      CHECK_THAT(p.negative_surface - cell.inventory.negative, WithinRel(fall, 5e-3));
    }
  }
}

TEST_CASE("a voltage hold through a resistance fills a sphere as one with surface evaporation", "[solver][sphere]") {
  // i = (V - U(x_s)) / r with U = 4 - x is a surface condition of the third kind, L = R outflow / (r D).
  const double L = GENERATE(0.5, 3.0, 20.0, 300.0);
  CAPTURE(L);
  const double D = 4e-15, second = D / (R * R);
  const double outflow = model::SingleParticle(plain_cell(D), 4, 4).positive_outflow();
  const model::Cell cell = plain_cell(D, R * outflow / (L * D));
  solver::Workspace workspace;
  for (const auto& [accuracy, tolerance] :
       {std::pair{solver::Accuracy{}, 1e-4}, {solver::Accuracy{1e-9, 1e-3, 1e-6, 40}, 1e-6}}) {
    solver::Simulator simulator(cell, workspace, accuracy);
    const double target = 0.7;  // from 0.5
    const auto hold = simulator.run(simulator.at_rest(0), {VoltageDrive{4 - target}, {.time = 1 / second}, "hold"});
    for (const double tau : {0.003, 0.01, 0.05, 0.2, 0.5, 1.0}) {
      CAPTURE(tau, tolerance);
      const double filled = (hold.at(tau / second).positive_mean - x_start) / (target - x_start);
      // at L = 300 the first current is 100 times that of the mean filling; tolerances are relative to it
      CHECK_THAT(filled, WithinAbs(uptake(tau, L), L > 100 ? 10 * tolerance : tolerance));
    }
  }
}

TEST_CASE("a hold with next to no resistance fills a sphere as a step of its surface does", "[solver][sphere]") {
  // Crank eq. 6.20; what L = 300 instead of infinity costs is about 3/L: the layer that L fills in as much time
  const tests::ReferenceTable table("sphere_surface_step.csv");
  const double L = 300, D = 4e-15, second = D / (R * R);
  const double outflow = model::SingleParticle(plain_cell(D), 4, 4).positive_outflow();
  solver::Workspace workspace;
  solver::Simulator simulator(plain_cell(D, R * outflow / (L * D)), workspace);
  const auto hold = simulator.run(simulator.at_rest(0), {VoltageDrive{3.3}, {.time = 1.01 / second}, "hold"});
  for (const auto& row : table.rows) {
    CAPTURE(row[0]);
    if (row[0] < 0.003) continue;
    CHECK_THAT((hold.at(row[0] / second).positive_mean - x_start) / 0.2, WithinAbs(row[1], 3 / L));
  }
}

TEST_CASE("a titration pulse gives back the diffusivity only if the sphere is taken for a sphere", "[solver][sphere]") {
  // W. Weppner and R. A. Huggins, J. Electrochem. Soc. 124, 1569 (1977), from memory: D = (4 / (9 pi)) (R^2 / tau)
  // (dE_s / dE_t)^2 for tau << R^2 / D. R = 5 um, 600 s, dE_s / dE_t = 10 mV / 20 mV give 1.473657e-15 m2/s; the exact
  // sphere has that ratio at D = 2.311675e-15 m2/s (D tau / R^2 = 0.05548021), so the formula is 36 % low here.
  // Computed apart from this code.
  const double D = 2.311675e-15, pulse = 600;
  const model::Cell cell = plain_cell(D);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const double i = filling_current(cell, 0.01, pulse);  // 10 mV on a slope of 1 V
  const auto on = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = pulse}, "pulse"});
  const auto off = simulator.run(on.final_state(), {CurrentDrive{0}, {.time = 20 * R * R / D}, "rest"});
  const double before = 4 - x_start;
  const double dE_t = on.last().terminal.voltage - before, dE_s = off.last().terminal.voltage - before;
  CHECK_THAT(dE_s, WithinAbs(-10e-3, 1e-9));
  CHECK_THAT(dE_t, WithinAbs(-20e-3, 1e-8));
  const double by_formula = 4 / (9 * std::numbers::pi) * R * R / pulse * std::pow(dE_s / dE_t, 2);
  CHECK_THAT(by_formula, WithinRel(1.473657e-15, 1e-6));
  CHECK_THAT(by_formula / D, WithinAbs(0.64, 0.005));
}
