#pragma once

#include <string>

namespace onegrain::app {

/// The licence of the program, and behind it those of all that is compiled or linked into it, whole.
std::string licences();

}  // namespace onegrain::app
