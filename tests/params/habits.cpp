#include <cmath>
#include <string>

#include "params/record/levels.hpp"
#include "params/record/record.hpp"
#include "tests/records.hpp"

// Open measured records as other cyclers would have written them: what is found must be what the clean record holds.

using namespace onegrain::params;
using namespace records;

namespace {

std::string kinds(const std::vector<RecordedStep>& steps) {
  std::string text;
  for (const RecordedStep& step : steps) text += std::string(text.empty() ? "" : " ") + step_kind_name(step.kind);
  return text;
}

Measured mended(Record record) {
  Measured data;
  data.record = std::move(record);
  mend_sensors(data);
  return data;
}

/// Rest, discharge, rest, charge, hold, rest: measured steps of one pouch cell, one behind the other.
Record cycle() {
  Record all = after_rest(open_record("pouch_discharge_5C_then_rest.csv"), 1800, 4.3318);
  all = joined(all, open_record("pouch_charge_end_then_hold.csv"));
  const double volts = all.voltage.back(), start = all.time.back();
  for (double t = 5; t <= 1800; t += 5) {
    all.time.push_back(start + t);
    all.voltage.push_back(volts - 0.015 * (1 - std::exp(-t / 300)));
    all.current.push_back(0);
    all.line.push_back(static_cast<std::uint32_t>(all.time.size() + 1));
  }
  return all;
}

const char* const whole_cycle = "rest discharge rest charge hold rest";

}  // namespace

TEST_CASE("a constant current with 5 % of white noise is one step that passes the charge of the clean one",
          "[params][habits][measured]") {
  const std::string file =
      GENERATE(as<std::string>{}, "pouch_discharge_0p1C.csv", "pouch_discharge_1C.csv", "pouch_discharge_2C.csv",
               "pouch_discharge_5C.csv", "graphite_li_lithiation_C50.csv", "lnmo_li_lithiation_discharge_C19.csv");
  const unsigned seed = GENERATE(range(1u, 21u));
  CAPTURE(file, seed);
  const Record clean = open_record(file);
  const auto before = recorded_steps(clean), after = recorded_steps(noisy(clean, 0.05, seed));
  REQUIRE(kinds(before) == "discharge");
  REQUIRE(kinds(after) == "discharge");
  CHECK(after[0].constant);
  CHECK_THAT(after[0].noise, WithinRel(0.05 * std::abs(before[0].mean_current), 0.6));
  // 5 % of white noise on n rows leaves 5 % / sqrt(n) of the mean: three standard deviations, uneven rows count more.
  const double left = 3.5 * 0.05 / std::sqrt(static_cast<double>(clean.size()));
  CHECK_THAT(after[0].charge, WithinRel(before[0].charge, std::max(0.005, left)));
}

TEST_CASE("a whole cycle is the same steps under noise, whether it is a share of the current or a hiss",
          "[params][habits][measured]") {
  const Record clean = cycle();
  REQUIRE(kinds(recorded_steps(clean)) == whole_cycle);
  const unsigned seed = GENERATE(range(1u, 21u));
  CAPTURE(seed);
  CHECK(kinds(recorded_steps(noisy(clean, 0.05, seed))) == whole_cycle);
  CHECK(kinds(recorded_steps(noisy(clean, 0.01, seed))) == whole_cycle);
  CHECK(kinds(recorded_steps(hissing(clean, 0.02, seed))) == whole_cycle);  // 1 % of the charging current
  CHECK(kinds(recorded_steps(hissing(clean, 0.002, seed))) == whole_cycle);
}

TEST_CASE("what a sensor reads at every rest is rest, and no charge", "[params][habits][measured]") {
  // 0.3 % of 1C of the 6.55 Ah cell: 19.65 mA.
  const Record clean = cycle();
  const double amperes = GENERATE(0.01965, -0.01965, 0.005, -0.1);
  CAPTURE(amperes);
  const Measured data = mended(offset(clean, amperes));
  const auto before = recorded_steps(clean), after = recorded_steps(data.record);
  REQUIRE(kinds(recorded_steps(offset(clean, amperes))) == whole_cycle);
  REQUIRE(kinds(after) == whole_cycle);
  if (std::abs(amperes) > 0.02) {
    CHECK_THAT(data.current_offset, WithinRel(amperes, 1e-9));
  }
  for (std::size_t k = 0; k < after.size(); ++k)
    CHECK_THAT(after[k].charge, WithinAbs(before[k].charge, 0.005 * 7211 * 3.6));
}

TEST_CASE("an offset is measured at the rests and taken off a slow current, where it would count most",
          "[params][habits][measured]") {
  // 0.3 % of 1C is 3 % of C/10: without a rest nobody can know, with one it is measured.
  const Record clean = after_rest(open_record("pouch_discharge_0p1C.csv"), 1800, 4.3282);
  const double amperes = GENERATE(0.01965, -0.01965);
  const Measured data = mended(offset(clean, amperes));
  const auto steps = recorded_steps(data.record);
  REQUIRE(kinds(steps) == "rest discharge");
  CHECK_THAT(data.current_offset, WithinRel(amperes, 1e-9));
  CHECK_THAT(steps[1].charge, WithinRel(-7279.7 * 3.6, 1e-3));  // the cycler's own counter
  // A slow real current is none: C/10 behind a rest without current stays what it is.
  CHECK(mended(clean).current_offset == 0);
}

