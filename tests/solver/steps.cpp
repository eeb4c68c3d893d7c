// How a step begins and how it ends.

#include <cmath>

#include "model/kinetics.hpp"
#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"
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

TEST_CASE("when the current is switched on, the voltage jumps by charge transfer and ohmic drop alone",
          "[solver][steps]") {
  Bench bench{published_cell(true)};
  bench.cell.contact_resistance = 0;
  const auto start = bench.simulator.at_rest(0);
  for (const double rate : {-2.0, -0.1, 0.5}) {
    CAPTURE(rate);
    const double i = rate * one_c;
    const auto step = bench.run(start, CurrentDrive{i}, {.time = 10});
    // by hand, with 2RT/F = 51.385158 mV, Butler and Volmer's law, and L/3 of each layer, Bruggeman's exponent 3/2
    const model::Stoichiometries x = bench.cell.inventory;
    const auto eta = [](double current, double surface, double m, double c_max, double filled) {
      return 51.385158e-3 * std::asinh(current / surface / (2 * m * std::sqrt(1000 * filled * (1 - filled)) * c_max));
    };
    const double eta_p = eta(i, 3 * 0.665 / 5.22e-6 * 75.6e-6, 3.42e-6, 63104, x.positive);
    const double eta_n = eta(-i, 3 * 0.75 / 5.86e-6 * 85.2e-6, 6.48e-7, 33133, x.negative);
    const double ohmic =
        i / 0.9487 *
        (85.2e-6 / 3 / std::pow(0.25, 1.5) + 12e-6 / std::pow(0.47, 1.5) + 75.6e-6 / 3 / std::pow(0.335, 1.5));
    const double rest = tests::nmc811_potential(x.positive) - tests::graphite_siox_potential(x.negative);
    CHECK_THAT(step.first().terminal.voltage, WithinAbs(rest + eta_p - eta_n + ohmic, 1e-8));
    const auto terminal = step.model().terminal(x.positive, x.negative, i, 298.15);
    CHECK_THAT(step.first().terminal.voltage, WithinAbs(terminal.voltage, 1e-14));
    // and jumps back when it is switched off, from wherever it is then
    const auto off = bench.run(step.final_state(), CurrentDrive{0}, {.time = 1});
    const auto last = step.last();
    CHECK_THAT(off.first().terminal.voltage,
               WithinAbs(last.terminal.positive_potential - last.terminal.negative_potential, 1e-11));
  }
}

TEST_CASE("a step ends by whichever of its ends comes first", "[solver][steps]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  Bench bench{published_cell(varying)};
  const auto start = bench.simulator.at_rest(0);
  const auto by_time = bench.run(start, CurrentDrive{-one_c}, {.voltage = 3.0, .time = 100, .capacity = 101 * one_c});
  CHECK(by_time.ended_by() == Ended::time);
  CHECK_THAT(by_time.duration(), WithinRel(100, 1e-14));
  const auto by_capacity =
      bench.run(start, CurrentDrive{-one_c}, {.voltage = 3.0, .time = 100, .capacity = 99 * one_c});
  CHECK(by_capacity.ended_by() == Ended::capacity);
  CHECK_THAT(by_capacity.duration(), WithinRel(99, 1e-13));
  CHECK_THAT(by_capacity.last().charge, WithinRel(-99 * one_c, 1e-12));
  const auto by_voltage = bench.run(start, CurrentDrive{-one_c}, {.voltage = 3.9, .time = 1e5, .capacity = 1e6});
  CHECK(by_voltage.ended_by() == Ended::voltage);
  CHECK_THAT(by_voltage.last().terminal.voltage, WithinAbs(3.9, 1e-7));  // located to round-off of the time
  for (double t = 0; t < by_voltage.duration(); t += 10) CHECK(by_voltage.at(t).terminal.voltage > 3.9);
  const auto hold_capacity = bench.run(start, VoltageDrive{3.9}, {.time = 1e6, .capacity = 5000});
  CHECK(hold_capacity.ended_by() == Ended::capacity);
  CHECK_THAT(std::abs(hold_capacity.last().charge), WithinRel(5000, 1e-6));
  const auto hold_current = bench.run(start, VoltageDrive{3.9}, {.time = 1e6, .current = 3});
  CHECK(hold_current.ended_by() == Ended::current);
  CHECK_THAT(hold_current.last().current, WithinAbs(-3, 1e-4));
  const auto rest = bench.run(by_voltage.final_state(), CurrentDrive{0}, {.time = 1e5});
  const double between = 0.5 * (rest.first().terminal.voltage + rest.last().terminal.voltage);
  const auto relaxing = bench.run(by_voltage.final_state(), CurrentDrive{0}, {.voltage = between, .time = 1e5});
  CHECK(relaxing.ended_by() == Ended::voltage);
  CHECK_THAT(relaxing.last().terminal.voltage, WithinAbs(between, 1e-7));
  CHECK_THAT(rest.at(relaxing.duration()).terminal.voltage, WithinAbs(between, 20e-6));
}

