#include "app/answer/results.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>

#include "params/text/printable.hpp"

namespace onegrain::app {

using nlohmann::json;

json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::strtod(fmt::format("{:.10g}", value).c_str(), nullptr);
}

std::string ended_by(const solver::StepSolution& step) { return solver::name_of(step.ended_by()); }

std::string untrusted(const solver::Trust& trust) {
  std::string text;
  for (const std::string& reason : trust.reasons) text += (text.empty() ? "" : "; ") + reason;
  return text;
}

std::string command_line(const Request& request) {
  std::string command = "onegrain";
  for (const std::string& word : request.words) {
    command += word.find(' ') == std::string::npos ? " " + word : " '" + word + "'";
  }
  return command;
}

json provenance_json(const Request& request, const params::Sheet& sheet) {
  json files = json::array();
  for (const params::SourceFile& f : sheet.files) {
    files.push_back({{"name", params::valid_utf8(f.name)}, {"shipped", f.shipped}, {"sha256", f.sha256}});
  }
  return {{"program", "onegrain"},
          {"version", ONEGRAIN_VERSION},
          {"command", params::valid_utf8(command_line(request))},
          {"sheet", sheet.name},
          {"files", std::move(files)}};
}

}  // namespace onegrain::app
