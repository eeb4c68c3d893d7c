// Powders with several sizes of grains that share the potential of the solid.

#include <algorithm>
#include <cmath>

#include "solver/step/simulator.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/reference_table.hpp"

using namespace onegrain;
using model::CurrentDrive;
using model::ElectrolyteModel;
using model::GrainClass;
using model::Reaction;
using model::VoltageDrive;
using tests::ReferenceTable;

namespace {

/// Sizes against each other with their shares, so that the radius of the electrode is R32.
std::vector<GrainClass> sizes(std::vector<double> ratios, const std::vector<double>& shares) {
  double inverse = 0;
  for (std::size_t c = 0; c < ratios.size(); ++c) inverse += shares[c] / ratios[c];
  std::vector<GrainClass> classes;
  for (std::size_t c = 0; c < ratios.size(); ++c) classes.push_back({ratios[c] * inverse, shares[c], nullptr});
  return classes;
}

const std::vector<double> three = {0.6, 1.0, 1.8}, volumes = {0.25, 0.45, 0.30};

model::Cell with_sizes(model::Cell cell, const std::vector<GrainClass>& classes) {
  cell.positive.classes = classes;
  if (cell.negative) cell.negative->classes = classes;
  return cell;
}

/// Grains alike, counted as three classes.
model::Cell split(const model::Cell& cell) { return with_sizes(cell, sizes({1, 1, 1}, {0.2, 0.3, 0.5})); }

solver::StepSolution discharge(const model::Cell& cell, double c_rate, ElectrolyteModel electrolyte,
                               Reaction reaction) {
  static solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, electrolyte, reaction);
  return simulator.run(simulator.at_rest(0),
                       {CurrentDrive{-c_rate * tests::published_one_c}, {.voltage = 2.5}, "discharge"});
}

double largest_difference(const solver::StepSolution& one, const solver::StepSolution& other) {
  const double end = std::min(one.duration(), other.duration());
  double worst = 0;
  for (int k = 0; k <= 60; ++k) {
    const double t = 0.98 * end * k / 60;
    worst = std::max(worst, std::abs(one.at(t).terminal.voltage - other.at(t).terminal.voltage));
  }
  return worst;
}

/// A half cell whose potential falls along a straight line, with quick charge transfer and no resistance to speak of.
model::Cell straight_half_cell(double slope, double D) {
  model::Cell cell = tests::published_cell();
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(1e7)};
  model::Host& host = cell.positive.host;
  host.potential = model::OpenCircuitPotential(model::Property(model::Curve::approximation(
      [slope](double x) { return 4.2 - slope * x; }, 0, 1, 1e-12, model::Curve::Beyond::tangent)));
  host.diffusivity = model::Property::constant(D);
  host.exchange_current_density = model::Property::constant(1e6);
  cell.electrolyte.conductivity = model::Property::constant(1e4);
  cell.lower_voltage = 3.0;
  cell.upper_voltage = 4.3;
  cell.inventory = {0.2, 0};
  cell.charged_state.reset();
  return cell;
}

}  // namespace

TEST_CASE("three sizes a side agree with an independent integrator within 0.05 mV", "[solver][grains][reference]") {
  // tests/reference/several_grains.py: SciPy's Radau on finite elements, converged to 10 uV at 3C and better below
  for (const char* name : {"several_grains_C5.csv", "several_grains_1C.csv", "several_grains_3C.csv"}) {
    CAPTURE(name);
    const ReferenceTable table(name);
    const model::Cell cell = with_sizes(tests::published_cell(), sizes(three, volumes));
    for (std::size_t c = 0; c < 3; ++c)  // the same sizes as in the reference
      CHECK_THAT(cell.positive.classes[c].radius_ratio, WithinRel(table.stated("ratio_" + std::to_string(c)), 1e-12));
    const auto step = discharge(cell, table.stated("c_rate"), ElectrolyteModel::uniform, Reaction::even);
    double worst = 0;
    for (std::size_t k = 0; k + 1 < table.rows.size(); ++k) {  // the last row may lie on the wall at the cut-off
      REQUIRE(table.rows[k][0] <= step.duration());
      worst = std::max(worst, std::abs(step.at(table.rows[k][0]).terminal.voltage - table.rows[k][1]));
    }
    CHECK(worst < 50e-6);
  }
}

