#include "solver/charge/ceiling.hpp"

#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <iterator>
#include <limits>
#include <regex>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"
#include "params/sheet/sheet.hpp"
#include "tests/app/helpers.hpp"
#include "tests/reference_table.hpp"

// The verb `ceiling`: what it promises to print and write, that it can be repeated, and that nothing is dropped in
// silence.

using namespace app_test;

namespace {

std::vector<std::string> ceiling(std::vector<std::string> more, const std::string& sheet = "demo") {
  std::vector<std::string> words = {"ceiling", sheet};
  words.insert(words.end(), more.begin(), more.end());
  return words;
}

}  // namespace

TEST_CASE("plausible deviations are normal, and the same for a seed whatever else is drawn") {
  // Mean 0, variance 1, 95 % within 1.96: tables of the normal distribution.
  const int samples = 4000;
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(5), squares = sum, inside = sum;
  for (int k = 0; k < samples; ++k) {
    const Eigen::VectorXd z = onegrain::app::plausible_deviations(7, k, 5);
    sum += z;
    squares += z.cwiseAbs2();
    inside += (z.cwiseAbs().array() < 1.96).cast<double>().matrix();
  }
  for (int j = 0; j < 5; ++j) {
    CHECK(std::abs(sum[j] / samples) < 4 / std::sqrt(samples));
    CHECK(std::abs(squares[j] / samples - 1) < 4 * std::sqrt(2.0 / samples));
    CHECK(std::abs(inside[j] / samples - 0.95) < 4 * std::sqrt(0.95 * 0.05 / samples));
  }
  CHECK(onegrain::app::plausible_deviations(7, 3, 5) == onegrain::app::plausible_deviations(7, 3, 5));
  CHECK(onegrain::app::plausible_deviations(7, 3, 8).head(5) == onegrain::app::plausible_deviations(7, 3, 5));
  CHECK(onegrain::app::plausible_deviations(8, 3, 5) != onegrain::app::plausible_deviations(7, 3, 5));
}

TEST_CASE("the plating onset of the shipped demo cell is that of a full porous-electrode calculation") {
  // tests/reference/porous_plating_onset_demo.csv: finite volumes, IDA, extrapolated in the grid; made by
  // benchmarks/porous_electrode_table.cpp from the textbook equations (Doyle, Fuller, Newman 1993). The cell is
  // invented. Never above by more than 2 %, never below by more than 15 %: what a recommendation may cost.
  using namespace onegrain;
  const auto sheet = params::load_sheet("demo");
  REQUIRE(sheet.value.has_value());
  const model::Cell cell = params::to_cell(*sheet.value);
  const model::Window window = model::equilibrium_window(cell);
  const tests::ReferenceTable table("porous_plating_onset_demo.csv");
  REQUIRE(table.rows.size() == 4);
  solver::Workspace workspace;
  for (const auto& row : table.rows) {
    const double full = row[4];
    INFO("to " << row[2] << ": " << full << " A/m2");
    solver::ChargeStudy study(cell, window, {row[1], row[2]}, {.plating_margin = 0, .keep_voltage = false}, workspace);
    const solver::Ceiling ceiling = study.ceiling(full);
    CHECK(ceiling.charge.tightest == solver::Limit::plating);
    CHECK(ceiling.current < 1.02 * full);
    CHECK(ceiling.current > 0.85 * full);
  }
}

