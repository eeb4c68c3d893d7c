#include "params/text/revision.hpp"

#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <set>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "params/card/card.hpp"
#include "params/sheet/sheet.hpp"
#include "params/text/document.hpp"
#include "params/text/fields.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

std::string revise(const std::string& text, const std::string& path, const std::string& yaml) {
  return revised(text, "coin07.yaml", {{path, yaml}});
}

/// The text of the one scalar of a document `v: ...`.
std::string read_back(const std::string& yaml) {
  Faults faults;
  const auto document = read_document("v: " + yaml + "\n", "v.yaml", faults);
  INFO(yaml << "\n" << faults.text());
  REQUIRE(document);
  return document->entries.at(0).value.text;
}

std::vector<std::string> paths_of(const Node& node, const std::string& above = "") {
  std::vector<std::string> paths;
  for (const Entry& entry : node.entries) {
    const std::string path = above.empty() ? entry.key : above + "." + entry.key;
    paths.push_back(path);
    for (std::string& deeper : paths_of(entry.value, path)) paths.push_back(std::move(deeper));
  }
  return paths;
}

/// Whether keys that go with a replaced mapping may hold comments of their own.
bool holds_mappings(const Node& document, const std::string& path) {
  const std::string key = path.substr(0, path.find('.'));
  const Node& value = document.find(key)->value;
  if (key.size() < path.size()) return holds_mappings(value, path.substr(key.size() + 1));
  return std::any_of(value.entries.begin(), value.entries.end(),
                     [](const Entry& entry) { return entry.value.type == Node::Type::mapping; });
}

/// Lines that hold nothing but a comment.
std::multiset<std::string> comment_lines(const std::string& text) {
  std::multiset<std::string> result;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) {
    const std::size_t first = line.find_first_not_of(' ');
    if (first != std::string::npos && line[first] == '#') result.insert(line.substr(first));
  }
  return result;
}

const std::string sheet = R"(# my cells, bench book p. 12
onegrain: 1
name: Zürich, cell 7        # the one that was dropped
temperature: 25 degC

contact_resistance: 12 ohm.cm2   # per plate area
positive:                   # the oxide
  material: nmc622
  coating:
    loading: {value: 11.8 mg/cm2, spread: 0.2 mg/cm2, source: "balance, #3"}  # five discs
    # pressed twice
    thickness: 52 um
  particle_radius:          # from the micrograph
    value: 4.8 um           # Rosa counted
    # 60 grains
    spread: 10 %
    source: >
      micrograph,
      60 grains

negative:
  material: graphite
  layer: {thickness: 60 um,   # after pressing
          porosity: 33 %}     # guess
note: |
  Keep dry. # no comment
  formation_loss: 9 %

formation_loss: 8 %
electrolyte:
)";

/// `sheet` with a piece replaced.
std::string with(const std::string& from, const std::string& to) {
  std::string text = sheet;
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  REQUIRE(text.find(from, at + 1) == std::string::npos);
  return text.replace(at, from.size(), to);
}

}  // namespace

TEST_CASE("a replaced value leaves every other byte where it was", "[params][revision]") {
  CHECK(revise(sheet, "contact_resistance", "9.5 ohm.cm2") == with("12 ohm.cm2", "9.5 ohm.cm2"));
  CHECK(revise(sheet, "name", "\"cell 7, fitted\"") == with("Zürich, cell 7", "\"cell 7, fitted\""));
  CHECK(revise(sheet, "positive.coating.thickness", "{value: 50 um, spread: 1 um}") ==
        with("52 um", "{value: 50 um, spread: 1 um}"));
  CHECK(revise(sheet, "positive.coating.loading", "12 mg/cm2") ==
        with("{value: 11.8 mg/cm2, spread: 0.2 mg/cm2, source: \"balance, #3\"}", "12 mg/cm2"));
  CHECK(revise(sheet, "positive.coating.loading.source", "\"twice\"") == with("\"balance, #3\"", "\"twice\""));
  CHECK(revise(sheet, "negative.layer.porosity", "31 %") == with("33 %", "31 %"));
  CHECK(revise(sheet, "electrolyte", "carbonate_1M") == with("electrolyte:\n", "electrolyte: carbonate_1M\n"));
  CHECK(revise(sheet, "note", "none") == with("|\n  Keep dry. # no comment\n  formation_loss: 9 %\n", "none\n"));
  CHECK(revise("a: >-  # why\n  long\n\n  text\nb: 1\n", "a", "short") == "a: short  # why\nb: 1\n");
  CHECK(revise("a: it's\n   long   # why\nb: 1\n", "a", "short") == "a: short   # why\nb: 1\n");
  CHECK(revise("{a: it's, 'b': [1, {c: 2}], d}", "b", "3") == "{a: it's, 'b': 3, d}");
  CHECK(revise("{a: it's, 'b': [1, {c: 2}], d}", "d", "3") == "{a: it's, 'b': [1, {c: 2}], d: 3}");
  CHECK(revise("a:\n- 1  # one\n-\nb: 1", "a", "2") == "a: 2\n# one\nb: 1");
  CHECK(revise("\xEF\xBB\xBF"
               "a: 1\n",
               "a", "2") ==
        "\xEF\xBB\xBF"
        "a: 2\n");
  CHECK(revise("a: 'it''s'\n", "a", "2") == "a: 2\n");
  CHECK(revise("a: \"\\\" # \\\\\" # b\n", "a", "2") == "a: 2 # b\n");
  CHECK(revise("a: {b: 1}\n", "a.b", "x, y") == "a: {b: \"x, y\"}\n");
}