TEST_CASE("an end that holds already when the step starts ends it at once", "[solver][steps]") {
  Bench bench{published_cell()};
  const auto start = bench.simulator.at_rest(0);  // 4.181 V at rest
  struct Row {
    const char* name;
    model::Drive drive;
    model::Ends until;
    Ended ended;
  };
  const Row rows[] = {
      {"a discharge below its cut-off", CurrentDrive{-one_c}, {.voltage = 4.3}, Ended::voltage},
      {"a charge above its cut-off", CurrentDrive{one_c}, {.voltage = 4.0}, Ended::voltage},
      {"a hold whose current is small enough", VoltageDrive{4.18}, {.current = 10 * one_c}, Ended::current},
  };
  for (const Row& row : rows) {
    CAPTURE(row.name);
    const auto step = bench.run(start, row.drive, row.until);
    CHECK(step.ended_by() == row.ended);
    CHECK(step.duration() == 0);
    CHECK(step.energy() == 0);
    CHECK(step.last().charge == 0);
    CHECK_THAT(step.final_state().charge, WithinAbs(0, 1e-12));
    // the state goes on as if nothing had been done
    const auto next = bench.run(step.final_state(), CurrentDrive{-one_c}, {.time = 50});
    const auto directly = bench.run(start, CurrentDrive{-one_c}, {.time = 50});
    for (const double t : {0.0, 0.1, 50.0})
      CHECK_THAT(next.at(t).terminal.voltage, WithinAbs(directly.at(t).terminal.voltage, 1e-10));
  }
  // a rest that waits for a voltage ends when the voltage has come from the side where it started
  const auto wait = bench.run(start, CurrentDrive{0},
                              {.voltage = bench.run(start, CurrentDrive{0}, {.time = 1}).first().terminal.voltage});
  CHECK(wait.ended_by() == Ended::voltage);
  CHECK(wait.duration() == 0);
}

TEST_CASE("a grain surface that is full or empty ends a step by name", "[solver][steps]") {
  // Potentials without logarithms and no cut-off: only the lithium is left to end the step. 30C is far beyond
  // diffusion.
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  Bench bench{published_cell(varying)};
  const auto half = bench.simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(bench.cell), 0.5));
  const auto filled = bench.run(half, CurrentDrive{-30 * one_c}, {.time = 1e4});
  CHECK(filled.ended_by() == Ended::positive_surface_full);
  CHECK_THAT(filled.last().positive_surface, WithinAbs(1, 2e-6));
  CHECK(solver::name_of(filled.ended_by()) == "positive grain surface full");
  const auto emptied = bench.run(half, CurrentDrive{30 * one_c}, {.time = 1e4});
  CHECK(emptied.ended_by() == Ended::positive_surface_empty);
  CHECK_THAT(emptied.last().positive_surface, WithinAbs(0, 2e-6));

  model::Cell thick = bench.cell;  // positive, so that the negative ends first
  thick.positive.thickness *= 5;
  thick.inventory = {0.5, 0.5};
  Bench other{thick};
  const auto middle = other.simulator.at_rest(0);
  const auto full = other.run(middle, CurrentDrive{30 * one_c}, {.time = 1e4});
  CHECK(full.ended_by() == Ended::negative_surface_full);
  CHECK_THAT(full.last().negative_surface, WithinAbs(1, 2e-6));
  const auto empty = other.run(middle, CurrentDrive{-30 * one_c}, {.time = 1e4});
  CHECK(empty.ended_by() == Ended::negative_surface_empty);
  CHECK_THAT(empty.last().negative_surface, WithinAbs(0, 2e-6));

  // driven further, it stops at once
  const auto further = bench.run(filled.final_state(), CurrentDrive{-30 * one_c}, {.time = 10});
  CHECK(further.duration() < 1e-6);
  CHECK(further.ended_by() == Ended::positive_surface_full);
}

