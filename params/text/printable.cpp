#include "params/text/printable.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>

namespace onegrain::params {

namespace {

std::uint32_t code_point(std::string_view character) {
  const auto byte = [&](std::size_t k) { return static_cast<std::uint32_t>(static_cast<unsigned char>(character[k])); };
  if (character.size() == 1) return byte(0);
  std::uint32_t code = byte(0) & (0x7FU >> character.size());
  for (std::size_t k = 1; k < character.size(); ++k) code = code << 6 | (byte(k) & 0x3F);
  return code;
}

bool acts_on_a_terminal(std::uint32_t code) {
  const auto within = [&](std::uint32_t first, std::uint32_t last) { return code >= first && code <= last; };
  if (code == '\n' || code == '\t') return false;
  return code < 0x20 || within(0x7F, 0x9F) || code == 0x061C || code == 0x200E || code == 0x200F ||
         within(0x2028, 0x202E) || within(0x2066, 0x2069);
}

template <class Write>
std::string written(std::string_view text, const Write& write) {
  std::string result;
  result.reserve(text.size());
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    if (length == 0) {
      result += fmt::format("\\x{:02x}", static_cast<unsigned char>(text.front()));
    } else {
      write(result, text.substr(0, length));
    }
    text.remove_prefix(std::max<std::size_t>(length, 1));
  }
  return result;
}

}  // namespace

std::size_t utf8_length(std::string_view text, bool* begun) {
  if (begun != nullptr) *begun = false;
  if (text.empty()) return 0;
  const auto byte = [&](std::size_t k) { return static_cast<unsigned>(static_cast<unsigned char>(text[k])); };
  const unsigned first = byte(0);
  if (first < 0x80) return 1;
  const std::size_t length = first >= 0xC2 && first <= 0xDF ? 2 : first >= 0xE0 && first <= 0xEF ? 3 : 4;
  if (first < 0xC2 || first > 0xF4) return 0;
  // The second byte rules out overlong forms, surrogates and what lies beyond U+10FFFF.
  const unsigned low = first == 0xE0 ? 0xA0 : first == 0xF0 ? 0x90 : 0x80;
  const unsigned high = first == 0xED ? 0x9F : first == 0xF4 ? 0x8F : 0xBF;
  for (std::size_t k = 1; k < length; ++k) {
    if (k == text.size()) {
      if (begun != nullptr) *begun = true;
      return 0;
    }
    if (byte(k) < (k == 1 ? low : 0x80) || byte(k) > (k == 1 ? high : 0xBF)) return 0;
  }
  return length;
}

std::string printable(std::string_view text) {
  return written(text, [](std::string& result, std::string_view character) {
    const std::uint32_t code = code_point(character);
    if (acts_on_a_terminal(code)) {
      result += fmt::format("\\u{:04x}", code);
    } else {
      result += character;
    }
  });
}

std::string one_line(std::string_view text) {
  std::string blanks(text);
  for (char& c : blanks) {
    if (c == '\n' || c == '\r' || c == '\t') c = ' ';
  }
  return printable(blanks);
}

std::string valid_utf8(std::string_view text) {
  return written(text, [](std::string& result, std::string_view character) { result += character; });
}

}  // namespace onegrain::params
