#pragma once

#include <iosfwd>

#include "app/answer/answer.hpp"

namespace onegrain::app::render {

/// An answer as text of 100 columns: subject and headline, what has to be checked first, the sections, what is not to
/// be relied on, assumptions, cautions. Rows beyond `most_rows` of a table are left out in its middle, and counted.
void print(std::ostream& out, const answer::Answer& answer);

inline constexpr std::size_t most_rows = 400;

}  // namespace onegrain::app::render
