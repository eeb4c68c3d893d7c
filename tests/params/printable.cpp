#include "params/text/printable.hpp"

#include "params/text/revision.hpp"
#include "tests/catch.hpp"

// What a terminal acts upon: ECMA-48 (5th ed.), sections 5 and 8: C0 and C1 controls, U+009B beginning a sequence as
// ESC [ does. Marks of writing direction: Unicode Standard Annex 9. Well-formed UTF-8: RFC 3629, section 4.

using namespace onegrain::params;

TEST_CASE("words in any script pass unchanged", "[printable]") {
  for (const char* text :
       {"", "coin cell 07", "Größe 4,8 µm", "粉末", "Ω·cm²", "line\nline\ttab", "\xF0\x9F\x94\x8B"}) {
    INFO(text);
    CHECK(printable(text) == text);
    CHECK(valid_utf8(text) == text);
  }
}

TEST_CASE("nothing that a terminal acts upon is left", "[printable]") {
  CHECK(printable("\x1b[31mred") == "\\u001b[31mred");
  CHECK(printable("\x1b]0;title\x07") == "\\u001b]0;title\\u0007");
  CHECK(printable("\xC2\x9B"
                  "2J") == "\\u009b2J");  // the one-character form of ESC [
  CHECK(printable("a\rb\x7F\b") == "a\\u000db\\u007f\\u0008");
  CHECK(printable(std::string_view("a\0b", 3)) == "a\\u0000b");
  CHECK(printable("\xE2\x80\xAE"
                  "txt") == "\\u202etxt");  // right-to-left override
  CHECK(printable("\x9B"
                  "2J") == "\\x9b2J");  // no UTF-8: a terminal of eight bits takes it for the same
  // every byte, alone and before another: no control but line feed and tab comes through
  for (int first = 0; first < 256; ++first) {
    for (const int second : {0x1B, 0x80, 0x9B, 0xA0, 0xBF, 0x61}) {
      const std::string shown = printable(std::string{static_cast<char>(first), static_cast<char>(second)});
      for (std::size_t k = 0; k < shown.size(); ++k) {
        const auto byte = static_cast<unsigned char>(shown[k]);
        CHECK((byte >= 0x20 || byte == '\n' || byte == '\t'));
        CHECK(byte != 0x7F);
        if (byte == 0xC2) CHECK(static_cast<unsigned char>(shown.at(k + 1)) >= 0xA0);
      }
      CHECK(valid_utf8(shown) == shown);
    }
  }
}

TEST_CASE("bytes that are no characters are told apart from those that are", "[printable]") {
  struct Row {
    const char* name;
    std::string bytes;
    std::size_t length;
    bool begun;
  };
  const auto row = GENERATE(values<Row>({
      {"ASCII", "a", 1, false},
      {"two bytes", "\xC2\xA9", 2, false},
      {"three bytes", "\xE2\x82\xAC", 3, false},
      {"four bytes", "\xF0\x9F\x94\x8B", 4, false},
      {"overlong", "\xC0\xAF", 0, false},
      {"overlong in three bytes", "\xE0\x80\xAF", 0, false},
      {"surrogate", "\xED\xA0\x80", 0, false},
      {"beyond U+10FFFF", "\xF4\x90\x80\x80", 0, false},
      {"a byte that only continues", "\x80", 0, false},
      {"cut after one byte", "\xE2", 0, true},
      {"cut after three bytes", "\xF0\x9F\x94", 0, true},
      {"nothing", "", 0, false},
  }));
  CAPTURE(row.name);
  bool begun = false;
  CHECK(utf8_length(row.bytes, &begun) == row.length);
  CHECK(begun == row.begun);
}

TEST_CASE("one line stays one line", "[printable]") {
  CHECK(one_line("a\nb\r\nc\td") == "a b  c d");
  CHECK(one_line("a\xE2\x80\xA8"
                 "b\xC2\x85"
                 "c") == "a\\u2028b\\u0085c");  // line breaks of Unicode
}
