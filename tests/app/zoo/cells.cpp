#include <string>
#include <vector>

#include "tests/app/zoo/zoo.hpp"

// Cells and charges: what a sheet or a rate brings about that must not be answered calmly.

namespace {

using zoo::Folder;
using zoo::must_be_said;
using zoo::must_raise_nothing;
using Words = std::vector<std::string>;

auto words(const Words& call) {
  return [call](const Folder&) { return call; };
}

auto on_sheet(const std::string& text, const Words& call) {
  return [=](const Folder& folder) {
    folder.write("cell.yaml", text);
    return call;
  };
}

auto with_protocol(const std::string& text, const std::string& steps, const Words& call) {
  return [=](const Folder& folder) {
    folder.write("cell.yaml", text);
    folder.write("protocol.yaml", steps);
    return call;
  };
}

}  // namespace

// Below 0 V against lithium, metal is more stable than lithium in the graphite: thermodynamics. The margin of 10 mV is
// that of `ceiling`.
TEST_CASE("no charge is shown calmly in which lithium can plate", "[zoo][cells]") {
  const std::string demo = app_test::program({"cards", "demo"}).results;
  must_be_said(
      {"a fast charge", words({"rates", "demo", "--charge", "--rates", "C/5,3C"}), 0, "lithium can plate at 3C"});
  must_be_said({"a charge in the cold",
                words({"rates", "demo", "--charge", "--rates", "1C", "--temperature", "-10 degC"}), 0,
                "lithium can plate at 1C"});
  must_be_said({"both directions", words({"rates", "demo", "--both", "--rates", "5C"}), 0, "lithium can plate at 5C"});
  must_be_said({"curve", words({"curve", "demo", "--charge", "--rates", "5C"}), 0, "lithium can plate at 5C"});
  must_be_said({"losses", words({"losses", "demo", "--charge", "--rate", "5C"}), 0, "lithium can plate at 5C"});
  must_be_said({"near, but not below", words({"rates", "demo", "--charge", "--rates", "2.3C"}), 0,
                "inside the margin of 10 mV"});
  must_be_said({"a fast step of a protocol",
                with_protocol(demo,
                              "steps:\n  - {drive: {rate: C/2, sense: charge}, until: {time: 20 min}}\n"
                              "  - {drive: {rate: 5C, sense: charge}, until: {voltage: 4.2 V}}\n",
                              {"follow", "cell.yaml", "--protocol", "protocol.yaml", "--from-soc", "0"}),
                0, "lithium can plate at step 2"});
  must_be_said({"a voltage held while the cell is cold",
                with_protocol(demo, "steps:\n  - {drive: {voltage: 4.2 V}, until: {time: 20 min}}\n",
                              {"follow", "cell.yaml", "--protocol", "protocol.yaml", "--from-soc", "0.5",
                               "--temperature", "0 degC"}),
                0, "lithium can plate at step 1"});
  must_be_said({"graphite lithiated beyond lithium's potential",
                with_protocol(app_test::program({"cards", "demo_half_cell"}).results,
                              "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {time: 55 min}}\n",
                              {"follow", "cell.yaml", "--protocol", "protocol.yaml"}),
                0, "the working electrode falls below 0 V against lithium"});
}

