// An electrode against lithium metal.

#include <cmath>

#include "model/balance.hpp"
#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using model::CurrentDrive;
using solver::Ended;

namespace {
constexpr double one_c = tests::published_one_c;

/// The published positive against lithium of 8.1 A/m2 (J. Power Sources 68, 483 (1997), in 0.1 mol/L; invented for 1
/// mol/L).
model::Cell oxide_half_cell(bool varying = false) {
  model::Cell cell = tests::published_cell(varying);
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  cell.lower_voltage = 3.5;
  cell.upper_voltage = 4.25;
  return cell;
}

/// The published negative as working electrode.
model::Cell graphite_half_cell() {
  model::Cell cell = oxide_half_cell();
  cell.positive = *tests::published_cell().negative;
  cell.lower_voltage = 0.1;
  cell.upper_voltage = 1.0;
  cell.inventory = {0.5, 0};
  return cell;
}
}  // namespace

TEST_CASE("a half cell discharges from cut-off to cut-off as its potential allows", "[solver][half_cell]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const model::Cell cell = oxide_half_cell(varying);
  const model::Window window = model::equilibrium_window(cell);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  double last = 0;
  for (const double rate : {2.0, 1.0, 0.2, 0.01}) {
    const auto step =
        simulator.run(simulator.at_rest(window.full), {CurrentDrive{-rate * one_c}, {.voltage = 3.5}, "discharge"});
    CAPTURE(rate);
    CHECK(step.ended_by() == Ended::voltage);
    const double share = -(step.last().charge - step.first().charge) / window.capacity;
    CHECK(share > last);
    CHECK(share < 1);
    last = share;
    CHECK(step.last().negative_surface == 0);
    CHECK(step.last().negative_mean == 0);
  }
  CHECK(last > 0.995);  // C/100 comes to within a few mV of equilibrium
}

TEST_CASE("the voltage of a half cell is that of its parts, worked out by hand, once the profile is steady",
          "[solver][half_cell]") {
  // Steady: surface = mean + i/(a L F c_max) R / (5 D) (Crank, ch. 6), the lithium loses (2RT/F) asinh(i / 2 i0).
  const model::Cell cell = oxide_half_cell();
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const double i = -0.2 * one_c, t = 8000;  // R^2 / (20.19 D) is 337 s: e^-24 of the transient is left
  const auto step = simulator.run(simulator.at_rest({0.3, 0}), {CurrentDrive{i}, {.time = t}, "discharge"});
  const double F = 96485.33212, aL = 3 * 0.665 / 5.22e-6 * 75.6e-6, two_thermal = 51.385158e-3;
  const double mean = 0.3 - i * t / (F * 0.665 * 75.6e-6 * 63104);
  const double surface = mean - i / (aL * F * 63104) * 5.22e-6 / (5 * 4e-15);
  const double eta =
      two_thermal * std::asinh(i / aL / (2 * 3.42e-6 * std::sqrt(1000 * surface * (1 - surface)) * 63104));
  const double lithium = two_thermal * std::asinh(-i / (2 * 8.1));
  const double ohmic = i / 0.9487 * (12e-6 / std::pow(0.47, 1.5) + 75.6e-6 / 3 / std::pow(0.335, 1.5));
  CHECK_THAT(step.last().positive_surface, WithinAbs(surface, 1e-9));
  CHECK_THAT(step.last().terminal.voltage, WithinAbs(tests::nmc811_potential(surface) + eta - lithium + ohmic, 1e-7));
}

TEST_CASE("graphite against lithium empties when the cell is charged", "[solver][half_cell]") {
  const model::Cell cell = graphite_half_cell();
  const model::Window window = model::equilibrium_window(cell);
  CHECK(window.full.positive < window.empty.positive);  // "full" cell: highest voltage, emptied graphite
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto charge =
      simulator.run(simulator.at_rest(window.empty), {CurrentDrive{0.2 * one_c}, {.voltage = 1.0}, "charge"});
  CHECK(charge.ended_by() == Ended::voltage);
  CHECK(charge.last().positive_mean < 0.1);
  CHECK(charge.first().terminal.voltage > 0.1);
  const auto back = simulator.run(charge.final_state(), {CurrentDrive{-0.2 * one_c}, {.voltage = 0.001}, "discharge"});
  CHECK(back.last().positive_mean > 0.5);
  // lithium: the charge that left is the filling that is missing
  CHECK_THAT((charge.first().positive_mean - charge.last().positive_mean) * cell.positive.capacity(),
             WithinRel(charge.last().charge - charge.first().charge, 1e-12));
}

TEST_CASE("two half cells with the same lithium make the full cell", "[solver][half_cell]") {
  // V = (working positive against lithium) - (working negative against lithium), with the current reversed in the
  // second and no loss in lithium and separator: an electrode does not know what it faces.
  auto without_losses = [](model::Cell cell) {
    if (cell.counter) cell.counter->exchange_current_density = model::Property::constant(1e12);
    cell.electrolyte.conductivity = model::Property::constant(1e12);
    return cell;
  };
  const bool varying = GENERATE(false, true);
  const model::Cell full = without_losses(tests::published_cell(varying));
  model::Cell positive = without_losses(oxide_half_cell(varying)), negative = without_losses(oxide_half_cell(varying));
  negative.positive = *full.negative;
  negative.inventory = {full.inventory.negative, 0};
  solver::Workspace workspace;
  solver::Simulator of_full(full, workspace), of_positive(positive, workspace), of_negative(negative, workspace);
  const double i = -one_c;
  const auto a = of_full.run(of_full.at_rest(0), {CurrentDrive{i}, {.time = 2000}, ""});
  const auto b = of_positive.run(of_positive.at_rest(0), {CurrentDrive{i}, {.time = 2000}, ""});
  const auto c = of_negative.run(of_negative.at_rest(0), {CurrentDrive{-i}, {.time = 2000}, ""});
  for (const double t : {0.0, 0.01, 3.0, 400.0, 2000.0}) {
    CAPTURE(varying, t);
    // constant D: closed forms; else each integration has its own steps and errors of a few uV
    CHECK_THAT(a.at(t).terminal.voltage,
               WithinAbs(b.at(t).terminal.voltage - c.at(t).terminal.voltage, varying ? 30e-6 : 1e-9));
  }
}
