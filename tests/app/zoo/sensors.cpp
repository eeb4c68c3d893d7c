#include <fstream>
#include <sstream>

#include "tests/app/zoo/cycle.hpp"

// What sensors, leads and contacts do to records of a sound cell.

using namespace zoo;
using namespace app_test;

TEST_CASE("zoo: what sensors do to records", "[zoo]") {
  // Offsets that no rest of at most 5 % of the largest current shows. The demo's 1C is 2.07 mA.
  const auto two_cycles = [] {
    const Record up = cycle().part(6, 7), down = cycle().part(9, 9);
    Record r = up;
    for (const Record& part : {down, up, down, up}) r = records::joined(r, part, 0.5);
    return r;
  };
  const std::vector<Situation> bad = {
      {"an offset of 8 % of 1C, with rests", call("overlay", [] { return records::offset(whole(), 1.7e-4); }), 3,
       "as it seems the current sensor has that offset"},
      {"an offset of 4 % of 1C that passes as much in a rest as a slow step does",
       call("overlay", [] { return records::offset(whole(), 8e-5); }), 3,
       "as it seems the current sensor has that offset"},
      {"an offset of 15 % of 1C, a balance",
       call(
           "balance", [] { return records::offset(whole(), 3.1e-4); }, quick),
       3, "as it seems the current sensor has that offset"},
      {"the other way", call("overlay", [] { return records::offset(whole(), -1.7e-4); }), 3,
       "as it seems the current sensor has that offset"},
      {"an offset of 2 % of 1C, without any rest",
       call("overlay", [=] { return records::offset(two_cycles(), -4e-5); }), 0, "which is the same state"},
      {"the same, a fit",
       call(
           "fit", [=] { return records::offset(two_cycles(), -4e-5); }, one_free),
       4, "which is the same state"},
      {"a hiss of 5 % of the slow step, over 200 rows",
       call("overlay", [] { return records::hissing(whole(), 1e-5, 2); }), 0,
       "the current of step 4 of run.csv scatters by"},
      {"a loose contact",
       call("overlay",
            [] {
              Record r = rested_discharge();
              for (std::size_t k = 20; k + 5 < r.size(); k += 12) r.voltage[k] = 0;
              return r;
            }),
       0, "a contact or a lead is loose"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
  must_raise_nothing("two cycles without any rest", call("overlay", two_cycles));
  must_raise_nothing("three voltages far off", call("overlay", [] {
                       Record r = whole();
                       for (const std::size_t k : {80U, 81U, 300U}) r.voltage[k] += 0.5;
                       return r;
                     }));
  must_raise_nothing("an offset of 2 % of 1C, with rests",
                     call("overlay", [] { return records::offset(whole(), 4e-5); }));
}

TEST_CASE("a slow step between two rests under a hissing sensor is a step", "[zoo][habits]") {
  const unsigned seed = GENERATE(range(1u, 11u));
  CAPTURE(seed);
  // 0.5 % of 1C, 5 % of the slow step: all three flipped signs together and were taken for one rest
  const auto steps = onegrain::params::recorded_steps(records::hissing(whole(), 1e-5, seed));
  REQUIRE(steps.size() == cycle().steps.size());
  for (std::size_t k = 0; k < steps.size(); ++k) CHECK(steps[k].kind == cycle().steps[k].kind);
}

TEST_CASE("voltages far off count for nothing and are counted", "[measured][habits]") {
  const Folder folder;
  folder.write("clean.csv", records::text(whole()));
  Record glitches = whole();
  // in the rests and in the middle of steps, under one current; 4 rows
  for (const std::size_t k : {cycle().steps[1].first + 60, cycle().steps[1].first + 120, cycle().steps[5].first + 40,
                              cycle().steps[5].first + 41})
    glitches.voltage[k] = k % 2 == 0 ? 0.0 : 9.99;
  folder.write("glitches.csv", records::text(glitches));
  const json clean = json_of({"overlay", "demo", "clean.csv"}), bad = json_of({"overlay", "demo", "glitches.csv"});
  const json &before = clean["overlay"]["runs"][0]["steps"], &after = bad["overlay"]["runs"][0]["steps"];
  REQUIRE(before.size() == after.size());
  for (std::size_t k = 0; k < before.size(); ++k) {
    CHECK_THAT(after[k]["rms_mV"].get<double>(), WithinAbs(before[k]["rms_mV"].get<double>(), 0.5));
    CHECK_THAT(after[k]["capacity_mAh"].get<double>(), WithinRel(before[k]["capacity_mAh"].get<double>(), 1e-6));
  }
  std::string words = program({"overlay", "demo", "glitches.csv"}).results;
  std::replace(words.begin(), words.end(), '\n', ' ');
  CHECK(words.find("4 voltages far off the rows around are taken as what lies between") != std::string::npos);
  CHECK(program({"check", "glitches.csv"}).results.find("glitch of the voltage (mended)") != std::string::npos);
}

// Open data (tests/data/README.md): C/10, whose current is moved by 0.3 % of 1C while the cycler's counter stays. No
// rest shows it; three per cent of the capacity.
TEST_CASE("a current that the file's own counter of capacity contradicts is said first", "[zoo]") {
  const auto moved = [](double amperes, const std::string& opening_count = "0.00") {
    return [=](const Folder& folder) {
      std::ifstream file(std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/pouch_discharge_0p1C.csv");
      std::string line, text;
      REQUIRE(std::getline(file, line));
      text = line + "\n";
      while (std::getline(file, line)) {
        std::vector<std::string> cells;
        std::istringstream row(line);
        for (std::string cell; std::getline(row, cell, ',');) cells.push_back(cell);
        REQUIRE(cells.size() >= 5);
        if (cells[1] == "0.00") cells[4] = opening_count;
        cells[3] = std::to_string(std::stod(cells[3]) + amperes);
        for (std::size_t k = 0; k < cells.size(); ++k) text += (k > 0 ? "," : "") + cells[k];
        text += "\n";
      }
      folder.write("moved.csv", text);
      return Words{"overlay", "pouch_fitted", "moved.csv"};
    };
  };
  must_be_said({"an offset of 0.3 % of 1C at C/10, without any rest", moved(0.003 * 6.55), 0,
                "the file's own counter of capacity says 7278"});
  must_be_said({"the other way", moved(-0.003 * 6.55), 0, "by 20 mA throughout"});
  // As it was measured nothing is found (the sheet itself has a warning of its own).
  const Folder folder;
  Words call = moved(0)(folder);
  CHECK(json_of(call)["findings"].empty());
  // Nor where the opening row still shows what the counter stood at before it started anew.
  call = moved(0, "6000.00")(folder);
  CHECK(json_of(call)["findings"].empty());
}
