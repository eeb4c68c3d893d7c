// What a sheet says about temperature: with no activation energy a process is as fast in the cold as at 25 degC, and
// that is said.

#include "params/sheet/temperature.hpp"

#include "params/sheet/bench.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;

namespace {

std::string cards(const std::string& negative_more, const std::string& temperature = "25 degC") {
  return "onegrain: 1\nname: invented\narrangement: full_cell\ntemperature: " + temperature + R"(
plate_area: 1 cm2
voltage_window: {lower: 2.8 V, upper: 4.2 V}
positive:
  material: nmc622
  layer: {thickness: 50 um, active_fraction: 60 %, porosity: 30 %}
  particle_radius: 5 um
negative:
  material:
    name: invented carbon
    role: negative
    maximum_concentration: 30000 mol/m3
    open_circuit_potential: {expression: "0.6 - 0.55*x", range: [0, 1]}
    diffusion_coefficient: 1e-14 m2/s
    exchange_current_density: 2 A/m2
)" + negative_more +
         R"(  layer: {thickness: 70 um, active_fraction: 60 %, porosity: 30 %}
  particle_radius: 8 um
formation_loss: 8 %
separator: {thickness: 25 um, porosity: 45 %}
electrolyte: carbonate_1M
)";
}

bool assumes(const Sheet& sheet, const std::string& words) {
  for (const std::string& a : bench(sheet).assumptions) {
    if (a == words) return true;
  }
  return false;
}

const std::string of_diffusion =
    "negative: no activation energy given for diffusion in the grains of the negative: taken as zero, so that its "
    "value "
    "at 25 degC stands at every temperature";
const std::string of_transfer =
    "negative: no activation energy given for charge transfer at the grains of the negative: taken as zero, so that "
    "its "
    "value at 25 degC stands at every temperature";

}  // namespace

TEST_CASE("a missing activation energy is listed as assumed, also at 25 degC", "[params][temperature]") {
  const Sheet neither = sheets::sound(cards(""));
  CHECK(assumes(neither, of_diffusion));
  CHECK(assumes(neither, of_transfer));
  CHECK_FALSE(tells_of_temperature(neither));
  CHECK(unknown_over_temperature(neither) ==
        "diffusion in the grains of the negative and charge transfer at the grains of the negative");

  const Sheet one = sheets::sound(cards("    exchange_activation_energy: 40 kJ/mol\n"));
  CHECK(assumes(one, of_diffusion));
  CHECK_FALSE(assumes(one, of_transfer));
  CHECK(tells_of_temperature(one));
  CHECK(unknown_over_temperature(one) == "diffusion in the grains of the negative");

  const Sheet both =
      sheets::sound(cards("    exchange_activation_energy: 40 kJ/mol\n    diffusion_activation_energy: 30 kJ/mol\n"));
  CHECK(tells_of_temperature(both));
  CHECK(unknown_over_temperature(both).empty());

  // zero, stated, is as good as nothing: no process of a cell is as fast in the cold
  CHECK_FALSE(tells_of_temperature(
      sheets::sound(cards("    exchange_activation_energy: 0 kJ/mol\n    diffusion_activation_energy: 0 kJ/mol\n"))));
}

TEST_CASE("a formula that holds the temperature needs no activation energy", "[params][temperature]") {
  std::string text = cards("    exchange_activation_energy: 40 kJ/mol\n");
  const std::string number = "diffusion_coefficient: 1e-14 m2/s";
  text.replace(text.find(number), number.size(),
               "diffusion_coefficient: {expression: \"1e-14*exp(-3600*(1/T - 1/298.15))\", unit: m2/s}");
  CHECK(unknown_over_temperature(sheets::sound(text)).empty());
}

TEST_CASE("away from 25 degC a missing activation energy is a warning", "[params][temperature]") {
  const auto warned = [](const Sheet& sheet) {
    std::string all;
    for (const std::string& warning : bench(sheet).warnings) all += warning + "\n";
    return all;
  };
  CHECK_THAT(
      warned(sheets::sound(cards("    exchange_activation_energy: 40 kJ/mol\n", "-10 degC"))),
      HasText("at -10 degC the values of 25 degC stand for diffusion in the grains of the negative, since no "
              "activation energy is given: a real cell is slower in the cold, and quicker in the heat, than shown "
              "here"));
  CHECK_THAT(warned(sheets::sound(cards(""))), !HasText("activation energy"));
}

TEST_CASE("of the shipped sheets all hold what the cold needs to be told", "[params][temperature]") {
  for (const ShippedCard& card : shipped_cards()) {
    if (card.folder != "cells") continue;
    CAPTURE(card.name);
    const Loaded<Sheet> loaded = load_sheet(card.name);
    REQUIRE(loaded.value);
    CHECK(tells_of_temperature(*loaded.value));
    CHECK(unknown_over_temperature(*loaded.value).empty());
  }
}