TEST_CASE("ceiling prints the keys it promises, in an order that makes sense") {
  const json summary = json_of(ceiling({"--samples", "40", "--staircase"}));
  const json& c = summary["ceiling"];
  for (const char* key : {"c_rate", "current_mA", "limited_by", "minutes", "confidence", "median_c_rate",
                          "nominal_c_rate", "unknowns", "temperatures", "staircase"}) {
    INFO(key);
    CHECK(c.contains(key));
  }
  CHECK(c["confidence"] == 0.95);
  CHECK(c["samples"] == 128);  // the least that bound a rate from below
  CHECK(c["unsolved"] == 0);
  CHECK(c["c_rate"].get<double>() < c["estimated_c_rate"].get<double>());  // the lower end, not the estimate
  CHECK(c["estimated_c_rate"].get<double>() < c["upper_c_rate"].get<double>());
  CHECK(c["half_width"].get<double>() == Approx((c["upper_c_rate"].get<double>() - c["c_rate"].get<double>()) / 2 /
                                                c["estimated_c_rate"].get<double>()));
  CHECK(c["c_rate"].get<double>() < c["median_c_rate"].get<double>());
  CHECK(c["plain_c_rate"].get<double>() > c["nominal_c_rate"].get<double>());
  CHECK(
      c["current_mA"].get<double>() ==
      Approx(c["c_rate"].get<double>() * json_of({"bench", "demo"})["bench"]["one_c_current_mA"]["value"].get<double>())
          .epsilon(1e-6));
  CHECK(c["minutes"].get<double>() == Approx(60 * 0.8 / c["c_rate"].get<double>()).epsilon(1e-6));
  REQUIRE(summary["margins"].size() >= 4);
  for (const json& margin : summary["margins"]) CHECK(margin["kept"] == true);
  CHECK(summary["cautions"].size() >= 4);
  CHECK(summary["headline"].get<std::string>().find("95 %") != std::string::npos);
  for (std::size_t k = 1; k < c["unknowns"].size(); ++k) {
    CHECK(std::abs(c["unknowns"][k - 1]["slope"].get<double>()) >= std::abs(c["unknowns"][k]["slope"].get<double>()));
  }
  for (const json& step : c["staircase"]["steps"]) CHECK(step["kept"] == true);
  CHECK(c["staircase"]["counted_cells"] == 1000);
  CHECK(c["staircase"]["least_share"].get<double>() >= 0.95);
  CHECK(c["staircase"]["minutes"].get<double>() < c["staircase"]["constant_current_minutes"].get<double>());
}

TEST_CASE("the cold gets dangerous: the rate free of plating falls with temperature as reported cells do") {
  // A plug-in-hybrid cell safe at 4C, 25 degC takes 1.5C at 10 degC and C/1.5 at 0 degC: Yang, Zhang, Ge, Wang, PNAS
  // 115, 7266 (2018), a secondary quote; an Arrhenius slope of 46 to 52 kJ/mol. A band of plausibility, not a value of
  // this cell.
  const json summary = json_of(ceiling({"--samples", "0"}));
  double at_0 = 0, at_10 = 0;
  double before = 0;
  for (const json& t : summary["ceiling"]["temperatures"]) {
    const double T = t["temperature_degC"], rate = t["c_rate"];
    if (T == 0) at_0 = rate;
    if (T == 10) at_10 = rate;
    CHECK(rate > before);
    before = rate;
  }
  const double slope = 8.314462618 * std::log(at_10 / at_0) / (1 / 273.15 - 1 / 283.15) / 1000;
  INFO(slope << " kJ/mol");
  CHECK(slope > 25);
  CHECK(slope < 75);
  CHECK(summary["ceiling"]["confidence"].is_null());
}

TEST_CASE("without activation energies there is no map over temperature, and the headline says so") {
  // A process that the cards hold constant is as fast at -10 as at 25 degC; lithium plates first in the cold (Yang et
  // al. above). A map that shows nothing of it is worse than none.
  const auto without = [](std::string card, const std::string& key) {
    const std::size_t from = card.find(key);
    REQUIRE(from != std::string::npos);
    std::size_t end = card.find('\n', from);  // up to the next key that stands at the left margin
    while (end + 1 < card.size() && card[end + 1] == ' ') end = card.find('\n', end + 1);
    return card.erase(from, end + 1 - from);
  };
  const Folder folder;
  folder.write("cell.yaml", shipped("demo"));
  std::ifstream table(ONEGRAIN_SOURCE_DIR "/params/materials/graphite_ocp.csv", std::ios::binary);
  folder.write("graphite_ocp.csv", std::string(std::istreambuf_iterator<char>(table), {}));
  const std::string half_told = without(shipped("graphite"), "diffusion_activation_energy:");
  folder.write("graphite.yaml", half_told);
  json summary = json_of(ceiling({"--samples", "0"}, "cell.yaml"));
  CHECK(summary["ceiling"]["temperatures"].size() == 12);
  const std::string partly =
      "The map over temperature is too fast in the cold: no activation energy is given for diffusion in the grains of "
      "the negative, and the value at 25 degC stands at every temperature.";
  CHECK(summary["ceiling"]["temperature_remark"] == partly);
  CHECK_THAT(summary["headline"].get<std::string>(), HasText(partly));

  folder.write("graphite.yaml", without(half_told, "exchange_activation_energy:"));
  const Outcome printed = program(ceiling({"--samples", "20", "--out", "out"}, "cell.yaml"));
  REQUIRE(printed.status == 0);
  CHECK_THAT(printed.results, !HasText("over temperature (common practice"));
  summary = json::parse(folder.read("out/summary.json"));
  CHECK(summary["ceiling"]["temperatures"].empty());
  const std::string none =
      "There is no map over temperature: no activation energy is given for diffusion in the grains of the negative and "
      "charge transfer at the grains of the negative, so that the cold would look nearly as fast as 25 degC. This rate "
      "says nothing about a cold cell.";
  CHECK(summary["ceiling"]["temperature_remark"] == none);
  CHECK_THAT(summary["headline"].get<std::string>(), HasText(none));
  CHECK_THAT(folder.read("out/report.html"), HasText(none));
  CHECK(json_of(ceiling({"--samples", "0"}))["ceiling"]["temperature_remark"].is_null());
}

