#include "params/record/record.hpp"

#include <cmath>
#include <string>

#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

constexpr double mAh = 3.6;  // [C]

/// A record made by hand, with rows at any moments.
struct Bench {
  Record record;
  double now = 0;
  void row(double voltage, double current) {
    record.time.push_back(now);
    record.voltage.push_back(voltage);
    record.current.push_back(current);
    record.line.push_back(static_cast<std::uint32_t>(record.time.size() + 1));
  }
  /// From the present moment on, both ends included; the next step begins at the same moment.
  void line(double seconds, double every, double from, double to, double current) {
    const double start = now;
    const int rows = static_cast<int>(std::lround(seconds / every));
    for (int k = 0; k <= rows; ++k) {
      now = start + k * every;
      row(from + (to - from) * k / rows, current);
    }
  }
  void hold(double seconds, double every, double voltage, double current, double fading) {
    const double start = now;
    const int rows = static_cast<int>(std::lround(seconds / every));
    for (int k = 1; k <= rows; ++k) {  // the row at its start is the last of the charge
      now = start + k * every;
      row(voltage, current * std::exp(-k * every / fading));
    }
  }
};

std::string kinds(const std::vector<RecordedStep>& steps) {
  std::string text;
  for (const RecordedStep& step : steps) text += std::string(text.empty() ? "" : " ") + step_kind_name(step.kind);
  return text;
}

Record measured(const std::string& name) {
  const auto loaded = load_measured(std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/" + name);
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  return loaded.value->record;
}

}  // namespace

TEST_CASE("rest, charge, hold and discharge are found with the charge that each passes", "[params][record]") {
  Bench bench;
  bench.line(600, 10, 3.50, 3.50, 0);
  bench.line(3600, 10, 3.55, 4.20, 1.0);   // 1 A for an hour: 1000 mAh
  bench.hold(1800, 5, 4.20, 1.0, 600);     // 600 (1 - exp(-3)) C
  bench.line(900, 10, 4.15, 4.12, 2e-4);   // noise, not a charge
  bench.line(1800, 10, 4.05, 3.40, -0.5);  // 250 mAh
  bench.line(723, 1, 3.45, 3.46, 0);
  const auto steps = recorded_steps(bench.record);
  REQUIRE(kinds(steps) == "rest charge hold rest discharge rest");
  // Trapezoids over exp(-t/600) at 5 s are high by (5/600)^2 / 12 = 6e-6; the hold may begin some rows late, its charge
  // then stands with the step before: 0.1 % of what is passed.
  const double faded = 600 * (1 - std::exp(-3.0));
  CHECK_THAT(steps[1].charge + steps[2].charge, WithinRel(3600 + faded, 1e-5));
  CHECK_THAT(steps[1].charge, WithinAbs(3600, 10));
  CHECK_THAT(steps[4].charge, WithinRel(-250 * mAh, 1e-12));
  CHECK_THAT(steps[4].mean_current, WithinRel(-0.5, 1e-12));
  CHECK_THAT(steps[4].duration, WithinRel(1800.0, 1e-12));
  CHECK(steps[0].charge == 0);
  CHECK(steps[0].ended_by == StepEnd::time);
  CHECK(steps[1].ended_by == StepEnd::voltage);
  CHECK(steps[4].ended_by == StepEnd::voltage);
  CHECK(steps[5].ended_by == StepEnd::record);
  const ChargeBalance balance = charge_balance(bench.record, steps);
  CHECK_THAT(balance.steps, WithinAbs(balance.integrated, 1e-9 * balance.passed));
  Doubts doubts;
  examine(bench.record, steps, doubts);
  CHECK(doubts.list().empty());
}

TEST_CASE("steps of one sign are told apart by their level", "[params][record]") {
  Bench bench;
  bench.line(600, 10, 3.6, 3.8, 2);
  bench.line(600, 10, 3.75, 3.9, 1);
  bench.line(600, 10, 3.88, 3.95, 0.5);
  const auto steps = recorded_steps(bench.record);
  REQUIRE(kinds(steps) == "charge charge charge");
  CHECK_THAT(steps[1].charge, WithinRel(600.0, 1e-12));
  Doubts doubts;
  examine(bench.record, steps, doubts);
  CHECK(doubts.list().empty());  // the voltage falls where the current steps down: nothing to doubt
}

TEST_CASE("a step number in the file parts what the current does not", "[params][record]") {
  Bench bench;
  bench.line(600, 10, 3.6, 3.8, 1);
  bench.line(600, 10, 3.8, 3.9, 1);
  CHECK(kinds(recorded_steps(bench.record)) == "charge");
  bench.record.step.assign(61, 1);
  bench.record.step.resize(122, 2);
  CHECK(kinds(recorded_steps(bench.record)) == "charge charge");
}

