#include <sys/resource.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "app/answer/numbers.hpp"
#include "app/answer/thinned.hpp"
#include "app/command/present.hpp"
#include "app/command/verbs.hpp"
#include "app/render/curves_file.hpp"
#include "app/render/page.hpp"
#include "app/render/summary.hpp"
#include "app/render/terminal.hpp"
#include "tests/app/helpers.hpp"

// One answer, four renderings: units, digits, keys, and that nothing that was said is lost.

using namespace app_test;
using namespace onegrain;
using namespace onegrain::app::answer;
namespace render = onegrain::app::render;

namespace {

std::string summary_of(const Answer& said) {
  std::ostringstream out;
  render::write_summary(out, said);
  return out.str();
}

std::string terminal_of(const Answer& said) {
  std::ostringstream out;
  render::print(out, said);
  return out.str();
}

/// N/P far below 1: the negative of the small sheet made a third as thick.
std::string starved_sheet() { return with(small_sheet, "layer: {thickness: 75 um", "layer: {thickness: 25 um"); }

}  // namespace

TEST_CASE("a bound is rounded to its safe side, every other number to the nearest", "[renderings]") {
  // By hand; a number that is round but for the last bit of a double stays round.
  Measure rate = measure<params::Number>(nullptr, 2);
  CHECK(digits_of(2.853, rate) == "2.9");
  rate.rounding = Rounding::down;
  CHECK(digits_of(2.853, rate) == "2.8");
  CHECK(digits_of(2.9, rate) == "2.9");
  CHECK(digits_of(3 * 0.1, rate) == "0.30");
  CHECK(digits_of(0.0999, rate) == "0.099");
  CHECK(digits_of(-1.01, rate) == "-1.1");
  rate.rounding = Rounding::up;
  CHECK(digits_of(2.811, rate) == "2.9");
  CHECK(digits_of(2.8, rate) == "2.8");
  CHECK(digits_of(NAN, rate) == "-");
}

TEST_CASE("SI turns into the unit shown, and the unit stands in the key", "[renderings]") {
  // Conversions of the SI Brochure, 9th ed.: 1 h = 3600 s, 0 degC = 273.15 K; by hand.
  CHECK(text_of(7.2, measure<params::Charge>()) == "2.000 mAh");
  CHECK(text_of(298.15, measure<params::Temperature>()) == "25.00 degC");
  CHECK(text_of(273.15, measure<params::Temperature>()) == "0 degC");
  CHECK(text_of(0.0123, measure<params::Voltage>("mV", 3)) == "12.3 mV");
  CHECK(text_of(0.625, measure<params::Fraction>(nullptr, 3)) == "62.5 %");
  CHECK(text_of(7200, lasting()) == "2.00 h");
  CHECK(text_of(3.6, {&energy_kind}) == "1.000 mWh");
  CHECK(key_of("capacity", measure<params::Charge>()) == "capacity_mAh");
  CHECK(key_of("current", measure<params::CurrentDensity>("mA/cm2")) == "current_mA_cm2");
  CHECK(key_of("conductance", measure<params::HeatTransfer>()) == "conductance_W_m2_K");
  CHECK(key_of("porosity", measure<params::Fraction>()) == "porosity");
  CHECK(key_of("duration", lasting()) == "duration_s");
}

TEST_CASE("an uncertainty is told in its own form, and an interval is never made narrower", "[renderings]") {
  Figure figure{"c", "capacity", 7.4501, measure<params::Charge>()};
  CHECK(text_of(figure) == "2.069 mAh");
  figure.uncertainty = ErrorBar::plus_minus(0.0972);
  CHECK(text_of(figure) == "2.069 ± 0.027 mAh");
  figure.uncertainty = ErrorBar::within_factor(3);
  CHECK(text_of(figure) == "2.069 mAh, within a factor 3.0");
  figure.measure.digits = 2;
  figure.uncertainty = ErrorBar::interval(7.1899, 7.6);  // 1.9972 to 2.1111 mAh
  CHECK(uncertainty_of(figure) == "1.9 to 2.2");
  figure.uncertainty = ErrorBar::interval(-INFINITY, 7.6);
  CHECK(uncertainty_of(figure) == "at most 2.2");
  figure.uncertainty = ErrorBar::interval(-INFINITY, INFINITY);
  CHECK(uncertainty_of(figure) == "open at both ends");
}

TEST_CASE("a rate that is allowed is rounded down and says none for none", "[renderings]") {
  CHECK(text_of(2.8579, allowed_rate()) == "2.85C");
  CHECK(text_of(0.38, allowed_rate()) == "0.380C");
  CHECK(text_of(0, allowed_rate()) == "none");
  CHECK(key_of("c_rate", allowed_rate()) == "c_rate");
}

