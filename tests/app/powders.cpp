#include <cmath>

#include "tests/app/helpers.hpp"

// Powders whose grains are of several sizes, through the verbs. The physics is held by tests/solver/several_grains.cpp,
// the arithmetic by tests/params/grain_sizes.cpp and tests/params/wanted.cpp.

using namespace app_test;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

const std::string of_positive = "{value: 4.8 um, spread: 0.4 um, source: \"invented: micrograph, 60 grains\"}";

/// The demo with other grains in its positive.
std::string demo_with(const std::string& grains) {
  return with(shipped("demo"), "particle_radius: " + of_positive, grains);
}

}  // namespace

TEST_CASE("one class of grains gives the results of one radius to the last digit", "[app][powders]") {
  const Folder folder;
  folder.write("radius.yaml", demo_with("particle_radius: 4.8 um"));
  folder.write("class.yaml", demo_with("grain_sizes: {classes: [{diameter: 9.6 um, volume: 100 %}]}"));
  for (const char* reaction : {"even", "uneven"}) {
    for (const char* file : {"radius", "class"}) {
      REQUIRE(
          program({"curve", std::string(file) + ".yaml", "--rates", "C/5,2C", "--reaction", reaction, "--out", file})
              .status == 0);
    }
    CHECK(folder.read("radius/curves.csv") == folder.read("class/curves.csv"));
  }
}

TEST_CASE("no verb ignores the sizes of grains: it takes them, or refuses with what to write", "[app][powders]") {
  const Folder folder;
  folder.write("powder.yaml", demo_with("grain_sizes: {d10: 4 um, d50: 11 um, d90: 30 um}"));
  folder.write("surface.yaml", demo_with("particle_radius: 4.112 um"));  // that of the same surface alone
  const json of_powder = json_of({"rates", "powder.yaml", "--rates", "2C"}),
             of_surface = json_of({"rates", "surface.yaml", "--rates", "2C"});
  CHECK(of_powder["points"][0]["capacity_mAh"].get<double>() <
        0.995 * of_surface["points"][0]["capacity_mAh"].get<double>());
  REQUIRE(program({"curve", "powder.yaml", "--rates", "C/5", "--out", "slow"}).status == 0);
  // what the model itself has made is met by the model: overlay runs the same grains
  const json overlay = json_of({"overlay", "powder.yaml", "slow/curves.csv"});
  CHECK(overlay["overlay"]["runs"][0]["steps"][0]["rms_mV"].get<double>() < 0.5);
  CHECK(json_of({"losses", "powder.yaml", "--rate", "2C"})["losses"]["capacity_mAh"].get<double>() > 0);
  CHECK(program({"ceiling", "powder.yaml", "--samples", "0"}).status == 0);
  const json bench = json_of({"bench", "powder.yaml"});
  const double r32 = bench["bench"]["positive"]["sauter_radius_um"]["value"],
               diffusion = bench["bench"]["positive"]["diffusion_radius_um"]["value"];
  CHECK(r32 < diffusion);
  for (const char* verb : {"fit", "balance", "pulses", "spectrum"}) {
    std::vector<std::string> words = {verb, "powder.yaml"};
    if (std::string(verb) != "spectrum") words.emplace_back("slow/curves.csv");
    const Outcome refused = program(words);
    CAPTURE(verb, refused.narration);
    CHECK(refused.status == 4);
    CHECK(refused.narration.find("'positive.grain_sizes' has several sizes: write 'particle_radius: ") !=
          std::string::npos);
  }
}

TEST_CASE("bench tells which coating to draw", "[app][powders]") {
  const Folder folder;
  folder.write("cell.yaml", shipped("demo"));
  const json told = json_of({"bench", "cell.yaml", "--for", "n_to_p = 1.10"});
  REQUIRE(told["bench"]["coatings"].size() == 1);
  const json& coating = told["bench"]["coatings"][0];
  CHECK(told["headline"].get<std::string>().find("n_to_p = 1.10: draw the negative at ") == 0);
  // drawn so, bench finds it again
  std::string drawn = shipped("demo");
  drawn = with(drawn, "loading: {value: 6.3 mg/cm2",
               "loading: {value: " + std::to_string(coating["loading_mg_cm2"].get<double>()) + " mg/cm2");
  drawn = with(drawn, "thickness: {value: 42 um",
               "thickness: {value: " + std::to_string(coating["drawn_thickness_um"].get<double>()) + " um");
  folder.write("drawn.yaml", drawn);
  CHECK_THAT(json_of({"bench", "drawn.yaml"})["bench"]["capacity_ratio"]["value"].get<double>(), WithinAbs(1.10, 5e-4));
  const Outcome wrong = program({"bench", "cell.yaml", "--for", "n_to_p = 11"});
  CHECK(wrong.status == 2);
  CHECK(wrong.narration.find("--for 'n_to_p = 11': an N/P from 0.2 to 5 is expected") != std::string::npos);
}
