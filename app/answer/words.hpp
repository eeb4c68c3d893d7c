#pragma once

#include <string>
#include <vector>

#include "model/single_particle.hpp"
#include "solver/step/simulator.hpp"
#include "solver/step/trust.hpp"

/// What the results mean, in sentences for somebody at a bench.
namespace onegrain::app {

struct Job;

/// Beside every rate, voltage or temperature that the program names. No option removes them.
const std::vector<std::string>& cautions();

/// How electrolyte and reaction of this cell are described, and what that leaves out.
std::string model_remark(const Job& job);

/// "voltage cut-off", or what else ended it, in words.
std::string ended_by(const solver::StepSolution& step);
/// The reasons not to believe a step, in one line; empty if there is none.
std::string untrusted(const solver::Trust& trust);

/// "a, b and c".
std::string listed(const std::vector<std::string>& names);

/// Where a result is no longer believed: the limits with their values and sources.
std::vector<std::string> trust_criteria(model::Reaction reaction);

}  // namespace onegrain::app
