#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace onegrain::params {

/// SHA-256 of bytes that come in pieces of any size. Source: FIPS 180-4, sections 5 and 6.2.
class Sha256 {
 public:
  void add(std::string_view bytes);
  /// Of all bytes so far, as 64 lower-case hexadecimal digits; more may be added afterwards.
  std::string digits() const;

 private:
  std::array<std::uint32_t, 8> hash_ = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                        0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<unsigned char, 64> rest_{};  // bytes that do not fill a block yet
  std::size_t rest_size_ = 0;
  std::uint64_t size_ = 0;  // bytes so far
};

/// SHA-256 of the bytes as 64 lower-case hexadecimal digits.
std::string sha256(std::string_view bytes);

}  // namespace onegrain::params
