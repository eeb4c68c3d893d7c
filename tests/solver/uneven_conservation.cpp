// What must stay where the reaction is resolved over the depth of the layers: lithium, salt, mirror images, a state
// that is handed on.

#include <cmath>
#include <string>
#include <utility>

#include "solver/step/curves.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using model::Cell;
using model::CurrentDrive;
using model::ElectrolyteModel;
using model::Reaction;
using model::VoltageDrive;
using solver::Accuracy;
using solver::Simulator;
using solver::State;
using solver::Workspace;

namespace {

constexpr double one_c = tests::published_one_c;

Simulator uneven(const Cell& cell, Workspace& workspace) {
  return Simulator(cell, workspace, ElectrolyteModel::resolved, Reaction::uneven);
}

double mean_of(const solver::DepthFilling& depth) {
  const model::LayerPoints points(static_cast<int>(depth.means.size()));
  return points.weights().matrix().dot(depth.means);
}

double content(const Cell& cell, const Eigen::VectorXd& salt) {
  return model::Salt::of_count(cell, static_cast<int>(salt.size())).content(salt);
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

/// The same layer twice, half full: invented, of the published negative.
Cell symmetric_cell() {
  Cell cell = tests::nmc811_graphite_siox();
  cell.negative->host.diffusivity = tests::published_cell(true).negative->host.diffusivity;
  cell.negative->electronic_conductivity = 3;
  cell.positive = *cell.negative;
  cell.inventory = {0.4, 0.4};
  cell.charged_state.reset();
  cell.lower_voltage = -1;
  cell.upper_voltage = 1;
  return cell;
}

}  // namespace

TEST_CASE("a symmetric cell charged and discharged mirrors", "[solver][uneven][symmetry]") {
  const Cell cell = symmetric_cell();
  const double end = cell.negative->thickness + cell.separator.thickness + cell.positive.thickness;
  Workspace workspace;
  Simulator simulator = uneven(cell, workspace), other = uneven(cell, workspace);
  State in = simulator.at_rest(0), out = in;
  const std::pair<model::Step, model::Step> steps[] = {
      {{CurrentDrive{120}, {.time = 60}, "pulse"}, {CurrentDrive{-120}, {.time = 60}, "pulse"}},
      {{CurrentDrive{0}, {.time = 5}, "rest"}, {CurrentDrive{0}, {.time = 5}, "rest"}},
      {{VoltageDrive{-0.08}, {.time = 200}, "hold"}, {VoltageDrive{0.08}, {.time = 200}, "hold"}}};
  for (const auto& [one, mirrored] : steps) {
    CAPTURE(one.label);
    const auto charge = simulator.run(in, one), discharge = other.run(out, mirrored);
    in = charge.final_state();
    out = discharge.final_state();
    REQUIRE(charge.duration() == Approx(discharge.duration()).epsilon(1e-9));
    for (const double share : {0.0, 1e-3, 0.3, 1.0}) {
      const double t = share * charge.duration();
      CAPTURE(t);
      CHECK_THAT(charge.at(t).terminal.voltage, WithinAbs(-discharge.at(t).terminal.voltage, 1e-7));
      CHECK_THAT(charge.at(t).current, WithinAbs(-discharge.at(t).current, 1e-4));
      for (const double x : {0.0, 40e-6, 90e-6, 140e-6})
        CHECK_THAT(charge.salt_profile(t, Eigen::ArrayXd::Constant(1, x))[0],
                   WithinAbs(discharge.salt_profile(t, Eigen::ArrayXd::Constant(1, end - x))[0], 1e-4));
    }
    CHECK((in.positive_depth.means - out.negative_depth.means).cwiseAbs().maxCoeff() < 1e-8);
    CHECK((in.negative_depth.means - out.positive_depth.means).cwiseAbs().maxCoeff() < 1e-8);
  }
  CHECK(in.positive_depth.means.maxCoeff() - in.positive_depth.means.minCoeff() > 1e-3);  // and are uneven
}

TEST_CASE("lithium of each layer and salt are conserved where the reaction is resolved",
          "[solver][uneven][conservation]") {
  // Faraday's law: a layer gains or loses the charge over its capacity; salt leaves no pore. The steps ask for more and
  // more points, and start_coarse() takes them back.
  struct Row {
    const char* name;
    Cell cell;
    double top;
    bool coarse_again;
  };
  Cell varying = tests::nmc811_graphite_siox();
  varying.positive.host.diffusivity = tests::published_cell(true).positive.host.diffusivity;
  varying.negative->host.diffusivity = tests::published_cell(true).negative->host.diffusivity;
  const Row rows[] = {{"constant D", tests::nmc811_graphite_siox(), 4.15, false},
                      {"varying D", varying, 4.15, false},
                      {"points taken back", varying, 4.15, true},
                      {"half cell", half_cell(), 4.2, false},
                      {"half cell, varying D, points taken back", half_cell(true), 4.2, true}};
  for (const Row& row : rows) {
    Workspace workspace;
    Simulator simulator = uneven(row.cell, workspace);
    State state = simulator.at_rest(model::at_state_of_charge(model::equilibrium_window(row.cell), 0.5));
    const State start = state;
    const auto Q_p = row.cell.positive.capacity();
    const double x_p = row.cell.inventory.positive - start.charge / Q_p;
    const double filled = content(row.cell, Eigen::VectorXd::Zero(model::Salt(row.cell, 8).count()));
    const model::Step steps[] = {
        {CurrentDrive{0.05 * one_c}, {.time = 2000}, "slow charge"},
        {CurrentDrive{one_c}, {.voltage = row.top}, "charge"},
        {VoltageDrive{row.top}, {.current = one_c / 10}, "hold"},
        {CurrentDrive{0}, {.time = 20}, "short rest"},
        {CurrentDrive{-4 * one_c}, {.time = 60}, "pulse"},
        {CurrentDrive{4 * one_c}, {.time = 0.01}, "counter pulse"},
        {CurrentDrive{-3 * one_c}, {.time = 400}, "discharge"},
        {CurrentDrive{0}, {.time = 1e5}, "long rest"},
    };
    std::string points;
    for (const model::Step& step : steps) {
      if (row.coarse_again) simulator.start_coarse();
      const auto solution = simulator.run(state, step);
      REQUIRE(solution.duration() > 0);
      state = solution.final_state();
      points += " " + std::to_string(state.positive_depth.means.size()) + "/" + std::to_string(state.salt.size());
      CAPTURE(row.name, step.label, points);
      const double passed = state.charge - start.charge;
      CHECK_THAT(mean_of(state.positive_depth), WithinAbs(x_p - passed / Q_p, 1e-10));
      CHECK_THAT(solution.last().positive_mean, WithinAbs(x_p - passed / Q_p, 1e-10));
      if (row.cell.negative) {
        const double x_n = row.cell.inventory.negative + start.charge / row.cell.negative->capacity();
        CHECK_THAT(mean_of(state.negative_depth), WithinAbs(x_n + passed / row.cell.negative->capacity(), 1e-10));
      }
      CHECK_THAT(content(row.cell, state.salt), WithinRel(filled, 1e-10));
      if (std::holds_alternative<VoltageDrive>(step.drive)) {
        for (const double share : {0.0, 1e-3, 0.3, 1.0})
          CHECK_THAT(solution.at(share * solution.duration()).terminal.voltage, WithinAbs(row.top, 1e-9));
      }
    }
    // A long rest evens out: all of the lithium where the single particle has it, the salt where it came from.
    CHECK(state.positive_depth.means.maxCoeff() - state.positive_depth.means.minCoeff() < 2e-3);
    CHECK_THAT(simulator.run(state, {CurrentDrive{0}, {.time = 1}, ""}).last().lowest_salt, WithinAbs(1000, 1));
  }
}

TEST_CASE("lithium and salt are conserved whatever numbers of points and polynomials a state is handed between",
          "[solver][uneven][conservation]") {
  const Cell cell = tests::nmc811_graphite_siox();
  Workspace workspace;
  const int from = GENERATE(4, 5, 8, 12), to = GENERATE(4, 6, 12);
  const auto simulator_with = [&](int points, int degree) {
    const Accuracy accuracy{.relative_tolerance = 1e-5, .salt_degree = degree, .fewest_points = points, .depth = 1e9};
    return Simulator(cell, workspace, accuracy, ElectrolyteModel::resolved, Reaction::uneven);
  };
  Simulator one = simulator_with(from, 20), other = simulator_with(to, 8);
  const auto before = one.run(one.at_rest(0), {CurrentDrive{-2 * one_c}, {.time = 700}, ""});
  const State state = before.final_state();
  const auto after = other.run(state, {CurrentDrive{0}, {.time = 1}, ""});
  const State next = after.final_state();
  REQUIRE(state.positive_depth.means.size() == from);
  REQUIRE(next.positive_depth.means.size() == to);
  CAPTURE(from, to, state.positive_depth.means.transpose());
  CHECK_THAT(mean_of(next.positive_depth), WithinAbs(mean_of(state.positive_depth), 1e-10));
  CHECK_THAT(mean_of(next.negative_depth), WithinAbs(mean_of(state.negative_depth), 1e-10));
  CHECK_THAT(mean_of(next.negative_depth),
             WithinAbs(cell.inventory.negative + next.charge / cell.negative->capacity(), 1e-10));
  CHECK_THAT(content(cell, next.salt), WithinRel(content(cell, state.salt), 1e-10));
}

TEST_CASE("a state is handed from one description to the other and back", "[solver][uneven]") {
  const Cell cell = tests::nmc811_graphite_siox();
  Workspace workspace;
  Simulator even(cell, workspace, ElectrolyteModel::resolved, Reaction::even), resolved = uneven(cell, workspace);
  const auto first = even.run(even.at_rest(0), {CurrentDrive{-one_c}, {.time = 600}, ""});
  const State before = first.final_state();
  const auto second = resolved.run(before, {CurrentDrive{-2 * one_c}, {.time = 60}, ""});
  const solver::Point last = first.last(), then = second.first();
  // nothing moves at once: the grains, the salt; the current finds its own way
  CHECK_THAT(then.positive_surface, WithinAbs(last.positive_surface, 1e-9));
  CHECK_THAT(then.negative_surface, WithinAbs(last.negative_surface, 1e-9));
  CHECK_THAT(then.positive_surfaces.highest - then.positive_surfaces.lowest, WithinAbs(0, 1e-12));
  CHECK_THAT(then.lowest_salt, WithinAbs(last.lowest_salt, 1e-6));
  const Eigen::ArrayXd rho = Eigen::ArrayXd::LinSpaced(21, 0, 1), x = Eigen::ArrayXd::LinSpaced(40, 0, 172e-6);
  CHECK((second.positive_profile(0, rho) - first.positive_profile(600, rho)).cwiseAbs().maxCoeff() < 1e-9);
  CHECK((second.salt_profile(0, x) - first.salt_profile(600, x)).cwiseAbs().maxCoeff() < 1e-6);
  const State middle = second.final_state();
  CHECK(middle.positive_depth.means.maxCoeff() - middle.positive_depth.means.minCoeff() > 1e-3);
  const auto third = even.run(middle, {CurrentDrive{-2 * one_c}, {.time = 1}, ""});
  CHECK_THAT(third.first().positive_surface, WithinAbs(second.last().positive_surface, 1e-8));
  CHECK_THAT(third.first().negative_surface, WithinAbs(second.last().negative_surface, 1e-8));
  CHECK_THAT(third.first().charge, WithinAbs(second.last().charge, 1e-9));
  CHECK((third.negative_profile(0, rho) - second.negative_profile(60, rho)).cwiseAbs().maxCoeff() < 1e-9);
  CHECK((third.salt_profile(0, x) - second.salt_profile(60, x)).cwiseAbs().maxCoeff() <
        10);  // 2670 at the foil, of a lower degree
  CHECK_THAT(content(cell, third.final_state().salt), WithinRel(content(cell, middle.salt), 1e-10));
}
