// A cell whose reaction is resolved over the depth of its layers: against the full porous-electrode calculation, and
// against the single particle that it becomes between good conductors.

#include <cmath>
#include <utility>

#include "model/kinetics.hpp"
#include "solver/step/curves.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using model::Cell;
using model::CurrentDrive;
using model::ElectrolyteModel;
using model::Reaction;
using model::VoltageDrive;
using solver::Accuracy;
using solver::Simulator;
using solver::State;
using solver::StepSolution;
using solver::Workspace;

namespace {

constexpr double one_c = tests::published_one_c;

Simulator uneven(const Cell& cell, Workspace& workspace) {
  return Simulator(cell, workspace, ElectrolyteModel::resolved, Reaction::uneven);
}

/// With so many points over the depth and no more, and everything else finer than they are.
Accuracy points_alone(int count) {
  return {.relative_tolerance = 1e-6,
          .absolute_factor = 0.05,
          .truncation = 1e-5,
          .fewest_modes = 12,
          .salt_degree = 16,
          .fewest_points = count,
          .depth = 1e9};
}

solver::ConstantCurrentCurve curve_of(Simulator& simulator, double current) {
  return solver::constant_current(
      simulator, solver::start_of(simulator, model::equilibrium_window(simulator.cell()), current > 0), current);
}

/// Root mean square between 1 and 95 % of the charge of the shorter run, weighted by the charge [V].
double rms(const StepSolution& step, const tests::ReferenceTable& table) {
  const double until = std::min(step.duration(), table.rows.back()[0]);
  double squares = 0, weight = 0, last = 0;
  for (const auto& row : table.rows) {
    const double passed = row[0] - last;  // the current is constant
    last = row[0];
    if (row[0] < 0.01 * until || row[0] > 0.95 * until) continue;
    squares += passed * std::pow(step.at(row[0]).terminal.voltage - row[2], 2);
    weight += passed;
  }
  return std::sqrt(squares / weight);
}

Cell conducting(Cell cell, double factor) {
  cell.electrolyte.conductivity = cell.electrolyte.conductivity.scaled(factor);
  cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(factor);
  cell.positive.electronic_conductivity *= factor;
  if (cell.negative) cell.negative->electronic_conductivity *= factor;
  return cell;
}

Cell half_cell(bool varying = false) {  // 8.1 A/m2 for lithium is invented
  Cell cell = tests::nmc811_graphite_siox();
  if (varying) cell.positive.host.diffusivity = tests::published_cell(true).positive.host.diffusivity;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  cell.charged_state.reset();
  cell.lower_voltage = 3.5;
  cell.upper_voltage = 4.25;
  return cell;
}

}  // namespace

TEST_CASE("with the reaction resolved the voltage is that of the full porous-electrode calculation",
          "[solver][uneven]") {
  // Tables of tests/reference made by benchmarks/porous_electrode_table.cpp: finite volumes, extrapolated in their
  // grid; their own error is below 0.01 mV, at 3C of the first set 0.1 %.
  struct Row {
    const char* table;
    double voltage, end;
  };  // mV, relative error of the charge to the end
  const auto row = GENERATE(values<Row>({
      {"porous_nmc811_discharge_C10.csv", 0.3, 5e-4},
      {"porous_nmc811_discharge_C2.csv", 0.3, 5e-4},
      {"porous_nmc811_discharge_1C.csv", 0.3, 5e-4},
      {"porous_nmc811_discharge_2C.csv", 1, 5e-4},
      {"porous_nmc811_discharge_3C.csv", 3, 0.02},  // salt is used up: the end is asked for, and it knows 0.1 % itself
      {"porous_nmc811_charge_1C.csv", 0.3, 5e-4},
      {"porous_lco_discharge_C10.csv", 0.3, 5e-4},
      {"porous_lco_discharge_C2.csv", 0.3, 5e-4},
      {"porous_lco_discharge_1C.csv", 0.3, 5e-4},
      {"porous_lco_discharge_2C.csv", 1, 5e-4},
      {"porous_lco_discharge_3C.csv", 1, 5e-4},
      {"porous_lco_charge_1C.csv", 0.3, 5e-4},
  }));
  CAPTURE(row.table);
  const tests::ReferenceTable table(row.table);
  const Cell cell =
      std::string(row.table).find("_lco_") != std::string::npos ? tests::lco_graphite() : tests::nmc811_graphite_siox();
  Workspace workspace;
  Simulator simulator = uneven(cell, workspace);
  const auto curve = curve_of(simulator, table.stated("current_A_per_m2"));
  CHECK(1e3 * rms(curve.step, table) < row.voltage);
  CHECK_THAT(curve.capacity, WithinRel(table.stated("end_charge_C_per_m2"), row.end));
}

