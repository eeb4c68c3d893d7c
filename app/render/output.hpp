#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "app/command/commands.hpp"

namespace onegrain::app {

/// Writes curves.csv (where there are any), what else is given by name, summary.json and report.html into the folder
/// asked for, and says so. Does nothing without --out.
void write_results(const Request& request, const Channels& channels, const nlohmann::json& summary,
                   const nlohmann::json& document, const std::string& curves,
                   const std::vector<std::pair<std::string, std::string>>& more = {});

}  // namespace onegrain::app