TEST_CASE("rows of a table may measure different things, each in its own unit", "[renderings]") {
  Answer said;
  Table table{"found", "", {{"name", "quantity", {}}, {"value", "found", {}}}, {}};
  const Measure length = measure<params::Length>(nullptr, 3), share = measure<params::Fraction>(nullptr, 2);
  table.rows.add({std::string("a"), Amount{2.5e-6, length}});
  table.rows.add({std::string("b"), Amount{0.25, share, ErrorBar::interval(0.2, INFINITY)}});
  said.sections.push_back({"", {table}});
  std::ostringstream screen, summary;
  render::print(screen, said);
  CHECK(screen.str().find("a         2.5 um\n") != std::string::npos);
  CHECK(screen.str().find("b         25 % (at least 20)\n") != std::string::npos);
  render::write_summary(summary, said);
  CHECK(json::parse(summary.str())["found"] == json::parse(R"([{"name": "a", "value": 2.5},
                        {"name": "b", "value": {"value": 0.25, "lower": 0.2, "upper": null}}])"));
}

TEST_CASE("rows come back as they went in, from memory or from a file", "[renderings]") {
  Rows rows;
  const std::string text(1000, 'x');
  const auto amount = [](int k) { return Amount{0.1 * k, measure<params::Voltage>("mV"), ErrorBar::plus_minus(k)}; };
  const int count = 12000;  // some 12 MB, more than is kept in memory
  for (int k = 0; k < count; ++k)
    rows.add({std::monostate{}, 0.5 * k, k % 2 == 0, text + std::to_string(k), std::vector<double>{1.0 * k, -1.0},
              amount(k)});
  CHECK_FALSE(rows.in_memory());
  CHECK(rows.size() == static_cast<std::size_t>(count));
  for (int again = 0; again < 2; ++again) {
    int k = 0;
    bool same = true;
    rows.each([&](const Row& row) {
      same =
          same &&
          row ==
              Row{std::monostate{}, 0.5 * k, k % 2 == 0, text + std::to_string(k), std::vector<double>{1.0 * k, -1.0},
                  amount(k)};
      ++k;
      return true;
    });
    CHECK(same);
    CHECK(k == count);
  }
  rows.add({1.0});  // behind the others, though they have been read
  int seen = 0;
  rows.each([&](const Row& row) {
    if (++seen == count + 1) CHECK(row == Row{1.0});
    return true;
  });
  CHECK(seen == count + 1);
  Rows few;
  few.add({2.0});
  CHECK(few.in_memory());
}

TEST_CASE("objects that hold tables nest in the summary as their keys say", "[renderings]") {
  Answer said;
  Table steps{"steps", "", {{"kind", "", {}}, {"trace.time", "", measure<params::Time>("h")}}, {}};
  steps.rows.add({std::string("rest"), std::vector<double>{3600, NAN}});
  steps.rows.add({std::string("hold"), std::monostate{}});
  Table none{"steps", "", {{"kind", "", {}}}, {}};
  said.sections.push_back(
      {"",
       {Listed{"overlay.runs",
               {{Facts{"", {{"file", std::string("a.csv")}, {"notes", std::vector<std::string>{"a", "b"}}}}, steps},
                {none},
                {}}}}});
  const json summary = json::parse(summary_of(said));
  CHECK(
      summary["overlay"]["runs"] ==
      json::parse(
          R"([{"file": "a.csv", "notes": ["a", "b"], "steps": [{"kind": "rest", "trace": {"time_h": [1.0, null]}}, {"kind": "hold"}]}, {"steps": []}, {}])"));
}

TEST_CASE("a thinned line keeps its gaps", "[renderings]") {
  std::vector<double> y(10000, 1.0);
  y[0] = y[5000] = y[5001] = NAN;
  y[7000] = 2;
  y[7777] = -3;
  const std::vector<std::size_t> kept = thinned(y, 300);
  CHECK(kept.size() <= 310);
  for (const std::size_t k : {0u, 5000u, 7000u, 7777u, 9999u}) CHECK(std::count(kept.begin(), kept.end(), k) == 1);
}