TEST_CASE("a charge that keeps its distance from lithium's potential raises nothing", "[zoo][cells]") {
  must_raise_nothing("slow charges", words({"rates", "demo", "--charge", "--rates", "C/10,C/2,1C"}));
  must_raise_nothing("a fast discharge", words({"rates", "demo", "--rates", "3C"}));
  must_raise_nothing("curve", words({"curve", "demo", "--charge", "--rates", "1C"}));
  must_raise_nothing("losses", words({"losses", "demo", "--charge", "--rate", "1C"}));
  must_raise_nothing("a warm charge",
                     words({"rates", "demo", "--charge", "--rates", "2C", "--temperature", "40 degC"}));
  must_raise_nothing("graphite against lithium down to 10 mV",
                     words({"rates", "demo_half_cell", "--rates", "C/10,1C"}));
  must_raise_nothing("an oxide against lithium, charged and discharged",
                     words({"rates", "lfp_half_cell", "--both", "--rates", "C/10,2C"}));
  must_raise_nothing("a usual cycle",
                     with_protocol(app_test::program({"cards", "demo"}).results,
                                   "steps:\n  - {drive: {rate: C/2, sense: charge}, until: {voltage: 4.2 V}}\n"
                                   "  - {drive: {voltage: 4.2 V}, until: {rate: C/20}}\n"
                                   "  - {drive: rest, until: {time: 30 min}}\n"
                                   "  - {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}\n"
                                   "  - {drive: rest, until: {time: 30 min}}\n"
                                   "  - {drive: {rate: C/2, sense: charge}, until: {voltage: 4.2 V}}\n",
                                   {"follow", "cell.yaml", "--protocol", "protocol.yaml", "--from-soc", "0"}));
}

TEST_CASE("a curve that is over before it has begun is no result", "[zoo][cells]") {
  const Words from_full = {"rates", "cell.yaml", "--charge", "--from-soc", "1", "--rates", "C/5,1C"};
  must_be_said({"a charge from full", on_sheet(app_test::program({"cards", "demo"}).results, from_full), 4,
                "every charge is over at once"});
  must_be_said({"an oxide half cell charged from full",
                on_sheet(app_test::program({"cards", "lfp_half_cell"}).results, from_full), 4,
                "every charge is over at once"});
  must_be_said({"a discharge from empty", words({"curve", "demo", "--from-soc", "0", "--rates", "C/5"}), 4,
                "every discharge is over at once"});
  must_be_said({"one rate far too high", words({"rates", "demo", "--rates", "C/5,500C"}), 0,
                "at 500C the discharge is over at once"});
  must_raise_nothing("an oxide half cell charged from its lithiated end",
                     words({"rates", "lfp_half_cell", "--charge", "--from-soc", "0", "--rates", "C/5,1C"}));
  must_raise_nothing("an oxide half cell charged from the middle",
                     words({"curve", "lfp_half_cell", "--charge", "--from-soc", "0.5", "--rates", "C/5"}));
}

TEST_CASE("a half cell is spoken of as what it is", "[zoo][cells]") {
  const Folder folder;
  // A discharge until the host is full: the words for the end name no positive, since there is none beside lithium.
  folder.write("fill.yaml", "steps:\n  - {drive: {rate: C/2, sense: discharge}, until: {time: 9 h}}\n");
  for (const char* sheet : {"lfp_half_cell", "demo_half_cell"}) {
    const app_test::Outcome told = app_test::program({"follow", sheet, "--protocol", "fill.yaml"});
    INFO(sheet << "\n" << told.results << told.narration);
    CHECK(told.status == 0);
    CHECK(told.results.find("grain surface full") != std::string::npos);
    CHECK(told.results.find("positive") == std::string::npos);
    CHECK(told.results.find("negative") == std::string::npos);
  }
  // An oxide is asked how fast it may be charged; a graphite, how fast lithium may go into it. Both limits that count
  // are those at their own end of the voltage, and no lithium plates on an electrode that is emptied.
  const auto ceiling = [](const char* sheet) {
    return app_test::json::parse(app_test::program({"ceiling", sheet, "--samples", "0", "--json"}).results);
  };
  const app_test::json oxide = ceiling("lfp_half_cell"), graphite = ceiling("demo_half_cell");
  CHECK(oxide["headline"].get<std::string>().rfind("Charge from 0 % to 80 % at no more than ", 0) == 0);
  CHECK(graphite["headline"].get<std::string>().rfind("Lithiate from 0 % to 80 % at no more than ", 0) == 0);
  CHECK(oxide["ceiling"]["limited_by"] == "the upper voltage limit");
  CHECK(graphite["ceiling"]["limited_by"] == "the lower voltage limit");
  CHECK(oxide["margins"].dump().find("plating") == std::string::npos);
  CHECK(graphite["margins"].dump().find("lithium plating on the working electrode") != std::string::npos);
}