TEST_CASE("grains that are alike may be counted as several classes", "[solver][grains]") {
  // Symmetry: classes of one size are the same grains under other names. One class goes through a description of its
  // own (EvenSegment), or through the points over the depth.
  struct Row {
    ElectrolyteModel electrolyte;
    Reaction reaction;
    double c_rate, tolerance;
  };
  const auto row = GENERATE(values<Row>({{ElectrolyteModel::uniform, Reaction::even, 1, 2e-5},
                                         {ElectrolyteModel::resolved, Reaction::even, 1, 5e-5},
                                         {ElectrolyteModel::resolved, Reaction::even, 0.2, 5e-5},
                                         {ElectrolyteModel::resolved, Reaction::uneven, 1, 3e-4}}));
  CAPTURE(static_cast<int>(row.electrolyte), static_cast<int>(row.reaction), row.c_rate);
  const model::Cell cell = tests::nmc811_graphite_siox();
  const auto one = discharge(cell, row.c_rate, row.electrolyte, row.reaction),
             several = discharge(split(cell), row.c_rate, row.electrolyte, row.reaction);
  CHECK(several.reaction() == row.reaction);
  CHECK(largest_difference(one, several) < row.tolerance);
  CHECK_THAT(several.duration(), WithinRel(one.duration(), 1e-3));
}

TEST_CASE("slow diffusion sees the mean square of the radii", "[solver][grains]") {
  // In a steady state every class fills at the same pace, its surface R^2/(15 D) dx/dt ahead of its mean (Crank, ch.
  // 6); the surfaces are alike, so that the mean of all lags by <R^2>/(15 D) dx/dt.
  constexpr double slope = 0.8, D = 4e-15, i = -5;
  const model::Cell cell = with_sizes(straight_half_cell(slope, D), sizes({0.5, 1, 2}, {0.3, 0.4, 0.3}));
  double square = 0;
  for (const GrainClass& its : cell.positive.classes)
    square += its.share * std::pow(its.radius_ratio * cell.positive.particle_radius, 2);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const double settled = 2.5 * square / D;  // the largest grains have settled by then
  const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = settled}, "slow"});
  const solver::Point p = step.last();
  const double pace = -i / cell.positive.capacity();
  const double lag = slope * square / (15 * D) * pace;
  CHECK_THAT(4.2 - slope * p.positive_mean - p.terminal.voltage, WithinRel(lag, 2e-3));
}

TEST_CASE("charge passed is what the classes have taken together", "[solver][grains]") {
  const model::Cell cell = with_sizes(tests::published_cell(), sizes({1, 10}, {0.5, 0.5}));
  for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace, ElectrolyteModel::resolved, reaction);
    const auto step =
        simulator.run(simulator.at_rest(0), {CurrentDrive{-tests::published_one_c}, {.time = 600}, "discharge"});
    const solver::State s = step.final_state();
    const model::LayerPoints& points =
        reaction == Reaction::even ? model::LayerPoints::even() : model::LayerPoints::of(simulator.points());
    REQUIRE(s.positive_depth.means.size() == 2 * points.count());
    double mean = 0;
    for (Eigen::Index k = 0; k < points.count(); ++k)
      mean += points.weights()[k] * 0.5 * (s.positive_depth.means[2 * k] + s.positive_depth.means[2 * k + 1]);
    // Faraday: x = x0 - q / Q
    CHECK_THAT(mean, WithinAbs(cell.inventory.positive + 600 * tests::published_one_c / cell.positive.capacity(),
                               reaction == Reaction::even ? 1e-9 : 1e-6));
    CHECK(s.positive_depth.means[0] > s.positive_depth.means[1] + 0.01);  // the small ones run ahead
  }
}

