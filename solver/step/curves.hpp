#pragma once

#include <functional>
#include <vector>

#include "solver/step/simulator.hpp"

/// Studies built on single steps: constant-current curves and whole protocols.
namespace onegrain::solver {

/// A discharge or charge at constant current from rest to the cut-off, with what a cycler would print of it.
struct ConstantCurrentCurve {
  double current;       ///< [A/m2], positive on charge
  double capacity;      ///< passed until the end, >= 0 [C/m2]
  double energy;        ///< delivered or taken, >= 0 [J/m2]
  double mean_voltage;  ///< energy / capacity; the voltage at the start if no charge passed [V]
  StepSolution step;

  bool is_charge() const { return current > 0; }
};

/// @param current  nonzero; positive: until the upper cut-off of the cell, negative: until the lower one [A/m2]
ConstantCurrentCurve constant_current(Simulator& simulator, const State& start, double current);

/// Where a discharge (full, or the charged state of the cell) or a charge (empty) starts.
State start_of(Simulator& simulator, const model::Window& window, bool charge);

constexpr double shortest_step = 1e-6;  ///< [s]

/// One step of a protocol as it was run.
struct ProtocolStep {
  int step;           ///< index into protocol.steps
  int repetition;     ///< from 0
  double start_time;  ///< since the start of the protocol [s]
  StepSolution solution;

  /// An end of the step was met already when it was to start, or within the microsecond in which no cycler switches
  /// and no double layer is charged: it is not counted as run, and left no trace in the cell.
  bool passed_over() const { return solution.ended_by() != Ended::time && solution.duration() < shortest_step; }
};

/// Runs all steps, `repeat` times; every step starts from the very state in which the last one that was run ended.
/// @throws IntegrationFailure naming the step
std::vector<ProtocolStep> run_protocol(Simulator& simulator, const State& start, const model::Protocol& protocol);

/// The same in flat memory: each step is handed to `see` when it is done, and not kept.
void run_protocol(Simulator& simulator, const State& start, const model::Protocol& protocol,
                  const std::function<void(ProtocolStep&&)>& see);

/// Whether a protocol starts with a charge: by its first step that passes current. A voltage hold counts as a charge
/// where the voltage lies above the middle of the window.
bool starts_with_charge(const model::Protocol& protocol, const model::Cell& cell);

/// Moments that show a step well: evenly spaced, and closer together after the start, where the voltage moves like the
/// square root of time. `even` >= 2 moments from 0 to the duration, with up to 10 more before the second.
std::vector<double> moments(const StepSolution& step, int even, bool with_early_ones);

}  // namespace onegrain::solver
