// Where a step ends, and where it must not.

#include <cmath>

#include "solver/charge/ceiling.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/even.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/solver/bench.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;
using solver::Ended;
using tests::Bench;
using tests::published_cell;

namespace {
constexpr double one_c = tests::published_one_c;
}  // namespace

TEST_CASE("a step that leads away from a limit runs its time", "[solver][ends]") {
  // The grain surface stands at its limit when the step starts; a rest, a reversal and a smaller current relieve it.
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  Bench bench{published_cell(varying)};
  const auto half = bench.simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(bench.cell), 0.5));
  for (const double sign : {-1.0, 1.0}) {
    const auto met = bench.run(half, CurrentDrive{sign * 30 * one_c}, {.time = 1e4});
    REQUIRE(solver::is_physical(met.ended_by()));
    const solver::State there = met.final_state();
    for (const double next : {0.0, -1.0, -10.0}) {
      CAPTURE(sign, next);
      const auto step = bench.run(there, CurrentDrive{sign * next * one_c}, {.time = 20});
      CHECK(step.ended_by() == Ended::time);
      CHECK(step.duration() == Approx(20).epsilon(1e-12));
    }
    const auto slower = bench.run(there, CurrentDrive{sign * 25 * one_c}, {.time = 1e4});  // for a while
    CHECK(slower.ended_by() == met.ended_by());
    CHECK(slower.duration() > 0.1);
    const auto hold = bench.run(there, VoltageDrive{3.7}, {.time = 20});
    CHECK(hold.ended_by() == Ended::time);
    const auto further = bench.run(there, CurrentDrive{sign * 31 * one_c}, {.time = 20});
    CHECK(further.ended_by() == met.ended_by());
    CHECK(further.duration() == 0);
  }
}

TEST_CASE("salt that is used up comes back in a rest", "[solver][ends]") {
  model::Cell cell = tests::nmc811_graphite_siox();
  Bench bench{cell, model::ElectrolyteModel::resolved};
  const auto full = bench.simulator.at_rest(model::equilibrium_window(bench.cell).full);
  const auto met = bench.run(full, CurrentDrive{-6 * one_c}, {.time = 1e4});
  REQUIRE(met.ended_by() == Ended::salt_used_up);
  const auto rest = bench.run(met.final_state(), CurrentDrive{0}, {.time = 60});
  CHECK(rest.ended_by() == Ended::time);
  CHECK(rest.last().lowest_salt > 0.2 * cell.electrolyte.concentration);
  // Half the current goes on emptying for a moment what little is left, or recovers: the salt never falls below its
  // limit.
  const auto less = bench.run(met.final_state(), CurrentDrive{-5.9 * one_c}, {.time = 1e4});
  for (double t = 0; t <= less.duration(); t += less.duration() / 50 + 1e-9)
    CHECK(less.at(std::min(t, less.duration())).lowest_salt > 0.0024 * cell.electrolyte.concentration);
}

TEST_CASE("a protocol goes on from the last step that was run, and passes over one that cannot begin",
          "[solver][ends]") {
  Bench bench{published_cell()};
  const auto half = bench.simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(bench.cell), 0.5));
  model::Protocol protocol;
  protocol.steps = {{CurrentDrive{-30 * one_c}, {.time = 1e4}, "until a surface is full"},
                    {CurrentDrive{-30 * one_c}, {.time = 10}, "further"},
                    {CurrentDrive{one_c}, {.voltage = 2.0}, "met already"},
                    {CurrentDrive{0}, {.time = 300}, "rest"}};
  const auto run = solver::run_protocol(bench.simulator, half, protocol);
  REQUIRE(run.size() == 4);
  CHECK_FALSE(run[0].passed_over());
  CHECK(run[1].passed_over());
  CHECK(run[1].solution.ended_by() == Ended::positive_surface_full);
  CHECK(run[2].passed_over());
  CHECK(run[2].solution.ended_by() == Ended::voltage);
  CHECK(run[3].solution.ended_by() == Ended::time);
  CHECK(run[3].solution.duration() == Approx(300).epsilon(1e-12));
  CHECK(run[3].start_time == run[0].solution.duration());
  const auto directly = bench.run(run[0].solution.final_state(), CurrentDrive{0}, {.time = 300});
  CHECK_THAT(run[3].solution.last().terminal.voltage, WithinAbs(directly.last().terminal.voltage, 1e-12));
}

TEST_CASE("a failure in a protocol names the step", "[solver][ends]") {
  Bench bench{published_cell()};
  model::Protocol protocol;
  protocol.steps = {{CurrentDrive{0}, {.time = 1}, "rest"}, {CurrentDrive{0}, {.voltage = 4.5}, "rest until 4.5 V"}};
  protocol.repeat = 2;
  CHECK_THROWS_WITH(solver::run_protocol(bench.simulator, bench.simulator.at_rest(0), protocol),
                    "step 1.2: the step 'rest until 4.5 V' meets none of its ends");
}