TEST_CASE("a thinned line keeps its ends and its extremes, and is as dense everywhere", "[renderings]") {
  // A sine of which every period is known: sin has extremes of +-1 in every period.
  ThinnedLine line(600, 100);
  const int count = 200000;
  for (int k = 0; k <= count; ++k) line.add(k, std::sin(k * 2 * M_PI / 500));
  const ThinnedLine::Kept kept = line.kept();
  CHECK(kept.x.size() <= 400);
  CHECK(kept.x.front() == 0);
  CHECK(kept.x.back() == count);
  CHECK(std::is_sorted(kept.x.begin(), kept.x.end()));
  for (int tenth = 0; tenth < 10; ++tenth) {
    double low = 0, high = 0;
    int here = 0;
    for (std::size_t k = 0; k < kept.x.size(); ++k) {
      if (kept.x[k] < tenth * count / 10 || kept.x[k] > (tenth + 1) * count / 10) continue;
      low = std::min(low, kept.y[k]);
      high = std::max(high, kept.y[k]);
      ++here;
    }
    CHECK(here >= 15);
    CHECK(high > 0.999);
    CHECK(low < -0.999);
  }
}

TEST_CASE("blocks nest by their paths, and one key is never used twice", "[renderings]") {
  Answer said;
  said.verb = "test";
  Table table{
      "bench.rows",
      "",
      {{"label", "what", {}}, {"current", "current", measure<params::Current>()}, {"count", "", counted(), summary}}};
  table.rows.add({"one", 0.002, 3.0});
  table.rows.add({"two", std::monostate{}, 4.0});
  Figures figures{"bench", "", {{"capacity", "", 3.6, measure<params::Charge>()}}};
  figures.figures[0].uncertainty = ErrorBar::interval(1.8, INFINITY);
  said.sections.push_back({"", {figures, table, Facts{"bench.positive", {{"material", "oxide"}}}}});
  const json j = json::parse(summary_of(said));
  CHECK(j["onegrain_summary"] == 1);
  CHECK(j["bench"]["capacity_mAh"] == json({{"value", 1.0}, {"lower", 0.5}, {"upper", nullptr}}));
  CHECK(j["bench"]["rows"] ==
        json({{{"label", "one"}, {"current_mA", 2.0}, {"count", 3}}, {{"label", "two"}, {"count", 4}}}));
  CHECK(j["bench"]["positive"]["material"] == "oxide");
  said.sections.push_back({"", {figures}});
  CHECK_THROWS_AS(summary_of(said), std::logic_error);
}

TEST_CASE("a long table is cut on the screen and counted, and whole in the summary", "[renderings]") {
  Answer said;
  Table table{"rows", "", {{"number", "number", counted()}}};
  for (int k = 1; k <= 5000; ++k) table.rows.add({1.0 * k});
  said.sections.push_back({"", {table}});
  const std::string text = terminal_of(said);
  CHECK(lines_of(text).size() < 410);
  CHECK_THAT(text, HasText("4600 rows in between are left out here."));
  CHECK_THAT(text, HasText("\n  5000\n"));
  CHECK(json::parse(summary_of(said))["rows"].size() == 5000);
  CHECK(render::page_document(said)["sections"][0]["blocks"][0]["more"] == "4940 further rows stand in summary.json.");
}

TEST_CASE("a warning of the bench reaches every answer about the cell, on screen, in the summary and on the page",
          "[renderings]") {
  const Folder folder;
  folder.write("cell.yaml", starved_sheet());
  folder.write("protocol.yaml", "steps:\n- {drive: rest, until: {time: 10 min}}\n");
  folder.write("pulse.yaml",
               "steps:\n- {drive: {rate: C/5, sense: discharge}, until: {time: 10 min}}\n- {drive: rest, until: {time: "
               "10 min}}\n");
  REQUIRE(program({"follow", "cell.yaml", "--protocol", "pulse.yaml", "--out", "slow"}).status == 0);
  const json bench = json_of({"bench", "cell.yaml"});
  REQUIRE(bench["bench"]["capacity_ratio"]["value"] < 1);
  REQUIRE_FALSE(bench["warnings"].empty());
  const std::string warning = bench["warnings"][0];
  std::vector<std::vector<std::string>> calls{{"bench", "cell.yaml"},
                                              {"rates", "cell.yaml", "--rates", "C/2"},
                                              {"curve", "cell.yaml", "--rates", "C/2"},
                                              {"overlay", "cell.yaml", "slow/curves.csv"},
                                              {"pulses", "cell.yaml", "slow/curves.csv"},
                                              {"follow", "cell.yaml", "--protocol", "protocol.yaml"},
                                              {"losses", "cell.yaml", "--rate", "C/2"},
                                              {"spectrum", "cell.yaml", "--frequencies", "1..100"},
                                              {"ceiling", "cell.yaml", "--samples", "0", "--soc", "0..0.2"}};
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    const std::set<std::string> held_elsewhere = {"check",   "cards", "schema",  // about no cell
                                                  "balance", "fit",              // tests/app/estimates.cpp
                                                  "page"};                       // tests/app/teaching.cpp
    const bool called = std::any_of(calls.begin(), calls.end(), [&](const auto& call) { return call[0] == verb.name; });
    INFO(verb.name << ": a verb about a cell belongs among these calls");
    CHECK(called != (held_elsewhere.count(verb.name) > 0));
  }
  for (std::vector<std::string> words : calls) {
    INFO(words[0]);
    const json summary = json_of(words);
    CHECK(summary["warnings"][0] == warning);
    CHECK(summary["cautions"].size() >= 4);
    words.insert(words.end(), {"--out", "out"});
    const Outcome outcome = program(words);
    std::string flat = outcome.results;
    for (std::size_t at; (at = flat.find("\n  ")) != std::string::npos;) flat.replace(at, 3, " ");
    CHECK_THAT(flat, HasText("warning: " + warning));
    CHECK_THAT(flat, HasText("can cause fire and toxic gas (HF)"));
    const std::string page = folder.read("out/report.html");
    CHECK((page.find(warning) != std::string::npos));
    CHECK((page.find("can cause fire and toxic gas (HF)") != std::string::npos));
  }
}

