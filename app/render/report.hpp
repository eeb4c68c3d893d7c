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
///      "curves": [{"label", "c_rate", "direction": "discharge" | "charge", "current_mA", "capacity_mAh",
///                  "capacity_fraction", "mean_voltage_V", "energy_mWh", "ended_by", "trusted": true | false, "note",
///                  "trace": {"capacity_mAh": [], "voltage_V": [], "time_s": [], "separator_side_V": []}}],
///      "rate_capability": {"rated_capacity_mAh", "points": [as a curve, without its trace]},
///      "profiles": [{"electrode", "rate", "moments": [{"label", "radius": [0..1], "stoichiometry": []}]}],
///      "overpotentials": [{"label", "capacity_mAh": [], "parts": [{"name", "values_mV": [] (lost: positive)}]}],
///      "losses": {see below}, "ceiling": {see below}, "balance": {see below}, "fit": {see
///      below}, "cautions": [""], "provenance": [["what", "value"]]}
///
/// The highest charge rate that keeps every limit stands first on the page, the cautions right under its number:
///
///     {"headline": "one sentence to act on",
///      "c_rate", "current_mA", "minutes",        kept by `confidence` of the plausible cells; how long it takes
///      "confidence": 0..1, "samples", "unsolved", "statement": "how the confidence was obtained",
///      "median_c_rate", "nominal_c_rate",        of the plausible cells; of the cell as it stands in the sheet
///      "plain_c_rate", "even_c_rate",            by single particles with even salt; by an even reaction
///      "soc": [from, to], "limited_by", "where",
///      "margins": [{"limit", "quantity", "worst", "allowed", "left", "at_soc", "kept": true | false}],
///      "distribution": {"c_rate": [of the plausible cells, in any order]},
///      "unknowns": [{"path", "text", "value", "c_rate_if_known", "gain_percent"}],
///      "temperatures": [{"temperature_degC", "c_rate", "c_rate_confident", "limited_by"}],   0: no rate is kept
///      "zones": [{"from_degC", "to_degC", "text", "kind": "never" | "reduce"}],
///      "path": {"soc": [], "separator_side_V": [], "even_separator_side_V": [], "voltage_V": [],
///               "margin_V", "upper_voltage_V", "c_rate"},     c_rate: of this charge, where it is not the one above
///      "staircase": {"steps": [{"c_rate", "current_mA", "from_soc", "to_soc", "minutes", "limited_by"}],
///                    "ideal": {"soc": [], "c_rate": []}, "minutes", "constant_current_minutes",
///                    "constant_current_voltage_minutes", "protocol": "file name", "note"}}
///
/// Margins and path belong to the charge at `c_rate`. A rate of 0 means that no rate keeps the limits.
///
/// Where capacity and energy go at one rate, and what would win them back, stand right after the warnings:
///
///     {"rate": "2C", "direction": "discharge" | "charge", "c_rate",
///      "capacity_mAh", "ideal_capacity_mAh", "missing_capacity_mAh",    ideal: with no loss; missing: ideal less this
///      "energy_mWh", "ideal_energy_mWh", "missing_energy_mWh",          below 0: taken up in addition, on charge
///      "trusted": true | false,
///      "parts":  [{"loss", "capacity_mAh", "share_of_missing", "energy_mWh"}],      add up; each may be below 0
///      "levers": [{"change", "side_effect", "possible": true | false,    false: no numbers, and why in "side_effect"
///                  "capacity_fraction", "gained_fraction",               of what that cell holds, at this C-rate
///                  "areal_capacity_mAh_cm2", "areal_energy_mWh_cm2"}]}
///
/// The balance of the electrodes, found from a slow curve; `found` is {"value", "lower", "upper"} with 95 %:
///
///     {"electrodes": [{"electrode", "capacity_mAh": found, "sheet_mAh", "loss_percent": found,     the positive first
///                      "full": found, "empty": found, "sheet_full", "sheet_empty"}],               stoichiometries
///      "lithium": {"capacity_mAh": found, "sheet_mAh", "loss_percent": found},
///      "capacity_ratio": found, "sheet_capacity_ratio", "cell_capacity_mAh": found, "sheet_cell_capacity_mAh",
///      "alignment": {"charge_mAh" (given since full), "positive_V", "negative_V", "full_V", "capacity_mAh",
///                    "measured": {"charge_mAh", "voltage_V"}}}
///
/// Estimates from measured curves:
///
///     {"parameters": [{"name", "label", "unit", "before", "estimate", "lower", "upper", "lower_open", "upper_open",
///                      "linear_lower", "linear_upper", "logarithmic": true | false, "share_known_before": 0..1,
///                      "at_bound": true | false, "told": true | false, "remark"}],
///      "correlation": {"names": [""], "matrix": [[-1..1]]}, "untold": [""], "advice": [""], "notes": [""],
///      "further_tests": [{"test", "narrower": {name: factor}}],
///      "curves": [{"file", "start", "rows_read", "rows_left_out", "points", "correlation_points",
///                  "rms_mV", "mean_mV", "largest_mV",
///                  "trace": {"time_h", "charge_mAh", "measured_V", "model_V", "residual_mV"}}],
///      "potentials": [{"name", "stoichiometry": [], "correction_mV": [], "standard_deviation_mV": []}],
///      "noise_mV", "independent_points", "starts", "starts_agreeing", "converged": true | false, "ended_by"}
///
/// The headlines and the cautions are also written as plain HTML, for browsers that run no script.
/// The results marked `key` stand large at the top of the page; where none is marked, the first six do.
/// Numbers are kept to eight significant digits: no chart or table shows more, and traces become half as long.
std::string render_report(const nlohmann::json& document);

}  // namespace onegrain::app
