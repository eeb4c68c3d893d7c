#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace onegrain::app {

/// A file of app/ (`render/web/report.html`, `render/web/report.css`, ...), built into the program; empty if there is
/// none of that name.
///
/// The definition is written at build time from the files themselves.
std::string_view web_asset(std::string_view name);
/// The names of all of them, sorted.
std::vector<std::string_view> web_asset_names();

/// The report: one HTML page that needs no other file, no network and no server.
///
/// The page holds its style, its drawing code and the document as data, and draws itself when opened. It asks for
/// nothing outside itself; its content security policy forbids it to.
///
/// Every part of the document is optional, and what is missing, empty or of the wrong type is left out of the page.
/// Strings are plain text in UTF-8, shown as they are (never taken as HTML); bytes that are not UTF-8 become U+FFFD.
/// A number that is missing from a trace is NaN or null, and leaves a gap in the line. Keys carry their unit.
///
///     {"program": {"name", "version"}, "verb": "rates",
///      "headline": "one or two sentences for a chemist",
///      "cell": {"name", "arrangement": "full_cell" | "half_cell", "invented": true | false,
///               "layers":  [{"name", "kind": "positive" | "negative" | "separator" | "lithium" | "foil",
///                            "thickness_um", "solid_fraction", "pore_fraction"}],        drawn to scale, in order
///               "inputs":  [{"group", "rows": [{"label", "value", "spread", "source"}]}],
///               "results": [{"label", "value", "plus_minus", "note", "key": true}],
///               "rate_table": [{"label", "current_mA", "current_mA_cm2", "current_mA_g", "hours"}],
///               "warnings": [""], "assumptions": [""]},
///      "cautions": [""], "provenance": [["what", "value"]]}
///
/// The headlines and the cautions are also written as plain HTML, for browsers that run no script.
/// The results marked `key` stand large at the top of the page; where none is marked, the first six do.
/// Numbers are kept to eight significant digits: no chart or table shows more, and traces become half as long.
std::string render_report(const nlohmann::json& document);

}  // namespace onegrain::app
