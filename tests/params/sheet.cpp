#include "params/sheet/sheet.hpp"

#include <cmath>
#include <map>
#include <string>

#include "model/balance.hpp"
#include "model/constants.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

TEST_CASE("a sheet becomes a cell in SI units", "[params][sheet]") {
  const Sheet sheet = sound(full_cell);
  const auto cell = to_cell(sheet);
  CHECK_THAT(cell.plate_area, WithinRel(1.5394e-4, 1e-4));  // a disc of 14 mm, by hand
  CHECK_THAT(cell.temperature, WithinAbs(298.15, 1e-12));
  CHECK_THAT(cell.contact_resistance, WithinRel(12e-4, 1e-12));
  CHECK(cell.lower_voltage == 2.8);
  CHECK(cell.upper_voltage == 4.2);
  CHECK(cell.is_full_cell());
  CHECK_FALSE(cell.counter);
  CHECK_THAT(cell.positive.particle_radius, WithinRel(4.8e-6, 1e-12));
  CHECK_THAT(cell.positive.thickness, WithinRel(52e-6, 1e-12));
  CHECK_THAT(cell.negative->active_fraction, WithinRel(0.62, 1e-12));
  CHECK_THAT(cell.negative->porosity, WithinRel(0.33, 1e-12));
  CHECK_THAT(cell.negative->tortuosity, WithinRel(1 / std::sqrt(0.33), 1e-12));
  CHECK_THAT(cell.separator.tortuosity, WithinRel(1 / std::sqrt(0.45), 1e-12));
  CHECK_THAT(cell.electrolyte.concentration, WithinRel(1000.0, 1e-12));
  CHECK(cell.rated_capacity == 0);
  CHECK_FALSE(cell.thermal);
  CHECK_FALSE(cell.charged_state);
}

TEST_CASE("a coating fills its layer by mass over density, the rest is pores", "[params][sheet]") {
  const Sheet sheet = sound(full_cell);
  const auto cell = to_cell(sheet);
  // By hand: 11.8 mg/cm2 over 52 um is 2.2692 g/cm3 of coating; nmc622 from its crystal, carbon 1.95, binder 1.78
  // g/cm3.
  const double density = *sheet.positive.material.density();
  CHECK_THAT(density, WithinRel(4767, 0.005));  // a 2.868, c 14.22 angstrom, from memory: 4.767 g/cm3
  const double coating = 0.118 / 52e-6;
  CHECK_THAT(cell.positive.active_fraction, WithinRel(0.94 * coating / density, 1e-12));
  CHECK_THAT(cell.positive.porosity,
             WithinRel(1 - 0.94 * coating / density - 0.03 * coating / 1950 - 0.03 * coating / 1780, 1e-12));
  // The charge of the layer is that of its mass, n F / M, whatever the thickness says.
  const double by_mass =
      0.118 * 0.94 * onegrain::model::faraday_constant / sheet.positive.material.formula->molar_mass();
  CHECK_THAT(cell.positive.capacity(), WithinRel(by_mass, 1e-12));
  // Default densities are never hidden.
  CHECK(std::count_if(sheet.assumptions.begin(), sheet.assumptions.end(),
                      [](const std::string& line) { return line.find("density of the") != std::string::npos; }) == 2);
}

TEST_CASE("a half cell takes its masses from the balance and its counter electrode from the shipped card",
          "[params][sheet]") {
  const Sheet sheet = sound(half_cell);
  const auto cell = to_cell(sheet);
  CHECK_FALSE(cell.is_full_cell());
  REQUIRE(cell.counter);
  CHECK_THAT(*sheet.positive.loading(sheet.plate_area()), WithinRel((25.3e-6 - 7.1e-6) / 1.54e-4, 1e-12));
  CHECK_THAT(cell.separator.tortuosity, WithinAbs(1.3, 1e-12));
  CHECK_THAT(sheet.positive.coating->recipe.binder_density.si, WithinRel(1600.0, 1e-12));
  CHECK(sheet.positive.coating->recipe.carbon_density.origin == Origin::assumed);
  // A weighed disc of another size than the cell's.
  const Sheet other = sound(with(half_cell, "foil_mass: 7.1 mg", "foil_mass: 7.1 mg\n    disc_diameter: 16 mm"));
  CHECK_THAT(*other.positive.loading(other.plate_area()), WithinRel(18.2e-6 / 2.01062e-4, 1e-5));
}

