#include <algorithm>

#include "tests/app/helpers.hpp"

// One file in place of a folder of results; what is said beside results; the width of a terminal.

using namespace app_test;

TEST_CASE("a name that ends in .html, .json or .csv is that one file alone") {
  const Folder folder;
  const std::vector<std::string> rates = {"rates", "demo", "--rates", "1C", "--out"};
  const auto to = [&](const std::string& file) {
    std::vector<std::string> words = rates;
    words.push_back(file);
    return program(words);
  };
  const Outcome page = to("page.html");
  CHECK(page.status == 0);
  CHECK(page.narration == "wrote page.html\n");
  CHECK(to("result.json").status == 0);
  CHECK(to("curves.csv").status == 0);
  REQUIRE(to("folder").status == 0);
  CHECK(folder.names() == std::vector<std::string>{"curves.csv", "folder", "page.html", "result.json"});
  CHECK(folder.read("curves.csv") == folder.read("folder/curves.csv"));
  const auto without_command = [](const std::string& text) {
    json summary = json::parse(text);
    summary.erase("command");
    return summary;
  };
  CHECK(without_command(folder.read("result.json")) == without_command(folder.read("folder/summary.json")));
  CHECK(folder.read("page.html").rfind("<!DOCTYPE html>", 0) == 0);
}

TEST_CASE("one file never takes the place of one that is there") {
  const Folder folder;
  folder.write("measured.csv", "my data");
  const Outcome outcome = program({"curve", "demo", "--rates", "1C", "--out", "measured.csv"});
  CHECK(outcome.status == 2);
  CHECK(outcome.results.empty());
  CHECK(outcome.narration ==
        "onegrain: --out 'measured.csv': a file of that name is there already and is not replaced; give another name, "
        "or remove it\n");
  CHECK(folder.read("measured.csv") == "my data");
  CHECK(program({"cards", "demo", "--out", "cell.yaml"}).narration == "wrote cell.yaml\n");
  CHECK(folder.read("cell.yaml") == shipped("demo"));
  CHECK(program({"cards", "lfp", "--out", "cell.yaml"}).status == 2);
  CHECK(folder.read("cell.yaml") == shipped("demo"));
  CHECK(program({"cards", "--out", "all.txt"}).status == 2);
  CHECK(program({"schema", "sheet", "--out", "nowhere/sheet.json"}).status == 4);
  CHECK(program({"schema", "sheet", "--out", "sheet.json"}).status == 0);
  CHECK(json::accept(folder.read("sheet.json")));
  CHECK(folder.names() == std::vector<std::string>{"cell.yaml", "measured.csv", "sheet.json"});
}

TEST_CASE("where one file cannot hold the answer that is said before the calculation, or with it") {
  const Folder folder;
  CHECK_THAT(program({"bench", "demo", "--out", "bench.csv"}).narration, HasText("has no curves"));
  CHECK_THAT(program({"ceiling", "demo", "--staircase", "--out", "page.html"}).narration,
             HasText("--staircase writes a protocol too; give a folder"));
  CHECK_THAT(program({"fit", "demo", "data.csv", "--out", "page.html"}).narration,
             HasText("fit writes a sheet too; give a folder"));
  CHECK(folder.names().empty());
}

TEST_CASE("a quiet call leaves results, warnings and errors") {
  const Folder folder;
  const Outcome loud = program({"bench", "demo", "--out", "loud"}),
                quiet = program({"bench", "demo", "--out", "quiet", "--quiet"});
  CHECK_THAT(loud.narration, HasText("wrote "));
  CHECK(quiet.narration.empty());
  CHECK(quiet.results == loud.results);
  CHECK(folder.names("quiet") == folder.names("loud"));
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--out", "curve.csv"}).status == 0);
  CHECK_THAT(program({"overlay", "demo", "curve.csv"}).narration, HasText("rows read"));
  CHECK(program({"overlay", "demo", "curve.csv", "--quiet"}).narration.empty());
  folder.write("wrong.yaml", "onegrain: 1\n");
  CHECK(program({"bench", "wrong.yaml", "--quiet"}).narration == program({"bench", "wrong.yaml"}).narration);
}

TEST_CASE("rates that are given apart are the same as rates in one list") {
  const Outcome apart = program({"rates", "demo", "--rates", "C/5,1C", "--rates", "2 mA", "--electrolyte", "uniform"});
  const Outcome listed = program({"rates", "demo", "--rates", "C/5,1C,2 mA", "--electrolyte", "uniform"});
  CHECK(apart.status == 0);
  CHECK(apart.results == listed.results);
  CHECK(program({"rates", "--rates", "C/5", "demo", "--electrolyte", "uniform"}).status == 0);  // the sheet is no rate
}

TEST_CASE("a verb that is nearly one is suggested") {
  const auto said = [](const std::string& verb) {
    const std::string text = program({verb, "demo"}).narration;
    return text.substr(0, text.find('\n'));
  };
  CHECK(said("rate") == "onegrain: 'rate' is no verb; did you mean 'rates'?");
  CHECK(said("cieling") == "onegrain: 'cieling' is no verb; did you mean 'ceiling'?");
  CHECK(said("simulate") == "onegrain: 'simulate' is no verb");
}

TEST_CASE("on a terminal lines of words are as long as it is wide, and nothing is coloured") {
  // script(1) of util-linux gives the program a terminal; stty(1) tells that how wide it is
  REQUIRE(shell("command -v script && command -v stty").status == 0);  // packages that every Debian has
  const auto longest = [](const std::string& text, const char* beginning) {
    std::istringstream lines(text);
    std::size_t most = 0;
    for (std::string line; std::getline(lines, line);) {
      if (!line.empty() && line.back() == '\r') line.pop_back();
      if (line.rfind(beginning, 0) == 0) most = std::max(most, line.size());
    }
    return most;
  };
  const std::string call = quoted(ONEGRAIN_PROGRAM) + " --help";
  const auto on_terminal = [&](int columns) {
    return shell("script -qec " + quoted("stty cols " + std::to_string(columns) + "; " + call) +
                 " /dev/null </dev/null")
        .results;
  };
  const std::string narrow = on_terminal(60), wide = on_terminal(240), usual = shell(call).results;
  CHECK(longest(narrow, "") <= 60);
  CHECK(longest(narrow, "") > 50);
  CHECK(longest(wide, "") <= 100);
  CHECK(longest(usual, "") == longest(wide, ""));
  CHECK(narrow.find('\033') == std::string::npos);
}
