#include "params/sheet/bench.hpp"

#include <cmath>
#include <string>

#include "model/balance.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using sheets::with;

namespace {

const std::string cell = R"(onegrain: 1
name: invented
arrangement: full_cell
temperature: 25 degC
plate_area: 1.5 cm2
voltage_window: {lower: 2.8 V, upper: 4.2 V}
positive:
  material: nmc622
  coating:
    loading: 11.8 mg/cm2
    thickness: 52 um
    recipe: {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}
  particle_radius: 4.8 um
negative:
  material: graphite
  coating:
    loading: 7.6 mg/cm2
    thickness: 58 um
    recipe: {active: 95 wt%, carbon: 1 wt%, binder: 4 wt%}
  particle_radius: 8 um
formation_loss: 8 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
)";

/// The sheet with every spread of its cards taken away, so that only what a test states counts.
Sheet without_spreads(const std::string& text) {
  Sheet sheet = sheets::sound(text);
  for_each_value(sheet, [](const std::string&, Value& value) { value.spread = {}; });
  return sheet;
}

bool warns(const Bench& bench, const std::string& words) {
  for (const std::string& warning : bench.warnings) {
    if (warning.find(words) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("the window of the published NMC811 cell follows from its lithium", "[params][bench]") {
  // C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), parameters from memory; the window computed
  // independently from the initial concentrations: 4.2 V at x 0.910618, y 0.263845; 2.5 V at 0.026346, 0.853975; 5.1532
  // Ah.
  const Bench result = bench(*load_sheet("nmc811_graphite_siox_21700").value);
  CHECK_THAT(result.positive.stoichiometry_full.value, WithinAbs(0.263845, 2e-6));
  CHECK_THAT(result.positive.stoichiometry_empty.value, WithinAbs(0.853975, 2e-6));
  CHECK_THAT(result.negative->stoichiometry_full.value, WithinAbs(0.910618, 2e-6));
  CHECK_THAT(result.negative->stoichiometry_empty.value, WithinAbs(0.026346, 2e-6));
  CHECK_THAT(result.equilibrium_capacity.value / 3600, WithinAbs(5.1532, 5e-5));
  // Full-range capacities 5.674 and 8.503 mAh/cm2, 1C (5 A) is 48.685 A/m2.
  CHECK_THAT(result.negative->areal_capacity.value / 36e3, WithinAbs(5.674, 5e-4));
  CHECK_THAT(result.positive.areal_capacity.value / 36e3, WithinAbs(8.503, 5e-4));
  CHECK_THAT(result.one_c_current.value, WithinRel(5.0, 1e-12));
  CHECK_THAT(result.one_c_current.value / result.plate_area.value, WithinAbs(48.685, 1e-3));
  // Its site concentration is 28 % above the crystal's, which bench must say.
  CHECK(warns(result, "the maximum concentration 63104 mol/m3 is +28 % off that of the crystal"));
}

TEST_CASE("the table of rates holds one current in all its units", "[params][bench]") {
  const Bench result = bench(sheets::sound(cell), {0.2, 1, 2});
  REQUIRE(result.rates.size() == 3);
  CHECK(result.rates[0].name == "C/5");
  CHECK(result.rates[0].hours == 5);
  CHECK_THAT(result.rates[1].current * 3600, WithinRel(result.equilibrium_capacity.value, 1e-12));
  CHECK_THAT(result.rates[1].current_density, WithinRel(result.rates[1].current / 1.5e-4, 1e-12));
  CHECK_THAT(*result.rates[1].specific_current, WithinRel(result.rates[1].current_density / (0.118 * 0.94), 1e-12));
  CHECK_THAT(result.rates[2].current, WithinRel(2 * result.rates[1].current, 1e-12));
  CHECK_THAT(result.positive.active_mass->value, WithinRel(0.118 * 0.94 * 1.5e-4, 1e-12));
  // A stated rated capacity sets 1C.
  const Bench stated = bench(sheets::sound(cell + "rated_capacity: 2.4 mAh\n"));
  CHECK_THAT(stated.one_c_current.value, WithinRel(2.4e-3, 1e-12));
  CHECK(stated.rated_capacity_stated);
}

TEST_CASE("theoretical capacity and that of mass, density and crystal agree when all come from one crystal",
          "[params][bench]") {
  const Bench result = bench(sheets::sound(cell));
  // nmc622: 276.509 mAh/g, graphite 371.902 mAh/g: n F / M with IUPAC weights
  CHECK_THAT(result.positive.theoretical_capacity->value / 3600, WithinAbs(276.509, 1e-3));
  CHECK_THAT(result.negative->theoretical_capacity->value / 3600, WithinAbs(371.902, 1e-3));
  CHECK_THAT(result.positive.specific_capacity->value, WithinRel(result.positive.theoretical_capacity->value, 1e-9));
  CHECK_THAT(result.negative->specific_capacity->value, WithinRel(result.negative->theoretical_capacity->value, 1e-9));
  CHECK(result.warnings.empty());
  CHECK(result.capacity_ratio->value > 1);
}

TEST_CASE("spreads go into results in quadrature, as 95 % intervals", "[params][bench]") {
  // Areal capacity is proportional to loading and to the active share: relative half-widths add in quadrature.
  std::string text = with(cell, "loading: 11.8 mg/cm2", "loading: {value: 11.8 mg/cm2, spread: 0.354 mg/cm2}");  // 3 %
  Sheet sheet = without_spreads(text);
  Loaded<Sheet> again = read_sheet(text, "a.yaml", "/nonexistent");
  sheet.positive.coating->loading->spread = again.value->positive.coating->loading->spread;
  Bench result = bench(sheet);
  CHECK_THAT(result.positive.areal_capacity.plus_minus / result.positive.areal_capacity.value, WithinRel(0.03, 1e-6));
  sheet.positive.coating->recipe.active.spread = {Spread::Form::absolute, 0.04 * 0.94};
  result = bench(sheet);
  CHECK_THAT(result.positive.areal_capacity.plus_minus / result.positive.areal_capacity.value, WithinRel(0.05, 1e-6));
  CHECK(result.negative->areal_capacity.plus_minus == 0);
  CHECK(result.capacity_ratio->plus_minus > 0);
  CHECK(result.one_c_current.plus_minus > 0);
  // The disc cancels out of areal figures and not out of the current.
  Sheet disc = without_spreads(cell);
  disc.stated_plate_area->spread = {Spread::Form::absolute, 0.02 * 1.5e-4};
  result = bench(disc);
  CHECK(result.positive.areal_capacity.plus_minus == 0);
  CHECK_THAT(result.one_c_current.plus_minus / result.one_c_current.value, WithinRel(0.02, 1e-6));
  CHECK_THAT(result.one_c_current.text(), HasText(" \u00b1 ") && HasText(" mA"));
  CHECK(BenchFigure{2.4103e-3, 0.0857e-3, &CurrentKind::kind}.text() == "2.410 \u00b1 0.086 mA");
  CHECK(BenchFigure{2.4103e-3, 0, &CurrentKind::kind}.text() == "2.41 mA");
  CHECK(BenchFigure{49179, 154, &SiteConcentrationKind::kind}.text() == "49179 \u00b1 154 mol/m3");
  CHECK(BenchFigure{298.15, 2, &TemperatureKind::kind}.text() == "25.0 \u00b1 2.0 degC");
  CHECK(bench(without_spreads(cell)).one_c_current.plus_minus == 0);
}

TEST_CASE("what cannot be is named with the measurement to repeat", "[params][bench][messages]") {
  CHECK(warns(bench(sheets::sound(with(cell, "thickness: 52 um", "thickness: 22 um"))),
              "positive: the porosity comes out below 0"));
  CHECK(warns(bench(sheets::sound(with(cell, "thickness: 52 um", "thickness: 22 um"))),
              "measure the loading and the thickness again"));
  CHECK(warns(bench(sheets::sound(with(cell, "thickness: 52 um", "thickness: 152 um"))), "positive: a porosity of"));
  CHECK(warns(bench(sheets::sound(with(cell, "loading: 7.6 mg/cm2", "loading: 4.6 mg/cm2"))), "N/P is 0."));
  CHECK(warns(bench(sheets::sound(with(cell, "loading: 7.6 mg/cm2", "loading: 4.6 mg/cm2"))),
              "weigh both coatings again"));
  CHECK(warns(bench(sheets::sound(cell + "rated_capacity: 24 mAh\n")), "the rated capacity 24 mAh is"));
}

TEST_CASE("masses and fractions are those of all that was weighed, capacities those of what takes part",
          "[params][bench]") {
  const Bench whole = bench(without_spreads(cell));
  Sheet sheet =
      without_spreads(with(cell, "particle_radius: 4.8 um", "particle_radius: 4.8 um\n  accessible_fraction: 80 %"));
  sheet.positive.accessible_fraction.spread = {Spread::Form::absolute, 0.02};
  const Bench partly = bench(sheet);
  CHECK_FALSE(whole.positive.accessible_fraction);
  CHECK_FALSE(partly.negative->accessible_fraction);
  REQUIRE(partly.positive.accessible_fraction);
  CHECK(partly.positive.accessible_fraction->text() == "80.0 \u00b1 2.0 %");
  CHECK(partly.positive.active_loading->value == whole.positive.active_loading->value);
  CHECK(partly.positive.active_mass->value == whole.positive.active_mass->value);
  CHECK(partly.positive.active_fraction.value == whole.positive.active_fraction.value);
  CHECK(partly.positive.porosity.value == whole.positive.porosity.value);
  CHECK(partly.positive.inactive_fraction.value == whole.positive.inactive_fraction.value);
  CHECK_THAT(
      partly.positive.active_fraction.value + partly.positive.porosity.value + partly.positive.inactive_fraction.value,
      WithinAbs(1, 1e-12));
  // By hand: 80 % of n F / M of the weighed host, known to 2 of 80.
  const double by_mass = 0.8 * whole.positive.theoretical_capacity->value * 0.118 * 0.94;
  CHECK_THAT(partly.positive.areal_capacity.value, WithinRel(by_mass, 1e-12));
  CHECK_THAT(partly.positive.areal_capacity.plus_minus, WithinRel(by_mass * 2 / 80, 1e-6));
  CHECK_THAT(partly.positive.specific_capacity->value,
             WithinRel(0.8 * whole.positive.theoretical_capacity->value, 1e-12));
  CHECK_THAT(partly.positive.specific_capacity_in_window->value * partly.positive.active_loading->value,
             WithinRel(partly.positive.areal_capacity_in_window.value, 1e-12));
  CHECK(partly.positive.theoretical_capacity->value == whole.positive.theoretical_capacity->value);
  CHECK(partly.capacity_ratio->value > whole.capacity_ratio->value);
  // Grains that are cut off are no fault of the card.
  CHECK_FALSE(warns(partly, "off the theoretical"));
  Sheet study = sheet;  // a study changes the number alone
  study.positive.accessible_fraction = assumed<Fraction>(1, "", "");
  study.positive.accessible_fraction.si = 0.8;
  CHECK(bench(study).positive.accessible_fraction->value == 0.8);
}
