#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "app/study/curves.hpp"
#include "params/record/measured.hpp"
#include "solver/step/trust.hpp"

/// From solutions in SI per plate area to what is printed, written and drawn: mA, mAh, V, whole cell.
namespace onegrain::app {

/// A number for JSON, of 10 significant digits; null if not finite.
nlohmann::json number(double value);

/// The command line as it was typed, for the record.
std::string command_line(const Request& request);
/// Program, version, options, files with SHA-256: the head of every summary.
nlohmann::json provenance_json(const Request& request, const params::Sheet& sheet);

/// "voltage cut-off", or what else ended it, in words.
std::string ended_by(const solver::StepSolution& step);
/// The reasons not to believe a step, in one line; empty if there is none.
std::string untrusted(const solver::Trust& trust);

}  // namespace onegrain::app
