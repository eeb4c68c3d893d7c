// What a step must not pass over on its way.

#include <cmath>

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;

namespace {

constexpr double depth = 0.15, half_width = 1.0 / 72;  // V, of the stoichiometry: where the dip is half as deep

/// A potential that is all but level, with one narrow dip: a cut-off half-way down is met on a 36th of the way and
/// nowhere else.
double dipped(double x, double where) {
  const double s = (x - where) / half_width;
  return 3.9 - 0.02 * x - depth * std::exp2(-s * s);
}

/// A working electrode of quick grains, so that the voltage follows its potential within a millivolt or two.
model::Cell quick_half_cell(double where) {
  using namespace model;
  Cell cell = tests::published_cell();
  cell.negative.reset();
  cell.counter = LithiumMetal{Property::constant(1e3)};
  cell.positive.host.potential = OpenCircuitPotential(
      Property(Curve::approximation([&](double x) { return dipped(x, where); }, 0, 1, 1e-9, Curve::Beyond::tangent)));
  cell.positive.host.diffusivity = Property::constant(1e-11);
  cell.positive.host.exchange_current_density = Property::constant(1e3);
  cell.inventory = {0.08, 0};
  return cell;
}

}  // namespace

TEST_CASE("a cut-off that the voltage meets on a 36th of the way ends the step there", "[solver][steps]") {
  // The equations have a closed form here, so that the integrator itself would gladly take a quarter of the way in a
  // step. The stoichiometry at which it must end is that of the formula of the potential, solved by hand: half-way up
  // the dip.
  for (const double where : {0.237, 0.341, 0.466, 0.553, 0.672, 0.818}) {
    CAPTURE(where);
    const model::Cell cell = quick_half_cell(where);
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace);
    const double i = -cell.positive.capacity() / 3600 / 20;  // C/20
    model::Step step{model::CurrentDrive{i}, {}, "a slow discharge"};
    step.until.voltage = dipped(where - half_width, where);
    step.until.capacity = 0.9 * cell.positive.capacity();
    const solver::StepSolution run = simulator.run(simulator.at_rest(0), step);
    CHECK(run.ended_by() == solver::Ended::voltage);
    // a loss of 2 mV on a flank of 7 V per unit of stoichiometry
    CHECK_THAT(run.last().positive_mean, WithinAbs(where - half_width, 5e-4));
  }
}