TEST_CASE("at rest the classes level out through the potential that they share", "[solver][grains]") {
  const model::Cell cell = with_sizes(tests::published_cell(), sizes({1, 4}, {0.5, 0.5}));
  for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace, ElectrolyteModel::uniform, reaction);
    const auto pulse =
        simulator.run(simulator.at_rest(0), {CurrentDrive{-2 * tests::published_one_c}, {.time = 300}, "pulse"});
    const auto rest = simulator.run(pulse.final_state(), {CurrentDrive{0}, {.time = 1e6}, "rest"});
    const solver::State before = pulse.final_state(), after = rest.final_state();
    CHECK(before.positive_depth.means[0] - before.positive_depth.means[1] > 0.01);
    // one potential that falls with filling: equal means
    CHECK_THAT(after.positive_depth.means[0], WithinAbs(after.positive_depth.means[1], 2e-4));
    CHECK_THAT(
        rest.last().terminal.voltage,
        WithinAbs(model::equilibrium_voltage(cell, {rest.last().positive_mean, rest.last().negative_mean}, 298.15),
                  2e-4));
  }
}

TEST_CASE("a held voltage is held with several sizes of grains", "[solver][grains]") {
  const model::Cell cell = with_sizes(tests::nmc811_graphite_siox(), sizes(three, volumes));
  for (const Reaction reaction : {Reaction::even, Reaction::uneven}) {
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace, ElectrolyteModel::resolved, reaction);
    const auto down =
        simulator.run(simulator.at_rest(0), {CurrentDrive{-tests::published_one_c}, {.voltage = 3.4}, "discharge"});
    const auto hold = simulator.run(down.final_state(), {VoltageDrive{3.4}, {.time = 3600}, "hold"});
    for (const double t : {1.0, 60.0, 1800.0, 3600.0})
      CHECK_THAT(hold.at(t).terminal.voltage, WithinAbs(3.4, reaction == Reaction::even ? 1e-6 : 1e-4));
    CHECK(hold.last().current < 0);
    CHECK(hold.last().current > 0.2 * down.last().current);  // it dies away
  }
}

TEST_CASE("two sizes of flat grains give two peaks of dQ/dV at a rate, and one when given time", "[solver][grains]") {
  // Ten times smaller grains have ten times the surface and take most of the current; where they are full the large
  // ones need 2RT/F ln 11 = 123 mV more at most (Tafel's law), and at C/50 next to nothing more.
  const auto plateau = [](double x) {
    return 3.42 + 0.5 * std::exp(-80 * x) - 0.6 * std::exp(-60 * (1 - x)) - 0.01 * (x - 0.5);
  };
  model::Cell cell = straight_half_cell(1, 1e-15);
  cell.positive.host.exchange_current_density = model::Property::constant(0.02);  // where small and large differ most
  cell.positive.host.potential = model::OpenCircuitPotential(
      model::Property(model::Curve::approximation(plateau, 0, 1, 1e-9, model::Curve::Beyond::tangent)));
  cell.positive.particle_radius = 100e-9;
  cell.positive.classes = sizes({1, 10}, {0.5, 0.5});
  cell.lower_voltage = 2.5;
  cell.inventory = {0.02, 0};
  const auto peaks = [&](double c_rate) {
    solver::Workspace workspace;
    solver::Simulator simulator(cell, workspace);
    const double i = c_rate * cell.positive.capacity() / 3600;
    const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{-i}, {.voltage = 2.9}, "discharge"});
    constexpr double bin = 0.02;  // V
    std::vector<double> charge(30, 0.0);
    constexpr int moments = 6000;
    for (int k = 0; k < moments; ++k) {
      const double V = step.at((k + 0.5) / moments * step.duration()).terminal.voltage;
      const auto at = static_cast<std::ptrdiff_t>((V - 2.9) / bin);
      if (at >= 0 && at < 30) charge[static_cast<std::size_t>(at)] += i * step.duration() / moments;
    }
    int count = 0;
    const double enough = 0.04 * cell.positive.capacity();
    for (std::size_t k = 1; k + 1 < charge.size(); ++k)
      count += charge[k] > charge[k - 1] && charge[k] >= charge[k + 1] && charge[k] > enough;
    return count;
  };
  CHECK(peaks(1) == 2);
  CHECK(peaks(0.02) == 1);
}
