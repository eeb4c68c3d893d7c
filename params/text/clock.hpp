#pragma once

#include <string_view>

namespace onegrain::params {

/// `h:mm:ss.f`, `d h:mm:ss` (also `1d 2:03:04`), `YYYY-MM-DD hh:mm:ss.f` (also with T, slashes, Z) in seconds, dates
/// from 1970-01-01 in the Gregorian calendar; false for anything else, `seconds` then untouched.
bool read_clock(std::string_view text, double& seconds);

}  // namespace onegrain::params