TEST_CASE("a mapping over lines that becomes another mapping keeps its lines and what was noted beside them",
          "[params][revision]") {
  CHECK(revise(sheet, "positive.particle_radius", "{value: 5.1 um, spread: 0.3 um, source: \"fit\"}") ==
        with(R"(    value: 4.8 um           # Rosa counted
    # 60 grains
    spread: 10 %
    source: >
      micrograph,
      60 grains
)",
             R"(    value: 5.1 um           # Rosa counted
    # 60 grains
    spread: 0.3 um
    source: "fit"
)"));
  CHECK(revise(sheet, "positive.particle_radius", "{value: 5.1 um, note: x}") ==
        with(R"(    value: 4.8 um           # Rosa counted
    # 60 grains
    spread: 10 %
    source: >
      micrograph,
      60 grains
)",
             R"(    value: 5.1 um           # Rosa counted
    # 60 grains
    note: x
)"));
  CHECK(revise(sheet, "negative.layer", "{porosity: 30 %, tortuosity: 2}") ==
        with("{thickness: 60 um,   # after pressing\n          porosity: 33 %}",
             "{\n          porosity: 30 %, tortuosity: 2}"));
}

TEST_CASE("a mapping over lines that becomes one value leaves its comments as lines of their own",
          "[params][revision]") {
  CHECK(revise(sheet, "positive.particle_radius", "5.1 um") ==
        with(R"(  particle_radius:          # from the micrograph
    value: 4.8 um           # Rosa counted
    # 60 grains
    spread: 10 %
    source: >
      micrograph,
      60 grains
)",
             R"(  particle_radius: 5.1 um          # from the micrograph
    # Rosa counted
    # 60 grains
)"));
  CHECK(revise(sheet, "negative.layer", "none") ==
        with("{thickness: 60 um,   # after pressing\n          porosity: 33 %}     # guess",
             "none     # guess\n  # after pressing"));
}

TEST_CASE("a new key stands at the end of its mapping, in a mapping of its own where there is none",
          "[params][revision]") {
  CHECK(revise(sheet, "positive.accessible_fraction", "{value: 93 %, spread: 1 %}") ==
        with("      60 grains\n", "      60 grains\n  accessible_fraction: {value: 93 %, spread: 1 %}\n"));
  CHECK(revise(sheet, "negative.layer.tortuosity", "2") == with("porosity: 33 %}", "porosity: 33 %, tortuosity: 2}"));
  CHECK(revise(sheet, "charged_state.positive", "0.27") ==
        with("electrolyte:\n", "electrolyte:\ncharged_state: {positive: 0.27}\n"));
  CHECK(revise(sheet, "positive.coating.densities.carbon", "1.9 g/cm3") ==
        with("thickness: 52 um\n", "thickness: 52 um\n    densities: {carbon: 1.9 g/cm3}\n"));
  CHECK(revise(sheet, "electrolyte.concentration", "1 mol/L") ==
        with("electrolyte:\n", "electrolyte: {concentration: 1 mol/L}\n"));
  CHECK(revise("a: 1", "b", "2") == "a: 1\nb: 2");
  CHECK(revise("a: 1  # one", "b", "2") == "a: 1  # one\nb: 2");
  CHECK(revise("---\na: |+\n  text\n\n\n# end\n...\n", "b", "2") == "---\na: |+\n  text\n\n\nb: 2\n# end\n...\n");
  CHECK(revise("a: {}\n", "a.b", "2") == "a: {b: 2}\n");
  CHECK(revise("a: { }\n", "a.b.c", "2") == "a: {b: {c: 2} }\n");
  CHECK(revise("a: {b: 1,}\n", "a.c", "2") == "a: {b: 1, c: 2}\n");
  CHECK(revise("a: {b: 1, c: }\n", "a.d", "2") == "a: {b: 1, c:, d: 2 }\n");
  CHECK(revise("a:\n  - 1\n  -\n# end\n", "b", "2") == "a:\n  - 1\n  -\nb: 2\n# end\n");
}

