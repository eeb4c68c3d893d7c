#include "params/text/document.hpp"

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>

#include "params/sheet/sheet.hpp"
#include "params/text/faults.hpp"
#include "params/text/library.hpp"
#include "params/text/sha256.hpp"
#include "tests/catch.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;

namespace {

std::string faults_of(const std::string& text) {
  Faults faults;
  read_document(text, "a.yaml", faults);
  return faults.text();
}

/// xorshift64: the same bytes on every machine.
struct Random {
  std::uint64_t state = 88172645463325252ULL;
  std::uint64_t operator()() {
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
  }
};

std::string sheet_text() {
  return sheets::with(sheets::full_cell, "loading: 11.8 mg/cm2",
                      "loading: {value: 11.8 mg/cm2, spread: 0.2 mg/cm2, source: \"balance\"}");
}

}  // namespace

TEST_CASE("a document keeps the place of every key and value", "[params][document]") {
  Faults faults;
  const auto document = read_document(
      "name: x\nlayer: {thickness: 60 um,\n  porosity: 33 %}\nsteps:\n  - rest\n  - {a: 1}\nempty:\nquoted: \"null\"\n",
      "a.yaml", faults);
  REQUIRE(document);
  CHECK(faults.empty());
  const Node& layer = document->find("layer")->value;
  CHECK(layer.type == Node::Type::mapping);
  CHECK(layer.find("thickness")->value.text == "60 um");
  CHECK(layer.find("thickness")->value.line == 2);
  CHECK(layer.find("thickness")->value.column == 20);
  CHECK(layer.find("thickness")->column == 9);
  CHECK(layer.find("porosity")->value.line == 3);
  CHECK(layer.find("porosity")->column == 3);
  CHECK(document->find("steps")->value.items.size() == 2);
  CHECK(document->find("steps")->value.items[1].find("a")->value.line == 6);
  CHECK(document->find("empty")->value.type == Node::Type::null);
  CHECK(document->find("empty")->value.line == 7);
  CHECK(document->find("quoted")->value.type == Node::Type::scalar);
  CHECK(document->find("nothing") == nullptr);
}

TEST_CASE("what is not a plain sheet is refused in one clear line", "[params][document][messages]") {
  CHECK(faults_of("") == "a.yaml: empty; nothing is stated\n");
  CHECK(faults_of("# only a comment\n") == "a.yaml: empty; nothing is stated\n");
  CHECK(faults_of("just words") == "a.yaml:1:1: keys with values are expected, such as 'name: coin cell 07'\n");
  CHECK(faults_of("- a\n- b\n") == "a.yaml:1:1: keys with values are expected, such as 'name: coin cell 07'\n");
  CHECK(faults_of("a: &anchor 1\nb: *anchor\n") ==
        "a.yaml:1:4: an anchor ('&'); write the value out where it is needed\n");
  CHECK_THAT(faults_of("b: *anchor\n"), HasText("a.yaml:1:4: not valid YAML: the referenced anchor is not defined"));
  CHECK(faults_of("a: !!float 1\n") == "a.yaml:1:4: a tag ('!'); values need none\n");
  CHECK(faults_of("a: 1\nb: 2\na: 3\n") == "a.yaml:3:1: a: this key stands here a second time\n");
  CHECK(faults_of("a: 1\n---\nb: 2\n") ==
        "a.yaml:2:1: a second document ('---') begins here; one file holds one document\n");
  CHECK(faults_of("a: 1\n\tb: 2\n") == "a.yaml:2:1: a tab indents this line; use spaces\n");
  CHECK_THAT(faults_of("a: [1, 2\nb: 3\n"), HasText("not valid YAML"));
  CHECK_THAT(faults_of("a: {b: 1\n"), HasText("not valid YAML"));
  CHECK_THAT(faults_of("? [a, b]\n: 1\n"), HasText("a list or a mapping stands where a key is expected"));
  CHECK_THAT(faults_of(": 1\n"), HasText("a key is missing in front of ':'"));
  CHECK(faults_of(std::string("a: 1\0b", 6)) == "a.yaml:1:5: a control character; this is not a text file\n");
  CHECK(faults_of("a: \xFF\n") == "a.yaml:1:4: a byte that is not UTF-8; save the text as UTF-8\n");
  CHECK(faults_of("a: \xC0\xAF\n") ==
        "a.yaml:1:4: a byte that is not UTF-8; save the text as UTF-8\n");  // overlong '/'
  CHECK(faults_of(std::string("\xFF\xFE"
                              "a\0:\0",
                              6)) == "a.yaml: the text is UTF-16; save it as UTF-8\n");
  CHECK(faults_of(std::string((1 << 20) + 1, 'a')) == "a.yaml: bigger than 1 MiB; this is not a sheet or a card\n");
}