TEST_CASE("a charge goes on where the separator side is full, or the salt used up, as in the full calculation",
          "[solver][uneven]") {
  // The published NMC811 set with a dense negative (porosity 20 %) and an electrolyte that conducts and diffuses less
  // well, charged to 4.2 V. Reference: finite volumes of benchmarks/porous_electrode.hpp on 40/20/40 and 80/40/80
  // cells, extrapolated; what that changes is 0.1 to 0.6 mV and 0.03 to 0.1 % of the time.
  struct Row {
    const char* name;
    double electrolyte, current, end, end_error, allowed;
    std::vector<std::pair<double, double>> voltage;  // s, V
  };
  const Row rows[] = {
      {"grains at the separator fill to the last site",
       0.5,
       48,
       1999.31,
       1e-3,
       1e-3,
       {{200, 3.565584}, {400, 3.717803}, {700, 3.820505}, {1000, 3.887469}, {1500, 4.032694}, {1900, 4.162111}}},
      {"and earlier",
       0.4,
       48,
       1580.22,
       4e-3,
       1.5e-3,
       {{200, 3.657927}, {400, 3.781760}, {700, 3.869446}, {1000, 3.950411}, {1500, 4.145851}}},
      {"salt is used up at the foil",
       0.5,
       72,
       751.92,
       5e-3,
       5e-3,
       {{200, 3.854080}, {400, 3.959422}, {600, 4.056895}, {700, 4.136308}}},
  };
  for (const Row& row : rows) {
    Cell cell = tests::nmc811_graphite_siox();
    cell.negative->porosity = 0.2;
    cell.negative->tortuosity = 1 / std::sqrt(0.2);
    cell.electrolyte.conductivity = cell.electrolyte.conductivity.scaled(row.electrolyte);
    cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(row.electrolyte);
    Workspace workspace;
    Simulator simulator = uneven(cell, workspace);
    const auto curve = curve_of(simulator, row.current);
    CHECK(curve.step.ended_by() == solver::Ended::voltage);
    CAPTURE(row.name);
    CHECK_THAT(curve.step.duration(), WithinRel(row.end, row.end_error));
    for (const auto& [t, voltage] : row.voltage) {
      CAPTURE(t);
      CHECK_THAT(curve.step.at(t).terminal.voltage, WithinAbs(voltage, row.allowed));
    }
  }
}

TEST_CASE("two points more leave less than a third of the error over the depth, and the estimate knows it",
          "[solver][uneven][convergence]") {
  struct Row {
    const char* name;
    Cell cell;
    double current;
  };
  const Row rows[] = {{"nmc811, 1C", tests::nmc811_graphite_siox(), -one_c},
                      {"nmc811, 2C", tests::nmc811_graphite_siox(), -2 * one_c},
                      {"nmc811, charge at 1C", tests::nmc811_graphite_siox(), one_c},
                      {"lco, 3C", tests::lco_graphite(), -72}};
  for (const Row& row : rows) {
    Workspace workspace;
    Simulator finest(row.cell, workspace, points_alone(11), ElectrolyteModel::resolved, Reaction::uneven);
    const auto fine = curve_of(finest, row.current);
    std::vector<double> errors;
    for (const int count : {3, 4, 5, 6, 7}) {
      Simulator simulator(row.cell, workspace, points_alone(count), ElectrolyteModel::resolved, Reaction::uneven);
      const auto coarse = curve_of(simulator, row.current);
      double squares = 0, largest = 0;
      for (int k = 1; k <= 60; ++k) {
        const double t = 0.95 * k / 60 * std::min(coarse.step.duration(), fine.step.duration());
        const double error = std::abs(coarse.step.at(t).terminal.voltage - fine.step.at(t).terminal.voltage);
        squares += error * error / 60;
        largest = std::max(largest, error);
      }
      errors.push_back(std::sqrt(squares));
      CAPTURE(row.name, count, errors.back(), largest, coarse.step.depth_error());
      // measured: 3.4 to 16 times less for two points; one alone, 1.6 to 5
      if (errors.size() > 2) CHECK(errors.back() < errors[errors.size() - 3] / 3);
      CHECK(coarse.step.depth_error() > largest / 3);
      CHECK(coarse.step.depth_error() < largest * 3);
    }
  }
}

