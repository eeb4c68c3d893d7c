// What a cell must conserve, whatever is done to it: lithium and charge. Averages over the grains are taken from the
// profiles by a quadrature that shares nothing with the modes.

#include <cmath>

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;
using solver::StepSolution;
using tests::GrainAverage;
using tests::integral;
using tests::published_cell;

namespace {
constexpr double one_c = tests::published_one_c;
const GrainAverage average;

/// int i dt from the currents at single moments. Currents of a hold start like the square root of time: t = u^4.
double charge_by_currents(const StepSolution& step, double until) {
  return integral([&](double u) { return step.at(u * u * u * u).current * 4 * u * u * u; }, 0, std::pow(until, 0.25),
                  300);
}
}  // namespace

TEST_CASE("lithium is conserved to 1e-10 through holds, pulses and rests", "[solver][conservation]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const model::Cell cell = published_cell(varying);
  const double Q_p = cell.positive.capacity(), Q_n = cell.negative->capacity();
  const double lithium = cell.inventory.positive * Q_p + cell.inventory.negative * Q_n;
  const model::Step steps[] = {
      {CurrentDrive{-one_c}, {.time = 900}, "discharge"},
      {CurrentDrive{0}, {.time = 30}, "short rest"},
      {CurrentDrive{-5 * one_c}, {.time = 8}, "pulse"},
      {CurrentDrive{3 * one_c}, {.time = 8}, "counter pulse"},
      {VoltageDrive{3.6}, {.time = 1200}, "hold"},
      {CurrentDrive{0}, {.time = 1e5}, "long rest"},
      {CurrentDrive{one_c}, {.voltage = 4.2}, "charge"},
      {VoltageDrive{4.2}, {.current = one_c / 20}, "top up"},
      {CurrentDrive{-2 * one_c}, {.voltage = 2.5}, "discharge to the end"},
      {CurrentDrive{0.2 * one_c}, {.capacity = 2000}, "some back"},
  };
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  solver::State state = simulator.at_rest(0);
  double passed = 0;
  for (const model::Step& step : steps) {
    CAPTURE(step.label);
    const StepSolution solution = simulator.run(state, step);
    for (const double part : {0.0, 1e-4, 0.1, 0.5, 1.0}) {
      const double t = part * solution.duration();
      CAPTURE(t);
      const double in_positive = average(solution.positive_profile(t, average.nodes).array());
      const double in_negative = average(solution.negative_profile(t, average.nodes).array());
      const solver::Point p = solution.at(t);
      CHECK_THAT(in_positive * Q_p + in_negative * Q_n, WithinRel(lithium, 1e-12));  // promised 1e-10
      CHECK_THAT(in_positive, WithinAbs(p.positive_mean, 1e-12));
      CHECK_THAT(in_negative, WithinAbs(p.negative_mean, 1e-12));
      // and it went where the charge went
      CHECK_THAT((cell.inventory.positive - in_positive) * Q_p, WithinAbs(p.charge, 1e-10 * Q_p));
      if (std::holds_alternative<CurrentDrive>(step.drive)) {
        CHECK_THAT(p.charge - passed, WithinAbs(std::get<CurrentDrive>(step.drive).current * t, 1e-10 * Q_p));
      }
    }
    passed = solution.last().charge;
    state = solution.final_state();
    CHECK_THAT(state.charge, WithinAbs(passed, 1e-12 * Q_p));
  }
}

TEST_CASE("the charge of a hold is the integral of its current", "[solver][conservation]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  solver::Workspace workspace;
  for (const double relative : {1e-5, 1e-8}) {
    solver::Simulator simulator(published_cell(varying), workspace,
                                {.relative_tolerance = relative, .absolute_factor = relative / 1e-5});
    const StepSolution hold = simulator.run(simulator.at_rest(0), {VoltageDrive{3.8}, {.time = 3000}, "hold"});
    for (const double t : {10.0, 300.0, 3000.0}) {
      CAPTURE(relative, t);
      // the integrator's error of the charge, 1e-5 per step; the currents themselves are solved to round-off
      CHECK_THAT(hold.at(t).charge - hold.first().charge, WithinRel(charge_by_currents(hold, t), 10 * relative));
    }
  }
}

TEST_CASE("a hold that lasts long enough fills a cell to the equilibrium at its voltage", "[solver][conservation]") {
  const bool varying = GENERATE(false, true);
  const double V = GENERATE(3.6, 4.1, 4.2);
  CAPTURE(varying, V);
  model::Cell cell = published_cell(varying);
  cell.upper_voltage = V;
  const double Q_p = cell.positive.capacity();
  const double equilibrium = (cell.inventory.positive - model::equilibrium_window(cell).full.positive) * Q_p;
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  for (const double duration : {2e5, 1e6, 1e8}) {  // far beyond R^2 / D and R C of the cell
    const auto hold = simulator.run(simulator.at_rest(0), {VoltageDrive{V}, {.time = duration}, "hold"});
    CHECK_THAT(hold.last().charge, WithinAbs(equilibrium, 1e-6 * Q_p));
    CHECK(std::abs(hold.last().current) < 1e-5 * one_c);
  }
}

