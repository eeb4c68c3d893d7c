#pragma once

#include <iosfwd>
#include <string_view>

#include "app/answer/answer.hpp"

/// summary.json: the answer for machines. The contract is summary.schema.json, which the program prints.
namespace onegrain::app::render {

/// The number under "onegrain_summary"; it rises when a key changes its meaning or goes away.
inline constexpr int summary_format = 1;

/// Writes the summary; the rows of tables pass through one at a time. Numbers have 10 significant digits; what is not
/// finite is null, text that is not UTF-8 has its bad bytes replaced.
/// @throws std::logic_error  two blocks use one key
void write_summary(std::ostream& out, const answer::Answer& answer);

/// The published JSON Schema of summary.json.
std::string_view summary_schema();

}  // namespace onegrain::app::render