TEST_CASE("a cut-off that is passed and left again inside one step of the integrator ends the step", "[solver][ends]") {
  // A dip of 50 mV over 1.2 % of the capacity in the potential, passed by 1 mV: the integrator at constant current
  // takes steps of 2.5
  // %.
  model::Cell cell = published_cell();
  const double Q = cell.positive.capacity(), x0 = cell.inventory.positive;
  const double middle = x0 + 0.2, width = 0.006;
  const auto smooth =
      model::Curve::approximation([](double x) { return 4.2 - 0.4 * x; }, 0, 1, 1e-9, model::Curve::Beyond::tangent);
  const auto hump =
      model::Curve::approximation([&](double x) { return -0.05 * std::exp(-std::pow((x - middle) / width, 2)); },
                                  middle - 5 * width, middle + 5 * width, 1e-9, model::Curve::Beyond::hold);
  cell.positive.host.potential = model::OpenCircuitPotential(smooth).plus(hump);
  cell.negative->host.potential = model::OpenCircuitPotential(model::Curve::constant(0.1));
  Bench bench{cell};
  const double current = -0.02 * one_c;  // so slow that the surface follows the mean
  const auto whole = bench.run(bench.simulator.at_rest(0), CurrentDrive{current}, {.time = 0.3 * Q / -current});
  // fine samples of the run without a cut-off: where the hump is deepest, and the voltage around it
  double lowest = 10, at = 0;
  for (double t = 0.6; t < 0.72; t += 1e-5) {
    const double V = whole.at(t * whole.duration()).terminal.voltage;
    if (V < lowest) lowest = V, at = t * whole.duration();
  }
  REQUIRE(lowest < whole.last().terminal.voltage - 0.004);
  const double cut_off = lowest + 0.001;
  const auto ended =
      bench.run(bench.simulator.at_rest(0), CurrentDrive{current}, {.voltage = cut_off, .time = whole.duration()});
  CHECK(ended.ended_by() == Ended::voltage);
  CHECK(ended.duration() < at);
  CHECK_THAT(ended.last().terminal.voltage, WithinAbs(cut_off, 1e-4));
}

TEST_CASE("a run that fills a host to its last site ends at the cut-off voltage", "[solver][ends]") {
  // No potential and no kinetics has a bound there: the voltage is met within a millionth of the capacity.
  for (const bool varying : {false, true}) {
    CAPTURE(varying);
    Bench bench{published_cell(varying)};
    const double lower = -0.5;  // volts that no rest of this cell reaches
    const auto run = bench.run(bench.simulator.at_rest(0), CurrentDrive{-one_c / 50}, {.voltage = lower});
    CHECK(run.ended_by() == Ended::voltage);
    CHECK_THAT(run.last().terminal.voltage, WithinAbs(lower, 1e-4));
    const auto p = run.last();
    CHECK((p.positive_surface > 1 - 1e-3 || p.negative_surface < 1e-3));
    CHECK(p.positive_mean < 1);
    CHECK(p.negative_mean > -1e-6);
  }
}

TEST_CASE("a grain surface is continuous where the number of modes rises while a layer is young", "[solver][ends]") {
  const model::Cell cell = published_cell(true);
  for (const double age : {1e-3, 0.4, 20.0}) {
    CAPTURE(age);
    solver::Workspace workspace;
    solver::Simulator coarse(cell, workspace, {.truncation = 1, .fewest_modes = 12});
    const solver::State state =
        coarse.run(coarse.at_rest(0), {CurrentDrive{-5 * one_c}, {.time = age}, "pulse"}).final_state();
    const auto first = [&](int modes) {
      solver::EvenSegment segment(std::make_shared<model::SingleParticle>(cell, modes, modes), state,
                                  {CurrentDrive{-5 * one_c}, {.time = 10}, ""});
      const solver::Vector y = segment.starting_unknowns();
      return segment.point(0, {y.data(), y.size()});
    };
    const auto few = first(12), many = first(60);
    CHECK_THAT(many.positive_surface, WithinAbs(few.positive_surface, 1e-8));
    CHECK_THAT(many.negative_surface, WithinAbs(few.negative_surface, 1e-8));
  }
}

TEST_CASE("a charge is followed up to the full grain surface, and that is what limits it", "[solver][ends]") {
  // Plating and salt out of the way: grains at the separator fill up first.
  model::Cell cell = tests::nmc811_graphite_siox();
  const model::Window window = model::equilibrium_window(cell);
  solver::Workspace workspace;
  solver::ChargeLimits limits;
  limits.plating_margin = -10;
  limits.lowest_salt_share = -1e9;
  limits.keep_voltage = false;
  cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(10);
  cell.positive.host.diffusivity = cell.positive.host.diffusivity.scaled(100);
  solver::ChargeStudy study(cell, window, {0, 0.9}, limits, workspace);
  const solver::Ceiling ceiling = study.ceiling(20);
  CHECK(ceiling.charge.tightest == solver::Limit::negative_surface);
  CHECK(ceiling.charge.margin(solver::Limit::negative_surface)->worst > 0.999);
  // Those behind take over what they cannot: it is a good deal later that no grain takes the current any more.
  const solver::JudgedCharge above = study.judge(2 * ceiling.current);
  CHECK_FALSE(above.completed);
  CHECK(above.tightest == solver::Limit::negative_surface);
  CHECK_THAT(above.margin(solver::Limit::negative_surface)->worst, WithinAbs(1, 2e-6));
  CHECK(above.duration < 0.9 * study.whole() / above.current);
}
