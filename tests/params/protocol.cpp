#include "params/sheet/protocol.hpp"

#include <string>
#include <variant>

#include "params/sheet/rate.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;
using namespace onegrain;

namespace {

constexpr double hour = 3600;
const RateBase base{.one_hour_charge = 20 * hour, .plate_area = 1.5e-4, .active_loading = 0.1};  // 1C is 20 A/m2, 3 mA

Sheet sheet() {
  Sheet result = *load_sheet("nmc811_graphite_siox_21700").value;
  result.upper_voltage.si = 4.2;
  result.upper_voltage.place = {"coin07.yaml", 8, 30};
  result.lower_voltage.place = {"coin07.yaml", 8, 12};
  return result;
}

std::string faults_of(const std::string& text) {
  return read_protocol(text, "charge.yaml", sheet(), base).faults.text();
}

std::string rate_fault(const std::string& text, const RateBase& with = base) {
  try {
    parse_rate(text, with);
  } catch (const RateError& wrong) {
    return wrong.what();
  }
  return "(no fault)";
}

}  // namespace

TEST_CASE("a rate may be a multiple of 1C or a current in any unit", "[params][rate]") {
  struct Row {
    const char* text;
    double c_rate;
  };
  const auto row = GENERATE(values<Row>({
      {"C/5", 0.2},
      {"0.2C", 0.2},
      {"2C", 2},
      {"C", 1},
      {"1C", 1},
      {"2C/3", 2.0 / 3},
      {" 0.5 C ", 0.5},
      {"c/20", 0.05},
      {"1e-1C", 0.1},
      {"3 mA", 1},
      {"1.5mA", 0.5},
      {"6000 uA", 2},
      {"2 mA/cm2", 1},
      {"20 A/m2", 1},
      {"200 mA/g", 1},
      {"100 mA g-1", 0.5},
      {"3e-3 A", 1},
  }));
  CAPTURE(row.text);
  const Rate rate = parse_rate(row.text, base);
  CHECK_THAT(rate.c_rate, WithinRel(row.c_rate, 1e-12));
  CHECK_THAT(rate.current_density, WithinRel(20 * row.c_rate, 1e-12));
}

TEST_CASE("a rate that is none says what would be", "[params][rate][messages]") {
  CHECK(rate_fault("fast") == "'fast' is not a rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g");
  CHECK(rate_fault("2 x") ==
        "'2 x' is not a rate: 'x' is not a known unit; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g");
  CHECK(rate_fault("2") == "'2' is not a rate; a unit is missing: write 2C, 2 mA, 2 mA/cm2 or 2 mA/g");
  CHECK(rate_fault("") == "an empty rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g");
  CHECK(rate_fault("C/0") == "'C/0' is not a rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g");
  CHECK(rate_fault("-1C") == "'-1C': a rate is greater than 0; the direction is stated apart from it");
  CHECK(rate_fault("0 mA") == "'0 mA': a rate is greater than 0; the direction is stated apart from it");
  CHECK(rate_fault("2 V") == "'2 V': a voltage is not a rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g");
  CHECK(rate_fault("1e9C") == "'1e9C': 1e+09C is out of reason");
  CHECK(rate_fault("nanC") != "(no fault)");
  CHECK(rate_fault("1e999C") != "(no fault)");
  RateBase unknown = base;
  unknown.active_loading.reset();
  CHECK(rate_fault("160 mA/g", unknown) ==
        "'160 mA/g': the mass of active material is not known (the card of the material gives no density)");
}

TEST_CASE("rates come as a list and are named for people", "[params][rate]") {
  const auto rates = parse_rates("C/10,C/2, 1C,3mA", base);
  REQUIRE(rates.size() == 4);
  CHECK_THAT(rates[3].c_rate, WithinRel(1.0, 1e-12));
  CHECK(rates[2].written == "1C");
  CHECK_THROWS_AS(parse_rates("C/10,,1C", base), RateError);
  CHECK(rate_name(0.05) == "C/20");
  CHECK(rate_name(1.0 / 3) == "C/3");
  CHECK(rate_name(0.3) == "0.3C");
  CHECK(rate_name(1) == "1C");
  CHECK(rate_name(2.5) == "2.5C");
}

TEST_CASE("a protocol becomes steps per plate area, charging positive", "[params][protocol]") {
  const auto loaded = read_protocol(R"(steps:
  - {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.2 V}}
  - {drive: {voltage: 4.2 V}, until: {rate: C/20, time: 2 h}}
  - {drive: rest, until: {time: 30 min}}
  - {drive: {current: 1.5 mA, sense: discharge}, until: {voltage: 2.8 V, capacity: 1.5 mAh}}
repeat: 3
)",
                                    "p.yaml", sheet(), base);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const auto& steps = loaded.value->steps;
  REQUIRE(steps.size() == 4);
  CHECK(loaded.value->repeat == 3);
  CHECK_THAT(std::get<model::CurrentDrive>(steps[0].drive).current, WithinRel(10.0, 1e-12));
  CHECK(*steps[0].until.voltage == 4.2);
  CHECK(steps[0].label == "charge 0.5C");
  CHECK(std::get<model::VoltageDrive>(steps[1].drive).voltage == 4.2);
  CHECK_THAT(*steps[1].until.current, WithinRel(1.0, 1e-12));
  CHECK(*steps[1].until.time == 7200);
  CHECK(std::get<model::CurrentDrive>(steps[2].drive).current == 0);
  CHECK(*steps[2].until.time == 1800);
  CHECK(steps[2].label == "rest");
  CHECK_THAT(std::get<model::CurrentDrive>(steps[3].drive).current, WithinRel(-10.0, 1e-12));
  CHECK_THAT(*steps[3].until.capacity, WithinRel(1.5e-3 * 3600 / 1.5e-4, 1e-12));
  CHECK(steps[3].label == "discharge 1.5 mA");
}