TEST_CASE("nesting without end, and anchors that multiply, end at once with a fault", "[params][document]") {
  const auto start = std::chrono::steady_clock::now();
  for (const std::string& open :
       {std::string("["), std::string("{a: "), std::string("- "), std::string("? "), std::string("[{b: ")}) {
    std::string text = "a: ";
    if (open == "- " || open == "? ") text = "";
    while (text.size() < 200000) text += open;
    CAPTURE(open);
    CHECK_FALSE(faults_of(text).empty());
  }
  std::string indented;
  for (std::size_t k = 0; k < 400; ++k) indented.append(k, ' ').append("a:\n");
  CHECK_THAT(faults_of(indented), HasText("nested deeper than 32 levels"));
  std::string laughs = "a: &a [lol, lol]\n";
  for (char c = 'b'; c <= 'z'; ++c) {
    const char before = static_cast<char>(c - 1);
    for (const char letter : {c, ':', ' ', '&', c, ' ', '[', '*', before, ',', '*', before, ']', '\n'})
      laughs += letter;
  }
  CHECK(faults_of(laughs) == "a.yaml:1:4: an anchor ('&'); write the value out where it is needed\n");
  CHECK_FALSE(faults_of("a: &a [*a]\n").empty());
  std::string keys;
  for (int k = 0; k < 60000; ++k) keys.append("k").append(std::to_string(k)).append(": 1\n");
  CHECK_THAT(faults_of(keys), HasText("more than 1000 keys in one mapping"));
  std::string items = "a:\n";
  for (int k = 0; k < 200000; ++k) items += "- 1\n";
  CHECK_THAT(faults_of(items), HasText("a list of more than 10000 items"));
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(20));
}

TEST_CASE("no bytes make the reader of sheets crash, hang or accept nonsense", "[params][document][fuzz]") {
  Random random;
  SECTION("random bytes") {
    for (int run = 0; run < 2000; ++run) {
      std::string text;
      for (std::uint64_t n = random() % 200; n > 0; --n) text += static_cast<char>(random() & 0xFF);
      CHECK_FALSE(read_sheet(text, "a.yaml", "/nonexistent").value);
    }
  }
  SECTION("random text of the letters that YAML gives a meaning to") {
    const std::string letters = "abc:,{}[]-?&*!|>'\"%@` \n\n  #01.~\t";
    for (int run = 0; run < 5000; ++run) {
      std::string text;
      for (std::uint64_t n = random() % 80; n > 0; --n) text += letters[random() % letters.size()];
      const auto loaded = read_sheet(text, "a.yaml", "/nonexistent");
      CHECK_FALSE(loaded.value);
      CHECK(loaded.faults.any_error());
    }
  }
  SECTION("a sheet cut off anywhere") {
    const std::string whole = sheet_text();
    for (std::size_t length = 0; length + 15 < whole.size(); length += 7) {
      const auto loaded = read_sheet(whole.substr(0, length), "a.yaml", "/nonexistent");
      CAPTURE(length);
      CHECK_FALSE(loaded.value);
      CHECK(loaded.faults.any_error());
    }
  }
  SECTION("a sheet with bytes changed: sound or faulted, never both, never neither") {
    for (int run = 0; run < 600; ++run) {
      std::string text = sheet_text();
      for (std::uint64_t n = 1 + random() % 4; n > 0; --n)
        text[random() % text.size()] = static_cast<char>(32 + random() % 95);
      const auto loaded = read_sheet(text, "a.yaml", "/nonexistent");
      CAPTURE(text);
      CHECK(loaded.value.has_value() != loaded.faults.any_error());
    }
  }
  SECTION("a sheet with lines repeated, dropped or swapped") {
    std::vector<std::string> lines;
    const std::string whole = sheet_text();
    for (std::size_t at = 0; at < whole.size();) {
      const std::size_t end = whole.find('\n', at) + 1;
      lines.push_back(whole.substr(at, end - at));
      at = end;
    }
    for (int run = 0; run < 400; ++run) {
      std::vector<std::string> mixed = lines;
      std::swap(mixed[random() % mixed.size()], mixed[random() % mixed.size()]);
      mixed.erase(mixed.begin() + static_cast<std::ptrdiff_t>(random() % mixed.size()));
      std::string text;
      for (const std::string& line : mixed) text += line;
      const auto loaded = read_sheet(text, "a.yaml", "/nonexistent");
      CAPTURE(text);
      CHECK(loaded.value.has_value() != loaded.faults.any_error());
    }
  }
}