TEST_CASE("between good conductors the grains of every depth do alike: the single particle", "[solver][uneven]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  double before = 0;
  for (const double factor : {1.0, 10.0, 100.0, 1e4}) {
    const Cell cell = conducting(half ? half_cell() : tests::nmc811_graphite_siox(), factor);
    Workspace workspace;
    const Accuracy fine{.relative_tolerance = 1e-7, .absolute_factor = 0.02, .truncation = 1e-6};
    Simulator resolved(cell, workspace, fine, ElectrolyteModel::resolved, Reaction::uneven);
    Simulator even(cell, workspace, fine, ElectrolyteModel::resolved);
    State a = resolved.at_rest(0), b = even.at_rest(0);
    double largest = 0;
    const model::Step steps[] = {{CurrentDrive{-2 * one_c}, {.time = 500}, "discharge"},
                                 {CurrentDrive{0}, {.time = 200}, "rest"},
                                 {VoltageDrive{3.9}, {.time = 300}, "hold"}};
    for (const model::Step& step : steps) {
      const auto one = resolved.run(a, step), other = even.run(b, step);
      for (const double share : {0.001, 0.1, 0.5, 1.0}) {
        const solver::Point p = one.at(share * one.duration()), q = other.at(share * other.duration());
        largest = std::max({largest, std::abs(p.terminal.voltage - q.terminal.voltage),
                            1e-3 * std::abs(p.current - q.current),
                            std::abs(p.terminal.separator_side - q.terminal.separator_side)});
      }
      a = one.final_state();
      b = other.final_state();
    }
    CAPTURE(factor, largest, before);
    // What is left of unevenness goes with the resistance, down to what the integrator allows itself.
    if (before > 0) CHECK(largest < std::max(before / 8, 1e-6));
    before = largest;
  }
  CHECK(before < 1e-6);
}

TEST_CASE("salt that diffuses at once is salt at rest, whatever the spread of the reaction", "[solver][uneven]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  Cell cell = half ? half_cell() : tests::nmc811_graphite_siox();
  cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(1e7);
  Workspace workspace;
  Accuracy fine = points_alone(6);
  Simulator moving(cell, workspace, fine, ElectrolyteModel::resolved, Reaction::uneven);
  Simulator still(cell, workspace, fine, ElectrolyteModel::uniform, Reaction::uneven);
  Simulator even(cell, workspace, fine, ElectrolyteModel::uniform, Reaction::even);
  State a = moving.at_rest(0), b = still.at_rest(0);
  const model::Step steps[] = {{CurrentDrive{-2 * one_c}, {.time = 500}, "discharge"},
                               {CurrentDrive{0}, {.time = 200}, "rest"},
                               {VoltageDrive{3.9}, {.time = 300}, "hold"}};
  for (const model::Step& step : steps) {
    CAPTURE(step.label);
    const auto one = moving.run(a, step), other = still.run(b, step);
    for (const double share : {0.0, 1e-4, 0.1, 0.5, 1.0}) {
      CAPTURE(share);
      const solver::Point p = one.at(share * one.duration()), q = other.at(share * other.duration());
      CHECK_THAT(p.terminal.voltage, WithinAbs(q.terminal.voltage, 1e-5));
      CHECK_THAT(p.terminal.separator_side, WithinAbs(q.terminal.separator_side, 1e-5));
      CHECK_THAT(p.current, WithinAbs(q.current, 2e-3));
    }
    a = one.final_state();
    b = other.final_state();
  }
  // and that is no trivial one: when the current is switched on it crowds where its way is short
  const auto spread = still.run(still.at_rest(0), steps[0]), none = even.run(even.at_rest(0), steps[0]);
  CHECK(std::abs(spread.first().terminal.voltage - none.first().terminal.voltage) > 2e-4);
}

