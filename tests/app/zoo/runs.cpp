#include "tests/app/zoo/zoo.hpp"

// Runs that say nothing, and ones beside them that do. The numbers are invented.

using namespace zoo;
using namespace app_test;

namespace {

using Words = std::vector<std::string>;

/// A protocol of two steps from half charge.
Words follow(const Folder& folder, const std::string& first) {
  folder.write("steps.yaml", "steps:\n- " + first + "\n- {drive: rest, until: {time: 10 min}}\n");
  return {"follow", "demo", "--protocol", "steps.yaml", "--from-soc", "0.5"};
}

}  // namespace

TEST_CASE("zoo: protocols in which nothing passes", "[zoo]") {
  must_be_said({"a charge that meets its cut-off within milliseconds",
                [](const Folder& folder) {
                  return follow(folder, "{drive: {rate: 12.55C, sense: charge}, until: {voltage: 4.2 V}}");
                },
                0, "nothing passes in step 1"});
  must_be_said({"a charge whose cut-off is met before it begins",
                [](const Folder& folder) {
                  return follow(folder, "{drive: {rate: 30C, sense: charge}, until: {voltage: 4.2 V}}");
                },
                0, "was passed over"});
  must_be_said({"a protocol of which no step can begin",
                [](const Folder& folder) {
                  folder.write("steps.yaml",
                               "steps:\n- {drive: {rate: 60C, sense: charge}, until: {voltage: 4.2 V}}\n");
                  return Words{"follow", "demo", "--protocol", "steps.yaml", "--from-soc", "0.9"};
                },
                4, "no step of the protocol can begin"});
}

TEST_CASE("zoo: sound protocols raise nothing", "[zoo]") {
  must_raise_nothing("a slow charge", [](const Folder& folder) {
    return follow(folder, "{drive: {rate: C/10, sense: charge}, until: {voltage: 4.2 V}}");
  });
  must_raise_nothing("a discharge at a usual rate", [](const Folder& folder) {
    return follow(folder, "{drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}");
  });
  must_raise_nothing("a pulse of ten seconds", [](const Folder& folder) {
    return follow(folder, "{drive: {rate: 2C, sense: discharge}, until: {time: 10 s}}");
  });
}

TEST_CASE("zoo: a record of a charge in which the model sees lithium plate", "[zoo]") {
  const auto overlay_of = [](const std::string& rate) {
    return [rate](const Folder&) {
      REQUIRE(program({"curve", "demo", "--charge", "--rates", rate, "--points", "200", "--out", "own"}).status == 0);
      return Words{"overlay", "demo", "own/curves.csv", "--from-soc", "0"};
    };
  };
  must_be_said({"a charge at 3C", overlay_of("3C"), 0, "lithium can plate at step 1 of curves.csv"});
  must_raise_nothing("a charge at C/5", overlay_of("C/5"));
}

TEST_CASE("zoo: a discharge that uses the salt up in a part of a coating, or drives it beyond what is known", "[zoo]") {
  // Sand's and the steady limiting current: what a coating takes salt up faster than diffusion brings it empties it
  // (Newman and Balsara, Electrochemical Systems, ch. 1 and 22). The card of the demo's electrolyte knows up to 3
  // mol/L.
  const auto rates_of = [](const std::string& sheet, const std::string& rates, const std::string& reaction) {
    return [=](const Folder&) { return Words{"rates", sheet, "--rates", rates, "--reaction", reaction}; };
  };
  must_be_said({"salt used up in a part", rates_of("lco_graphite_10um", "C/5,10C", "uneven"), 0,
                "not to be relied on, 10C discharge: the salt runs out"});
  must_be_said({"the same of an even reaction", rates_of("lco_graphite_10um", "C/5,10C", "even"), 0,
                "not to be relied on, 10C discharge: the salt runs out"});
  must_be_said({"salt beyond what the card knows", rates_of("demo", "C/5,10C", "uneven"), 0,
                "beyond the 3 mol/L up to which the electrolyte is known"});
  must_be_said({"an even reaction that the resolved one does not bear out", rates_of("demo", "C/5,10C", "even"), 0,
                "not to be relied on, 10C discharge: with the reaction resolved over the depth of the coatings"});
  must_raise_nothing("a fast discharge that leaves salt enough", rates_of("demo", "C/5,5C", "uneven"));
  must_raise_nothing("a slow one", rates_of("demo", "C/5", "uneven"));
  must_raise_nothing("an even reaction that the resolved one bears out", rates_of("demo", "C/5,2C", "even"));
}