TEST_CASE("the same seed gives the same answer on any number of threads, another seed another") {
  const std::string one = program(ceiling({"--samples", "24", "--threads", "1", "--json"})).results;
  json first = json::parse(one);
  for (const char* threads : {"2", "5", "0"}) {
    json again = json_of(ceiling({"--samples", "24", "--threads", threads}));
    CHECK(again["ceiling"] == first["ceiling"]);
  }
  CHECK(json_of(ceiling({"--samples", "24", "--seed", "2"}))["ceiling"]["c_rate"] != first["ceiling"]["c_rate"]);
}

TEST_CASE("the exported staircase is a sound protocol, follow runs it, and it takes the promised time") {
  const Folder folder;
  const Outcome made = program(ceiling({"--samples", "20", "--staircase", "--out", "out"}));
  REQUIRE(made.status == 0);
  CHECK(folder.names("out") ==
        std::vector<std::string>{"manifest.json", "report.html", "staircase.yaml", "summary.json"});
  CHECK(program({"check", "demo", "out/staircase.yaml"}).status == 0);
  const json summary = json::parse(folder.read("out/summary.json"));
  const json follow = json_of({"follow", "demo", "--protocol", "out/staircase.yaml", "--electrolyte", "resolved"});
  REQUIRE(follow["steps"].size() == summary["ceiling"]["staircase"]["steps"].size());
  double minutes = 0, charge = 0;
  for (const json& step : follow["steps"]) {
    minutes += step["duration_s"].get<double>() / 60;
    charge += step["capacity_mAh"].get<double>();
  }
  CHECK(minutes == Approx(summary["ceiling"]["staircase"]["minutes"].get<double>()).epsilon(1e-3));
  CHECK(std::abs(charge) ==
        Approx(0.8 * json_of({"bench", "demo"})["bench"]["equilibrium_capacity_mAh"]["value"].get<double>())
            .epsilon(1e-3));
}

TEST_CASE("a half cell is asked the same question for lithiating its working electrode") {
  const json summary = json_of(ceiling({"--samples", "10", "--margin", "0 mV"}, "demo_half_cell"));
  CHECK(summary["ceiling"]["c_rate"].get<double>() > 0);
  CHECK(summary["headline"].get<std::string>().rfind("Lithiate from ", 0) == 0);
}

TEST_CASE("an oxide half cell charged at its ceiling reaches its cut-off just at the end of the window") {
  // `rates` runs the charge until the cut-off, and knows nothing of the search: two ways to the same charge.
  for (const double to : {0.8, 0.5}) {
    const json summary = json_of({"ceiling", "lfp_half_cell", "--samples", "0", "--soc", fmt::format("0..{}", to)});
    CHECK(summary["ceiling"]["limited_by"] == "the upper voltage limit");
    const json charge = json_of({"rates", "lfp_half_cell", "--charge", "--rates",
                                 fmt::format("{} mA", summary["ceiling"]["current_mA"].get<double>())});
    const double held = json_of({"bench", "lfp_half_cell"})["bench"]["equilibrium_capacity_mAh"]["value"];
    CHECK(charge["points"][0]["capacity_mAh"].get<double>() == Approx(to * held).epsilon(0.01));
  }
}

TEST_CASE("cells that cannot be solved are counted, and survive no rate") {
  // A thickness so uncertain that some plausible coatings hold more solid than fits into them.
  const Folder folder;
  folder.write("cell.yaml", with(shipped("demo"), "thickness: {value: 42 um, spread: 2 um,",
                                 "thickness: {value: 42 um, spread: 30 um,"));
  const json summary = json_of(ceiling({"--samples", "30"}, "cell.yaml"));
  const int unsolved = summary["ceiling"]["unsolved"];
  CHECK(unsolved > 0);
  CHECK(summary["ceiling"]["samples"] == 128);
  CHECK_FALSE(summary["ceiling"]["unsolved_because"].get<std::string>().empty());
  CHECK_THAT(program(ceiling({"--samples", "30"}, "cell.yaml")).results,
             HasText("could not be solved and count as surviving no rate"));
}