TEST_CASE("formation loss leaves the positive short of what it gave", "[params][sheet]") {
  const auto cell = to_cell(sound(full_cell));
  const auto window = onegrain::model::equilibrium_window(cell);
  // Lithium: what the positive lacks of full sits in the negative, but for 8 % of the first charge.
  const double given = (1 - window.full.positive) * cell.positive.capacity();
  CHECK_THAT(window.full.negative * cell.negative->capacity(), WithinRel(0.92 * given, 1e-9));
  CHECK(window.empty.positive < 1);

  const Sheet stated = sound(with(full_cell, "formation_loss: 8 %", "charged_state: {positive: 0.35, negative: 0.80}"));
  const auto state = to_cell(stated).charged_state;
  REQUIRE(state);
  CHECK(state->positive == 0.35);
  CHECK(state->negative == 0.80);
}

TEST_CASE("grains that are cut off take part in nothing but fill their room", "[params][sheet]") {
  const Sheet whole = sound(full_cell);
  CHECK(whole.positive.accessible_fraction.si == 1);
  CHECK(whole.positive.accessible_fraction.origin == Origin::assumed);
  Sheet partly = sound(with(full_cell, "particle_radius: 4.8 um",
                            "particle_radius: 4.8 um\n  accessible_fraction: {value: 90 %, spread: 2 %, source: fit}"));
  CHECK(partly.positive.accessible_fraction.source == "fit");
  CHECK(partly.positive.accessible_fraction.path == "positive.accessible_fraction");
  CHECK(partly.assumptions == whole.assumptions);
  const auto before = to_cell(whole), after = to_cell(partly);
  CHECK_THAT(after.positive.active_fraction, WithinRel(0.9 * before.positive.active_fraction, 1e-12));
  CHECK_THAT(after.positive.capacity(), WithinRel(0.9 * before.positive.capacity(), 1e-12));
  CHECK_THAT(after.positive.roughness(), WithinRel(0.9 * before.positive.roughness(), 1e-12));
  CHECK(after.positive.porosity == before.positive.porosity);
  CHECK(after.positive.tortuosity == before.positive.tortuosity);
  CHECK(after.negative->active_fraction == before.negative->active_fraction);
  const double area = partly.plate_area();
  CHECK(partly.positive.active_loading(area) == whole.positive.active_loading(area));
  CHECK(partly.positive.active_fraction(area) == whole.positive.active_fraction(area));
  // 8 % of the first charge is still lost, of the lithium that takes part: by the balance of lithium.
  const auto window = onegrain::model::equilibrium_window(after);
  CHECK_THAT(window.full.negative * after.negative->capacity(),
             WithinRel(0.92 * (1 - window.full.positive) * after.positive.capacity(), 1e-9));

  find_value(partly, "positive.accessible_fraction")->si = 1;
  CHECK(to_cell(partly).positive.active_fraction == before.positive.active_fraction);
  Sheet half =
      sound(with(half_cell, "particle_radius: 4.8 um", "particle_radius: 4.8 um\n  accessible_fraction: 1.05"));
  CHECK_THAT(to_cell(half).positive.capacity(), WithinRel(1.05 * to_cell(sound(half_cell)).positive.capacity(), 1e-12));
  REQUIRE(find_value(half, "working.accessible_fraction") != nullptr);

  const auto fault = [](const std::string& value) {
    return faults_of(
        with(full_cell, "particle_radius: 8 um", "particle_radius: 8 um\n  accessible_fraction: " + value));
  };
  CHECK(fault("0") ==
        "coin07.yaml:19:24: negative.accessible_fraction = '0': must be greater than 0 and at most 150 %; it is above "
        "100 % where a mass was measured too low\n");
  CHECK(fault("160 %") ==
        "coin07.yaml:19:24: negative.accessible_fraction = '160 %': must be greater than 0 and at most 150 %; it is "
        "above 100 % where a mass was measured too low\n");
  CHECK(fault("150 %").empty());
  CHECK(fault("5 um") ==
        "coin07.yaml:19:24: negative.accessible_fraction = '5 um': a length where a fraction is expected, such as '5 "
        "%'\n");
  CHECK(fault("{value: 10 %, spread: 20 %}") ==
        "coin07.yaml:19:46: negative.accessible_fraction.spread = '20 %': as wide as the value itself, which must "
        "be positive; state it as 'factor 3'\n");
}

