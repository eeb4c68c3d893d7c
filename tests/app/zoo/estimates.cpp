#include "tests/app/zoo/zoo.hpp"

// Fits and balances that nothing can be told from, and sound ones beside them. All curves are calculated, so that what
// is wrong is known; the numbers are invented.

using namespace zoo;
using namespace app_test;

namespace {

using Words = std::vector<std::string>;

/// A curve of a shipped or changed sheet, in NAME/curves.csv.
void curve(const std::string& sheet, const std::string& rate, const std::string& name) {
  REQUIRE(program({"curve", sheet, "--rates", rate, "--points", "150", "--out", name}).status == 0);
}

/// The demo with `share` of both hosts in reach of the current.
std::string with_share_of_hosts(const std::string& share) {
  return with(with(shipped("demo"), "  particle_radius: {value: 4.8 um",
                   "  accessible_fraction: " + share + "\n  particle_radius: {value: 4.8 um"),
              "  particle_radius: {value: 8 um",
              "  accessible_fraction: " + share + "\n  particle_radius: {value: 8 um");
}

/// The balance of the demo's own curve by a sheet with `share` of both hosts.
std::function<Words(const Folder&)> balance_with_share(const std::string& share) {
  return [share](const Folder& folder) {
    curve("demo", "C/10", "own");
    folder.write("small.yaml", with_share_of_hosts(share));
    return Words{"balance", "small.yaml", "own/curves.csv", "--from-soc", "1", "--starts", "1"};
  };
}

Words plus(Words words, const Words& more) {
  words.insert(words.end(), more.begin(), more.end());
  return words;
}

const Words quick = {"--starts", "1"};

}  // namespace

TEST_CASE("zoo: fits and balances that nothing can be told from", "[zoo]") {
  const std::vector<Situation> bad = {
      {"a full cell's record against the sheet of a half cell",
       [](const Folder&) {
         curve("demo", "C/10", "own");
         return Words{"balance", "demo_half_cell", "own/curves.csv", "--starts", "1"};
       },
       4, "nothing can be told from such a fit"},
      {"a record of iron phosphate against a sheet of a layered oxide",
       [](const Folder& folder) {
         folder.write("iron.yaml",
                      with(with(shipped("demo"), "material: nmc622", "material: lfp"), "upper: 4.2 V", "upper: 3.6 V"));
         curve("iron.yaml", "C/10", "own");
         return Words{"fit",        "demo", "own/curves.csv", "--free",   "contact_resistance,positive.diffusion_time",
                      "--from-soc", "1",    "--linear",       "--starts", "1"};
       },
       4, "nothing can be told from such a fit"},
      {"four times as much of both hosts as the sheet has", balance_with_share("25 %"), 4,
       "nothing can be told from such a fit"},
      {"three times as much, just beyond what is searched", balance_with_share("33 %"), 0,
       "gone to the end of the range that was searched"},
      {"a disc of half the area: twice as much of everything", balance_with_share("44 %"), 0,
       "times what the sheet has, more than ageing or a wrong mass explain"},
      {"twice as much, fitted",
       [](const Folder& folder) {
         curve("demo", "C/10", "own");
         folder.write("small.yaml", with_share_of_hosts("60 %"));
         return Words{"fit",    "small.yaml",         "own/curves.csv", "--from-soc", "1",
                      "--free", "contact_resistance", "--linear",       "--starts",   "1"};
       },
       4, "a straight line through it misses it by"},
      {"the record begins half empty, and is taken to begin full",
       [](const Folder&) {
         REQUIRE(program({"curve", "demo", "--rates", "C/5", "--from-soc", "0.5", "--points", "120", "--out", "own"})
                     .status == 0);
         return Words{"fit",      "demo",   "own/curves.csv",     "--from-soc",
                      "1",        "--free", "contact_resistance", "--linear",
                      "--starts", "1"};
       },
       4, "Look at the state in which the record begins"},
  };
  for (const Situation& situation : bad) must_be_said(situation);
}

TEST_CASE("zoo: sound fits and balances raise nothing", "[zoo]") {
  must_raise_nothing("the slow curve of the very cell", [](const Folder&) {
    curve("demo", "C/20", "own");
    return plus({"balance", "demo", "own/curves.csv", "--from-soc", "1"}, quick);
  });
  must_raise_nothing("a tenth of both hosts gone", [](const Folder& folder) {
    folder.write("aged.yaml", with_share_of_hosts("90 %"));
    curve("aged.yaml", "C/10", "own");
    return plus({"balance", "demo", "own/curves.csv", "--from-soc", "1"}, quick);
  });
  must_raise_nothing("a half cell against its own sheet", [](const Folder&) {
    curve("demo_half_cell", "C/20", "own");
    return plus({"balance", "demo_half_cell", "own/curves.csv"}, quick);
  });
  must_raise_nothing("kinetics and resistance from a fast curve", [](const Folder&) {
    curve("demo", "1C", "own");
    return plus({"fit", "demo", "own/curves.csv", "--from-soc", "1", "--free",
                 "positive.diffusion_time,contact_resistance", "--linear"},
                quick);
  });
  must_raise_nothing("grains coarser than on the sheet, diffusion free", [](const Folder& folder) {
    folder.write("coarse.yaml",
                 with(shipped("demo"), "particle_radius: {value: 4.8 um", "particle_radius: {value: 7 um"));
    curve("coarse.yaml", "C/2", "own");
    return plus({"fit", "demo", "own/curves.csv", "--from-soc", "1", "--free",
                 "positive.diffusion_time,positive.exchange_current_density", "--linear"},
                quick);
  });
  must_raise_nothing("several starts that agree", [](const Folder&) {
    curve("demo", "1C", "own");
    return Words{"fit",      "demo", "own/curves.csv", "--from-soc", "1", "--free", "contact_resistance", "--linear",
                 "--starts", "4"};
  });
  must_raise_nothing("a curve that begins half empty, and is said to", [](const Folder&) {
    REQUIRE(
        program({"curve", "demo", "--rates", "C/5", "--from-soc", "0.5", "--points", "120", "--out", "own"}).status ==
        0);
    return plus({"fit", "demo", "own/curves.csv", "--from-soc", "0.5", "--free", "contact_resistance", "--linear"},
                quick);
  });
}