TEST_CASE("levels that noise does not hide are still steps", "[params][habits]") {
  // Invented: 1 A, 0.8 A and 0.4 A for 500 rows each, 5 % of noise; the changes are 4 and 8 standard deviations.
  Record r;
  for (int k = 0; k < 1500; ++k) {
    r.time.push_back(10.0 * k);
    r.voltage.push_back(4.2 - 0.0005 * k);
    r.current.push_back(k < 500 ? -1.0 : k < 1000 ? -0.8 : -0.4);
    r.line.push_back(static_cast<std::uint32_t>(k + 2));
  }
  const unsigned seed = GENERATE(range(1u, 21u));
  CAPTURE(seed);
  const auto steps = recorded_steps(noisy(r, 0.05, seed));
  REQUIRE(kinds(steps) == "discharge discharge discharge");
  CHECK_THAT(static_cast<double>(steps[1].first), WithinAbs(500, 8));
  CHECK_THAT(static_cast<double>(steps[2].first), WithinAbs(1000, 4));
}

TEST_CASE("a real small current is no offset", "[params][habits]") {
  // Invented: 1 A to a slope, then 20 mA for ten hours, as a slow finish of a charge.
  Record r;
  const auto row = [&](double t, double V, double I) {
    r.time.push_back(t);
    r.voltage.push_back(V);
    r.current.push_back(I);
    r.line.push_back(static_cast<std::uint32_t>(r.time.size() + 1));
  };
  for (int k = 0; k < 360; ++k) row(10.0 * k, 3.6 + 0.001 * k, 1.0);
  for (int k = 0; k < 360; ++k) row(3600 + 100.0 * k, 3.90 + 0.0005 * k, 0.02);
  CHECK(kinds(recorded_steps(r)) == "charge charge");
  CHECK(mended(r).current_offset == 0);
}

TEST_CASE("a spike of the current that the voltage does not follow is the sensor's and passes no charge",
          "[params][habits][measured]") {
  Record spiked = open_record("pouch_discharge_0p1C.csv");
  const double charge = recorded_steps(spiked)[0].charge;
  for (const std::size_t k : {200u, 700u, 1300u}) spiked.current[k] *= 12;
  spiked.current[500] = -spiked.current[500];
  const Measured data = mended(spiked);
  CHECK(data.doubts.count(DoubtKind::current_spike) == 4);
  const auto steps = recorded_steps(data.record);
  REQUIRE(kinds(steps) == "discharge");
  CHECK_THAT(steps[0].charge, WithinRel(charge, 1e-4));
  // A pulse of one row that the voltage follows is the cell's: it stays.
  Record pulsed = open_record("pouch_discharge_0p1C.csv");
  pulsed.current[700] *= 12;
  pulsed.voltage[700] -= 0.05;  // 7.2 A over 7.5 mohm
  CHECK(mended(pulsed).doubts.count(DoubtKind::current_spike) == 0);
}

TEST_CASE("a noisy current passes what the cycler counted, and its mean where it counted nothing",
          "[params][habits][measured]") {
  const std::string file = GENERATE(as<std::string>{}, "pouch_discharge_0p1C.csv", "pouch_discharge_1C.csv",
                                    "pouch_discharge_2C.csv", "pouch_discharge_5C.csv");
  const unsigned seed = GENERATE(range(1u, 11u));
  CAPTURE(file, seed);
  const Record clean = open_record(file);
  const double charge = recorded_steps(clean)[0].charge;
  Record noise = noisy(clean, 0.05, seed);
  const Measured counted = mended(noise);
  CHECK_THAT(recorded_steps(counted.record)[0].charge, WithinRel(charge, 0.001));
  REQUIRE(counted.charges_taken.size() == 1);
  CHECK(counted.charges_taken[0].counted);
  CHECK(counted.charges_taken[0].by_noise);
  // The mean of n rows of white noise is known to 5 % / sqrt(n); four of these, once in 16,000.
  noise.capacity.clear();
  const Measured meant = mended(noise);
  const double left = 0.05 / std::sqrt(static_cast<double>(clean.size()));
  CHECK_THAT(recorded_steps(meant.record)[0].charge, WithinRel(charge, 4 * left));
  REQUIRE(meant.charges_taken.size() == 1);
  CHECK_FALSE(meant.charges_taken[0].counted);
  CHECK_THAT(meant.charges_taken[0].known_to, WithinRel(1.96 * left, 0.6));
}

