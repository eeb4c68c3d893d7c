#include "tests/app/helpers.hpp"

// Unsound input ends with status 3 (a folder that cannot be written: 4), names file, line, column and key, and prints
// no result.

using namespace app_test;

namespace {

/// Runs `bench` and `rates` on a sheet; returns what they say, which must be the same.
std::string refused(const Folder& folder, const std::string& text, const std::string& name = "cell.yaml") {
  folder.write(name, text);
  const Outcome bench = program({"bench", name}), rates = program({"rates", name, "--rates", "1C"});
  CHECK(bench.status == 3);
  CHECK(rates.status == 3);
  CHECK(bench.results.empty());
  CHECK(rates.results.empty());
  CHECK(bench.narration == rates.narration);
  CHECK(program({"check", name}).status == 3);
  return bench.narration;
}

}  // namespace

TEST_CASE("the small sheet is sound, so that what follows fails for the fault named alone") {
  const Folder folder;
  folder.write("cell.yaml", small_sheet);
  CHECK(program({"check", "cell.yaml"}).status == 0);
  CHECK(program({"rates", "cell.yaml", "--rates", "1C"}).status == 0);
}

TEST_CASE("one typing mistake is told with its line, column, key and unit") {
  const Folder folder;
  CHECK(refused(folder, with(small_sheet, "particle_radius: 8 um", "particle_radius: 8 mV")) ==
        "cell.yaml:16:20: negative.particle_radius = '8 mV': a voltage where a length is expected, such as '8 um'\n");
  CHECK(refused(folder, with(small_sheet, "particle_radius: 8 um", "particle_radius: 8"))
            .rfind("cell.yaml:16:20: negative.particle_radius = '8': no unit given; expected a length", 0) == 0);
  CHECK(refused(folder, with(small_sheet, "particle_radius: 8 um", "particle_radius: 8 ums"))
            .rfind("cell.yaml:16:20: negative.particle_radius = '8 ums': ", 0) == 0);
  CHECK_THAT(refused(folder, with(small_sheet, "formation_loss: 8 %", "formation_los: 8 %")),
             HasText("cell.yaml:17:1: formation_los: unknown key; did you mean 'formation_loss'?\n"));
  CHECK_THAT(refused(folder, with(small_sheet, "material: graphite", "material: grafite")), HasText("graphite"));
}

TEST_CASE("every fault is told in one run, in the order of the lines") {
  const Folder folder;
  std::string text = with(small_sheet, "temperature: 25 degC", "temperature: warm");
  text = with(text, "disc_diameter: 14 mm", "disc_diameter: -14 mm");
  text = with(text, "porosity: 45 %", "porosity: 145 %");
  text = with(text, "particle_radius: 8 um", "particle_radius: .nan um");
  const std::vector<std::string> lines = lines_of(refused(folder, text));
  REQUIRE(lines.size() == 4);
  CHECK(lines[0].rfind("cell.yaml:4:", 0) == 0);
  CHECK(lines[1].rfind("cell.yaml:5:", 0) == 0);
  CHECK(lines[2].rfind("cell.yaml:16:", 0) == 0);
  CHECK(lines[3].rfind("cell.yaml:18:", 0) == 0);
}

TEST_CASE("impossible physics is named") {
  const Folder folder;
  CHECK_THAT(refused(folder, with(small_sheet, "layer: {thickness: 60 um, active_fraction: 62 %, porosity: 30 %}",
                                  "layer: {thickness: 60 um, active_fraction: 82 %, porosity: 30 %}")),
             HasText("more than all of it"));
  CHECK_THAT(refused(folder, with(with(small_sheet, "lower: 2.8 V", "lower: 4.3 V"), "upper: 4.2 V", "upper: 4.2 V")),
             HasText("not below the upper limit"));
  // A window that no balance of these electrodes reaches.
  const std::string far =
      refused(folder, with(with(small_sheet, "lower: 2.8 V", "lower: 5.5 V"), "upper: 4.2 V", "upper: 5.9 V"));
  CHECK_FALSE(far.empty());
}

