#pragma once

#include <iosfwd>

#include "app/answer/answer.hpp"

namespace onegrain::app::render {

/// An answer as text of 100 columns: subject and headline, the cautions where it recommends a rate, what has to be
/// checked first, what is not to be relied on, the sections, assumptions, otherwise the cautions. Rows beyond
/// `most_rows` of a table are left out in its middle, and counted.
void print(std::ostream& out, const answer::Answer& answer);

inline constexpr std::size_t most_rows = 400;

}  // namespace onegrain::app::render
