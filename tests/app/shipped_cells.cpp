#include "tests/app/helpers.hpp"

using namespace app_test;

namespace {
std::string data(const std::string& name) { return std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/" + name; }
}  // namespace

TEST_CASE("the shipped sheet of a measured pouch foretells a rate that took no part in its fit", "[shipped]") {
  // Measured open data (tests/data/README.md, CC BY 4.0). To beat, by its README: the slow curve less one resistance,
  // 15 mV rms off at 2C and 85 mV at 5C.
  const auto rms_of = [](const std::string& file) {
    const Outcome told =
        program({"overlay", "pouch_fitted", data(file), "--columns", "time=test_time_s", "voltage=voltage_V",
                 "current=current_A", "temperature=temperature_1_degC", "--json"});
    INFO(told.narration);
    REQUIRE(told.status == 0);
    return json::parse(told.results)["overlay"]["runs"][0]["steps"][0]["rms_mV"].get<double>();
  };
  CHECK(rms_of("pouch_discharge_1C.csv") < 10);
  CHECK(rms_of("pouch_discharge_5C.csv") < 20);
}

TEST_CASE("shipped sheets of bought or published cells say what they are worth, and where they are from", "[shipped]") {
  for (const auto& [sheet, words] :
       {std::pair{"nmc811_graphite_siox_21700", "57 to 162 mV rms"}, std::pair{"pouch_fitted", "CC BY 4.0, changed"}}) {
    INFO(sheet);
    const json summary = json::parse(program({"rates", sheet, "--rates", "1C", "--json"}).results);
    CHECK(summary["assumptions"].dump().find(words) != std::string::npos);
  }
}