TEST_CASE("a key that is taken out takes its comment along and nothing else", "[params][revision]") {
  CHECK(revise(sheet, "formation_loss", "") == with("formation_loss: 8 %\n", ""));
  CHECK(revise(sheet, "contact_resistance", "") == with("contact_resistance: 12 ohm.cm2   # per plate area\n", ""));
  CHECK(revise(sheet, "positive.coating.thickness", "") == with("    thickness: 52 um\n", ""));
  CHECK(revise(sheet, "positive.coating.loading.spread", "") == with("spread: 0.2 mg/cm2, ", ""));
  CHECK(revise(sheet, "positive.coating.loading.source", "") == with(", source: \"balance, #3\"", ""));
  CHECK(revise(sheet, "negative.layer.porosity", "") ==
        with("60 um,   # after pressing\n          porosity: 33 %}", "60 um   # after pressing\n}"));
  CHECK(revise(sheet, "nowhere.at.all", "") == sheet);
  CHECK(revise("a: {b: 1}\nc: 2\n", "a.b", "") == "a: {}\nc: 2\n");
  CHECK(revise("a:\n  b: 1  # one\nc: 2\n", "a.b", "") == "a: {}\n  # one\nc: 2\n");
}

TEST_CASE("line ends of all systems stay", "[params][revision]") {
  std::string crlf;
  for (const char c : sheet) crlf += c == '\n' ? std::string("\r\n") : std::string(1, c);
  const auto check = [&](const std::string& path, const std::string& yaml) {
    CAPTURE(path, yaml);
    std::string expected;
    for (const char c : revise(sheet, path, yaml)) expected += c == '\n' ? std::string("\r\n") : std::string(1, c);
    CHECK(revise(crlf, path, yaml) == expected);
  };
  check("contact_resistance", "9 ohm.cm2");
  check("positive.particle_radius", "{value: 5.1 um, spread: 0.3 um, source: \"fit\"}");
  check("positive.particle_radius", "5.1 um");
  check("positive.accessible_fraction", "93 %");
  check("negative.layer", "none");
  check("negative.layer", "{porosity: 30 %, tortuosity: 2}");
  check("electrolyte", "carbonate_1M");
  check("note", "none");
  check("formation_loss", "");
  check("charged_state.positive", "0.27");
}

TEST_CASE("revisions are done in their order", "[params][revision]") {
  CHECK(revised("a: 1\n", "a.yaml", {{"b.c", "2"}, {"b.d", "3"}, {"a", ""}}) == "b: {c: 2, d: 3}\n");
  CHECK(revised("a: 1\n", "a.yaml", {}) == "a: 1\n");
}

TEST_CASE("what cannot be revised is said, and nothing is returned", "[params][revision][messages]") {
  CHECK_THROWS_WITH(revise(sheet, "positive.material.density", "4 g/cm3"),
                    "coin07.yaml:8:13: positive.material.density: no keys can be put into what is not a mapping");
  CHECK_THROWS_WITH(revise(sheet, "name", "{a"), "name: the new value '{a' is not one line of YAML");
  CHECK_THROWS_WITH(revise(sheet, "name", "a\nb: c"), "name: the new value 'a\nb: c' is not one line of YAML");
  CHECK_THROWS_WITH(revise(sheet, "name", "a # b"), "name: the new value 'a # b' is not one line of YAML");
  CHECK_THROWS_WITH(revise(sheet, "name", "|"), "name: the new value '|' is not one line of YAML");
  CHECK_THROWS_WITH(revise(sheet, "a..b", "1"), "'a..b' is not a path of keys");
  CHECK_THROWS_WITH(revise("a: 1\n", "a", ""), "coin07.yaml: 'a' is the only key");
  CHECK_THROWS_WITH(revise("a: 1\na: 2\n", "a", "3"),
                    "cannot be revised: coin07.yaml:2:1: a: this key stands here a second time\n");
  CHECK_THROWS_AS(revise("- 1\n", "a", "3"), std::logic_error);
}

