#include <fmt/format.h>

#include <regex>

#include "tests/app/helpers.hpp"

using namespace app_test;

namespace {

bool found(const json& summary, const std::string& rule) {
  for (const json& finding : summary["findings"])
    if (finding["rule"] == rule) return true;
  return false;
}

}  // namespace

TEST_CASE("a charge just above the rate at which plating begins is warned of, one just below is not", "[plating]") {
  // The rate is that of `ceiling`, held against full porous-electrode calculations (tests/solver/ceiling.cpp).
  int limited_by_plating = 0;
  const std::vector<std::pair<std::string, std::string>> cells = {{"demo", "0 degC"},
                                                                  {"lco_graphite_10um", "5 degC"},
                                                                  {"nmc811_graphite_siox_21700", "25 degC"},
                                                                  {"pouch_unknown", "0 degC"}};
  for (const auto& [name, temperature] : cells) {
    INFO(name << " at " << temperature);
    const json ceiling = json_of({"ceiling", name, "--temperature", temperature, "--samples", "0"});
    if (ceiling["ceiling"]["limited_by"] != "lithium plating on the negative") continue;
    ++limited_by_plating;
    const json bench = json_of({"bench", name})["bench"], &holds = bench["equilibrium_capacity_mAh"];
    const double rate = ceiling["ceiling"]["nominal_c_rate"], mAh = bench["rated_capacity_mAh"],
                 held = holds.is_number() ? holds.get<double>() : holds["value"].get<double>();
    for (const auto& [factor, plates] : {std::pair{0.98, false}, std::pair{1.03, true}}) {
      INFO(factor << " of it");
      const Folder folder;
      folder.write("charge.yaml", fmt::format("steps:\n  - {{drive: {{current: {} mA, sense: charge}}, until: "
                                              "{{capacity: {} mAh}}}}\n",
                                              factor * rate * mAh, 0.8 * held));
      const json run = json_of({"follow", name, "--temperature", temperature, "--protocol", "charge.yaml"});
      CHECK(found(run, "plating") == plates);
      const double lowest = run["steps"][0]["lowest_separator_side_V"];
      CHECK((lowest < 0.010) == plates);
      CHECK(std::abs(lowest - 0.010) < 0.006);
    }
  }
  CHECK(limited_by_plating >= 2);
}

TEST_CASE("a staircase that keeps the margin runs without a word of plating", "[plating]") {
  const Folder folder;
  const std::vector<std::string> ceiling = {"ceiling",       "demo",   "--samples", "0",  "--staircase",
                                            "--temperature", "0 degC", "--out",     "out"};
  REQUIRE(program(ceiling).status == 0);
  const json run = json_of({"follow", "demo", "--temperature", "0 degC", "--protocol", "out/staircase.yaml"});
  REQUIRE(run["steps"].size() > 2);
  CHECK_FALSE(found(run, "plating"));
  for (const json& step : run["steps"]) CHECK(step["lowest_separator_side_V"].get<double>() > 0.0095);
}

TEST_CASE("what is said of plating stands in headline, table, warnings, cautions and on the page", "[plating]") {
  const Folder folder;
  for (std::vector<std::string> words : std::vector<std::vector<std::string>>{
           {"rates", "demo", "--charge", "--rates", "C/5,5C"}, {"losses", "demo", "--charge", "--rate", "5C"}}) {
    INFO(words[0]);
    words.insert(words.end(), {"--out", "out"});
    const Outcome outcome = program(words);
    CHECK(outcome.status == 0);
    const json summary = json::parse(folder.read("out/summary.json"));
    CHECK(summary["headline"].get<std::string>().rfind("Warning: lithium can plate at 5C: ", 0) == 0);
    CHECK(summary["cautions"][0].get<std::string>().rfind("Do not charge this cell at 5C ", 0) == 0);
    CHECK(summary["cautions"].size() == 5);
    CHECK(outcome.results.find(" mV: can plate") != std::string::npos);
    CHECK(outcome.results.find("- Do not charge this cell at 5C ") <
          outcome.results.find("Fast and cold"));  // right under the headline
    const std::string page = folder.read("out/report.html");
    CHECK((page.find("Do not charge this cell at 5C ") != std::string::npos));
    CHECK((page.find(" mV: can plate") != std::string::npos));
  }
}

TEST_CASE("every rate that `ceiling` prints stands in its summary, and is not above it", "[plating]") {
  const std::vector<std::string> words = {"ceiling", "demo", "--samples", "20", "--staircase"};
  const std::string printed = program(words).results;
  std::vector<double> rates;
  const std::function<void(const json&)> gather = [&](const json& j) {
    for (const auto& [key, value] : j.items()) {
      if (value.is_structured()) gather(value);
      if (value.is_number() && key.find("c_rate") != std::string::npos) rates.push_back(value);
    }
  };
  gather(json_of(words));
  REQUIRE(rates.size() > 20);
  const std::regex shown(R"((\d+\.\d+)C\b)");
  int count = 0;
  for (std::sregex_iterator it(printed.begin(), printed.end(), shown), end; it != end; ++it) {
    const double value = std::stod((*it)[1]);
    ++count;
    INFO((*it).str());
    CHECK(std::any_of(rates.begin(), rates.end(),
                      [&](double rate) { return value <= rate * (1 + 1e-9) && rate < value * 1.01; }));
  }
  CHECK(count > 20);
}
