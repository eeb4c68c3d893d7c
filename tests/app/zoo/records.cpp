#include "tests/app/zoo/cycle.hpp"

// Records as cyclers and people write them. All are calculated with the demo's sheet, so that what is right is known;
// the numbers are invented.

using namespace zoo;
using namespace app_test;

TEST_CASE("zoo: signs, units and sizes of records", "[zoo]") {
  const std::string turn = "--columns 'current=-Current / A'", tell = "--columns state=TITLE",
                    other = "It is another cell, or a unit is wrong";
  const Make unsigned_cycle = [] { return records::without_sign(whole()); };
  const std::vector<Situation> bad = {
      {"positive means discharge, a whole cycle", call("overlay", [] { return records::turned(whole()); }), 3, turn},
      {"positive means discharge, one discharge", call("overlay", [] { return records::turned(rested_discharge()); }),
       3, turn},
      {"positive means discharge, a fit",
       call(
           "fit", [] { return records::turned(rested_discharge()); }, one_free),
       3, turn},
      {"negative means charge, one charge", call("overlay", [] { return records::turned(cycle().part(5, 6)); }), 3,
       turn},
      {"no sign, a whole cycle", call("overlay", unsigned_cycle), 3, tell},
      {"no sign, a fit", call("fit", unsigned_cycle, one_free), 3, tell},
      {"no sign, a balance", call("balance", unsigned_cycle, quick), 3, tell},
      {"no sign, pulses", call("pulses", unsigned_cycle), 3, tell},
      {"no sign, and noise", call("overlay", [] { return records::noisy(records::without_sign(whole()), 0.05, 7); }), 3,
       tell},
      {"a current without a unit", call_titled("Test Time / s,Voltage / V,Current", rested_discharge), 3,
       "--columns current='Current:mA'"},
      {"a time without a unit", call_titled("Time,Voltage / V,Current / A", rested_discharge), 3,
       "--columns time='Time:s'"},
      {"milliamperes taken for amperes",
       call_titled("Test Time / s,Voltage / V,Current", [] { return scaled(rested_discharge(), 1000); },
                   {"--columns", "current=Current:A"}),
       3, other},
      {"hours taken for seconds", call("overlay", [] { return scaled(rested_discharge(), 1, 1 / 3600.0); }), 3, other},
      {"a record of ten times the cell", call("overlay", [] { return scaled(rested_discharge(), 10); }), 3, other},
      {"a record of ten times the cell, a balance",
       call(
           "balance", [] { return scaled(rested_discharge(), 10); }, quick),
       3, other},
      {"a record of twice the cell", call("overlay", [] { return scaled(rested_discharge(), 2); }), 0,
       "times what the cell of the sheet holds"},
      {"a record of half the cell, slow", call("overlay", [] { return scaled(rested_discharge(), 0.25, 2); }), 0,
       "what the cell of the sheet holds"},
      {"a half cell's record against a full cell's sheet",
       [](const Folder&) {
         REQUIRE(program({"curve", "demo_half_cell", "--rates", "C/10", "--points", "80", "--out", "own"}).status == 0);
         return Words{"overlay", "demo", "own/curves.csv"};
       },
       3, "the cell of the sheet cannot stand"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: where records begin", "[zoo]") {
  const std::string nobody = "no rest tells where run.csv begins", ask = "--rested-at";
  const std::string about = "where run.csv begins is known to \u00b1 ";
  const Make late = [] {
    Record r = loaded_discharge();
    r.time.front() += 0.001;
    return r;
  };
  const std::vector<Situation> bad = {
      {"a fast discharge from full, its first row under current", call("overlay", loaded_discharge), 0, about},
      {"the same, a fit", call("fit", loaded_discharge, one_free), 0, about},
      {"the same, a balance", call("balance", loaded_discharge, quick), 0, about},
      {"its first row a moment late", call("overlay", late), 0, about},
      {"a charge from empty, its first row under current",
       call("overlay", [] { return records::rows(cycle().part(6, 6), 2, cycle().part(6, 6).size()); }), 0, about},
      {"the last two thirds of a discharge", call("overlay", [] { return later_part(1 / 3.0); }), 0, nobody},
      {"the last third of a discharge", call("overlay", [] { return later_part(2 / 3.0); }), 0, nobody},
      {"the same with noise", call("overlay", [] { return records::noisy(later_part(0.5), 0.05, 3); }), 0, nobody},
      {"the later part of a charge",
       call("overlay", [] { return records::rows(cycle().part(6, 6), 100, cycle().part(6, 6).size()); }), 0, nobody},
      {"a record that begins in a hold", call("overlay", [] { return cycle().part(7, 7); }), 0, nobody},
      {"the later part of a discharge, a fit",
       call(
           "fit", [] { return later_part(0.5); }, one_free),
       0, nobody},
      {"the later part of a discharge, a balance, whose even reaction misses it by too much to tell",
       call(
           "balance", [] { return later_part(0.5); }, quick),
       3, "nothing tells in which state step 1 begins"},
      {"the last tenth of a discharge, a balance, which tells no start",
       call(
           "balance", [] { return later_part(0.9); }, quick),
       3, ask},
      {"a hold alone, a fit",
       call(
           "fit", [] { return cycle().part(7, 7); }, one_free),
       3, ask},
      {"a step behind a rest of seconds in a record that begins anywhere",
       call("overlay",
            [] {
              Record r = later_part(0.5);
              Record rest = cycle().part(3, 3);
              r = records::joined(r, records::rows(rest, 0, 12), 0.01);
              return records::joined(r, cycle().part(6, 6), 0.01);
            },
            {"--steps", "3"}),
       0, "where run.csv begins"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: where records begin, told wrong or by what cannot tell it", "[zoo]") {
  const std::vector<Situation> bad = {
      {"told to have rested where it did not", call("overlay", loaded_discharge, {"--rested-at", "3.8 V"}), 0,
       "most of what the model is off for run.csv goes if the cell stood elsewhere"},
      {"told a state of charge that it did not have", call("overlay", loaded_discharge, {"--from-soc", "0.6"}), 0,
       "most of what the model is off for run.csv goes if the cell stood elsewhere"},
      {"told a voltage that no such cell has", call("overlay", loaded_discharge, {"--rested-at", "5 V"}), 2,
       "lies beyond what the sheet allows"},
      {"told no voltage", call("overlay", loaded_discharge, {"--rested-at", "banana"}), 2, "expected a voltage"},
      {"told a file without a rest at its end", call("overlay", loaded_discharge, {"--rested-at", "run.csv"}), 2,
       "does not end with a rest"},
      {"told twice", call("overlay", loaded_discharge, {"--rested-at", "4.2 V", "--from-soc", "1"}), 2, "excludes"},
      {"a rest alone", call("overlay", whole, {"--steps", "3"}), 4, "no charge or discharge in the steps asked for"},
      {"a step that is not there", call("overlay", whole, {"--steps", "12"}), 2, "the file has 9 steps"},
      {"a rest on the plateau of iron phosphate, where a voltage tells next to nothing",
       [](const Folder& folder) {
         folder.write("steps.yaml",
                      "steps:\n  - {drive: rest, until: {time: 20 min}}\n"
                      "  - {drive: {rate: C/5, sense: discharge}, until: {voltage: 2.5 V}}\n");
         REQUIRE(program({"follow", "lfp_half_cell", "--protocol", "steps.yaml", "--from-soc", "0.5", "--out", "own"})
                     .status == 0);
         return Words{"overlay", "lfp_half_cell", "own/curves.csv"};
       },
       0, "is known to \u00b1"},
      {"a faster discharge above the slower one",
       [](const Folder& folder) {
         Record high = rested_discharge();
         for (std::size_t k = 0; k < high.size(); ++k) high.voltage[k] += high.current[k] != 0 ? 0.15 : 0;
         folder.write("fast.csv", records::text(high));
         folder.write("slow.csv", records::text(cycle().part(8, 9)));
         return Words{"overlay", "demo", "slow.csv", "fast.csv"};
       },
       0, "no resistance is below zero"},
      {"a sheet of another chemistry",
       [](const Folder& folder) {
         folder.write("run.csv", records::text(rested_discharge()));
         folder.write("iron.yaml", with(shipped("demo"), "material: nmc622", "material: lfp"));
         return Words{"overlay", "iron.yaml", "run.csv"};
       },
       0, "it does not describe this cell"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: sound records raise nothing", "[zoo]") {
  const std::vector<Sound> sound = {
      {"a whole cycle", call("overlay", whole)},
      {"a rest and a discharge", call("overlay", rested_discharge)},
      {"a discharge from full, told so", call("overlay", loaded_discharge, {"--from-soc", "1"})},
      {"the same with 2 % of noise",
       call("overlay", [] { return records::noisy(loaded_discharge(), 0.02, 5); }, {"--from-soc", "1"})},
      {"a charge from empty", call("overlay", [] { return cycle().part(5, 6); })},
      {"a charge from empty, its first row under current, told so",
       call("overlay", [] { return records::rows(cycle().part(6, 6), 2, cycle().part(6, 6).size()); },
            {"--rested-at", "2.9787 V"})},
      {"a slow charge from empty, its first row under current",
       [](const Folder&) {
         REQUIRE(program({"curve", "demo_half_cell", "--rates", "C/10", "--charge", "--points", "80", "--out", "own"})
                     .status == 0);
         return Words{"overlay", "demo_half_cell", "own/curves.csv"};
       }},
      {"a whole cycle with 2 % of noise", call("overlay", [] { return records::noisy(whole(), 0.02, 2); })},
      {"a whole cycle with 5 % of noise and a counter",
       [](const Folder& folder) {
         folder.write("run.csv", records::text_with_counter(records::noisy(counted(whole()), 0.05, 2)));
         return Words{"overlay", "demo", "run.csv"};
       }},
      {"a whole cycle with a hissing sensor", call("overlay", [] { return records::hissing(whole(), 5e-6, 2); })},
      {"an offset of 0.3 % of 1C", call("overlay", [] { return records::offset(whole(), 6.2e-6); })},
      {"an offset the other way", call("overlay", [] { return records::offset(whole(), -6.2e-6); })},
      {"an offset on a rest and a slow discharge",
       call("overlay", [] { return records::offset(cycle().part(1, 4), 6.2e-6); })},
      {"a spike of twelve times the current", call("overlay",
                                                   [] {
                                                     Record r = whole();
                                                     r.current[cycle().steps[1].first + 100] *= 12;
                                                     return r;
                                                   })},
      {"a time written twice", call("overlay",
                                    [] {
                                      Record r = whole();
                                      r.time[cycle().steps[1].first + 100] = r.time[cycle().steps[1].first + 99];
                                      return r;
                                    })},
      {"a hold with jitter", call("overlay",
                                  [] {
                                    Record r = whole();
                                    for (std::size_t k = cycle().steps[6].first; k < cycle().steps[6].last; ++k)
                                      r.voltage[k] += (k % 3 == 0 ? -1 : 1) * 0.002;
                                    return r;
                                  })},
  };
  for (const Sound& s : sound) must_raise_nothing(s.name, s.words);
}

TEST_CASE("zoo: sound records of which a part is taken, or that are told something, raise nothing", "[zoo]") {
  const std::vector<Sound> sound = {
      {"steps 2 to 5", call("overlay", whole, {"--steps", "2..5"})},
      {"a record that begins in a hold, with the rest behind it", call("overlay", [] { return cycle().part(7, 9); })},
      {"the tail of a discharge after a rest", call("overlay", whole, {"--steps", "4"})},
      {"1C, a rest, C/10 for what is left", call("overlay", [] { return cycle().part(1, 4); })},
      {"a hold picked out of a record", call("overlay", whole, {"--steps", "7..9"})},
      {"the later cycle alone", call("overlay", whole, {"--steps", "6..9"})},
      {"the later cycle, the rest before it cut off", call("overlay", [] { return cycle().part(5, 9); })},
      {"the sign turned, and told so",
       call("overlay", [] { return records::turned(whole()); }, {"--columns", "current=-Current / A"})},
      {"no sign, and a column that tells",
       [](const Folder& folder) {
         const Record r = records::without_sign(whole());
         std::string text = "Test Time / s,Voltage / V,Current / A,State\n";
         for (std::size_t k = 0; k < r.size(); ++k) {
           const double i = whole().current[k];
           char row[120];
           std::snprintf(row, sizeof row, "%.9g,%.9g,%.9g,%s\n", r.time[k], r.voltage[k], r.current[k],
                         i > 0   ? "CHA"
                         : i < 0 ? "DIS"
                                 : "PAU");
           text += row;
         }
         folder.write("run.csv", text);
         return Words{"overlay",     "demo",       "run.csv",       "--columns",
                      "state=State", "charge=CHA", "discharge=DIS", "rest=PAU"};
       }},
      {"milliamperes, told so",
       call_titled("Test Time / s,Voltage / V,Current", [] { return scaled(rested_discharge(), 1000); },
                   {"--columns", "current=Current:mA"})},
      {"hours, told so",
       call_titled("Time,Voltage / V,Current / A", [] { return scaled(rested_discharge(), 1, 1 / 3600.0); },
                   {"--columns", "time=Time:h"})},
      {"told to have rested where it did", call("overlay", loaded_discharge, {"--rested-at", "4.2 V"})},
      {"told a file of the rest",
       [](const Folder& folder) {
         folder.write("rest.csv", records::text(cycle().part(1, 1)));
         folder.write("run.csv", records::text(loaded_discharge()));
         return Words{"overlay", "demo", "run.csv", "--rested-at", "rest.csv"};
       }},
      {"told a state of charge that it had", call("overlay", loaded_discharge, {"--from-soc", "1"})},
  };
  for (const Sound& s : sound) must_raise_nothing(s.name, s.words);
}

TEST_CASE("zoo: sound fits, balances, pulses and half cells raise nothing", "[zoo]") {
  const std::vector<Sound> sound = {
      {"a fit of a discharge from full", call("fit", rested_discharge, one_free)},
      {"a fit of a step picked out",
       call("fit", whole, {"--steps", "2", "--free", "contact_resistance", "--starts", "1", "--linear"})},
      {"a balance of a step picked out", call("balance", whole, {"--steps", "9", "--starts", "1"})},
      {"two rates from full",
       [](const Folder& folder) {
         folder.write("fast.csv", records::text(rested_discharge()));
         folder.write("slow.csv", records::text(cycle().part(8, 9)));
         return Words{"overlay", "demo", "slow.csv", "fast.csv"};
       }},
      {"an aged cell that holds a tenth less",
       [](const Folder& folder) {
         folder.write("aged.yaml", with(shipped("demo"), "formation_loss: {value: 8 %, spread: 1 %",
                                        "formation_loss: {value: 10 %, spread: 1 %"));
         REQUIRE(program({"curve", "aged.yaml", "--rates", "C/10", "--points", "100", "--out", "own"}).status == 0);
         return Words{"overlay", "demo", "own/curves.csv"};
       }},
      {"pulses of a whole cycle", call("pulses", whole)},
      {"a half cell, taken up",
       [](const Folder&) {
         REQUIRE(program({"curve", "demo_half_cell", "--rates", "C/10", "--points", "80", "--out", "own"}).status == 0);
         return Words{"overlay", "demo_half_cell", "own/curves.csv"};
       }},
      {"a half cell, given up",
       [](const Folder&) {
         REQUIRE(program({"curve", "demo_half_cell", "--rates", "C/10", "--charge", "--points", "80", "--out", "own"})
                     .status == 0);
         return Words{"overlay", "demo_half_cell", "own/curves.csv"};
       }},
      {"iron phosphate from full",
       [](const Folder&) {
         REQUIRE(program({"curve", "lfp_half_cell", "--rates", "C/10", "--points", "80", "--out", "own"}).status == 0);
         return Words{"overlay", "lfp_half_cell", "own/curves.csv"};
       }},
  };
  for (const Sound& s : sound) must_raise_nothing(s.name, s.words);
}
