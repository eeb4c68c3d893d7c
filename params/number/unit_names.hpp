#pragma once

#include <string>
#include <vector>

#include "params/number/units.hpp"

namespace onegrain::params {

/// Every unit of one word that has this dimension, with its prefixes: "m", "um", "angstrom", ... for a length.
std::vector<std::string> units_of(const Dimension& dimension);

}  // namespace onegrain::params
