#pragma once

#include <string>

#include "app/answer/answer.hpp"

/// The page to teach with: one file that holds the cell as numbers, the solver as WebAssembly, the script and its
/// words.
namespace onegrain::app::render {

/// @throws std::logic_error  where the answer holds no page
std::string teaching_page(const answer::Answer& said);

}  // namespace onegrain::app::render
