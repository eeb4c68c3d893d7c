#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "solver/step/simulator.hpp"

/// The model under a current that was measured.
namespace onegrain::solver {

/// One stretch of a record: the current jumps at its boundaries at most.
struct Stretch {
  model::Step step;  ///< driven by a current, ends by time
  double start = 0;  ///< since the start of the run [s]
};

/// What was done to a cell, and when its voltage was looked at.
struct Run {
  std::vector<Stretch> stretches;  ///< in order, each beginning where the one before ends
  std::vector<double> times;       ///< since the start of the run [s], ascending
};

/// Where a run starts, at rest: the state of `cell.inventory`, or the equilibrium at a voltage that was measured [V],
/// and a charge passed since then, charging positive [C/m2].
struct Start {
  std::optional<double> rest_voltage;
  double passed = 0;
};

/// Charge from `cell.inventory` to the start [C/m2]: Newton's method inside the bracket of full and empty grains.
/// @throws model::ImpossibleBalance where no filling of the grains has that voltage
double starting_charge(const model::Cell& cell, const Start& start);

/// The solutions of the stretches, up to the end or to where the model could not follow (a full grain, no salt).
struct Replay {
  std::vector<StepSolution> steps;
  std::vector<double> starts;      ///< of each [s]
  double end = 0;                  ///< of the last [s]
  std::optional<Ended> cut_short;  ///< why the model could not go on
  /// At time t since the start of the run: within the stretch that ends there, where two meet.
  Point at(double t) const;
  std::size_t step_at(double t) const;
};

Replay replay(Simulator& simulator, const State& start, const Run& run);

/// What the voltage of a cell under a given current is differentiated with respect to.
enum class Sensitive {
  positive_diffusion_time,
  negative_diffusion_time,  ///< ln(R^2/D)
  positive_exchange,
  negative_exchange,  ///< ln(i0); half cell: of the lithium
  positive_capacity,
  negative_capacity,  ///< ln(Q) at constant diffusion time; the grain surface goes with it
  positive_start,
  negative_start,     ///< stoichiometry at the start of the run
  contact_resistance  ///< [ohm m2]
};
constexpr int sensitive_count = 9;

/// Voltages at the times of a run with their derivatives.
struct Response {
  Eigen::VectorXd voltage;                             ///< [V]; NaN beyond the end of the model
  Eigen::VectorXd positive_surface, negative_surface;  ///< stoichiometries there
  Eigen::MatrixXd slopes;                              ///< times x Sensitive; empty where not asked for
  bool complete = true;                                ///< the model followed to the end
};

/// What the electrolyte does in a run, at its times. Under a given current it depends on the electrolyte, the pores and
/// the temperature alone, not on grains and kinetics: a search that leaves those alone needs it once.
struct ElectrolyteCourse {
  std::vector<model::Ionic> at;  ///< at run.times, fewer where the salt is used up before
  std::string cut_short;         ///< why, in words
};
ElectrolyteCourse electrolyte_course(const model::Cell& cell, const Run& run, Workspace& workspace,
                                     model::ElectrolyteModel electrolyte, const Accuracy& accuracy);

/// What the reaction resolved over the depth of the layers adds to the voltages of a run with an even one, under the
/// same current [V]: at its times, fewer where it cannot go on.
struct ReactionCourse {
  std::vector<double> adds;
  std::string cut_short;  ///< why, in words
  int points = 0;         ///< over the depth of each layer

  double at(std::size_t k) const { return adds.empty() ? 0 : adds[k < adds.size() ? k : adds.size() - 1]; }
  double rms() const;
  double largest() const;  ///< with its sign
};
/// @param course  the electrolyte of the same run with an even reaction
/// @param points  over the depth of each layer, at least; differences of two runs want as many in both
ReactionCourse reaction_course(const model::Cell& cell, const Run& run, Workspace& workspace,
                               model::ElectrolyteModel electrolyte, const ElectrolyteCourse& course,
                               const Accuracy& accuracy, int points = 0);

/// @param cell             its `inventory` is the start of the run
/// @param electrolyte      of the same run
/// @param beyond_surfaces  see model::Step
Response respond(const model::Cell& cell, const Run& run, Workspace& workspace, const ElectrolyteCourse& electrolyte,
                 const Accuracy& accuracy, bool beyond_surfaces);

}  // namespace onegrain::solver
