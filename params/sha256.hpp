#pragma once

#include <string>
#include <string_view>

namespace onegrain::params {

/// SHA-256 of the bytes as 64 lower-case hexadecimal digits. Source: FIPS 180-4.
std::string sha256(std::string_view bytes);

}  // namespace onegrain::params