TEST_CASE("a counter that contradicts a smooth current is taken where it can be a counter of that step",
          "[params][habits][measured]") {
  const Record clean = open_record("pouch_discharge_0p1C.csv");
  const double charge = recorded_steps(clean)[0].charge;
  CHECK(mended(clean).charges_taken.empty());  // they agree
  const Record moved = offset(clean, 0.01965);
  const Measured taken = mended(moved);
  REQUIRE(taken.charges_taken.size() == 1);
  CHECK_FALSE(taken.charges_taken[0].by_noise);
  CHECK_THAT(recorded_steps(taken.record)[0].charge, WithinRel(charge, 0.001));
  // It runs backwards once, is written to 10 % of the step, is in another unit, stands still for a third of it: none.
  Record back = moved, coarse = moved, other = moved, stuck = moved;
  back.capacity[700] = back.capacity[600];
  for (double& q : coarse.capacity) q = 700 * 3.6 * std::floor(q / (700 * 3.6));
  for (double& q : other.capacity) q *= 1.2;
  for (std::size_t k = 0; k < 500; ++k) stuck.capacity[k] = stuck.capacity[500];
  for (const Record& r : {back, coarse, other, stuck}) CHECK(mended(r).charges_taken.empty());
}

TEST_CASE("voltages far off at the ends of a record are seen there too", "[params][habits][measured]") {
  const std::string file =
      GENERATE(as<std::string>{}, "pouch_discharge_0p1C.csv", "pouch_discharge_1C.csv", "pouch_discharge_2C.csv",
               "pouch_discharge_5C.csv", "pouch_charge_end_then_hold.csv");
  const Record clean = open_record(file);
  CAPTURE(file);
  CHECK(mended(clean).doubts.count(DoubtKind::voltage_glitch) == 0);
  CHECK(mended(after_rest(clean, 600, clean.voltage.front())).doubts.count(DoubtKind::voltage_glitch) == 0);
  for (const std::size_t k : {std::size_t{0}, std::size_t{1}, clean.size() - 2, clean.size() - 1}) {
    for (const double volts : {0.0, 9.99}) {
      CAPTURE(k, volts);
      Record bad = clean;
      bad.voltage[k] = volts;
      const Measured data = mended(bad);
      CHECK(data.doubts.count(DoubtKind::voltage_glitch) == 1);
      // what a neighbour says: nothing moves further between two rows of these, but for the first as the current comes
      // up
      CHECK_THAT(data.record.voltage[k], WithinAbs(clean.voltage[k], 0.15));
    }
  }
}

TEST_CASE("a first row that is older than the current, and a steep end, are no glitches", "[params][habits]") {
  // Invented: a fresh half cell falls from 2.9 V as the current comes up; the last row falls by half a volt.
  Record r;
  for (int k = 0; k < 40; ++k) {
    r.time.push_back(10.0 * k);
    r.voltage.push_back(k == 0 ? 2.9 : 1.2 - 0.02 * k - (k == 39 ? 0.25 : 0));
    r.current.push_back(-1e-4);
    r.line.push_back(static_cast<std::uint32_t>(k + 2));
  }
  CHECK(mended(r).doubts.count(DoubtKind::voltage_glitch) == 0);
}

TEST_CASE("jitter of a held voltage leaves it a hold", "[params][habits][measured]") {
  Record r = open_record("pouch_charge_end_then_hold.csv");
  const auto clean = recorded_steps(r);
  REQUIRE(kinds(clean) == "charge hold");
  for (std::size_t k = clean[1].first; k < r.size(); ++k) r.voltage[k] += (k % 3 == 0 ? -1 : 1) * 0.003;
  CHECK(kinds(recorded_steps(r)) == "charge hold");
}

TEST_CASE("the voltage tells what a positive current does", "[params][habits][measured]") {
  const Record clean = cycle();
  CHECK(direction_of(clean, recorded_steps(clean)) == Direction::as_agreed);
  const Record minus = turned(clean);
  CHECK(direction_of(minus, recorded_steps(minus)) == Direction::turned);
  const Record none = without_sign(clean);
  CHECK(direction_of(none, recorded_steps(none)) == Direction::without_sign);
  // One discharge alone: nothing but its sign is missing.
  const Record one = without_sign(open_record("pouch_discharge_1C.csv"));
  CHECK(direction_of(one, recorded_steps(one)) == Direction::turned);
  // Discharge and charge at one current, no rest between: the voltage turns inside a single step.
  Record both = open_record("pouch_discharge_1C.csv");
  const Record back = turned(open_record("pouch_discharge_1C.csv"));
  for (std::size_t k = back.size() - 1; k-- > 0;) {
    both.time.push_back(both.time.back() + back.time[k + 1] - back.time[k]);
    both.voltage.push_back(back.voltage[k]);
    both.current.push_back(back.current[k]);
    both.line.push_back(static_cast<std::uint32_t>(both.time.size() + 1));
  }
  both.capacity.clear();
  CHECK(direction_of(both, recorded_steps(both)) == Direction::as_agreed);
  const Record folded = without_sign(both);
  CHECK(direction_of(folded, recorded_steps(folded)) == Direction::without_sign);
  for (const char* half_cell : {"graphite_li_lithiation_C50.csv", "lnmo_li_lithiation_discharge_C19.csv"}) {
    const Record r = open_record(half_cell);
    CHECK(direction_of(r, recorded_steps(r)) == Direction::as_agreed);
    CHECK(direction_of(turned(r), recorded_steps(turned(r))) == Direction::turned);
  }
}
