#pragma once

namespace onegrain::params {

/// Whatever the locale says.
constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

}  // namespace onegrain::params