TEST_CASE("a file that cannot be read says so", "[params][library][messages]") {
  CHECK(load_sheet("/nonexistent/coin07.yaml").faults.text() == "/nonexistent/coin07.yaml: no such file\n");
  CHECK(load_sheet("/").faults.text() == "/: a folder, not a file\n");
  CHECK(load_sheet("/dev/zero").faults.text() == "/dev/zero: not a regular file\n");
  CHECK(load_sheet("").faults.text() == "(no name): not a file name\n");
  CHECK_THAT(load_sheet("nmc811_grafite_siox_21700").faults.text(),
             HasText("no such file, and none of this name is shipped; did you mean 'nmc811_graphite_siox_21700'?"));
}

TEST_CASE("faults come sorted, once each, as lines that a terminal can show", "[params][faults]") {
  Faults faults;
  faults.error({"b.yaml", 9, 2}, "late", "", "wrong");
  faults.warning({"b.yaml", 3, 4}, "early", "1", "odd");
  faults.error({"b.yaml", 9, 2}, "late", "", "wrong");
  faults.error({"a.yaml", 1, 1}, "", std::string(200, 'x') + "\x1b[31m", "long");
  CHECK(faults.text() == "b.yaml:3:4: warning: early = '1': odd\nb.yaml:9:2: late: wrong\na.yaml:1:1: '" +
                             std::string(60, 'x') + "...': long\n");
  CHECK(faults.errors() == 2);
  Faults coloured;
  coloured.error({"a", 1, 2}, "k", "\x1b[31m", "m");
  CHECK(coloured.text() == "a:1:2: k = '\\u001b[31m': m\n");
}

TEST_CASE("the nearest key is the one meant", "[params][faults]") {
  const std::vector<std::string> keys = {"porosity", "thickness", "active_fraction", "tortuosity"};
  CHECK(nearest("porosty", keys) == "porosity");
  CHECK(nearest("thikness", keys) == "thickness");
  CHECK(nearest("prorosity", keys) == "porosity");
  CHECK(nearest("active-fraction", keys) == "active_fraction");
  CHECK(nearest("colour", keys).empty());
}

TEST_CASE("SHA-256 gives the examples of FIPS 180", "[params][sha256]") {
  CHECK(sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256(std::string(1000000, 'a')) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("SHA-256 does not depend on how the bytes are cut into pieces", "[params][sha256]") {
  // The million 'a' of FIPS 180 again, in pieces around the size of a block and in odd ones.
  for (const std::size_t size : {1UL, 7UL, 55UL, 56UL, 63UL, 64UL, 65UL, 119UL, 4096UL, 999999UL}) {
    CAPTURE(size);
    const std::string piece(size, 'a');
    Sha256 hash;
    for (std::size_t done = 0; done < 1000000; done += size)
      hash.add(std::string_view(piece).substr(0, 1000000 - done));
    CHECK(hash.digits() == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  }
  Sha256 hash;  // asked in between
  CHECK(hash.digits() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  hash.add("ab");
  CHECK(hash.digits() == sha256("ab"));
  hash.add("");
  hash.add("c");
  CHECK(hash.digits() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}
