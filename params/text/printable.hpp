#pragma once

#include <cstddef>
#include <string>
#include <string_view>

/// Text of foreign origin (names, keys, column titles, file names) as something that a screen may be shown.
namespace onegrain::params {

/// The text with everything that a terminal would act upon, and not show, written out as `\u001b`.
///
/// These are the control characters U+0000 to U+001F but for line feed and tab, U+007F to U+009F (U+009B begins a
/// command as ESC [ does), the line and paragraph separators U+2028 and U+2029, and the marks that turn the direction
/// of writing (U+061C, U+200E, U+200F, U+202A to U+202E, U+2066 to U+2069; Unicode Standard Annex 9, Unicode Technical
/// Report 36). Bytes that are not UTF-8 become `\x9b`. Inside a string of JSON the first form means the same character.
std::string printable(std::string_view text);

/// The same on one line: line feeds, carriage returns and tabs become blanks.
std::string one_line(std::string_view text);

/// The text with bytes that are not UTF-8 (a file name may hold any) written out as `\x9b`; nothing else is changed.
std::string valid_utf8(std::string_view text);

/// Bytes of the character at the front, 1 to 4; 0 where it is not well-formed UTF-8 (RFC 3629, section 4).
///
/// @param begun  set to whether the text ends inside a character that is well-formed so far
std::size_t utf8_length(std::string_view text, bool* begun = nullptr);

}  // namespace onegrain::params