TEST_CASE("every value of every shipped file can be replaced and taken out, as another reader of YAML sees it too",
          "[params][revision]") {
  // The other reader is PyYAML, which shares no code with ours: tests/reference/revised_yaml.py.
  const std::filesystem::path folder =
      std::filesystem::temp_directory_path() / ("onegrain_params_revision_" + std::to_string(getpid()));
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  std::ofstream list(folder / "list.txt");
  int count = 0;
  const auto check = [&](const std::string& text, const std::string& path, const std::string& yaml,
                         bool keeps_comments = true) {
    CAPTURE(path, yaml);
    const std::string result = revised(text, "card.yaml", {{path, yaml}});
    if (!yaml.empty() && keeps_comments) CHECK(comment_lines(result) == comment_lines(text));
    const std::string number = std::to_string(count++);
    std::ofstream(folder / (number + ".yaml"), std::ios::binary) << result;
    list << number << ' ' << path << ' ' << yaml << '\n';
  };
  std::vector<ShippedCard> files = shipped_cards();
  files.push_back({"", "above", "", sheet});
  for (std::size_t k = 0; k < files.size(); ++k) {
    CAPTURE(files[k].name);
    Faults faults;
    const auto document = read_document(files[k].text, files[k].name, faults);
    REQUIRE(document);
    std::ofstream(folder / ("before" + std::to_string(k)), std::ios::binary) << files[k].text;
    list << "before" << k << '\n';
    for (const std::string& path : paths_of(*document)) {
      check(files[k].text, path, "{value: 1.5 um, source: \"a: b, {c} # d 'e' \\\"f\\\" \\\\ g\\n\\u00fc\"}",
            !holds_mappings(*document, path));
      check(files[k].text, path, "");
      if (document->find(path.substr(0, path.find('.')))->value.type != Node::Type::scalar)
        check(files[k].text, path.substr(0, path.find('.')) + ".new_key", "5 %");
    }
  }
  list.close();
  CHECK(count > 1000);
  const std::string command =
      "/usr/bin/python3 " ONEGRAIN_SOURCE_DIR "/tests/reference/revised_yaml.py " + folder.string();
  CHECK(std::system(command.c_str()) == 0);
  std::filesystem::remove_all(folder);
}

TEST_CASE("quoted words are read back as they were", "[params][revision]") {
  // YAML 1.2.2, section 5.7: escapes of double-quoted scalars.
  CHECK(quoted("") == "\"\"");
  CHECK(quoted("a \"b\" \\ c") == "\"a \\\"b\\\" \\\\ c\"");
  CHECK(quoted("a\nb\tc\rd") == "\"a\\nb\\tc\\rd\"");
  CHECK(quoted(std::string("\0\x1B\x7F", 3)) == "\"\\x00\\x1B\\x7F\"");
  CHECK(quoted("\xC2\x85\xE2\x80\xA8\xE2\x80\xA9\xEF\xBB\xBF") == "\"\\x85\\L\\P\\uFEFF\"");
  CHECK(quoted("micrograph, 60 grains; Zürich 25 °C — ok 😀") == "\"micrograph, 60 grains; Zürich 25 °C — ok 😀\"");
  for (const std::string& words :
       {std::string(""), std::string("null"), std::string("a: b # c, [d] {e}"), std::string(" x \n\n y "),
        std::string("\"\\'\t"), std::string("1.5"), std::string("\xC2\x85\xC2\x9F\xE2\x80\xA8\xEF\xBB\xBF\xEF\xBF\xBF"),
        std::string("\0\x01\x1F\x7F", 4), std::string("Zürich 😀")}) {
    CAPTURE(words);
    CHECK(read_back(quoted(words)) == words);
  }
  // YAML 1.2.2, example 5.13, in our spelling of it.
  constexpr char fun[] = "Fun with \\ \" \a \b \x1B \f \n \r \t \v \0 A A A";
  CHECK(read_back("\"Fun with \\\\ \\\" \\a \\b \\e \\f \\n \\r \\t \\v \\0 \\x41 \\u0041 \\U00000041\"") ==
        std::string(fun, sizeof fun - 1));
}

