#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "app/answer/answer.hpp"

/// report.html: one page that needs no other file, no network and no server. It holds its style, its drawing code and
/// what there is to draw, every word and number in it already as it is to be read; the script (web/blocks/*.js, then
/// web/page.js) puts blocks in place and draws lines. Its content security policy forbids it to ask for anything.
namespace onegrain::app::render {

/// What the page holds as data. Blocks are {"type": "text" | "list" | "table" | "plot" | "bars" | "stack" | "layers",
/// ...}, each described where its script draws it. Axes and lines are in the unit shown; lines are thinned to
/// `most_points`.
nlohmann::json page_document(const answer::Answer& answer);

/// The whole page.
std::string page_text(const answer::Answer& answer);

inline constexpr std::size_t most_points = 1500;
inline constexpr std::size_t most_page_rows = 60;

}  // namespace onegrain::app::render