TEST_CASE("where nobody recorded when the current turned, no charge is made up", "[params][record]") {
  Bench bench;
  bench.line(3600, 60, 3.6, 4.0, 1);
  bench.now += 7200;
  bench.line(3600, 60, 3.9, 3.5, -1);
  const auto steps = recorded_steps(bench.record);
  REQUIRE(steps.size() == 2);
  CHECK_THAT(steps[0].charge, WithinRel(3600.0, 1e-12));
  CHECK_THAT(steps[1].charge, WithinRel(-3600.0, 1e-12));
  Doubts doubts;
  examine(bench.record, steps, doubts);
  REQUIRE(doubts.list().size() == 1);
  CHECK(doubts.list()[0].kind == DoubtKind::gap);
  CHECK(doubts.list()[0].line == 63);
  CHECK(doubts.list()[0].text ==
        "no row from 3600 s to 10800 s; the current changes from 1000 mA to -1000 mA somewhere in between, its charge "
        "is not counted");
}

TEST_CASE("a driving profile is one step", "[params][record]") {
  Bench bench;
  bench.line(600, 10, 3.9, 3.9, 0);
  for (int k = 0; k < 400; ++k) {
    bench.now += 1;
    bench.row(3.8 - 0.001 * k, std::sin(0.9 * k) + 0.3 * std::sin(2.7 * k * k));
  }
  bench.line(600, 10, 3.5, 3.5, 0);
  const auto steps = recorded_steps(bench.record);
  CHECK(kinds(steps) == "rest varied rest");
  CHECK_THAT(charge_balance(bench.record, steps).steps,
             WithinAbs(charge_balance(bench.record, steps).integrated, 1e-9));
}

TEST_CASE("repeated rows, a glitch of the voltage and a wrong sign are named with their lines", "[params][record]") {
  Bench bench;
  bench.line(600, 10, 3.6, 3.5, 1);  // the voltage of a discharge, a current without sign
  bench.record.voltage[30] += 0.05;  // a contact slips
  bench.record.time[41] = bench.record.time[40];
  bench.record.voltage[41] = bench.record.voltage[40];
  bench.record.time[51] = bench.record.time[50];
  const auto steps = recorded_steps(bench.record);
  Doubts doubts;
  examine(bench.record, steps, doubts);
  std::string text;
  for (const Doubt& doubt : doubts.list())
    text += std::to_string(doubt.line) + ": " + doubt_name(doubt.kind) + ": " + doubt.text + "\n";
  CHECK(
      text ==
      "32: jump of the voltage: from 3.55167 V to 3.6 V under the same current, 10 s apart\n"
      "43: row repeated: the row at 400 s once more\n"
      "53: time repeated with other values: 500 s once more, with other values\n"
      "2: voltage against the sign of the current: step 1: the current is 1000 mA, so the cell is charged, yet its "
      "voltage goes from 3.6 V to "
      "3.5 V\n"
      "2: current positive on discharge: the voltage falls where the current is positive: as it seems, positive means "
      "discharge here; a minus sign turns it, --columns current=-TITLE\n");
}

TEST_CASE("the steps of a measured cell pass the charge that its cycler counted", "[params][record][measured]") {
  // Source: Battery Data Format reference datasets, DOI 10.5281/zenodo.18986774, CC BY 4.0; see tests/data/README.md.
  // The cycler's own counter: 7211.4 mAh for the discharge.
  const Record record = measured("pouch_discharge_5C_then_rest.csv");
  const auto steps = recorded_steps(record);
  REQUIRE(kinds(steps) == "discharge rest");
  CHECK_THAT(steps[0].charge, WithinRel(-7211.4 * mAh, 1e-3));
  CHECK_THAT(steps[0].mean_current, WithinRel(-32.75, 1e-3));  // 5C of 6.55 Ah
  CHECK(steps[0].ended_by == StepEnd::voltage);
  CHECK_THAT(steps[0].last_voltage, WithinAbs(3.0, 1e-3));
  CHECK(steps[1].ended_by == StepEnd::time);
  CHECK_THAT(steps[1].duration, WithinAbs(1800, 0.1));
  const ChargeBalance balance = charge_balance(record, steps);
  CHECK_THAT(balance.steps, WithinAbs(balance.integrated, 1e-3 * balance.passed));
  REQUIRE(balance.largest_deviation);
  CHECK(*balance.largest_deviation < 1e-3);

  // Charged with 2.18 A to 4.35 V, held there until the current has fallen to 0.655 A.
  const Record charge = measured("pouch_charge_end_then_hold.csv");
  const auto parts = recorded_steps(charge);
  REQUIRE(kinds(parts) == "charge hold");
  CHECK(parts[0].ended_by == StepEnd::voltage);
  CHECK_THAT(parts[0].last_voltage, WithinAbs(4.35, 1e-3));
  CHECK_THAT(parts[0].last_current, WithinRel(2.18, 0.01));
  CHECK(parts[1].ended_by == StepEnd::current);
  CHECK_THAT(parts[1].last_current, WithinAbs(0.655, 1e-3));
}
