#include "tests/app/helpers.hpp"

// A wrong command line ends with status 2, says on standard error what is wrong, and prints no results.

using namespace app_test;

namespace {

constexpr const char* rate_forms = "write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g";

void wrong(const std::vector<std::string>& words, const std::string& message) {
  std::string line;
  for (const std::string& word : words) line += " '" + word + "'";
  const Outcome outcome = program(words);
  INFO("onegrain" << line);
  CHECK(outcome.status == 2);
  CHECK(outcome.results.empty());
  CHECK_THAT(outcome.narration, HasText(message));
  CHECK(outcome.narration.rfind("onegrain: ", 0) == 0);
  CHECK(outcome.narration.back() == '\n');
}

/// The whole of what is said.
void wrong_exactly(const std::vector<std::string>& words, const std::string& narration) {
  wrong(words, narration);
  CHECK(program(words).narration == narration);
}

}  // namespace

TEST_CASE("a verb that there is not is refused, and the help is pointed to") {
  wrong({"simulate", "demo"}, "onegrain --help lists the verbs, onegrain VERB --help their options.\n");
  wrong({}, "onegrain --help lists the verbs");
  wrong({""}, "onegrain --help lists the verbs");
  wrong({"--jsn"}, "--jsn");
  wrong({"bench"}, "SHEET");
  wrong({"curve", "--json"}, "SHEET");
  wrong({"check"}, "FILES");
  wrong({"follow", "demo"}, "--protocol");
  wrong({"bench", "demo", "demo"}, "demo");
  wrong({"bench", "demo", "rates", "demo"}, "onegrain --help lists the verbs");
}

TEST_CASE("an option that there is not, or with a value that it cannot have, is refused") {
  wrong_exactly({"rates", "demo", "--rate", "1C"},
                "onegrain: '--rate' is no option of 'rates'; did you mean '--rates'?\n"
                "onegrain --help lists the verbs, onegrain VERB --help their options.\n");
  wrong({"bench", "demo", "--rates", "1C"}, "--rates");
  wrong({"curve", "demo", "--both"}, "--both");
  wrong({"rates", "demo", "--rates"}, "--rates");
  wrong({"rates", "demo", "--charge", "--discharge"}, "--charge");
  wrong({"rates", "demo", "--electrolyte", "porous"}, "--electrolyte");
  wrong({"rates", "demo", "--out"}, "--out");
  for (const char* soc : {"-0.1", "1.1", "half", "50 %", "inf", "1e400", ""}) {
    wrong({"rates", "demo", "--rates", "1C", "--from-soc", soc}, "--from-soc");
  }
  for (const char* points : {"1", "0", "-5", "1e9", "2.5", "many", ""}) {
    wrong({"curve", "demo", "--rates", "1C", "--points", points}, "--points");
  }
}

TEST_CASE("a state of charge that is not a number is refused") {
  wrong({"rates", "demo", "--rates", "1C", "--from-soc", "nan"}, "--from-soc");
}

TEST_CASE("a rate that is none is refused with the forms that a rate has") {
  const auto rates = [](const std::string& text) { return std::vector<std::string>{"rates", "demo", "--rates", text}; };
  wrong_exactly(rates("2 x"),
                "onegrain: '2 x' is not a rate: 'x' is not a known unit; " + std::string(rate_forms) + "\n");
  wrong_exactly(rates("1C,,2C"), "onegrain: an empty rate; " + std::string(rate_forms) + "\n");
  wrong_exactly(rates(""), "onegrain: an empty rate; " + std::string(rate_forms) + "\n");
  wrong_exactly(rates("2"), "onegrain: '2' is not a rate; a unit is missing: write 2C, 2 mA, 2 mA/cm2 or 2 mA/g\n");
  wrong_exactly(rates("fast"), "onegrain: 'fast' is not a rate; " + std::string(rate_forms) + "\n");
  wrong_exactly(rates("-1C"), "onegrain: '-1C': a rate is greater than 0; the direction is stated apart from it\n");
  wrong_exactly(rates("0 mA"), "onegrain: '0 mA': a rate is greater than 0; the direction is stated apart from it\n");
  wrong(rates("C/0"), "'C/0' is not a rate");
  wrong(rates("nanC"), "'nanC' is not a rate");
  wrong(rates("inf mA"), "'inf mA' is not a rate");
  wrong(rates("3 V"), "a voltage is not a rate");
  wrong(rates("1e9C"), "out of reason");
  wrong(rates("1C 2C"), "is not a rate");
}

