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

}  // namespace onegrain::app
