#include <sstream>

#include "app/render/screen.hpp"
#include "tests/app/helpers.hpp"

// Text from outside (names, keys, titles, file names) must not steer a terminal, nor get keys into a file of ours. What
// a terminal acts upon: ECMA-48.

using namespace app_test;

namespace {

/// True where a terminal would only show it.
bool only_shown(const std::string& text) {
  for (std::size_t k = 0; k < text.size(); ++k) {
    const auto byte = static_cast<unsigned char>(text[k]);
    if ((byte < 0x20 && byte != '\n' && byte != '\t') || byte == 0x7F) return false;
    if (byte == 0xC2 && static_cast<unsigned char>(text.at(k + 1)) < 0xA0) return false;  // U+0080 to U+009F
  }
  return true;
}

const std::string hostile = "cell\\e[2J\\r\\u009b31m\\nother.yaml: sound";  // as double-quoted YAML writes it

}  // namespace

TEST_CASE("a stream in front of the terminal cuts no character in two") {
  for (const std::size_t piece : {1UL, 2UL, 3UL, 7UL}) {
    std::ostringstream shown;
    {
      onegrain::app::Screen screen(shown);
      const std::string text = "µm \x1b[1m € \xF0\x9F\x94\x8B \xC2";  // the last character is cut off
      for (std::size_t at = 0; at < text.size(); at += piece) screen << text.substr(at, piece) << std::flush;
    }
    CHECK(shown.str() == "µm \\u001b[1m € \xF0\x9F\x94\x8B \\xc2");
  }
}

TEST_CASE("a stream in front of the terminal fails where that fails") {
  std::ostringstream shown;
  shown.setstate(std::ios::badbit);
  onegrain::app::Screen screen(shown);
  screen << "words" << std::flush;
  CHECK_FALSE(screen);
}

TEST_CASE("no verb lets a sheet's name steer the terminal or look like a line of its own") {
  const Folder folder;
  folder.write("cell.yaml", with(small_sheet, "name: coin cell", "name: \"" + hostile + "\""));
  folder.write("p.yaml", "name: \"" + hostile + "\"\nsteps: [{drive: rest, until: {time: 1 min}}]\n");
  for (const std::vector<std::string>& words :
       std::vector<std::vector<std::string>>{{"check", "cell.yaml", "p.yaml"},
                                             {"bench", "cell.yaml"},
                                             {"rates", "cell.yaml", "--rates", "1C"},
                                             {"follow", "cell.yaml", "--protocol", "p.yaml"},
                                             {"losses", "cell.yaml", "--rate", "1C"},
                                             {"ceiling", "cell.yaml", "--samples", "0"}}) {
    INFO(words[0]);
    const Outcome outcome = program(words);
    INFO(outcome.narration);
    REQUIRE(outcome.status == 0);
    CHECK(only_shown(outcome.results));
    CHECK(only_shown(outcome.narration));
    for (const std::string& line : lines_of(outcome.results)) CHECK(line.rfind("other.yaml", 0) != 0);
  }
  const Outcome data = program({"rates", "cell.yaml", "--rates", "1C", "--json"});
  CHECK(only_shown(data.results));
  CHECK(json::parse(data.results)["sheet"].get<std::string>().find('\x1b') == std::string::npos);
}

TEST_CASE("keys, values and titles of columns are shown, not obeyed") {
  const Folder folder;
  folder.write("cell.yaml", small_sheet + "\"k\\e[31m\\nx.yaml: sound\": 1\n");
  folder.write("value.yaml", with(small_sheet, "25 degC", "\"25 \\e[31mdegC\""));
  folder.write("data.csv",
               "Test Time / s,Voltage / V,Current / A,\x1b[31mred\n0,3.7,0.1,1\n10,3.8,0.1,1\n20,3.9,0.1,1\n");
  folder.write("odd.csv", "\x1b[2Jtime,b\n1,2\n2,3\n");
  for (const char* file : {"cell.yaml", "value.yaml", "data.csv", "odd.csv"}) {
    INFO(file);
    const Outcome outcome = program({"check", file});
    CHECK(only_shown(outcome.results));
    CHECK(only_shown(outcome.narration));
    for (const std::string& line : lines_of(outcome.narration)) CHECK(line.rfind("x.yaml", 0) != 0);
  }
  CHECK(program({"check", "cell.yaml"}).narration == "cell.yaml:20:1: k\\u001b[31m x.yaml: sound: unknown key\n");
}

TEST_CASE("names of files may hold anything, also what is not UTF-8") {
  const Folder folder;
  const std::string name = "a\x1b[31m\n\xFF.yaml";
  folder.write(name, small_sheet);
  const Outcome checked = program({"check", name});
  CHECK(checked.status == 0);
  CHECK(checked.results == "a\\u001b[31m \\xff.yaml: sound, a cell sheet: coin cell\n");
  const Outcome summary = program({"rates", name, "--rates", "1C", "--json", "--out", "out"});
  REQUIRE(summary.status == 0);
  CHECK(json::accept(summary.results));
  CHECK(json::accept(folder.read("out/manifest.json")));
}

TEST_CASE("a staircase is a sound protocol whatever the sheet is called") {
  const Folder folder;
  for (const std::string& name :
       {std::string("\"x\\nrepeat: 99999\\nsteps: []\""), std::string("\"a\\e[31m\\u0085b\\u2028c\""),
        std::string("\"say \\\"hi\\\" # no: comment\""), "\"" + std::string(5000, 'n') + "\""}) {
    INFO(name);
    folder.write("cell.yaml",
                 with(shipped("demo"), "name: Harbour teaching lab, coin cell 07 (invented data)", "name: " + name));
    REQUIRE(program({"ceiling", "cell.yaml", "--samples", "0", "--soc", "0.2..0.4", "--staircase", "--out", "out"})
                .status == 0);
    const Outcome checked = program({"check", "cell.yaml", "out/staircase.yaml"});
    CHECK(checked.status == 0);
    CHECK(folder.read("out/staircase.yaml").find("\nrepeat") == std::string::npos);
  }
}