TEST_CASE("a window, a margin or a number of samples that cannot be is refused") {
  const auto refused = [](const std::vector<std::string>& more, const std::string& text) {
    const Outcome outcome = program(ceiling(more));
    INFO(outcome.narration);
    CHECK(outcome.status == 2);
    CHECK(outcome.results.empty());
    CHECK_THAT(outcome.narration, HasText(text));
  };
  for (const char* soc :
       {"0.8", "0.8..0", "0..1.2", "-0.1..0.5", "0..", "..1", "0..nan", "a..b", "0..0.8 %", "", "0.5..0.5"})
    refused({"--samples", "0", "--soc", soc}, "--soc");
  for (const char* margin : {"10", "10 mA", "-1 mV", "2 V", "nan V", ""})
    refused({"--samples", "0", "--margin", margin}, "--margin");
  for (const char* samples : {"-1", "many", "1e9", "2.5"}) refused({"--samples", samples}, "--samples");
  for (const char* within : {"3", "0 %", "200 %", "3 mV", ""})
    refused({"--samples", "0", "--within", within}, "--within");
  refused({"--seed", "x"}, "--seed");
}

TEST_CASE("interrupted, it says so and leaves nothing half-written") {
  const Folder folder;
  const Outcome outcome = shell("timeout --foreground -s INT 3 " + quoted(ONEGRAIN_PROGRAM) +
                                " ceiling demo --samples 100000 --within 0.1% --out out; exit 0");
  CHECK_THAT(outcome.results, HasText("interrupted; nothing was written"));
  CHECK(folder.names("out").empty());
}

TEST_CASE("the report of a ceiling carries the sentence, the number and the cautions") {
  const Folder folder;
  REQUIRE(program(ceiling({"--samples", "20", "--out", "out"})).status == 0);
  const json summary = json::parse(folder.read("out/summary.json"));
  const std::string page = folder.read("out/report.html");
  CHECK((page.find(summary["headline"].get<std::string>().substr(0, 60)) != std::string::npos));
  CHECK((page.find("can cause fire and toxic gas (HF)") != std::string::npos));
}

namespace {

/// Every rate "0.38C" behind `from` in a text, up to the end of its line.
std::vector<double> rates_behind(const std::string& text, const std::string& from) {
  const auto begin = text.find(from);
  INFO("looking for '" << from << "'");
  REQUIRE(begin != std::string::npos);
  const auto behind = begin + from.size();
  const std::string line = text.substr(behind, text.find('\n', behind) - behind);
  static const std::regex rate("([0-9]+(?:\\.[0-9]+)?)C\\b");
  std::vector<double> rates;
  for (std::sregex_iterator found(line.begin(), line.end(), rate), end; found != end; ++found)
    rates.push_back(std::stod(found->str(1)));
  return rates;
}

/// Three digits, none of them above the value: what a bound that is rounded to its safe side has to be.
void check_rounded_down(double shown, double value) {
  INFO(shown << " for " << value);
  CHECK(shown <= value * (1 + 1e-9));
  CHECK(shown > value * (1 - 1e-2));
}

}  // namespace

TEST_CASE("an allowed rate is never shown higher than it is, wherever it stands") {
  for (const auto& [sheet, samples] :
       {std::pair{"lfp_half_cell", "0"}, std::pair{"demo", "20"}, std::pair{"demo_half_cell", "0"}}) {
    INFO(sheet);
    const json summary = json_of(ceiling({"--samples", samples}, sheet));
    const json& c = summary["ceiling"];
    const std::string printed = program(ceiling({"--samples", samples}, sheet)).results, headline = summary["headline"];
    check_rounded_down(rates_behind(headline, "at no more than ").front(), c["c_rate"]);
    check_rounded_down(rates_behind(printed, "of the cell as the sheet has it  ").front(), c["nominal_c_rate"]);
    check_rounded_down(rates_behind(printed, "what a plain single-particle model would have said  ").front(),
                       c["plain_c_rate"]);
    for (const json& t : c["temperatures"]) {
      const std::string celsius = fmt::format("{:.0f}", t["temperature_degC"].get<double>());
      const std::vector<double> shown = rates_behind(printed.substr(printed.find("over temperature")),
                                                     "\n" + std::string(11 - celsius.size(), ' ') + celsius + "  ");
      REQUIRE_FALSE(shown.empty());
      check_rounded_down(shown.front(), t["c_rate"]);
      if (shown.size() > 1) check_rounded_down(shown[1], t["c_rate_confident"]);
    }
  }
}

