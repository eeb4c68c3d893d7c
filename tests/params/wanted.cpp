#include "params/sheet/wanted.hpp"

#include <cmath>

#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

namespace {

/// Both electrodes as the bench knows them.
std::string weighed() {
  return with(full_cell, "  layer: {thickness: 60 um, active_fraction: 62 %, porosity: 33 %}",
              "  coating:\n    loading: 9.5 mg/cm2\n    thickness: 64 um\n    recipe: {active: 95 "
              "wt%, carbon: 1 wt%, binder: 4 wt%}");
}

DrawnCoating drawn(const Sheet& sheet, const std::string& text) {
  return coating_for(sheet, parse_wanted(text, sheet));
}

/// The sheet with this loading and thickness under an electrode.
Sheet changed(Sheet sheet, bool negative, const DrawnCoating& coating) {
  ElectrodeSheet& electrode = negative ? *sheet.negative : sheet.positive;
  electrode.coating->loading->si = *coating.loading;
  electrode.coating->thickness.si = coating.thickness;
  return sheet;
}

}  // namespace

TEST_CASE("the coating that is told gives what was wanted", "[params][wanted]") {
  // The forward arithmetic of bench is the measure of the reverse one.
  const Sheet sheet = sound(weighed());
  const Bench before = bench(sheet);
  const DrawnCoating ratio = drawn(sheet, "n_to_p = 1.10");
  const Bench with_ratio = bench(changed(sheet, true, ratio));
  CHECK_THAT(with_ratio.capacity_ratio->value, WithinRel(1.10, 1e-9));
  CHECK_THAT(with_ratio.negative->porosity.value, WithinRel(before.negative->porosity.value, 1e-9));
  CHECK_THAT(*ratio.disc, WithinRel(*ratio.loading * sheet.plate_area(), 1e-12));

  const DrawnCoating other = drawn(sheet, "positive.n_to_p = 1.10");
  CHECK_THAT(bench(changed(sheet, false, other)).capacity_ratio->value, WithinRel(1.10, 1e-9));
  // N/P falls as the positive grows: 1 % more of it is 1 % less ratio, but for what the window moves
  CHECK(other.by_one_per_cent < 0);
  CHECK_THAT(other.by_one_per_cent, WithinAbs(-0.011, 0.001));
  CHECK(ratio.by_one_per_cent > 0);

  const DrawnCoating areal = drawn(sheet, "areal_capacity = 1.5 mAh/cm2");
  CHECK_THAT(bench(changed(sheet, false, areal)).positive.areal_capacity_in_window.value, WithinRel(1.5 * 36000, 1e-9));

  // solids stay: (1 - 0.30) t = (1 - p) t0
  const DrawnCoating pressed = drawn(sheet, "positive.porosity = 30 %");
  CHECK_THAT(pressed.thickness,
             WithinRel((1 - before.positive.porosity.value) / 0.7 * sheet.positive.thickness(), 1e-9));
  CHECK_THAT(*pressed.loading, WithinRel(*sheet.positive.loading(1), 1e-12));
}

TEST_CASE("the tolerance of a loading is what other spreads leave of it", "[params][wanted]") {
  Sheet sheet = sound(weighed());
  sheet.positive.coating->loading->spread = {Spread::Form::absolute, 0.02 * sheet.positive.coating->loading->si};
  const DrawnCoating room = drawn(sheet, "n_to_p = 1.10 +- 0.05");
  // quadrature: 2 % of the positive's loading is others; the rest of the tolerance over the slope
  REQUIRE(room.allowed);
  CHECK(room.others > 0.015);
  CHECK_THAT(*room.allowed * 100 * room.by_one_per_cent,
             WithinRel(std::sqrt(0.05 * 0.05 - room.others * room.others), 1e-9));
  // a cell whose negative is off by just that keeps the tolerance in 95 % of all cells
  Sheet off = changed(sheet, true, room);
  off.negative->coating->loading->spread = {Spread::Form::absolute, *room.allowed * *room.loading};
  CHECK_THAT(bench(off).capacity_ratio->plus_minus, WithinRel(0.05, 0.03));
  CHECK(*drawn(sheet, "n_to_p = 1.10 +- 0.005").allowed == 0);
}

TEST_CASE("a coating that would make a bad cell of it is told with what is bad", "[params][wanted]") {
  const Sheet sheet = sound(weighed());
  CHECK(drawn(sheet, "n_to_p = 1.10").doubts.empty());
  const DrawnCoating heavy = drawn(sheet, "positive.n_to_p = 0.9");
  REQUIRE(heavy.doubts.size() >= 1);
  CHECK(heavy.doubts[0].find(
            "N/P is 0.900, below 1: the negative is full before the cell is, and lithium will plate") == 0);
}

TEST_CASE("what cannot be drawn is told with what would be right", "[params][wanted][messages]") {
  const Sheet full = sound(weighed()), half = sound(half_cell), paper = sound(full_cell);
  const auto wrong = [](const std::string& text, const Sheet& sheet) {
    try {
      coating_for(sheet, parse_wanted(text, sheet));
    } catch (const WantedError& error) {
      return std::string(error.what());
    }
    return std::string();
  };
  CHECK(wrong("1.10", full) ==
        "'1.10': what is wanted is expected, such as 'n_to_p = 1.10', 'areal_capacity = 2 mAh/cm2 +- 0.1 mAh/cm2' or "
        "'negative.porosity = 30 %'");
  CHECK(wrong("np = 1.10", full).find("'np': n_to_p, areal_capacity or porosity is expected") == 0);
  CHECK(wrong("n_to_p = 11", full) == "'n_to_p = 11': an N/P from 0.2 to 5 is expected");
  CHECK(wrong("n_to_p = 1.1 V", full).find("'n_to_p = 1.1 V': ") == 0);
  CHECK(wrong("n_to_p = 1.1", half) == "'n_to_p': a half cell has no N/P");
  CHECK(wrong("positive.porosity = 30 %", half) == "'positive': 'working' is expected in front of '.'");
  CHECK(wrong("negative.porosity = 30 %", paper) ==
        "negative.layer states its porosity itself; a 'coating' of loading, thickness and recipe tells which thickness "
        "makes it");
  CHECK(wrong("porosity = 3 %", full) == "'porosity = 3 %': a porosity that pressing leaves, 10 to 80 %, is expected");
  CHECK(wrong("n_to_p = 1.1 +- 2", full) == "'n_to_p = 1.1 +- 2': a tolerance above 0 and below the value is expected");
  CHECK(wrong("areal_capacity = 500 mAh/cm2", full) ==
        "no coating of the positive gives this with the other electrode and the cut-offs as they are");
  CHECK(wrong("porosity = 30 %", half).empty());
}