TEST_CASE("the parts of the voltage are means over the depth and add up, along any way through the layer",
          "[solver][uneven]") {
  // Salt at rest. From the separator to a foil through the solid: Phi(1) = U + eta at the separator's face, less
  // L/sigma times what flows in the solid; definitions, by quadrature of the local currents as the state holds them.
  // What eight points leave of Ohm's laws in their weak form is allowed for.
  Cell cell = tests::nmc811_graphite_siox();
  cell.negative->electronic_conductivity = 2;
  cell.contact_resistance = 1e-3;
  Workspace workspace;
  Simulator simulator(cell, workspace, points_alone(8), ElectrolyteModel::uniform, Reaction::uneven);
  const double i = GENERATE(-2 * one_c, 1.5 * one_c);
  const auto step = simulator.run(simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(cell), 0.5)),
                                  {CurrentDrive{i}, {.time = 400}, ""});
  const State state = step.final_state();
  const model::Terminal t = step.last().terminal;
  const model::LayerPoints points(8);
  const auto foil = [&](const model::Electrode& e, const solver::DepthFilling& depth, const Eigen::VectorXd& surfaces,
                        double into, double& equilibrium) {
    const double s = depth.current[7], x = surfaces[7];
    const double i0 = model::exchange_current_density(e.host, x, 1000, 298.15).value;
    const double eta = model::butler_volmer(-s / e.roughness(), i0, 298.15, 0.5, 0.5).value;
    equilibrium = 0;
    for (Eigen::Index k = 0; k < 8; ++k) equilibrium += points.weights()[k] * e.host.potential(surfaces[k], 298.15);
    const double in_solid = tests::integral(
        [&](double xi) { return into - (points.share_at(Eigen::ArrayXd::Constant(1, xi)) * depth.current)[0]; }, 0, 1,
        8);
    return e.host.potential(x, 298.15) + eta - e.thickness / e.electronic_conductivity * in_solid;
  };
  const auto surfaces = [&](const model::Electrode& e, const solver::DepthFilling& depth) {
    const auto& modes = model::GrainModes::of(static_cast<int>(depth.uneven.rows()));
    Eigen::VectorXd x(8);
    for (Eigen::Index k = 0; k < 8; ++k)
      x[k] = depth.means[k] + modes.surface().matrix().dot(modes.amplitudes(depth.uneven.col(k)));
    CHECK(x.minCoeff() > 0);
    CHECK(e.roughness() > 0);
    return x;
  };
  double U_p = 0, U_n = 0;
  const double positive =
      foil(cell.positive, state.positive_depth, surfaces(cell.positive, state.positive_depth), -i, U_p);
  const double negative =
      foil(*cell.negative, state.negative_depth, surfaces(*cell.negative, state.negative_depth), i, U_n);
  const double separator = cell.separator.thickness * cell.separator.tortuosity /
                           (cell.separator.porosity * cell.electrolyte.conductivity(1000, 298.15));
  CHECK_THAT(t.voltage, WithinAbs(positive - negative + i * (separator + cell.contact_resistance), 2e-7));
  CHECK_THAT(t.positive_potential, WithinAbs(U_p, 1e-8));
  CHECK_THAT(t.negative_potential, WithinAbs(U_n, 1e-8));
  CHECK_THAT(t.contact, WithinAbs(i * 1e-3, 1e-15));
  CHECK_THAT(t.concentration, WithinAbs(0, 1e-12));
  CHECK_THAT(t.positive_potential + t.positive_overpotential - t.negative_potential - t.negative_overpotential +
                 t.electrolyte + t.concentration + t.electronic + t.contact,
             WithinAbs(t.voltage, 1e-12));
  // what heats: every part but the equilibria works against the current
  for (const double part :
       {t.positive_overpotential, -t.negative_overpotential, t.electrolyte, t.electronic, t.contact})
    CHECK(i * part > 0);
}
