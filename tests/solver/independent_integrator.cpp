// The model against the same equations solved by a general-purpose integrator: SciPy's Radau on a spectral-element
// grid (tests/reference/single_particle_reference.py; derivation, discretisation and time integration of its own,
// converged to better than 1e-5 uV). The parameters are those of a cell from a paper, from memory: see
// published_cells.hpp.

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::VoltageDrive;
using solver::Ended;
using tests::ReferenceTable;

namespace {
constexpr double voltage_tolerance = 50e-6;  // promised: 0.05 mV of a converged solution at default settings

/// Largest voltage difference over the rows of a table from `first` on that share the current and lie within the step.
double largest_difference(const ReferenceTable& table, std::size_t first, std::size_t last, double start_time,
                          const solver::StepSolution& step) {
  double worst = 0;
  for (std::size_t k = first; k < last; ++k) {
    const double t = table.rows[k][0] - start_time;
    if (t > step.duration()) continue;
    worst = std::max(worst, std::abs(step.at(t).terminal.voltage - table.rows[k][2]));
  }
  return worst;
}
}  // namespace

TEST_CASE("discharge curves agree with an independent integrator within 0.05 mV from C/20 to 5C",
          "[solver][reference]") {
  struct Row {
    const char* name;
    bool varying;
    double c_rate;
  };
  const auto row = GENERATE(values<Row>({
      {"discharge_constant_C20.csv", false, 0.05},
      {"discharge_constant_C2.csv", false, 0.5},
      {"discharge_constant_1C.csv", false, 1},
      {"discharge_constant_2C.csv", false, 2},
      {"discharge_constant_5C.csv", false, 5},
      {"discharge_varying_C20.csv", true, 0.05},
      {"discharge_varying_C2.csv", true, 0.5},
      {"discharge_varying_1C.csv", true, 1},
      {"discharge_varying_2C.csv", true, 2},
      {"discharge_varying_5C.csv", true, 5},
  }));
  CAPTURE(row.name);
  const ReferenceTable table(row.name);
  const model::Cell cell = tests::published_cell(row.varying);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto step = simulator.run(simulator.at_rest(0),
                                  {CurrentDrive{-row.c_rate * tests::published_one_c}, {.voltage = 2.5}, "discharge"});
  // The last row is the cut-off itself, where the curve may fall steeply: it is held to the end time below.
  const double worst = largest_difference(table, 0, table.rows.size() - 1, 0, step);
  UNSCOPED_INFO("largest difference " << worst * 1e6 << " uV, modes " << step.model().positive().count());
  CHECK(worst < voltage_tolerance);
  CHECK_THAT(step.duration(), WithinRel(table.stated("end_time_s"), 1e-4));  // promised: capacity within 0.01 %
}

TEST_CASE("pulses and rests agree with an independent integrator within 0.05 mV", "[solver][reference]") {
  const ReferenceTable table("pulses_varying.csv");
  const double one_c = tests::published_one_c;
  const std::vector<std::pair<double, double>> steps = {{-1, 600}, {0, 1200}, {-5, 10},    {0, 60},
                                                        {2, 30},   {0, 600},  {-0.5, 1800}};
  solver::Workspace workspace;
  solver::Simulator simulator(tests::published_cell(true), workspace);
  solver::State state = simulator.at_rest(0);
  double start = 0;
  std::size_t first = 0;
  for (const auto& [c_rate, duration] : steps) {
    CAPTURE(c_rate, start);
    const auto step = simulator.run(state, {CurrentDrive{c_rate * one_c}, {.time = duration}, "pulse"});
    CHECK_THAT(step.duration(), WithinRel(duration, 1e-12));
    std::size_t last = first;  // rows of this step: until the time stands twice
    while (last < table.rows.size() && table.rows[last][0] <= start + duration + 1e-9) {
      ++last;
      if (last < table.rows.size() && table.rows[last][0] == table.rows[last - 1][0]) break;
    }
    REQUIRE(last > first + 3);
    const double worst = largest_difference(table, first, last, start, step);
    UNSCOPED_INFO("largest difference " << worst * 1e6 << " uV");
    CHECK(worst < voltage_tolerance);
    first = last;
    start += duration;
    state = step.final_state();
  }
  CHECK(first == table.rows.size());
}

TEST_CASE("a charge and the voltage hold after it agree with an independent integrator", "[solver][reference]") {
  const bool varying = GENERATE(false, true);
  CAPTURE(varying);
  const ReferenceTable table(varying ? "charge_hold_varying.csv" : "charge_hold_constant.csv");
  const model::Cell cell = tests::published_cell(varying);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto window = model::equilibrium_window(cell);
  const double one_c = tests::published_one_c;

  const auto charge = simulator.run(simulator.at_rest(window.empty), {CurrentDrive{one_c}, {.voltage = 4.2}, "charge"});
  CHECK(charge.ended_by() == Ended::voltage);
  CHECK_THAT(charge.duration(), WithinRel(table.stated("switch_time_s"), 1e-4));
  const auto hold = simulator.run(charge.final_state(), {VoltageDrive{4.2}, {.current = one_c / 20}, "hold"});
  CHECK(hold.ended_by() == Ended::current);
  CHECK_THAT(hold.duration(), WithinRel(table.stated("hold_duration_s"), 1e-4));

  double worst_voltage = 0, worst_current = 0;
  for (const auto& row : table.rows) {
    if (row[0] < charge.duration())
      worst_voltage = std::max(worst_voltage, std::abs(charge.at(row[0]).terminal.voltage - row[2]));
    const double t = row[0] - table.stated("switch_time_s");
    if (row[1] < one_c && t > 0 && t < hold.duration()) {
      worst_current = std::max(worst_current, std::abs(hold.at(t).current - row[1]));
    }
  }
  UNSCOPED_INFO("voltage " << worst_voltage * 1e6 << " uV, current " << worst_current / one_c);
  CHECK(worst_voltage < voltage_tolerance);
  CHECK(worst_current <
        1e-4 * one_c);  // a voltage within 0.05 mV allows for this much on a slope of 0.5 ohm m2 / one_c
}