TEST_CASE("a temperature that is none, or that no cell is tested at, is refused") {
  const auto at = [](const std::string& text) {
    return std::vector<std::string>{"rates", "demo", "--rates", "1C", "--temperature", text};
  };
  wrong(at("10"), "--temperature '10': no unit given; expected a temperature");
  wrong(at("10 mV"), "--temperature '10 mV': a voltage where a temperature is expected");
  wrong(at("nan degC"), "--temperature 'nan degC'");
  wrong(at("-100 degC"), "--temperature '-100 degC': outside -60 to 120 degC");
  wrong(at("500 K"), "--temperature '500 K': outside -60 to 120 degC");
  wrong(at(""), "--temperature");
}

TEST_CASE("the name of no shipped card is refused with the nearest one") {
  wrong_exactly({"cards", "grafite"}, "onegrain: no shipped card is called 'grafite'; did you mean 'graphite'?\n");
  wrong_exactly({"cards", "unobtainium"},
                "onegrain: no shipped card is called 'unobtainium'; onegrain cards lists them\n");
  wrong_exactly({"cards", "graphite", "lfp"}, "onegrain: one card at a time\n");
}

TEST_CASE("help and version are results") {
  for (const std::vector<std::string>& words : std::vector<std::vector<std::string>>{
           {"--help"}, {"rates", "--help"}, {"check", "--help"}, {"follow", "--help"}}) {
    const Outcome help = program(words);
    CHECK(help.status == 0);
    CHECK_THAT(help.results, HasText("Usage"));
    CHECK(help.narration.empty());
  }
  for (const char* verb : {"check", "bench", "curve", "rates", "follow", "cards"}) {
    CHECK_THAT(program({"--help"}).results, HasText(std::string("\n  ") + verb + " "));
  }
  const Outcome version = program({"--version"});
  CHECK(version.status == 0);
  CHECK(version.results.rfind("onegrain 0.", 0) == 0);
  CHECK(version.narration.empty());
}

TEST_CASE("results go to standard output and narration to standard error") {
  const Folder folder;
  for (const std::vector<std::string>& words : std::vector<std::vector<std::string>>{{"bench", "demo"},
                                                                                     {"rates", "demo", "--rates", "1C"},
                                                                                     {"curve", "demo", "--rates", "1C"},
                                                                                     {"cards"},
                                                                                     {"cards", "lfp"}}) {
    const Outcome outcome = program(words);
    INFO(words[0]);
    CHECK(outcome.status == 0);
    CHECK_FALSE(outcome.results.empty());
    CHECK(outcome.results.find("wrote ") == std::string::npos);
    CHECK(outcome.narration.empty());
  }
  const Outcome outcome = program({"bench", "demo", "--out", "out", "--json"});
  CHECK(outcome.narration == "wrote out/summary.json\nwrote out/report.html\nwrote out/manifest.json\n");
  CHECK(json::accept(outcome.results));
  const Outcome curves = program({"rates", "demo", "--rates", "1C", "--out", "out"});
  CHECK(curves.narration ==
        "wrote out/curves.csv\nwrote out/summary.json\nwrote out/report.html\nwrote out/manifest.json\n");
}

TEST_CASE("the process returns the status, and says so on the right channel") {
  const Folder folder;
  const std::string onegrain = quoted(ONEGRAIN_PROGRAM);
  CHECK(shell(onegrain + " bench demo --json 2>&1 >/dev/null").results.empty());
  CHECK(shell(onegrain + " bench demo >/dev/null").status == 0);
  CHECK(shell(onegrain + " bench 2>/dev/null").status == 2);
  CHECK(shell(onegrain + " bench 2>/dev/null").results.empty());
  CHECK(shell(onegrain + " bench nowhere.yaml 2>/dev/null").status == 3);
  CHECK(shell(onegrain + " bench demo --out /dev/null/here >/dev/null").status == 4);
  const Outcome plain = shell(onegrain + " rates demo --rates 1C");
  CHECK(plain.status == 0);
  CHECK(plain.results.find('\033') == std::string::npos);  // no colour where no one looks
}