TEST_CASE("left alone, a cell comes to the equilibrium that its lithium allows", "[solver][conservation]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const model::Cell cell = published_cell(varying);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto discharge = simulator.run(simulator.at_rest(0), {CurrentDrive{-one_c}, {.time = 1500}, ""});
  // the slowest mode decays with R^2 / (20.19 D), at most 1000 s here: e^-100 is left
  const auto rest = simulator.run(discharge.final_state(), {CurrentDrive{0}, {.time = 1e5}, ""});
  const solver::Point p = rest.last();
  const model::Stoichiometries x{cell.inventory.positive + one_c * 1500 / cell.positive.capacity(),
                                 cell.inventory.negative - one_c * 1500 / cell.negative->capacity()};
  CHECK_THAT(p.terminal.voltage, WithinAbs(model::equilibrium_voltage(cell, x, cell.temperature), 1e-6));
  const Eigen::VectorXd profile = rest.positive_profile(1e5, average.nodes);
  CHECK(profile.maxCoeff() - profile.minCoeff() < 1e-6);
  CHECK_THAT(p.positive_surface, WithinAbs(x.positive, 1e-6));
  CHECK(p.charge == discharge.last().charge);
  // relaxation is one way: after a discharge the voltage only rises
  double last = rest.first().terminal.voltage;
  for (double t = 1; t < 1e5; t *= 1.5) {
    CHECK(rest.at(t).terminal.voltage > last - 1e-6);
    last = rest.at(t).terminal.voltage;
  }
}

TEST_CASE("what a discharge takes out, a charge of the same length brings back", "[solver][conservation]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const model::Cell cell = published_cell(varying);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto start = simulator.at_rest(0);
  const auto out = simulator.run(start, {CurrentDrive{-one_c}, {.time = 1000}, ""});
  const auto back = simulator.run(out.final_state(), {CurrentDrive{one_c}, {.time = 1000}, ""});
  CHECK_THAT(back.last().positive_mean, WithinAbs(cell.inventory.positive, 1e-13));
  CHECK_THAT(back.last().negative_mean, WithinAbs(cell.inventory.negative, 1e-13));
  const auto rest = simulator.run(back.final_state(), {CurrentDrive{0}, {.time = 1e5}, ""});
  CHECK_THAT(rest.last().terminal.voltage,
             WithinAbs(model::equilibrium_voltage(cell, cell.inventory, cell.temperature), 1e-6));
  CHECK(-out.energy() < back.energy());  // the round trip costs energy
}

TEST_CASE("a mirrored electrode under a mirrored current shows the mirrored voltage", "[solver][symmetry]") {
  // x -> 1 - x, i -> -i, U -> -U maps every equation of a half cell with symmetric charge transfer onto itself, so the
  // two integrations differ by round-off only.
  const auto U = [](double x) { return 0.3 - 0.4 * x - 0.1 * std::tanh(8 * (x - 0.3)); };
  const auto D = [](double x) { return 4e-15 * std::exp(1.5 * (x - 0.5)); };
  const auto cell = [&](bool mirrored) {
    model::Cell c = published_cell();
    c.negative.reset();
    c.counter = model::LithiumMetal{model::Property::constant(8.1)};
    c.positive.host.potential = model::OpenCircuitPotential(model::Property(model::Curve::approximation(
        [&](double x) { return mirrored ? -U(1 - x) : U(x); }, 0, 1, 1e-11, model::Curve::Beyond::tangent)));
    c.positive.host.diffusivity = model::Property(model::Curve::approximation(
        [&](double x) { return mirrored ? D(1 - x) : D(x); }, 0, 1, 1e-26, model::Curve::Beyond::hold));
    c.inventory.positive = mirrored ? 0.65 : 0.35;
    return c;
  };
  solver::Workspace workspace;
  solver::Simulator one(cell(false), workspace), other(cell(true), workspace);
  solver::State a = one.at_rest(0), b = other.at_rest(0);
  for (const auto& [rate, time] : {std::pair{-0.6, 1200.0}, {0.0, 50.0}, {2.0, 40.0}}) {
    const auto step = one.run(a, {CurrentDrive{rate * one_c}, {.time = time}, ""});
    const auto mirror = other.run(b, {CurrentDrive{-rate * one_c}, {.time = time}, ""});
    for (const double part : {0.0, 1e-3, 0.2, 1.0}) {
      CHECK_THAT(mirror.at(part * time).terminal.voltage, WithinAbs(-step.at(part * time).terminal.voltage, 1e-7));
      CHECK_THAT(mirror.at(part * time).positive_surface, WithinAbs(1 - step.at(part * time).positive_surface, 1e-7));
    }
    a = step.final_state();
    b = mirror.final_state();
  }
}
