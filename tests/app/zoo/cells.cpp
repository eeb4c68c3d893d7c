#include <filesystem>
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

/// A shipped sheet with one text in it replaced by another.
std::string changed(const std::string& name, const std::string& from, const std::string& to) {
  std::string text = app_test::program({"cards", name}).results;
  const std::size_t at = text.find(from);
  INFO("looking for " << from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

/// The demo with one text replaced, told by `bench`.
auto demo_with(const std::string& from, const std::string& to) {
  return on_sheet(changed("demo", from, to), {"bench", "cell.yaml"});
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
  must_raise_nothing("a quick charge of the middle alone",
                     with_protocol(app_test::program({"cards", "demo"}).results,
                                   "steps:\n  - {drive: {rate: 2C, sense: charge}, until: {time: 5 min}}\n",
                                   {"follow", "cell.yaml", "--protocol", "protocol.yaml", "--from-soc", "0.3"}));
  must_raise_nothing("a pulse each way",
                     with_protocol(app_test::program({"cards", "demo"}).results,
                                   "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {time: 10 s}}\n"
                                   "  - {drive: rest, until: {time: 40 s}}\n"
                                   "  - {drive: {rate: 1C, sense: charge}, until: {time: 10 s}}\n",
                                   {"follow", "cell.yaml", "--protocol", "protocol.yaml", "--from-soc", "0.5"}));
  must_raise_nothing("graphite emptied against lithium",
                     words({"rates", "demo_half_cell", "--charge", "--rates", "C/10,1C"}));
  must_raise_nothing("a discharge in the cold", words({"rates", "demo", "--rates", "C/5", "--temperature", "0 degC"}));
  must_raise_nothing("losses of a half cell", words({"losses", "lfp_half_cell", "--charge", "--rate", "1C"}));
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

// What a hand that does not program writes first: each is told with what would be right, in the right unit.
TEST_CASE("slips of the pen on a sheet are told with what would be right", "[zoo][cells]") {
  const std::string window = "{lower: 2.8 V, upper: 4.2 V}";
  must_be_said({"a decimal comma in braces", demo_with(window, "{lower: 2.8 V, upper: 4,2 V}"), 3,
                "voltage_window.upper = '4,2 V': a decimal comma; write a point, '4.2 V'"});
  must_be_said({"a decimal comma in quotes", demo_with(window, "{lower: \"2,8 V\", upper: 4.2 V}"), 3,
                "voltage_window.lower = '2,8 V': a decimal comma; write a point, '2.8 V'"});
  must_be_said({"a decimal comma in a value with a spread", demo_with("{value: 41 um", "{value: 41,5 um"), 3,
                "positive.coating.thickness = '41,5 um': a decimal comma; write a point, '41.5 um'"});
  must_be_said({"an anode", demo_with("\nnegative:", "\nanode:"), 3, "anode: unknown key; did you mean 'negative'?"});
  must_be_said(
      {"a cathode", demo_with("\npositive:", "\ncathode:"), 3, "cathode: unknown key; did you mean 'positive'?"});
  must_be_said({"a radius", demo_with("particle_radius: {value: 4.8", "radius: {value: 4.8"), 3,
                "radius: unknown key; did you mean 'particle_radius'?"});
  must_be_said({"a coulomb for a degree", demo_with("temperature: 25 degC", "temperature: 10C"), 3,
                "'C' is the coulomb, a unit of charge; a temperature is written '10 degC'"});
  must_be_said({"a farad for a degree", demo_with("temperature: 25 degC", "temperature: 77 F"), 3,
                "'F' is the farad, a unit of capacitance; a temperature is written '77 degF'"});
  must_be_said({"a temperature without a unit", demo_with("temperature: 25 degC", "temperature: 25"), 3,
                "no unit given; expected a temperature, such as '25 degC'"});
  must_be_said({"130 degC on the sheet", demo_with("temperature: 25 degC", "temperature: 130 degC"), 3,
                "must lie between -60 degC and 120 degC"});
  must_be_said({"130 degC on the command line", words({"bench", "demo", "--temperature", "130 degC"}), 2,
                "outside -60 to 120 degC"});
  must_raise_nothing("a point", demo_with(window, "{lower: 2.8 V, upper: 4.20 V}"));
  must_raise_nothing("degrees", demo_with("temperature: 25 degC", "temperature: 298.15 K"));
  must_raise_nothing("degrees on the command line", words({"bench", "demo", "--temperature", "25 degC"}));
  must_raise_nothing("a list of values without commas in them", demo_with("{value: 41 um", "{value: 41.0 um"));
}

TEST_CASE("slips of the pen on the command line are told with what would be right", "[zoo][cells]") {
  must_be_said({"a margin without a unit", words({"ceiling", "demo", "--margin", "20"}), 2,
                "--margin '20': no unit given; expected a voltage, such as '20 mV'"});
  must_be_said({"a coulomb for a degree", words({"rates", "demo", "--temperature", "10C"}), 2,
                "a temperature is written '10 degC'"});
  must_be_said({"a rate with a decimal comma", words({"rates", "demo", "--rates", "0,5C"}), 2,
                "if it is a decimal comma, write a point: 0.5C"});
  must_be_said({"a rate without a unit", words({"losses", "demo", "--rate", "10"}), 2,
                "a unit is missing: write 10C, 10 mA, 10 mA/cm2 or 10 mA/g"});
  must_be_said({"a rate without its stroke", words({"rates", "demo", "--rates", "C5"}), 2, "did you mean C/5 or 5C?"});
  must_raise_nothing("a margin", words({"ceiling", "demo", "--samples", "0", "--margin", "20 mV"}));
  must_raise_nothing("a rate with a point", words({"rates", "demo", "--rates", "0.5C"}));
  must_raise_nothing("two rates", words({"rates", "demo", "--rates", "C/5,2C"}));
  must_raise_nothing("a current", words({"losses", "demo", "--rate", "2 mA"}));
}

TEST_CASE("a file that bears the name of a card is taken for what it is", "[zoo][cells]") {
  const auto beside = [](const std::string& file, const std::string& content, const std::string& sheet) {
    return [=](const Folder& folder) {
      folder.write(file, content);
      folder.write("cell.yaml", sheet);
      return Words{"bench", "cell.yaml"};
    };
  };
  const std::string demo = app_test::program({"cards", "demo"}).results;
  must_raise_nothing("the cell sheet of a graphite half cell, called graphite.yaml",
                     beside("graphite.yaml", app_test::program({"cards", "demo_half_cell"}).results, demo));
  must_raise_nothing("a sheet that is called as its own card", [&](const Folder& folder) {
    folder.write("graphite.yaml", app_test::program({"cards", "demo_half_cell"}).results);
    return Words{"bench", "graphite.yaml"};
  });
  must_raise_nothing("a card that the program proposes to print, without its table",
                     beside("graphite.yaml", app_test::program({"cards", "graphite"}).results, demo));
  must_raise_nothing("a folder that is called as a shipped sheet", [](const Folder& folder) {
    std::filesystem::create_directory(folder.path() / "demo");
    return Words{"bench", "demo"};
  });
  must_be_said({"a sheet in the place of a card that is not shipped",
                beside("mine.yaml", app_test::program({"cards", "demo_half_cell"}).results,
                       changed("demo", "material: nmc622", "material: mine")),
                3, "'mine.yaml' is a cell sheet, not a card"});
  must_be_said({"a card whose own table is missing",
                beside(
                    "mine.yaml",
                    [] {
                      std::string card = app_test::program({"cards", "graphite"}).results;
                      const std::size_t at = card.find("graphite_ocp.csv");
                      REQUIRE(at != std::string::npos);
                      return card.replace(at, 16, "my_own_table.csv");
                    }(),
                    changed("demo", "material: graphite", "material: mine")),
                3, "my_own_table.csv: no such file"});
}

TEST_CASE("what the reader of a sheet warns of stands in the answer", "[zoo][cells]") {
  must_be_said({"a grain that does not fit its layer",
                demo_with("{value: 4.8 um, spread: 0.4 um", "{value: 40 um, spread: 4 um"), 0,
                "a grain of 80 um across does not fit a layer of 41 um"});
  must_be_said({"an oxide in the place of the graphite",
                [](const Folder& folder) {
                  folder.write("cell.yaml", changed("demo", "material: graphite", "material: lto"));
                  return Words{"rates", "cell.yaml", "--rates", "1C"};
                },
                3, "voltage_window"});
  must_raise_nothing("a grain that fits", demo_with("{value: 4.8 um, spread: 0.4 um", "{value: 10 um, spread: 1 um"));
}

TEST_CASE("what a spread carries below what may be counts as that", "[zoo][cells]") {
  const auto with_energy = [](const std::string& energy) {
    return [=](const Folder& folder) {
      std::string card = app_test::program({"cards", "graphite"}).results;
      const std::size_t at = card.find("diffusion_activation_energy:");
      const std::size_t end = card.find("exchange_current_density:");
      REQUIRE((at != std::string::npos && end != std::string::npos && at < end));
      folder.write("graphite.yaml", card.replace(at, end - at, "diffusion_activation_energy: " + energy + "\n"));
      folder.write("cell.yaml", app_test::program({"cards", "demo"}).results);
      return Words{"bench", "cell.yaml"};
    };
  };
  must_raise_nothing("an activation energy of 12.5 +- 13", with_energy("{value: 12.5 kJ/mol, spread: 13 kJ/mol}"));
  must_raise_nothing("an activation energy of 0 +- 13", with_energy("{value: 0 kJ/mol, spread: 13 kJ/mol}"));
  must_be_said({"an activation energy below 0", with_energy("{value: -12.5 kJ/mol, spread: 1 kJ/mol}"), 3,
                "must lie between 0 and 300 kJ/mol"});
  must_be_said({"a radius as wide as itself",
                demo_with("{value: 4.8 um, spread: 0.4 um", "{value: 4.8 um, spread: 5 um"), 3,
                "as wide as the value itself, which must be positive"});
}

TEST_CASE("a ceiling that nobody can use is said first", "[zoo][cells]") {
  // LiFePO4 with a diffusion coefficient known within a factor of a hundred: the rate that 95 % survive is that of
  // the slowest grains.
  must_be_said(
      {"hardly anything known", words({"ceiling", "lfp_half_cell", "--samples", "60"}), 0, "no usual rate is allowed"});
  must_raise_nothing("the cell as its sheet has it", words({"ceiling", "lfp_half_cell", "--samples", "0"}));
  must_raise_nothing("the demo", words({"ceiling", "demo", "--samples", "30"}));
  // a search floor is no result
  const app_test::json summary =
      app_test::json::parse(app_test::program({"ceiling", "lfp_half_cell", "--samples", "60", "--json"}).results);
  for (const app_test::json& t : summary["ceiling"]["temperatures"]) {
    const double rate = t["c_rate_confident"];
    CHECK((rate == 0 || rate > 1.001 / 200));
  }
}

TEST_CASE("N/P is one number for one sheet, whichever verb tells it", "[zoo][cells]") {
  // Lithium counted by hand from the figures of the bench: sites of the negative over the charge that it must take.
  for (const char* sheet : {"demo", "nmc811_graphite_siox_21700"}) {
    INFO(sheet);
    const Folder folder;
    REQUIRE(app_test::program({"curve", sheet, "--rates", "C/50", "--points", "120", "--out", "slow"}).status == 0);
    const auto json_of = [](const Words& call) { return app_test::json::parse(app_test::program(call).results); };
    const app_test::json bench = json_of({"bench", sheet, "--json"})["bench"];
    const auto value = [](const app_test::json& j) {
      return j.is_object() ? j["value"].get<double>() : j.get<double>();
    };
    const double ratio = value(bench["capacity_ratio"]);
    const app_test::json& p = bench["positive"];
    const double by_hand =
        std::string(sheet) == "demo"
            ? value(bench["negative"]["areal_capacity_mAh_cm2"]) /
                  (value(p["areal_capacity_mAh_cm2"]) * (1 - value(p["stoichiometry_full"])))
            : value(bench["negative"]["areal_capacity_mAh_cm2"]) / value(p["areal_capacity_in_window_mAh_cm2"]);
    CHECK(ratio == Approx(by_hand).epsilon(2e-3));
    const app_test::json balance =
        json_of({"balance", sheet, "slow/curves.csv", "--starts", "1", "--from-soc", "1", "--json"});
    CHECK(balance["balance"]["sheet_capacity_ratio"].get<double>() == Approx(ratio).epsilon(1e-3));
    CHECK(value(balance["balance"]["capacity_ratio"]) == Approx(ratio).epsilon(0.03));
  }
}

// What no bench makes: common practice (see params/sheet/usual.cpp). Said before the headline, whatever is asked.
TEST_CASE("a slip of a unit on a sheet begins every answer", "[zoo][cells]") {
  const std::string contact = "{value: 10 ohm.cm2, spread: 4 ohm.cm2", thin = "separator: {thickness: 25 um";
  const auto asked = [](const std::string& from, const std::string& to, Words call) {
    return on_sheet(changed("demo", from, to), call);
  };
  const Words ceiling = {"ceiling", "cell.yaml", "--samples", "0"}, rates = {"rates", "cell.yaml", "--rates", "C/5"};
  must_be_said({"a disc of 12 cm", asked("{value: 12 mm", "{value: 12 cm", ceiling), 0, "higher than a coating has"});
  must_be_said(
      {"a negative half as heavy", asked("loading: {value: 6.3", "loading: {value: 3.1", ceiling), 0, "N/P is 0.57"});
  must_be_said({"nanometres of grain", asked("{value: 4.8 um, spread: 0.4 um", "{value: 4.8 nm, spread: 0.4 nm", rates),
                0, "positive.particle_radius = 4.8 nm, where from 0.01 um to 40 um is usual"});
  must_be_said({"millimetres of separator", asked(thin, "separator: {thickness: 2.5 mm", rates), 0,
                "separator.thickness = 2.5 mm, where from 4 um to 1500 um is usual"});
  must_be_said({"contacts in the wrong unit", asked(contact, "{value: 1000 ohm.cm2, spread: 4 ohm.cm2", ceiling), 0,
                "at 1C by itself, of a window of 1.4 V"});
  must_be_said({"a loss of the first charge in the wrong place",
                asked("{value: 8 %, spread: 1 %", "{value: 80 %, spread: 1 %", rates), 0,
                "formation_loss = 80 %, where up to 40 % is usual"});
  must_be_said({"a curve", asked(thin, "separator: {thickness: 2.5 mm", {"curve", "cell.yaml", "--rates", "C/5"}), 0,
                "all sheets together"});
  must_raise_nothing("a thick separator of glass fibre",
                     asked(thin, "separator: {thickness: 260 um", {"rates", "cell.yaml", "--rates", "C/20"}));
  must_raise_nothing("fine grains", asked("{value: 4.8 um, spread: 0.4 um", "{value: 0.3 um, spread: 0.05 um", rates));
  must_raise_nothing("good contacts", asked(contact, "{value: 2 ohm.cm2, spread: 1 ohm.cm2", rates));
}

// Data sheets of cells: discharge from -20 to 60 degC, common practice.
TEST_CASE("temperatures and rates of which nothing can be told", "[zoo][cells]") {
  must_be_said({"forty below", words({"rates", "demo", "--rates", "C/5", "--temperature", "-40 degC"}), 0,
                "where from -20 to 60 degC is usual"});
  must_be_said({"a ceiling thirty below", words({"ceiling", "demo", "--samples", "0", "--temperature", "-30 degC"}), 0,
                "thicken and may freeze"});
  must_be_said({"eighty above", words({"curve", "demo", "--rates", "C/5", "--temperature", "80 degC"}), 0,
                "react with both electrodes"});
  must_be_said({"losses of nothing", words({"losses", "demo", "--rate", "50C"}), 4, "next to nothing passes"});
  must_raise_nothing("twenty below", words({"rates", "demo", "--rates", "C/20", "--temperature", "-20 degC"}));
  must_raise_nothing("losses of a fast discharge", words({"losses", "demo", "--rate", "2C"}));
}

TEST_CASE("check names what no bench makes", "[zoo][cells]") {
  const Folder folder;
  folder.write("cell.yaml", changed("demo", "{value: 12 mm", "{value: 12 cm"));
  const auto outcome = app_test::program({"check", "cell.yaml"});
  CHECK(outcome.status == 0);
  CHECK(outcome.results.find("but look at the warning") != std::string::npos);
  CHECK(outcome.narration.find("higher than a coating has") != std::string::npos);
}
