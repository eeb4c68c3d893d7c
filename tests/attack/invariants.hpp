#pragma once

#include <map>
#include <string>
#include <vector>

#include "model/protocol.hpp"
#include "solver/step/simulator.hpp"

/// What must be true of every result, whatever the cell.
namespace onegrain::attack {

/// What one case gave.
struct Findings {
  std::vector<std::string> violations;     ///< sentences
  std::map<std::string, int> frequencies;  ///< "ended by time", "failed: no end is met", ...

  void violation(std::string text) { violations.push_back(std::move(text)); }
};

/// A step and the state in which it found the cell.
struct RunStep {
  const model::Step* step;
  const solver::StepSolution* solution;
  std::string name;  ///< for messages
};

/// Checks one step:
/// - every number of 40 moments is finite, mean stoichiometries in [0, 1], times rise;
/// - no voltage beyond 20 V, no current beyond 1e6 A/m2: such numbers are of no cell;
/// - the mean stoichiometries follow from the charge, and the grains' profiles have those means, to 1e-9; at constant
///   current the charge is i t; the salt of a full cell keeps its amount to 1e-9;
/// - the end is one of the step's own or a physical one, and the last moment has it: a voltage within 0.1 mV;
/// - no cut-off is passed by more than 0.1 mV on the way;
/// - a held voltage is held within 0.1 mV; no salt below used up and no surface beyond full or empty goes unseen;
/// - charge, temperature, grain surfaces and salt are those in which the step before ended;
/// - a step without duration had its end met when it began, and drives further into it.
/// @param before  the step before; nullptr at the start
void check_step(const RunStep& run, const RunStep* before, Findings& findings);

}  // namespace onegrain::attack
