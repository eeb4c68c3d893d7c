// Estimates from curves of a cell whose reaction is uneven over the depth of its coatings.

#include <cmath>

#include "tests/estimation/fit_cells.hpp"

using namespace fit_test;

namespace {

VectorXd resolved(const Cell& cell, const Run& run) {
  Workspace workspace;
  Simulator simulator(cell, workspace, model::ElectrolyteModel::resolved, model::Reaction::uneven);
  const Replay done = replay(simulator, simulator.at_rest(0), run);
  REQUIRE_FALSE(done.cut_short);
  VectorXd voltage(static_cast<Eigen::Index>(run.times.size()));
  for (std::size_t k = 0; k < run.times.size(); ++k)
    voltage[static_cast<Eigen::Index>(k)] = done.at(run.times[k]).terminal.voltage;
  return voltage;
}

/// Thick coatings, a fast discharge and a rest after it.
Cell thick() {
  Cell cell = tests::nmc811_graphite_siox();
  cell.contact_resistance = 4e-4;
  return cell;
}

Run fast() { return pulse(-1.5 * one_c, 1800, 900, 90); }

/// Calculated with the resolved reaction for the cell as it truly is; the search begins from another one.
FitProblem problem_for(const Cell& sheet, const Cell& truth, model::Reaction reaction) {
  FitProblem problem{sheet, model::ElectrolyteModel::resolved, {{"run", fast(), resolved(truth, fast()), {}}}, {}, {}};
  problem.free = {free_in(sheet, "tn", Q::diffusion_time, true), free_in(sheet, "tp", Q::diffusion_time),
                  free_in(sheet, "in", Q::exchange_current_density, true), free_in(sheet, "r", Q::contact_resistance)};
  problem.reaction = reaction;
  return problem;
}

}  // namespace

TEST_CASE("what the resolved reaction adds to a run is the difference of the two simulations",
          "[estimation][reaction]") {
  const Cell cell = thick();
  Workspace workspace;
  const auto course = electrolyte_course(cell, fast(), workspace, model::ElectrolyteModel::resolved, Accuracy{});
  const ReactionCourse adds =
      reaction_course(cell, fast(), workspace, model::ElectrolyteModel::resolved, course, Accuracy{});
  const VectorXd difference = resolved(cell, fast()) - simulated(cell, fast(), {}, model::ElectrolyteModel::resolved);
  REQUIRE(adds.adds.size() == 90);
  for (std::size_t k = 0; k < 90; ++k) {
    CAPTURE(k);
    CHECK_THAT(adds.at(k), WithinAbs(difference[static_cast<Eigen::Index>(k)], 1e-4));
  }
  CHECK_THAT(adds.rms(), WithinAbs(std::sqrt(difference.squaredNorm() / 90), 1e-4));
  CHECK(adds.rms() > 2e-3);  // not a test of nothing
}

TEST_CASE("a fit with the reaction resolved finds the cell again whose curve is resolved, an even one does not",
          "[estimation][reaction]") {
  const Cell sheet = thick();
  Cell truth = changed(sheet, {.positive_time = 1.4, .negative_time = 0.7, .negative_exchange = 0.6});
  truth.contact_resistance = 8e-4;
  FitOptions options;
  options.profiles = false;
  const auto estimated = [&](model::Reaction reaction) {
    const CellFit problem(problem_for(sheet, truth, reaction));
    return fit(problem, options);
  };
  const auto true_value = [&](const std::string& name) {
    return name == "tn"   ? value_in(truth, Q::diffusion_time, true)
           : name == "tp" ? value_in(truth, Q::diffusion_time, false)
           : name == "in" ? value_in(truth, Q::exchange_current_density, true)
                          : truth.contact_resistance;
  };
  const auto far_off = [&](const FitResult& r) {
    double worst = 0;
    for (const Estimate& e : r.estimates) {
      UNSCOPED_INFO(e.name << ": " << e.value << " for " << true_value(e.name));
      worst = std::max(worst, std::abs(e.value / true_value(e.name) - 1));
    }
    return worst;
  };
  const FitResult uneven = estimated(model::Reaction::uneven), even = estimated(model::Reaction::even);
  CAPTURE(uneven.ended_by, uneven.evaluations, uneven.misfits.front().rms, even.misfits.front().rms);
  CHECK(uneven.converged);
  CHECK(uneven.misfits.front().rms < 3e-4);  // what the points over the depth leave open
  CHECK(far_off(uneven) < 0.08);  // exchange and resistance make up for each other, to what 0.1 mV tells of them
  CHECK(far_off(even) > 0.1);
}

TEST_CASE("where nothing but the salt is uneven a fit with the reaction resolved changes nothing",
          "[estimation][reaction]") {
  // Good conductors: the reaction is even (Newman and Balsara, Electrochemical Systems, ch. 22).
  Cell cell = thick();
  cell.electrolyte.conductivity = cell.electrolyte.conductivity.scaled(300);
  cell.electrolyte.diffusivity = cell.electrolyte.diffusivity.scaled(300);
  cell.positive.electronic_conductivity = cell.negative->electronic_conductivity = 0;  // no drop in the solid
  const CellFit problem(problem_for(cell, cell, model::Reaction::uneven));
  for (const ReactionCourse& course : problem.reaction(VectorXd::Zero(problem.size()))) CHECK(course.rms() < 2e-4);
}