TEST_CASE("a value may be a mapping with spread and source", "[params][sheet]") {
  Sheet sheet = sound(with(full_cell, "particle_radius: 4.8 um",
                           "particle_radius: {value: 4.8 um, spread: 0.4 um, source: \"micrograph, 60 grains\"}"));
  const Given<Length>& radius = sheet.positive.particle_radius;
  CHECK(radius.source == "micrograph, 60 grains");
  CHECK(radius.spread.form == Spread::Form::absolute);
  CHECK_THAT(radius.spread.size, WithinRel(0.4e-6, 1e-12));
  CHECK(radius.place.line == 14);
  CHECK(radius.path == "positive.particle_radius");
  CHECK(radius.written == "4.8 um");
  CHECK(radius.text() == "4.8 um \u00b1 0.4 um");
  CHECK_THAT(radius.at_deviation(1.959963984540054), WithinRel(5.2e-6, 1e-9));
  const Value* diffusion = find_value(sheet, "positive.material.diffusion_coefficient");
  REQUIRE(diffusion != nullptr);
  CHECK(diffusion->spread.form == Spread::Form::factor);
  CHECK_THAT(diffusion->at_deviation(1.959963984540054) / diffusion->si, WithinRel(diffusion->spread.size, 1e-9));
  CHECK_THAT(diffusion->si / diffusion->at_deviation(-1.959963984540054), WithinRel(diffusion->spread.size, 1e-9));
  // A percentage of the value is taken too, except where the value is itself a fraction.
  CHECK_THAT(sound(with(full_cell, "thickness: 52 um", "thickness: {value: 52 um, spread: 10 %}"))
                 .positive.coating->thickness.spread.size,
             WithinRel(5.2e-6, 1e-9));
  CHECK_THAT(
      sound(with(full_cell, "porosity: 45 %", "porosity: {value: 45 %, spread: 10 %}")).separator.porosity.spread.size,
      WithinRel(0.1, 1e-9));
}

TEST_CASE("every number of a sheet and its cards can be visited and changed", "[params][sheet]") {
  Sheet sheet = sound(full_cell);
  std::map<std::string, int> seen;
  for_each_value(sheet, [&](const std::string& path, Value& value) {
    ++seen[path];
    CHECK(std::isfinite(value.si));
    CHECK(value.kind != nullptr);
  });
  for (const char* path :
       {"temperature", "disc_diameter", "voltage_window.upper", "contact_resistance", "positive.coating.loading",
        "positive.coating.recipe.active", "positive.coating.densities.binder", "positive.particle_radius",
        "positive.accessible_fraction", "negative.accessible_fraction", "positive.material.crystal.a",
        "positive.material.diffusion_coefficient", "positive.material.open_circuit_potential",
        "negative.layer.porosity", "negative.material.exchange_current_density", "formation_loss",
        "separator.thickness", "electrolyte.conductivity"}) {
    CAPTURE(path);
    CHECK(seen[path] == 1);
  }
  find_value(sheet, "positive.particle_radius")->si = 2e-6;
  find_value(sheet, "positive.material.open_circuit_potential")->si = 0.01;  // a shift
  const auto before = to_cell(sound(full_cell)), after = to_cell(sheet);
  CHECK(after.positive.particle_radius == 2e-6);
  CHECK_THAT(after.positive.host.potential(0.6, 298.15),
             WithinAbs(before.positive.host.potential(0.6, 298.15) + 0.01, 1e-9));
  CHECK(find_value(sheet, "nowhere") == nullptr);
}

