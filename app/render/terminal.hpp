#pragma once

#include <iosfwd>

#include "app/answer/answer.hpp"

namespace onegrain::app::render {

/// An answer as text, its words in lines of at most `columns` signs (tables are as wide as they are): subject and
/// headline, the cautions where it recommends a rate, what has to be checked first, what is not to be relied on, the
/// sections, assumptions, otherwise the cautions. Rows beyond `most_rows` of a table are left out in its middle, and
/// counted.
void print(std::ostream& out, const answer::Answer& answer, std::size_t columns = 100);

inline constexpr std::size_t most_rows = 400;

}  // namespace onegrain::app::render
