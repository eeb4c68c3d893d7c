#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "app/answer/answer.hpp"

/// Blocks that are drawn, as data for the script of the page: in the unit shown, every word as it is to be read. What
/// the members mean stands where the script draws them (web/blocks/*.js).
namespace onegrain::app::render {

/// Names of parts get one look each over the whole page, in the order in which they first come.
using Looks = std::vector<std::string>;

nlohmann::json plot_json(const answer::Plot& plot);
nlohmann::json bars_json(const answer::Bars& bars, Looks& looks);
nlohmann::json stack_json(const answer::Stack& stack, Looks& looks);
nlohmann::json layers_json(const answer::Layers& drawing);
nlohmann::json intervals_json(const answer::Intervals& drawing);

/// "Capacity / mAh", the title of an axis or a column.
std::string titled(const std::string& label, const answer::Measure& measure);

}  // namespace onegrain::app::render