TEST_CASE("every card that a sheet uses is visited with its place and its file", "[params][sheet]") {
  const auto cards_of = [](const Sheet& sheet) {
    std::map<std::string, std::string> cards;
    for_each_card(sheet,
                  [&](const std::string& path, const std::string& file) { CHECK(cards.emplace(path, file).second); });
    return cards;
  };
  CHECK(cards_of(sound(full_cell)) ==
        std::map<std::string, std::string>{{"positive.material", "materials/nmc622.yaml"},
                                           {"negative.material", "materials/graphite.yaml"},
                                           {"electrolyte", "electrolytes/carbonate_1M.yaml"}});
  CHECK(cards_of(sound(half_cell)) ==
        std::map<std::string, std::string>{{"working.material", "materials/nmc622.yaml"},
                                           {"counter.material", "materials/lithium_metal.yaml"},
                                           {"electrolyte", "electrolytes/carbonate_1M.yaml"}});
}

TEST_CASE("a fault names file, line, column, key, value and what would be right", "[params][sheet][messages]") {
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius: 4.8")) ==
        "coin07.yaml:14:20: positive.particle_radius = '4.8': no unit given; expected a length, such as '4.8 um'\n");
  CHECK(
      faults_of(with(full_cell, "thickness: 60 um", "thickness: 60 mV")) ==
      "coin07.yaml:17:22: negative.layer.thickness = '60 mV': a voltage where a length is expected, such as '60 um'\n");
  CHECK(faults_of(with(full_cell, "porosity: 33 %", "porosty: 33 %")) ==
        "coin07.yaml:17:10: negative.layer.porosity: missing; expected a fraction, such as '1 %'\n"
        "coin07.yaml:17:52: negative.layer.porosty: unknown key; did you mean 'porosity'?\n");
  CHECK(faults_of(with(full_cell, "material: nmc622", "material: nmc633")) ==
        "coin07.yaml:9:13: positive.material = 'nmc633': no card 'nmc633.yaml' beside the sheet, and none of this name "
        "is shipped; did you mean 'nmc622'?\n");
  CHECK(faults_of(with(full_cell, "electrolyte: carbonate_1M\n", "")) ==
        "coin07.yaml:1:1: electrolyte: missing; expected the name of an electrolyte card, such as 'carbonate_1M', or "
        "its mapping\n");
  CHECK(faults_of(with(full_cell, "arrangement: full_cell", "arrangement: fullcell")) ==
        "coin07.yaml:3:14: arrangement = 'fullcell': did you mean 'full_cell'? Expected full_cell or half_cell\n");
  CHECK(faults_of(with(full_cell, "lower: 2.8 V", "lower: 4.8 V")) ==
        "coin07.yaml:6:25: voltage_window.lower = '4.8 V': not below the upper limit, 4.2 V\n");
  CHECK(faults_of(with(full_cell, "carbon: 3 wt%", "carbon: 30 wt%")) ==
        "coin07.yaml:13:13: positive.coating.recipe: the parts add up to 127 %, not 100 %\n");
  CHECK(faults_of(with(full_cell, "active_fraction: 62 %", "active_fraction: 72 %")) ==
        "coin07.yaml:17:62: negative.layer.porosity = '33 %': active material and pores fill 105 % of the layer, more "
        "than all of it\n");
  CHECK(faults_of(with(full_cell, "particle_radius: 8 um", "particle_radius: 8 mm")) ==
        "coin07.yaml:18:20: negative.particle_radius = '8 mm': must lie between 0.001 um and 1000 um\n");
  CHECK(faults_of(with(full_cell, "onegrain: 1", "onegrain: 2")) ==
        "coin07.yaml:1:11: onegrain = '2': this program reads version 1\n");
  CHECK(faults_of(with(full_cell, "formation_loss: 8 %\n", "")) ==
        "coin07.yaml:1:1: formation_loss: missing; expected the share of the first charge that is lost, such as '8 %', "
        "or 'charged_state'\n");
  CHECK(faults_of(with(full_cell, "formation_loss: 8 %",
                       "formation_loss: 8 %\ncharged_state: {positive: 0.3, negative: 0.9}")) ==
        "coin07.yaml:20:16: charged_state: either 'formation_loss' or 'charged_state': each fixes how much lithium is "
        "left\n");
  CHECK(faults_of(with(full_cell, "disc_diameter: 14 mm", "disc_diameter: 14 mm\nplate_area: 1.5 cm2")) ==
        "coin07.yaml:6:13: plate_area = '1.5 cm2': either 'disc_diameter' or 'plate_area', not both\n");
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius: {value: 4.8 um, spread: factor 0.5}")) ==
        "coin07.yaml:14:44: positive.particle_radius.spread = 'factor 0.5': a factor greater than 1 is expected, such "
        "as 'factor 3'\n");
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius: {value: 4.8 um, spread: 5 um}")) ==
        "coin07.yaml:14:44: positive.particle_radius.spread = '5 um': as wide as the value itself, which must be "
        "positive; state it as 'factor 3'\n");
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius: [4.8 um]")) ==
        "coin07.yaml:14:20: positive.particle_radius = '[...]': a list where a length, such as '1 um' is expected\n");
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius:")) ==
        "coin07.yaml:14:3: positive.particle_radius: no value given; expected a length, such as '1 um'\n");
  CHECK(faults_of(with(half_cell, "working:", "positive:")) ==
        "coin07.yaml:1:1: working: missing; expected an electrode: material, coating or layer, particle_radius\n"
        "coin07.yaml:8:3: positive: a half cell has one 'working' electrode against lithium metal\n");
  CHECK(faults_of(with(full_cell, "material: graphite", "material: lithium_metal")) ==
        "materials/lithium_metal.yaml:4:7: role = 'lithium_metal': lithium metal is a counter electrode, not a host of "
        "grains; a host has the role positive or negative\n");
}

