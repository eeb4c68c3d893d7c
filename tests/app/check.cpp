#include "tests/app/helpers.hpp"

// What `check` says of a cycler's file: the steps that it recognised, what it counted, what is doubtful.

using namespace app_test;

namespace {
const std::string data = std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/";
}

TEST_CASE("a measured discharge with its rest is recognised, and its charge is the cycler's own") {
  // Open measured data (CC BY 4.0, tests/data/README.md): 5C discharge, then a rest. By the file's own columns the
  // current is -32.75 A and the capacity 7211 mAh.
  const Outcome outcome = program({"check", data + "pouch_discharge_5C_then_rest.csv", "--columns", "time=test_time_s",
                                   "voltage=voltage_V", "current=current_A"});
  INFO(outcome.results << outcome.narration);
  CHECK(outcome.status == 0);
  CHECK_THAT(outcome.results, HasText("   1  discharge "));
  CHECK_THAT(outcome.results, HasText("   2  rest "));
  CHECK_THAT(outcome.results, HasText("-32751"));  // mA
  CHECK_THAT(outcome.results, HasText("-7211"));   // mAh, by the file's own column too
}

TEST_CASE("a constant voltage behind a constant current is recognised as a hold") {
  const Outcome outcome = program({"check", data + "pouch_charge_end_then_hold.csv", "--columns", "time=test_time_s",
                                   "voltage=voltage_V", "current=current_A"});
  INFO(outcome.results << outcome.narration);
  CHECK(outcome.status == 0);
  CHECK_THAT(outcome.results, HasText("charge"));
  CHECK_THAT(outcome.results, HasText("hold"));
}

TEST_CASE("a file of which the columns are not known is told what to pass, with the titles it has") {
  const Folder folder;
  folder.write("run.csv", "zeit;spannung;strom\n0;3,5;0\n10;3,6;1\n");
  const Outcome outcome = program({"check", "run.csv"});
  CHECK(outcome.status == 3);
  CHECK(outcome.results.empty());
  CHECK_THAT(outcome.narration, HasText("--columns"));
  CHECK_THAT(outcome.narration, HasText("spannung"));
}

TEST_CASE("a record that the program wrote itself is read back step by step") {
  const Folder folder;
  folder.write("p.yaml",
               "steps:\n- {drive: {rate: C/5, sense: discharge}, until: {time: 10 min}}\n- {drive: rest, until: {time: "
               "30 min}}\n"
               "- {drive: {rate: C/2, sense: charge}, until: {voltage: 4.1 V}}\n- {drive: {voltage: 4.1 V}, until: "
               "{rate: C/10}}\n");
  REQUIRE(program({"follow", "demo", "--protocol", "p.yaml", "--from-soc", "0.5", "--out", "out"}).status == 0);
  const Outcome outcome = program({"check", "demo", "out/curves.csv"});
  INFO(outcome.results << outcome.narration);
  CHECK(outcome.status == 0);
  for (const char* text : {"discharge", "rest", "charge", "hold", "C/5", "C/2"})
    CHECK_THAT(outcome.results, HasText(text));
}

TEST_CASE("doubtful and left-out rows are counted and named") {
  const Folder folder;
  std::string text = "Test Time / s,Voltage / V,Current / A\n";
  for (int k = 0; k < 60; ++k) {
    if (k == 20) text += "15,3.5,0.001\n";  // backward
    if (k == 30) text += "300,,0.001\n";    // a missing voltage
    text += std::to_string(10 * k) + "," + std::to_string(3.5 + 0.001 * k) + ",0.001\n";
  }
  folder.write("run.csv", text);
  const Outcome outcome = program({"check", "run.csv"});
  INFO(outcome.results << outcome.narration);
  CHECK(outcome.status == 0);
  CHECK_THAT(outcome.results + outcome.narration, HasText("62"));  // rows read
  CHECK_THAT(outcome.results + outcome.narration, HasText("60"));  // and used
}
