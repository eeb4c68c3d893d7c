#pragma once

#include "app/answer/answer.hpp"
#include "app/study/curve_bands.hpp"

/// What is told of the bands that 95 % of the plausible cells fill.
namespace onegrain::app::answer {

/// Columns of a table of curves that have bands, and their cells: "1.71 to 2.10" mAh, and both ends.
std::vector<TableColumn> band_columns();
void add_band(Row& row, const study::CurveBand& band);

/// Looks for the bands that were asked for; nothing where none were.
study::CurveBands banded(const Request& request, const Channels& channels, const Job& job,
                         const study::CurvesAsked& asked, std::vector<NamedCurve>& curves);
/// What they rest on, and what they say of the curve nearest to 1C; empty where none were asked for.
std::string bands_words(const Request& request, const study::CurveBands& bands, const std::vector<NamedCurve>& curves);

}  // namespace onegrain::app::answer