TEST_CASE("a step that can never end says so", "[solver][steps]") {
  Bench bench{published_cell()};
  const auto start = bench.simulator.at_rest(0);
  CHECK_THROWS_AS(bench.run(start, CurrentDrive{0}, {.voltage = 4.5}), solver::IntegrationFailure);
  CHECK_THROWS_WITH(bench.run(start, CurrentDrive{0}, {.voltage = 4.5}, "rest until 4.5 V"),
                    "the step 'rest until 4.5 V' meets none of its ends");
  CHECK_THROWS_WITH(bench.run(start, CurrentDrive{0}, {}, "rest"), "the step 'rest' meets none of its ends");
  CHECK_THROWS_WITH(bench.run(start, VoltageDrive{4.0}, {}, "hold"), "the step 'hold' meets none of its ends");
  CHECK_THROWS_WITH(bench.run(start, CurrentDrive{-1e-12}, {.capacity = 1e3}, "a crawl"),  // 32 million years
                    "the step 'a crawl' meets none of its ends");
}

TEST_CASE("the energy of a step is the integral of voltage times current", "[solver][steps]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  Bench bench{published_cell(varying)};
  const auto start = bench.simulator.at_rest(0);
  const auto fine = [](const solver::StepSolution& step) {  // t = T u^4 spreads the square root at the start
    const double T = step.duration();
    return tests::integral(
        [&](double u) {
          const auto p = step.at(T * std::pow(u, 4));
          return p.terminal.voltage * p.current * 4 * T * std::pow(u, 3);
        },
        0, 1, 4000);
  };
  for (const double rate : {-0.2, -1.0, -4.0}) {
    const auto step = bench.run(start, CurrentDrive{rate * one_c}, {.voltage = 2.5});
    CAPTURE(rate);
    CHECK_THAT(step.energy(), WithinRel(fine(step), 1e-5));  // the steep fall at the cut-off costs a few 1e-6
    CHECK(step.energy() < 0);                                // comes out
  }
  const auto hold = bench.run(start, VoltageDrive{3.6}, {.time = 3000});
  CHECK_THAT(hold.energy(), WithinRel(fine(hold), 1e-6));
  CHECK_THAT(hold.energy(),
             WithinRel(3.6 * hold.last().charge, 1e-4));  // V times charge, as well as that is integrated
  CHECK(bench.run(start, CurrentDrive{0}, {.time = 100}).energy() == 0);
}

TEST_CASE("every end has a name for people", "[solver][steps]") {
  CHECK(solver::name_of(Ended::voltage) == "voltage cut-off");
  CHECK(solver::name_of(Ended::time) == "time");
  CHECK(solver::name_of(Ended::current) == "current");
  CHECK(solver::name_of(Ended::capacity) == "capacity");
  CHECK(solver::name_of(Ended::positive_surface_empty) == "positive grain surface empty");
  CHECK(solver::name_of(Ended::negative_surface_full) == "negative grain surface full");
  CHECK(solver::name_of(Ended::negative_surface_empty) == "negative grain surface empty");
}
