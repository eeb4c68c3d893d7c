// Windows as laboratories set them, on every shipped card: where the potential at rest meets a cut-off, that is where
// the cell is full or empty, and where a host ends before, that is said. The windows are common practice, from memory.

#include <cmath>
#include <string>

#include "model/balance.hpp"
#include "params/sheet/bench.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain;
using namespace onegrain::params;

namespace {

std::string half_cell(const std::string& card, const std::string& lower, const std::string& upper) {
  return R"(onegrain: 1
name: invented
arrangement: half_cell
temperature: 25 degC
plate_area: 1 cm2
voltage_window: {lower: )" +
         lower + " V, upper: " + upper + R"( V}
working:
  material: )" +
         card + R"(
  layer: {thickness: 50 um, active_fraction: 60 %, porosity: 30 %}
  particle_radius: 1 um
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
)";
}

/// An oxide or phosphate against a titanate layer of `thickness` [um].
std::string titanate_cell(const std::string& card, const std::string& upper, double thickness) {
  return R"(onegrain: 1
name: invented
arrangement: full_cell
temperature: 25 degC
plate_area: 1 cm2
voltage_window: {lower: 1.3 V, upper: )" +
         upper + R"( V}
positive:
  material: )" +
         card + R"(
  layer: {thickness: 50 um, active_fraction: 50 %, porosity: 30 %}
  particle_radius: 1 um
negative:
  material: lto
  layer: {thickness: )" +
         std::to_string(thickness) + R"( um, active_fraction: 60 %, porosity: 30 %}
  particle_radius: 0.5 um
formation_loss: 2 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
)";
}

/// One end of a window: a cut-off that is met at rest, or a host that ended before.
void check_end(const model::Cell& cell, const model::Window& window, bool upper) {
  const model::Stoichiometries x = upper ? window.full : window.empty;
  const double V = model::equilibrium_voltage(cell, x, cell.temperature);
  const double cut_off = upper ? cell.upper_voltage : cell.lower_voltage;
  const auto& before = upper ? window.before_upper : window.before_lower;
  CAPTURE(upper, x.positive, x.negative, V, cut_off);
  for (const double each : {x.positive, cell.negative ? x.negative : 0.5}) {
    CHECK(each >= 1e-6 * (1 - 1e-9));
    CHECK(each <= 1 - 1e-6 * (1 - 1e-9));
  }
  if (!before) {
    CHECK_THAT(V, WithinAbs(cut_off, 1e-9));
    return;
  }
  CHECK((upper ? V < cut_off : V > cut_off));
  CHECK_THAT(before->voltage, WithinAbs(V, 1e-9));
  // charging empties the positive and fills the negative
  CHECK(before->host_full == (upper != before->of_positive));
  CHECK_THAT(before->of_positive ? x.positive : x.negative, WithinAbs(before->host_full ? 1 - 1e-6 : 1e-6, 1e-12));
}

}  // namespace

TEST_CASE("every shipped host takes the windows of its chemistry in a half cell", "[params][windows]") {
  struct Row {
    const char *card, *lower, *upper;
  };
  const Row row = GENERATE(Row{"nmc111", "2.8", "4.3"}, Row{"nmc622", "2.8", "4.3"}, Row{"nmc622", "3.0", "4.3"},
                           Row{"nmc811", "2.8", "4.3"}, Row{"lco", "3.0", "4.3"}, Row{"lco", "2.8", "4.2"},
                           Row{"lmo", "3.0", "4.3"}, Row{"lnmo", "3.5", "4.9"}, Row{"lfp", "2.5", "4.2"},
                           Row{"lfp", "2.0", "4.0"}, Row{"lto", "1.0", "2.5"}, Row{"graphite", "0.005", "1.5"},
                           Row{"graphite", "0.01", "2.0"}, Row{"graphite", "0.01", "1.0"});
  CAPTURE(row.card, row.lower, row.upper);
  const Sheet sheet = sheets::sound(half_cell(row.card, row.lower, row.upper));
  const model::Cell cell = to_cell(sheet);
  const model::Window window = model::equilibrium_window(cell);
  check_end(cell, window, true);
  check_end(cell, window, false);
  // what a window gives cannot exceed n F / M of the formula, and such a window gives near half of it (LiCoO2 to 4.2 V)
  // or more
  const Bench b = bench(sheet);
  REQUIRE(b.positive.theoretical_capacity);
  CHECK(b.positive.specific_capacity_in_window->value < 1.02 * b.positive.theoretical_capacity->value);
  CHECK(b.positive.specific_capacity_in_window->value > 0.45 * b.positive.theoretical_capacity->value);
}

