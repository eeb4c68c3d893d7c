#pragma once

#include <string>
#include <vector>

#include "app/answer/results.hpp"

/// What the results mean, in sentences for somebody at a bench.
namespace onegrain::app {

/// Beside every rate, voltage or temperature that the program names. No option removes them.
const std::vector<std::string>& cautions();

/// What the chosen description of the electrolyte leaves out.
std::string electrolyte_remark(model::ElectrolyteModel electrolyte);

/// Where a result is no longer believed: the limits with their values and sources.
std::vector<std::string> trust_criteria();

/// The parts of what is lost between the equilibrium voltage and the terminals, each positive where it is a loss.
struct LossPart {
  const char* name;  ///< a literal
  double volts;
};
std::vector<LossPart> loss_parts(const Job& job, const solver::Point& point);

}  // namespace onegrain::app
