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
      capacity += part["missing_capacity_mAh"].get<double>();
      energy += part["missing_energy_mWh"].get<double>();
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
    CHECK(lever["fraction_of_held"].get<double>() == Approx(changed).epsilon(1e-6));
    CHECK(lever["gained_fraction"].get<double>() > 0);
    CHECK(lever["capacity_mAh_cm2"].get<double>() == Approx(point["capacity_mAh"].get<double>() / area).epsilon(1e-6));
    CHECK(lever["energy_mWh_cm2"].get<double>() == Approx(point["energy_mWh"].get<double>() / area).epsilon(1e-6));
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

TEST_CASE("the largest loss is the same one in the headline, on the screen and in the summary") {
  // Largest means: of the capacity that is missing the largest share, and shares are of one whole.
  for (const char* sheet : {"demo", "lfp_half_cell"}) {
    INFO(sheet);
    const std::vector<std::string> words = {"losses", sheet, "--rate", "3C"};
    const json l = json_of(words)["losses"];
    double sum = 0;
    json largest = l["parts"][0];
    for (const json& part : l["parts"]) {
      sum += part["share_of_missing"].get<double>();
      if (part["share_of_missing"] > largest["share_of_missing"]) largest = part;
    }
    CHECK(sum == Approx(1).epsilon(1e-9));
    const std::string name = largest["loss"], printed = program(words).results;
    CHECK_THAT(json_of(words)["headline"].get<std::string>(), HasText(" % go to " + name));
    const auto heading = printed.find("where it goes at 3C"), row = printed.find("\n" + name, heading);
    REQUIRE(heading != std::string::npos);
    for (const json& part : l["parts"]) CHECK(printed.find("\n" + part["loss"].get<std::string>(), heading) >= row);
  }
}

TEST_CASE("charging so fast that lithium can plate is warned of by `losses` as by every verb") {
  // Below 0 V against lithium, metal is more stable than lithium in the graphite: thermodynamics.
  const json summary = json_of({"losses", "demo", "--rate", "5C", "--charge"});
  bool warned = false;
  for (const json& warning : summary["warnings"])
    warned = warned || warning.get<std::string>().rfind("Charging at 5C: ", 0) == 0;
  CHECK(warned);
}
