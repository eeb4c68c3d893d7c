#pragma once

#include <string_view>
#include <vector>

namespace onegrain::app {

/// A file of app/ (`render/web/report.html`, `render/web/report.css`, ...), built into the program; empty if there is
/// none of that name. The definition is written at build time from the files themselves.
std::string_view web_asset(std::string_view name);
/// The names of all of them, sorted.
std::vector<std::string_view> web_asset_names();

}  // namespace onegrain::app