TEST_CASE("empty, binary, huge, deeply nested and recursive files are refused in words") {
  const Folder folder;
  for (const std::string& text : std::vector<std::string>{
           "", "\n\n", "---\n", "just words", "[1, 2, 3]", "onegrain: 1\n", std::string("\0\1\2\377\376binary", 12),
           "a: &a [*a]\n", "a: &a {b: *a}\n", std::string(20000, '['), std::string(20000, '{'), "a: {b: [",
           "\xff\xfe\x00", std::string(3, '\0'), "name: \"open\n"}) {
    INFO(text.substr(0, 40));
    const std::string said = refused(folder, text);
    CHECK(said.rfind("cell.yaml", 0) == 0);
    CHECK(said.size() < 4000);
  }
  std::string expanding = "a0: &a0 [x]\n";  // each line ten times the one before
  for (int k = 1; k < 12; ++k) {
    expanding += "a" + std::to_string(k) + ": &a" + std::to_string(k) + " [";
    for (int j = 0; j < 10; ++j) expanding += (j ? ", *a" : "*a") + std::to_string(k - 1);
    expanding += "]\n";
  }
  CHECK(refused(folder, expanding).size() < 4000);
  CHECK(refused(folder, "note: " + std::string(20'000'000, 'x')).size() < 4000);
}

TEST_CASE("numbers that are none are refused wherever they stand") {
  const Folder folder;
  for (const char* number : {"nan um", ".nan um", "inf um", "-inf um", "1e999 um", "1e-400 um", "0 um", "-3 um",
                             "0x10 um", "1,5 um", "um", "''", "null", "~", "[]", "{}", "true", "8 um um", "8 um/0"}) {
    INFO(number);
    const std::string said =
        refused(folder, with(small_sheet, "particle_radius: 8 um", std::string("particle_radius: ") + number));
    CHECK(said.rfind("cell.yaml:16:", 0) == 0);
  }
}

TEST_CASE("a file that is missing, a folder, or not to be read is named") {
  const Folder folder;
  fs::create_directory("folder.yaml");
  for (const char* name : {"nowhere.yaml", "folder.yaml", "folder.yaml/below.yaml", "/dev/null", ""}) {
    INFO(name);
    const Outcome outcome = program({"bench", name});
    CHECK((outcome.status == 3 || outcome.status == 2));
    CHECK(outcome.results.empty());
    CHECK_FALSE(outcome.narration.empty());
  }
  CHECK_THAT(program({"bench", "dem"}).narration, HasText("demo"));
}

TEST_CASE("a protocol's faults name its lines, and a voltage outside the window the sheet's") {
  const Folder folder;
  folder.write("cell.yaml", small_sheet);
  const auto told = [&](const std::string& text) {
    folder.write("p.yaml", text);
    const Outcome outcome = program({"follow", "cell.yaml", "--protocol", "p.yaml"});
    CHECK(outcome.status == 3);
    CHECK(outcome.results.empty());
    return outcome.narration;
  };
  CHECK_THAT(told("steps:\n- {drive: {rate: 1C, sense: chrge}, until: {voltage: 4.2 V}}\n"), HasText("p.yaml:2:"));
  CHECK_THAT(told("steps:\n- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.9 V}}\n"), HasText("cell.yaml:8"));
  CHECK_THAT(told("steps:\n- {drive: {rate: 1C, sense: charge}}\n"), HasText("until"));
  CHECK_THAT(told("steps: []\n"), HasText("p.yaml:1"));
  CHECK_THAT(told(""), HasText("p.yaml"));
  CHECK(program({"follow", "cell.yaml", "--protocol", "none.yaml"}).status == 3);
}

TEST_CASE("a calculation that cannot be completed says why, with status 4") {
  const Folder folder;
  folder.write("cell.yaml", small_sheet);
  folder.write("p.yaml", "steps:\n- {drive: {rate: 1C, sense: charge}, until: {temperature: 60 degC}}\n");
  const Outcome outcome = program({"follow", "cell.yaml", "--protocol", "p.yaml", "--out", "out"});
  CHECK((outcome.status == 3 || outcome.status == 4));  // no heat balance in the sheet: the end can never be met
  CHECK_FALSE(outcome.narration.empty());
  CHECK_FALSE(fs::exists("out/summary.json"));
}
