// Every reason for which a sound cell may end without a result, brought about once.

#include <set>

#include "tests/app/helpers.hpp"
#include "tests/attack/failures.hpp"

using app_test::Folder;
using app_test::program;

namespace {

/// LiFePO4 | graphite with grains of a size; invented.
std::string sheet(const std::string& radius, const std::string& lower, const std::string& upper) {
  return "onegrain: 1\nname: a cell of this test\narrangement: full_cell\ntemperature: 25 degC\n"
         "disc_diameter: 12.5 mm\nvoltage_window: {lower: " +
         lower + ", upper: " + upper +
         "}\npositive:\n  material: lfp\n"
         "  coating: {loading: 15.4 mg/cm2, thickness: 57 um, recipe: {active: 96 wt%, carbon: 2 wt%, binder: 2 wt%}}\n"
         "  particle_radius: " +
         radius +
         "\nnegative:\n  material: graphite\n  layer: {thickness: 62 um, active_fraction: 52 %, porosity: 41 %}\n"
         "  particle_radius: 0.56 um\nformation_loss: 2 %\nseparator: {thickness: 23 um, porosity: 46 %}\n"
         "electrolyte: carbonate_1M\n";
}

struct Brought {
  std::string reason;
  std::vector<std::string> words;
  int status;
};

}  // namespace

TEST_CASE("each reason on the closed list is given in words, with its status, and no other is", "[attack]") {
  Folder folder;
  folder.write("usual.yaml", sheet("0.5 um", "2.6 V", "3.8 V"));
  folder.write("narrow.yaml", sheet("0.5 um", "3.3 V", "3.3001 V"));
  folder.write("low.yaml", sheet("0.5 um", "-3 V", "-2 V"));
  folder.write("large.yaml", sheet("10.2 um", "2.61 V", "3.8 V"));
  folder.write("beyond.yaml", "steps:\n  - {drive: {voltage: 3.4 V}, until: {capacity: 900 mAh/cm2}}\n");
  folder.write("met.yaml", "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.7 V}}\n");
  folder.write("hold.yaml",
               "steps:\n  - {drive: {voltage: 2.61 V}, until: {time: 50 s, rate: 0.0102C}}\n"
               "  - {drive: rest, until: {time: 2 h}}\n");
  const std::vector<Brought> all = {
      {"no end is met", {"follow", "usual.yaml", "--protocol", "beyond.yaml"}, 4},
      {"cut-offs leave no charge", {"rates", "narrow.yaml"}, 3},
      {"cut-off below the cell as assembled", {"rates", "low.yaml"}, 3},
      {"no step can begin", {"follow", "usual.yaml", "--protocol", "met.yaml", "--from-soc", "0"}, 4},
      {"layer under the grain surfaces not resolved", {"follow", "large.yaml", "--protocol", "hold.yaml"}, 4},
  };
  std::set<std::string> brought;
  for (const Brought& one : all) {
    CAPTURE(one.reason);
    const auto outcome = program(one.words);
    CAPTURE(outcome.narration);
    CHECK(outcome.status == one.status);
    CHECK(outcome.results.empty());
    CHECK(onegrain::attack::reason_of(outcome.narration) == one.reason);
    brought.insert(one.reason);
  }
  for (const auto& reason : onegrain::attack::allowed_reasons()) CHECK(brought.count(reason.name) == 1);
  CHECK(onegrain::attack::reason_of("CV_CONV_FAILURE at t = 0") == std::nullopt);
}
