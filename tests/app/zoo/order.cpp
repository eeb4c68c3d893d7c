#include "tests/app/zoo/cycle.hpp"

// Rows that are not those of one cell, one behind the other: channels, clocks, units, rows few and far between.

using namespace zoo;
using namespace app_test;

namespace {

/// Two cells in turn, each with rows of its own at the same times; the second is invented.
Record in_turn() {
  const Record r = rested_discharge();
  Record both;
  for (std::size_t k = 0; k < r.size(); ++k) {
    for (const double other : {0.0, 1.0}) {
      both.time.push_back(r.time[k]);
      both.voltage.push_back(r.voltage[k] - 0.03 * other);
      both.current.push_back(r.current[k] * (1 - 0.1 * other));
      both.line.push_back(static_cast<std::uint32_t>(both.time.size() + 1));
    }
  }
  return both;
}

Record newest_first() {
  Record r = rested_discharge();
  for (std::vector<double>* series : {&r.time, &r.voltage, &r.current}) std::reverse(series->begin(), series->end());
  return r;
}

/// At most one row in so many seconds; where a step begins or ends all of them, or none more.
Record thinned(const Record& r, double seconds, bool at_switches) {
  Record few = records::rows(r, 0, 1);
  for (std::size_t k = 1; k < r.size(); ++k) {
    const bool turns = (r.current[k] == 0) != (r.current[k - 1] == 0) ||
                       (k + 1 < r.size() && (r.current[k] == 0) != (r.current[k + 1] == 0)) || k + 1 == r.size();
    if (r.time[k] - few.time.back() < seconds && !(at_switches && turns)) continue;
    few.time.push_back(r.time[k]);
    few.voltage.push_back(r.voltage[k]);
    few.current.push_back(r.current[k]);
    few.line.push_back(static_cast<std::uint32_t>(few.time.size() + 1));
  }
  return few;
}

Record clock_back_at(double time) {
  Record r = cycle().part(1, 3);
  for (double& t : r.time)
    if (t > time) t -= 3600;
  return r;
}

Record twice() { return records::joined(cycle().part(1, 2), cycle().part(1, 2), 0.5); }

}  // namespace

TEST_CASE("zoo: rows of two channels, of another clock, too few", "[zoo]") {
  const std::string in_turns = "two channels are written in turn", broken = "two records stand one behind the other";
  const std::vector<Situation> bad = {
      {"two channels in turn", call("overlay", in_turn), 3, in_turns},
      {"the same, a balance", call("balance", in_turn, quick), 3, in_turns},
      {"the same, pulses", call("pulses", in_turn), 3, in_turns},
      {"two channels, or one file twice", call("overlay", twice), 3, broken},
      {"the same, a fit", call("fit", twice, one_free), 3, broken},
      {"the charge between two discharges left out",
       call("overlay", [] { return records::joined(cycle().part(1, 3), cycle().part(8, 9), 0.5); }), 3, broken},
      {"the newest row first", call("overlay", newest_first), 3, "Sort the rows by time"},
      {"the same, pulses", call("pulses", newest_first), 3, "Sort the rows by time"},
      {"the clock set back in a discharge",
       call(
           "balance", [] { return clock_back_at(3000); }, quick),
       0, "within step 2, under current"},
      {"the clock set on in a discharge",
       call("overlay",
            [] {
              Record r = cycle().part(1, 3);
              for (double& t : r.time)
                if (t > 3000) t += 3600;
              return r;
            }),
       3, "the clock was set"},
      {"a row in five minutes", call("overlay", [] { return thinned(rested_discharge(), 300, false); }), 0,
       "apart where the current of step 2 comes up"},
      {"the same, a balance",
       call(
           "balance", [] { return thinned(rested_discharge(), 300, false); }, quick),
       0, "apart where the current of step 2 comes up"},
      {"millivolts said to be volts",
       call("overlay",
            [] {
              Record r = rested_discharge();
              for (double& volts : r.voltage) volts *= 1000;
              return r;
            }),
       3, "--columns 'voltage=TITLE:mV'"},
      {"a current per area taken for one", call("overlay", [] { return scaled(rested_discharge(), 1 / 1.131); }), 0,
       "a straight line through it by"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: sound rows, few or in parts, raise nothing", "[zoo]") {
  const std::vector<Sound> sound = {
      {"a row in five minutes, and those at each switch",
       call("overlay", [] { return thinned(rested_discharge(), 300, true); })},
      {"one part of a file that holds two", call("overlay", twice, {"--steps", "1..2"})},
      {"the clock set back in a rest", call("overlay", [] { return clock_back_at(600); })},
      {"a charge between two discharges", call("overlay", [] { return cycle().part(1, 9); })},
      {"pulses of several rows",
       [](const Folder& folder) {
         folder.write("steps.yaml",
                      "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {time: 30 s}}\n"
                      "  - {drive: rest, until: {time: 30 s}}\nrepeat: 12\n");
         REQUIRE(program({"follow", "demo", "--protocol", "steps.yaml", "--from-soc", "1", "--points", "20", "--out",
                          "own"})
                     .status == 0);
         return Words{"overlay", "demo", "own/curves.csv", "--from-soc", "1"};
       }},
  };
  for (const Sound& s : sound) must_raise_nothing(s.name, s.words);
}
