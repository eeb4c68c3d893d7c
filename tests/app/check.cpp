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

TEST_CASE("every fault is there for other programs, with its line, its key and what was probably meant") {
  const Folder folder;
  folder.write("cell.yaml", with(with(small_sheet, "particle_radius: 4.8 um", "particle_radius: 4.8 mm"),
                                 "temperature:", "temprature:"));
  const Outcome outcome = program({"check", "cell.yaml", "--json"});
  CHECK(outcome.status == 3);
  const json found = json::parse(outcome.results);
  CHECK(found["sound"] == false);
  CHECK(found["checked"] == json::parse(R"([{"name": "cell.yaml", "file_kind": "sheet", "sound": false}])"));
  REQUIRE(found["faults"].size() == 3);  // the radius, the missing and the unknown key
  std::string text;                      // as the screen has them
  bool misspelt = false;
  for (const json& fault : found["faults"]) {
    CHECK(fault["severity"] == "error");
    text += fault["name"].get<std::string>() + ":" + fault["line"].dump() + ":" + fault["column"].dump() + ": " +
            fault["path"].get<std::string>() +
            (fault.contains("written") ? " = '" + fault["written"].get<std::string>() + "'" : "") + ": " +
            fault["message"].get<std::string>() + "\n";
    if (fault["path"] != "temprature") continue;
    misspelt = true;
    CHECK(fault["line"] == 4);
    CHECK(fault["column"] == 1);
    CHECK(fault["suggestion"] == "temperature");
  }
  CHECK(misspelt);
  CHECK(text == outcome.narration);
  CHECK(text == program({"check", "cell.yaml"}).narration);
  const json sound = json_of({"check", "demo"});
  CHECK(sound["sound"] == true);
  CHECK(sound["faults"].empty());
  CHECK(sound["files"][0]["name"] == "cells/demo.yaml");
}

TEST_CASE("recognised steps and doubtful rows are there for other programs") {
  const Folder folder;
  std::string text = "Test Time / s,Voltage / V,Current / A\n";
  for (int k = 0; k < 60; ++k) {
    if (k == 20) text += "15,3.5,0.001\n";  // line 22, backward
    text += std::to_string(10 * k) + "," + std::to_string(3.5 + 0.001 * k) + ",0.001\n";
  }
  folder.write("run.csv", text);
  const json found = json_of({"check", "run.csv"});
  CHECK(found["checked"][0]["rows_read"] == 61);
  CHECK(found["checked"][0]["rows_used"] == 60);
  REQUIRE(found["recorded_steps"].size() == 1);
  const json& step = found["recorded_steps"][0];
  CHECK(step["kind"] == "charge");
  // 1 mA over 590 s is 0.59 C, divided by 3.6 C/mAh.
  CHECK_THAT(step["net_charge_mAh"].get<double>(), WithinRel(0.59 / 3.6, 1e-9));
  REQUIRE(found["doubtful_rows"].size() == 1);
  CHECK(found["doubtful_rows"][0]["line"] == 22);
}

TEST_CASE("a sheet that bench refuses is unsound") {
  const Folder folder;  // twice the solids that fit the coating: no pores are left
  folder.write("cell.yaml", with(shipped("demo"), "loading: {value: 6.3", "loading: {value: 26.3"));
  const Outcome bench = program({"bench", "cell.yaml"}), check = program({"check", "cell.yaml"});
  INFO(bench.narration << check.narration);
  CHECK(bench.status == 3);
  CHECK(check.status == 3);
  CHECK(check.results.empty());
  CHECK_THAT(check.narration, HasText("impossible cell: the porosity of the negative electrode"));
}