TEST_CASE("a protocol that cannot be run names the step", "[params][protocol][messages]") {
  CHECK(faults_of("steps:\n  - {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.3 V}}\n") ==
        "charge.yaml:2:59: steps[1].until.voltage = '4.3 V': above the upper limit 4.2 V (coin07.yaml:8)\n");
  CHECK(faults_of("steps:\n  - {drive: {voltage: 1 V}, until: {time: 1 h}}\n") ==
        "charge.yaml:2:23: steps[1].drive.voltage = '1 V': below the lower limit 2.5 V (coin07.yaml:8)\n");
  CHECK(faults_of("steps:\n  - {drive: {rate: 0.5C}, until: {time: 1 h}}\n") ==
        "charge.yaml:2:13: steps[1].drive.sense: missing; expected charge or discharge\n");
  CHECK(faults_of("steps:\n  - {drive: rest, until: {}}\n") ==
        "charge.yaml:2:26: steps[1].until: an end is missing: voltage, time, rate, current, capacity or temperature\n");
  CHECK(
      faults_of("steps:\n  - {drive: rest, until: {voltage: 3 V}}\n") ==
      "charge.yaml:2:26: steps[1].until: a rest needs a time, such as {time: 30 min}; without one it may never end\n");
  CHECK(faults_of("steps:\n  - {drive: rest, until: {time: 0 s}}\n") ==
        "charge.yaml:2:33: steps[1].until.time = '0 s': must be greater than 0 and at most ten years\n");
  CHECK(faults_of("steps:\n  - {drive: {rate: fast, sense: charge}, until: {time: 1 h}}\n") ==
        "charge.yaml:2:20: steps[1].drive.rate = 'fast': 'fast' is not a rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or "
        "160 mA/g\n");
  CHECK(faults_of("steps:\n  - {drive: {rate: 1C, voltage: 4 V, sense: charge}, until: {time: 1 h}}\n") ==
        "charge.yaml:2:13: steps[1].drive: one thing is driven at a time: rate, current or voltage\n");
  CHECK(faults_of("steps: []\n") ==
        "charge.yaml:1:8: steps: a list of steps is expected, such as '- {drive: rest, until: {time: 30 min}}'\n");
  CHECK(faults_of("step:\n  - rest\n") ==
        "charge.yaml:1:1: steps: missing; expected a list, such as '- {drive: {rate: 0.5C, sense: charge}, until: "
        "{voltage: 4.2 V}}'\n"
        "charge.yaml:1:1: step: unknown key; did you mean 'steps'?\n");
  CHECK(faults_of("steps:\n  - {drive: rest, until: {time: 1 h}}\nrepeat: 2.5\n") ==
        "charge.yaml:3:9: repeat = '2.5': a whole number is expected\n");
  CHECK(faults_of("steps:\n  - {drive: rest, until: {time: 1 h}}\nrepeat: 1000000000\n") ==
        "charge.yaml:3:9: repeat = '1000000000': must lie between 1 and 100000\n");
  CHECK(faults_of("steps:\n  - {drive: {rate: 1C, sense: charge}, until: {rate: C/20}}\n") ==
        "charge.yaml:2:54: steps[1].until.rate = 'C/20': the current does not fall in this step; such an end belongs "
        "to a held voltage\n");
  CHECK(faults_of("steps:\n  - {drive: {curent: 1 mA, sense: charge}, until: {time: 1 h}}\n") ==
        "charge.yaml:2:13: steps[1].drive: nothing is driven; expected 'rest', {rate: 0.5C, sense: charge}, {current: "
        "1 mA, sense: discharge} or {voltage: 4.2 V}\n"
        "charge.yaml:2:14: steps[1].drive.curent: unknown key; did you mean 'current'?\n");
  CHECK(faults_of("steps:\n  - {drive: {voltage: 4 V, sense: charge}, until: {tme: 1 h}}\n") ==
        "charge.yaml:2:35: steps[1].drive.sense = 'charge': a held voltage needs no sense\n"
        "charge.yaml:2:51: steps[1].until: an end is missing: voltage, time, rate, current, capacity or temperature\n"
        "charge.yaml:2:52: steps[1].until.tme: unknown key; did you mean 'time'?\n");
  CHECK(faults_of("steps:\n  - rest\n  - {drive: rest, until: {time: 1 h, capacity: 0 mAh}}\n") ==
        "charge.yaml:2:5: steps[1] = 'rest': a step is expected, such as {drive: rest, until: {time: 30 min}}\n"
        "charge.yaml:3:48: steps[2].until.capacity = '0 mAh': must be greater than 0\n");
  CHECK(faults_of("steps:\n  - {drive: {rate: 1C, sense: charge}, until: {temperature: 50 degC}}\n") ==
        "charge.yaml:2:61: steps[1].until.temperature = '50 degC': the sheet has no 'thermal', so the temperature "
        "stays what it is\n");
}