TEST_CASE("a charge that takes the negative below lithium says so, and where", "[renderings]") {
  // Against the program's own column of the potential at the separator side: two ways to the same number.
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--charge", "--rates", "C/20,5C", "--points", "2000", "--out", "out"}).status == 0);
  const json summary = json::parse(folder.read("out/summary.json"));
  REQUIRE(summary["warnings"].size() == 1);
  const std::string words = summary["warnings"][0];
  CHECK_THAT(words, HasText("Charging at 5C: from "));
  const std::vector<std::string> lines = lines_of(folder.read("out/curves.csv"));
  const auto cells_of = [](const std::string& line) {
    std::vector<std::string> cells;
    std::istringstream stream(line);
    for (std::string cell; std::getline(stream, cell, ',');) cells.push_back(cell);
    return cells;
  };
  const std::vector<std::string> titles = cells_of(lines[0]);
  const auto column = [&](const char* title) {
    return static_cast<std::size_t>(std::find(titles.begin(), titles.end(), title) - titles.begin());
  };
  const std::size_t potential = column("Separator-Side Potential vs Li / V"), capacity = column("Capacity / mAh"),
                    step = column("Step / 1");
  double first = NAN, lowest = 0;
  for (std::size_t k = 1; k < lines.size(); ++k) {
    const std::vector<std::string> cells = cells_of(lines[k]);
    if (cells[step] != "2" || std::stod(cells[potential]) >= 0) continue;
    if (std::isnan(first)) first = std::stod(cells[capacity]);
    lowest = std::min(lowest, std::stod(cells[potential]));
  }
  const double told = std::stod(words.substr(words.find("from ") + 5));
  CHECK(told == Approx(first).epsilon(0.01));
  CHECK(std::stod(words.substr(words.find("to -") + 3)) == Approx(1e3 * lowest).epsilon(0.02));
}

TEST_CASE("a protocol of many repetitions tells every step, and takes the memory of a short one", "[renderings]") {
  const Folder folder;
  const auto largest_after = [&](int repeat) {  // of all processes started so far [kB]
    folder.write("protocol.yaml",
                 "steps:\n- {drive: {rate: 1C, sense: discharge}, until: {time: 10 s}}\n- {drive: {rate: 1C, sense: "
                 "charge}, until: {time: 10 s}}\nrepeat: " +
                     std::to_string(repeat) + "\n");
    REQUIRE(shell(quoted(ONEGRAIN_PROGRAM) +
                  " follow demo --protocol protocol.yaml --from-soc 0.5 --electrolyte uniform --points 10 --out out > "
                  "screen.txt")
                .status == 0);
    rusage used{};
    getrusage(RUSAGE_CHILDREN, &used);
    return used.ru_maxrss;
  };
  [[maybe_unused]] const long some = largest_after(300), many = largest_after(2000);
#ifndef __SANITIZE_ADDRESS__  // which keeps freed memory for a while
  CHECK(many - some < 6000);  // the curves alone grow by 15 MB as text, by 60 MB as rows
#endif
  const json summary = json::parse(folder.read("out/summary.json"));
  REQUIRE(summary["steps"].size() == 4000);
  CHECK(summary["steps"][3999]["repetition"] == 2000);
  CHECK(summary["steps"][3999]["start_s"] == Approx(39990).epsilon(1e-9));
  double net = 0;  // what went out came back
  for (const json& step : summary["steps"]) net += step["net_charge_mAh"].get<double>();
  CHECK(std::abs(net) < 1e-9);
  CHECK(lines_of(folder.read("out/curves.csv")).size() == 1 + 4000 * 20);  // 10 even moments and 10 early ones
  CHECK(folder.read("out/report.html").size() < 1 << 20);
}