TEST_CASE("a written value is read back within a hundredth of its spread", "[params][revision]") {
  const Spread none{}, half_micron{Spread::Form::absolute, 0.4e-6}, factor{Spread::Form::factor, 1.35};
  CHECK(yaml_value(4.8e-6, LengthKind::kind, none, "") == "4.8 um");
  CHECK(yaml_value(4.8e-6, LengthKind::kind, half_micron, "fit, 12 curves") ==
        "{value: 4.8 um, spread: 0.4 um, source: \"fit, 12 curves\"}");
  CHECK(yaml_value(0.93, FractionKind::kind, {Spread::Form::absolute, 0.0123456}, "") ==
        "{value: 93 %, spread: 1.23 %}");
  CHECK(yaml_value(0.93, FractionKind::kind, {Spread::Form::absolute, 0.0123456}, "", "") ==
        "{value: 0.93, spread: 0.0123}");
  CHECK(yaml_value(1.23456789e-14, DiffusivityKind::kind, factor, "") ==
        "{value: 1.23457e-14 m2/s, spread: factor 1.35}");
  CHECK(yaml_value(298.15, TemperatureKind::kind, {Spread::Form::absolute, 0.5}, "") ==
        "{value: 25 degC, spread: 0.5 K}");
  CHECK(yaml_value(12e-4, ArealResistanceKind::kind, none, "x", "ohm.m2") == "{value: 0.0012 ohm.m2, source: \"x\"}");
  CHECK(yaml_value(1.0 / 3, NumberKind::kind, none, "", nullptr, 3) == "0.333");

  struct Row {
    double si;
    const Kind* kind;
    Spread spread;
    const char* unit;
  };
  for (const Row& row : {
           Row{0.123456789012, &FractionKind::kind, {Spread::Form::absolute, 2e-9}, nullptr},
           Row{0.123456789012, &NumberKind::kind, {Spread::Form::absolute, 2e-9}, nullptr},
           Row{1.23456789012e-14, &DiffusivityKind::kind, {Spread::Form::factor, 1.00001234}, nullptr},
           Row{1.23456789012e-14, &DiffusivityKind::kind, {Spread::Form::factor, 31.4159}, "cm2/s"},
           Row{7.654321e-6, &LengthKind::kind, {Spread::Form::absolute, 1.2345e-9}, "nm"},
           Row{298.1512345, &TemperatureKind::kind, {Spread::Form::absolute, 1e-4}, nullptr},
           Row{0, &VoltageKind::kind, {Spread::Form::absolute, 1e-3}, nullptr},
           Row{-0.0123456789, &VoltageKind::kind, {Spread::Form::absolute, 1e-6}, "mV"},
           Row{1234567.89, &NumberKind::kind, {Spread::Form::absolute, 10}, nullptr},
       }) {
    const std::string yaml = yaml_value(row.si, *row.kind, row.spread, "why", row.unit);
    CAPTURE(yaml);
    Faults faults;
    const auto document = read_document("v: " + yaml + "\n", "v.yaml", faults);
    REQUIRE(document);
    std::vector<SourceFile> files;
    std::vector<std::string> assumptions;
    const DocumentReading reading{"v.yaml", "", false, &faults, &files, &assumptions};
    const auto value = read_value(document->entries[0].value, "v", *row.kind, limits::any, reading);
    INFO(faults.text());
    REQUIRE(value);
    CHECK(value->source == "why");
    CHECK(value->spread.form == row.spread.form);
    const bool relative = row.spread.form == Spread::Form::factor;
    const double width = relative ? row.si * (row.spread.size - 1) : row.spread.size;
    CHECK_THAT(value->si, WithinAbs(row.si, 0.01 * width));
    CHECK_THAT(value->spread.size - relative, WithinRel(row.spread.size - relative, 6e-3));  // three digits
  }
  const double nan = std::numeric_limits<double>::quiet_NaN();
  CHECK_THROWS_WITH(yaml_value(nan, NumberKind::kind, none, ""), "a value that is not finite cannot be written");
  CHECK_THROWS_WITH(yaml_value(1, NumberKind::kind, {Spread::Form::absolute, 0}, ""),
                    "a spread of no width cannot be written");
  CHECK_THROWS_WITH(yaml_value(1, NumberKind::kind, {Spread::Form::factor, 1}, ""),
                    "a spread of no width cannot be written");
  CHECK_THROWS_AS(yaml_value(1, NumberKind::kind, {Spread::Form::absolute, nan}, ""), std::invalid_argument);
}