TEST_CASE("the margins of a charge are numbers, and what is left is the distance to what is allowed") {
  const json summary = json_of(ceiling({"--samples", "0"}));
  std::set<std::string> seen;
  for (const json& m : summary["margins"]) {
    INFO(m.dump());
    for (const char* unit : {"_V", ""}) {
      const std::string worst = std::string("worst") + unit;
      if (!m.contains(worst)) continue;
      seen.insert(worst);
      const double distance = m[worst].get<double>() - m[std::string("allowed") + unit].get<double>();
      CHECK(std::abs(distance) == Approx(m[std::string("left") + unit].get<double>()).margin(1e-9));
    }
    CHECK(m["at_soc"] >= 0);
    CHECK(m["at_soc"] <= 0.8 + 1e-9);
  }
  CHECK(seen == std::set<std::string>{"worst", "worst_V"});
}

TEST_CASE("cautions stand once, right under the rate that they are about") {
  const Outcome printed = program(ceiling({"--samples", "0"}));
  const auto caution = printed.results.find("- A prediction guides a test, it does not authorise it");
  REQUIRE(caution != std::string::npos);
  CHECK(printed.results.find("at no more than") < caution);
  CHECK(caution < printed.results.find("highest charge rate"));
  CHECK(printed.results.find("it does not authorise it", caution + 40) == std::string::npos);
}

TEST_CASE("more solid than fits into a coating is no cell, and says so by name") {
  // Volumes add up: a layer as thick as 10 um cannot hold 11.8 mg/cm2 of an oxide of 4.8 g/cm3, which fills 25 um.
  using namespace onegrain;
  auto sheet = params::load_sheet("demo");
  REQUIRE(sheet.value.has_value());
  const app::study::CeilingAsked asked{{0, 0.5}, {}, 0, 1, 1};
  app::study::CeilingSearch search(asked, {});
  CHECK(search.of([&] { return params::to_cell(*sheet.value); }, 0, 0, 1e-2).found());
  sheet.value->positive.coating->thickness.si = 10e-6;
  const app::study::Searched searched = search.of([&] { return params::to_cell(*sheet.value); }, 0, 0, 1e-2);
  CHECK(searched.outcome == app::study::Searched::Outcome::no_such_cell);
  CHECK(searched.current == 0);
  CHECK_THAT(searched.because, HasText("the porosity of the positive electrode comes out as"));
}

TEST_CASE("a charge that meets no end leaves the staircase out, not the ceiling") {
  // Without current no charge ever passes: a recommendation so small that its steps have none.
  using namespace onegrain;
  const auto sheet = params::load_sheet("demo");
  REQUIRE(sheet.value.has_value());
  const app::study::Subject cell(*sheet.value);
  solver::Workspace workspace;
  solver::ChargeStudy study(cell.cell, cell.window, {0, 0.5}, {}, workspace);
  app::study::CeilingFound found{};
  found.nominal.current = study.ceiling(study.whole() / 3600).current;
  found.recommended = std::numeric_limits<double>::denorm_min();
  app::study::add_staircase(study, workspace, found);
  CHECK_FALSE(found.staircase.has_value());
  CHECK(found.no_staircase == app::study::NoStaircase::charge_without_end);
  CHECK_THAT(found.no_staircase_because, HasText("meets none of its ends"));
  found.recommended = found.nominal.current;
  app::study::add_staircase(study, workspace, found);
  REQUIRE(found.staircase.has_value());
  CHECK(found.staircase->staircase.complete);
}

TEST_CASE("where no rate can be recommended there is no staircase either, and both say why") {
  // A coating of which nobody knows within 30 um how thick it is: one in ten or more cells cannot be.
  const Folder folder;
  folder.write("cell.yaml", with(shipped("demo"), "thickness: {value: 42 um, spread: 2 um,",
                                 "thickness: {value: 42 um, spread: 30 um,"));
  const json summary = json_of(ceiling({"--samples", "40", "--staircase"}, "cell.yaml"));
  CHECK(summary["ceiling"]["c_rate"] == 0);
  CHECK(summary["ceiling"]["minutes"].is_null());
  CHECK(summary["ceiling"]["nominal_c_rate"] > 0);
  CHECK_FALSE(summary["ceiling"].contains("staircase"));
  CHECK(summary["ceiling"]["no_staircase_because"] == "no rate is recommended that its steps could be scaled to");
  CHECK_THAT(summary["headline"].get<std::string>(), HasText("Do not charge this cell"));
  CHECK_THAT(program(ceiling({"--samples", "40", "--staircase"}, "cell.yaml")).results,
             HasText("There is no staircase: no rate is recommended"));
}
