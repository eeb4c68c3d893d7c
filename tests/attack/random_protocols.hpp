#pragma once

#include <string>

#include "tests/attack/random_cells.hpp"

namespace onegrain::attack {

/// One to eight steps, repeated now and then: currents of C/20..10C either way, rests, holds, pulses; ends by voltage,
/// time, capacity, current and, in a cell with `thermal`, temperature. Voltages lie in [lower, upper] (V).
std::string random_protocol(Random& random, double lower, double upper, bool thermal);

}  // namespace onegrain::attack
