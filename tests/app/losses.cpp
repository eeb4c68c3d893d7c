#include <cmath>

#include "tests/app/helpers.hpp"

// The verb `losses`: shares that add up, levers that move the right way, and what each costs.

using namespace app_test;

TEST_CASE("the parts of what is missing add up, and the numbers are those of the curve itself") {
  for (const char* sheet : {"demo", "demo_half_cell", "lfp_half_cell", "nmc811_graphite_siox_21700"}) {
    INFO(sheet);
    const json l = json_of({"losses", sheet, "--rate", "1C"})["losses"];
    double capacity = 0, energy = 0;
    for (const json& part : l["parts"]) {
      capacity += part["capacity_mAh"].get<double>();
      energy += part["energy_mWh"].get<double>();
    }
    CHECK(capacity == Approx(l["missing_capacity_mAh"].get<double>()).epsilon(1e-7));
    CHECK(energy == Approx(l["missing_energy_mWh"].get<double>()).epsilon(1e-7));
    CHECK(l["missing_capacity_mAh"].get<double>() ==
          Approx(l["ideal_capacity_mAh"].get<double>() - l["capacity_mAh"].get<double>()).epsilon(1e-7));
    const json point = json_of({"rates", sheet, "--rates", "1C"})["points"][0];
    CHECK(l["capacity_mAh"].get<double>() == Approx(point["capacity_mAh"].get<double>()).epsilon(1e-9));
    CHECK(l["energy_mWh"].get<double>() == Approx(point["energy_mWh"].get<double>()).epsilon(1e-9));
    const double rested = json_of({"bench", sheet})["bench"]["equilibrium_capacity_mAh"]["value"];
    CHECK(l["ideal_capacity_mAh"].get<double>() <= 1.001 * rested);
  }
}

TEST_CASE("a lever gives what the changed sheet gives") {
  const Folder folder;
  const std::string sheet = shipped("demo");
  folder.write("cell.yaml", sheet);
  folder.write("fine.yaml", with(sheet, "{value: 8 um, spread: 0.8 um", "{value: 4 um, spread: 0.8 um"));
  const json l = json_of({"losses", "cell.yaml", "--rate", "2C"})["losses"];
  const json point = json_of({"rates", "fine.yaml", "--rates", "2C"})["points"][0];
  const double changed = point["capacity_fraction"],
               area = json_of({"bench", "fine.yaml"})["bench"]["plate_area_cm2"]["value"];
  bool found = false;
  for (const json& lever : l["levers"]) {
    if (lever["change"].get<std::string>().rfind("grains of the negative half as large", 0) != 0) continue;
    found = true;
    CHECK(lever["capacity_fraction"].get<double>() == Approx(changed).epsilon(1e-6));
    CHECK(lever["gained_fraction"].get<double>() > 0);
    CHECK(lever["areal_capacity_mAh_cm2"].get<double>() ==
          Approx(point["capacity_mAh"].get<double>() / area).epsilon(1e-6));
    CHECK(lever["areal_energy_mWh_cm2"].get<double>() ==
          Approx(point["energy_mWh"].get<double>() / area).epsilon(1e-6));
    CHECK_FALSE(lever["side_effect"].get<std::string>().empty());
  }
  CHECK(found);
  for (std::size_t k = 1; k < l["levers"].size(); ++k) {
    if (l["levers"][k]["possible"] == true)
      CHECK(l["levers"][k - 1]["gained_fraction"] >= l["levers"][k]["gained_fraction"]);
  }
}

TEST_CASE("losses are told in words, drawn and written") {
  const Folder folder;
  const Outcome outcome = program({"losses", "demo", "--rate", "3C", "--charge", "--out", "out"});
  REQUIRE(outcome.status == 0);
  CHECK_THAT(outcome.results, HasText("with no loss at all it would take up"));
  CHECK_THAT(outcome.results, HasText("What would win most back"));
  CHECK_THAT(outcome.results, HasText("can cause fire and toxic gas (HF)"));
  CHECK(folder.names("out") == std::vector<std::string>{"curves.csv", "manifest.json", "report.html", "summary.json"});
  CHECK(program({"losses", "demo"}).status == 2);
  CHECK(program({"losses", "demo", "--rate", "1C,2C"}).status == 2);
  CHECK(program({"losses", "demo", "--rate", "fast"}).status == 2);
  CHECK(program({"losses", "nowhere.yaml", "--rate", "1C"}).status == 3);
}