TEST_CASE("one run reports every fault, in the order of the file", "[params][sheet][messages]") {
  std::string text = full_cell;
  text = with(text, "temperature: 25 degC", "temperature: 25 C");
  text = with(text, "loading: 11.8 mg/cm2", "loading: 11.8 mg");
  text = with(text, "particle_radius: 4.8 um", "particle_radius: big");
  text = with(text, "active_fraction: 62 %", "active_fraction: 162 %");
  text = with(text, "separator: {thickness: 25 um", "separator: {thicknes: 25 um");
  text += "colour: blue\n";
  CHECK(faults_of(text) ==
        "coin07.yaml:4:14: temperature = '25 C': 'C' is the coulomb, a unit of charge; a temperature is written '25 "
        "degC'\n"
        "coin07.yaml:11:14: positive.coating.loading = '11.8 mg': a mass where a mass per area is expected, such as "
        "'11.8 mg/cm2'\n"
        "coin07.yaml:14:20: positive.particle_radius = 'big': not a number with a unit; expected a length, such as '1 "
        "um'\n"
        "coin07.yaml:17:46: negative.layer.active_fraction = '162 %': must lie between 0 and 100 %\n"
        "coin07.yaml:20:12: separator.thickness: missing; expected a length, such as '1 um'\n"
        "coin07.yaml:20:13: separator.thicknes: unknown key; did you mean 'thickness'?\n"
        "coin07.yaml:22:1: colour: unknown key\n");
}

TEST_CASE("a cell that cannot be is named as such", "[params][sheet][messages]") {
  CHECK_THAT(faults_of(with(full_cell, "thickness: 52 um", "thickness: 22 um")),
             HasText("coin07.yaml:12:16: warning: positive.coating.thickness = '22 um': the solids of a loading of "
                     "11.8 mg/cm2 need") &&
                 HasText("without any pores") && HasText("measure the loading and the thickness again"));
  const Sheet tight = sound(with(full_cell, "thickness: 52 um", "thickness: 22 um"));
  CHECK_THROWS_WITH(to_cell(tight), HasText("its loading does not fit its thickness; measure both again"));
  CHECK_THAT(faults_of(with(full_cell, "formation_loss: 8 %", "charged_state: {positive: 0.999, negative: 0.001}")) +
                 faults_of(with(full_cell, "voltage_window: {lower: 2.8 V, upper: 4.2 V}",
                                "voltage_window: {lower: 0.1 V, upper: 0.2 V}")),
             HasText("coin07.yaml:6:17: voltage_window: "));
  CHECK_THAT(
      faults_of(with(full_cell, "particle_radius: 8 um", "particle_radius: 80 um")),
      HasText("warning: negative.particle_radius = '80 um': a grain of 160 um across does not fit a layer of 60 um"));
  CHECK_THAT(
      faults_of(with(full_cell, "material: nmc622", "material: graphite")),
      HasText(
          "warning: positive.material = 'graphite': a material for the negative electrode stands in the positive one"));
}