TEST_CASE("every shipped positive makes a cell with titanate that is discharged to 1.3 V", "[params][windows]") {
  struct Row {
    const char *card, *upper;
  };
  const Row row = GENERATE(Row{"nmc111", "2.8"}, Row{"nmc622", "2.8"}, Row{"nmc811", "2.8"}, Row{"lco", "2.8"},
                           Row{"lmo", "2.8"}, Row{"lnmo", "3.4"}, Row{"lfp", "2.4"});
  const double thickness = GENERATE(35.0, 80.0, 120.0);  // too little, about enough, too much titanate
  CAPTURE(row.card, row.upper, thickness);
  const Sheet sheet = sheets::sound(titanate_cell(row.card, row.upper, thickness));
  const model::Cell cell = to_cell(sheet);
  const model::Window window = model::equilibrium_window(cell);
  check_end(cell, window, true);
  check_end(cell, window, false);
  // lithium: what the positive gives the negative takes, and the first charge lost 2 % of it for good
  const double Qp = cell.positive.capacity(), Qn = cell.negative->capacity();
  CHECK_THAT((window.empty.positive - window.full.positive) * Qp, WithinRel(window.capacity, 1e-9));
  CHECK_THAT((window.full.negative - window.empty.negative) * Qn, WithinRel(window.capacity, 1e-9));
  CHECK_THAT(window.full.negative * Qn, WithinRel(0.98 * (1 - window.full.positive) * Qp, 1e-9));
  // a titanate rests above 0.9 V against lithium however full it is: no lithium plates on it at rest
  for (const std::string& warning : bench(sheet).warnings) CHECK_THAT(warning, !HasText("will plate"));
}

TEST_CASE("bench says which electrode ends before which cut-off, and where rest is then", "[params][windows]") {
  const Bench b = bench(sheets::sound(half_cell("graphite", "0.01", "2.0")));
  REQUIRE(b.rest_ends.size() == 1);
  const RestEnd& end = b.rest_ends.front();
  CHECK(end.key == "working");
  CHECK(end.upper);
  CHECK_FALSE(end.host_full);
  CHECK(end.cut_off == 2.0);
  CHECK_THAT(end.stoichiometry, WithinRel(1e-6, 1e-9));
  CHECK(end.brief == "At rest the working electrode is empty before the upper cut-off is met.");
  // 1.717 V: -(RT/F) ln(x) joined to the table of the card at x = 0.0005, see model/potential.hpp
  CHECK(
      end.text ==
      "At rest the working electrode is empty (x = 0.000001, the cell at 1.717 V) before the upper cut-off of 2.000 V "
      "is met: the charged cell rests there and capacity counts to there; under current the cut-off is met while "
      "grain surfaces are empty");
  CHECK(b.assumptions.back() == end.text);
  CHECK(bench(sheets::sound(half_cell("graphite", "0.01", "1.0"))).rest_ends.empty());
  const Bench lto = bench(sheets::sound(titanate_cell("nmc622", "2.8", 120)));
  REQUIRE(lto.rest_ends.size() == 1);
  CHECK(lto.rest_ends.front().brief == "At rest the negative is empty before the lower cut-off is met.");
}

TEST_CASE("a cell with too little titanate is told what sets its capacity, one with too little graphite that it plates",
          "[params][windows]") {
  const auto warning_of = [](const std::string& text) {
    std::string found;
    for (const std::string& warning : bench(sheets::sound(text)).warnings) {
      if (warning.rfind("N/P", 0) == 0) found += warning;
    }
    return found;
  };
  const std::string cell = titanate_cell("nmc622", "2.8", 35);
  CHECK_THAT(warning_of(cell), HasText("below 1: the negative is full before the cell is, 1."));
  CHECK_THAT(warning_of(cell), HasText(" V against lithium at the upper cut-off, and sets the capacity; weigh both "
                                       "coatings again if that is not meant"));
  std::string graphite = cell;
  graphite.replace(graphite.find("material: lto"), 13, "material: graphite");
  graphite.replace(graphite.find("upper: 2.8"), 10, "upper: 4.2");
  CHECK_THAT(warning_of(graphite), HasText("and lithium will plate"));
}

TEST_CASE("a window in which a host holds nothing is refused where it stands", "[params][windows]") {
  const auto fault = [](const std::string& text) {
    const Loaded<Sheet> loaded = read_sheet(text, "a.yaml", "/nonexistent");
    CHECK_FALSE(loaded.value);
    return loaded.faults.text();
  };
  CHECK_THAT(fault(half_cell("graphite", "2.8", "4.2")),
             HasText("voltage_window: the lower cut-off 2.800 V cannot be reached: the working electrode is empty "
                     "already at 1.717 V"));
  CHECK_THAT(
      fault(half_cell("nmc622", "0.01", "1.5")),
      HasText("voltage_window: the upper cut-off 1.500 V lies below every voltage at rest: the working electrode "
              "is full still at 3.1"));
  CHECK_THAT(fault(half_cell("lfp", "3.6", "3.65")), HasText("lies less than 1 % of the capacity of the working"));
}
