#pragma once

#include <string>
#include <vector>

#include "params/sheet/sheet.hpp"

/// What the values of a sheet usually are. The limits of a key say what a program can calculate with; these ranges say
/// what a bench makes. A value beyond them is one slip of a hand away: a diameter for a radius, both sides of a foil
/// for one, millimetres for micrometres.
namespace onegrain::params {

/// One sentence for each value that lies beyond what is usual, which names the value, the usual range and the slip to
/// look for. The ranges are common practice, wide enough for laboratory and cell maker alike.
std::vector<std::string> unusual_values(const Sheet& sheet);

}  // namespace onegrain::params
