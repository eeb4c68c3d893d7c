#pragma once

#include <fmt/format.h>

#include <cmath>
#include <string>

#include "params/card/keys.hpp"
#include "params/sheet/sheet.hpp"

/// Every key of a cell sheet, once: kind, limits, whether it is needed, what it means. See keys/tree.hpp.
///
/// The order is that in which for_each_value() visits; samples of plausible cells depend on it.
namespace onegrain::params {

/// Bounds beyond which a number is a slip of the unit rather than a cell.
namespace reason {
inline const Limits temperature = {.lower = coldest, .upper = hottest};
inline const Limits diameter = limits::between(1e-3, 1);
inline const Limits area = limits::between(1e-7, 1e3);
inline const Limits voltage = limits::between(-5, 10);
inline const Limits layer_thickness = limits::between(0.1e-6, 5e-3);
inline const Limits separator_thickness = limits::between(0.1e-6, 10e-3);
inline const Limits grain_radius = limits::between(1e-9, 1e-3);
inline const Limits grain_diameter = limits::between(2e-9, 2e-3);
inline const Limits loading = limits::between(1e-4, 10);
inline const Limits tortuosity = {.lower = 1, .upper = 1000};
inline const Limits inductance = limits::between(0, 1e-3);
inline const Limits accessible = {
    .lower = 0,
    .upper = 1.5,
    .lower_open = true,
    .reason = "must be greater than 0 and at most 150 %; it is above 100 % where a mass was measured too low"};
}  // namespace reason

// Densities of what holds a coating together, taken where the sheet is silent.
constexpr double carbon_black_density = 1950;   // [kg/m3] common practice: 1.9 to 2.0 g/cm3 for conductive carbon
                                                // black
constexpr double fluoropolymer_density = 1780;  // [kg/m3] common practice: poly(vinylidene fluoride), 1.78 g/cm3

/// What `coating` and `layer` both may say.
template <class V>
void keys_of_any_layer(V& v, ElectrodeSheet& e) {
  v.value("tortuosity", e.tortuosity, reason::tortuosity, "of the pores; otherwise porosity to the power -1/2");
  v.value("electronic_conductivity", e.electronic_conductivity, limits::positive,
          "of the solid of the layer as a whole; otherwise no voltage is lost in it");
}

template <class V>
void keys(V& v, Coating& c, ElectrodeSheet& e) {
  v.value("loading", c.loading, reason::loading, "dry coating mass per plate area, foil subtracted");
  v.value("coated_disc_mass", c.coated_disc_mass, limits::positive, "of one disc, foil and dry coating");
  v.value("foil_mass", c.foil_mass, limits::not_negative, "of the bare foil of one disc");
  v.value("disc_diameter", c.disc_diameter, reason::diameter, "of the weighed disc, if it is not that of the cell",
          "mm");
  v.alternatives(
      {.sets = {{{"loading"}}, {{"coated_disc_mass", "foil_mass"}, {"disc_diameter"}}},
       .several = "either 'loading', or 'coated_disc_mass' with 'foil_mass', not both",
       .none =
           "the dry coating mass per area, such as '11.8 mg/cm2', or 'coated_disc_mass' and 'foil_mass' of one disc",
       .partly = "a mass, such as '25.3 mg'; 'coated_disc_mass' and 'foil_mass' belong together"});
  v.reading([&](Fields& fields, bool) {
    if (!c.loading && c.coated_disc_mass && c.foil_mass && !(c.coated_disc_mass->si > c.foil_mass->si))
      fields.error("coated_disc_mass", "not more than the bare foil, " + show(c.foil_mass->si, MassKind::kind));
  });
  v.value("thickness", c.thickness, reason::layer_thickness, "of the coating after pressing, foil subtracted");
  Recipe& r = c.recipe;
  v.group("recipe", "mass fractions of the dry coating, such as {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}",
          "mass fractions of the dry coating; they add up to 100 %", [&](auto& parts) {
            parts.value("active", r.active, limits::positive_share, "active material", "wt%");
            parts.value("carbon", r.carbon, limits::share, "conductive carbon", "wt%");
            parts.value("binder", r.binder, limits::share, "binder", "wt%");
            parts.reading([&](Fields& fields, bool sound) {
              const double sum = r.active.si + r.carbon.si + r.binder.si;
              if (sound && std::abs(sum - 1) > 2e-3)
                fields.error_here(fmt::format("the parts add up to {:.4g} %, not 100 %", 100 * sum));
            });
          });
  v.group_or("densities", "densities, such as {carbon: 1.95 g/cm3, binder: 1.78 g/cm3}",
             "densities of what the recipe names", [&](auto& of) {
               of.value("active", r.active_density, reason::density, "otherwise from the card of the material");
               of.value_or("carbon", r.carbon_density, reason::density, carbon_black_density,
                           "common practice: conductive carbon black, 1.9 to 2.0 g/cm3", "conductive carbon");
               of.value_or("binder", r.binder_density, reason::density, fluoropolymer_density,
                           "common practice: poly(vinylidene fluoride)", "binder");
             });
  keys_of_any_layer(v, e);
}

template <class V>
void keys(V& v, Layer& l, ElectrodeSheet& e) {
  v.value("thickness", l.thickness, reason::layer_thickness, "of the layer, foil subtracted");
  v.value("active_fraction", l.active_fraction, limits::positive_share, "volume of active material");
  v.value("porosity", l.porosity, limits::open_share, "volume of pores");
  v.reading([&](Fields& fields, bool sound) {
    const double solid_and_pores = l.active_fraction.si + l.porosity.si;
    if (sound && solid_and_pores > 1 + 1e-9)
      fields.error("porosity", fmt::format("active material and pores fill {:.4g} % of the layer, more than all of it",
                                           100 * solid_and_pores));
  });
  keys_of_any_layer(v, e);
}

template <class V>
void keys(V& v, GrainSizes& g) {
  v.value("d10", g.d10, reason::grain_diameter, "a tenth of the volume is finer than this diameter");
  v.value("d50", g.d50, reason::grain_diameter, "half of the volume is finer than this diameter");
  v.value("d90", g.d90, reason::grain_diameter, "nine tenths of the volume are finer than this diameter");
  v.list("classes", g.written,
         {.one = "grains of one diameter",
          .missing = {},
          .expected = "expected a list of diameters with their shares of the volume",
          .one_expected = "expected a mapping such as {diameter: 8 um, volume: 25 %}",
          .needed = false},
         "diameters with their shares of the volume, which add up to 100 %", [](auto& of, WrittenClass& its) {
           of.value("diameter", its.diameter, reason::grain_diameter, "of the grains");
           of.value("volume", its.volume, limits::share, "their share of the volume");
         });
  v.text("table", &g.table, false, "", "a file beside the sheet with the columns 'diameter / um, volume / %'");
  v.text("counted", &g.counted, false, "", "a file beside the sheet with a counted grain in each row: 'diameter / um'");
  v.alternatives(
      {.sets = {{{"d10", "d50", "d90"}}, {{"classes"}}, {{"table"}}, {{"counted"}}},
       .several = "one of: 'd10', 'd50' and 'd90' together, 'classes', 'table', 'counted'",
       .none = "three diameters by volume, 'd10', 'd50' and 'd90', or 'classes', or a 'table', or 'counted' grains",
       .partly = "a diameter by volume, such as '10 um'; 'd10', 'd50' and 'd90' belong together"});
}

/// What only the whole electrode can tell.
void check_electrode(Fields& fields, ElectrodeSheet& electrode, std::optional<Role> expected);

/// One radius, or how large the grains are; the classes go with the radius that is made of them (R32), which is what
/// may be uncertain and what a study changes.
template <class V>
void keys_of_grains(V& v, ElectrodeSheet& e) {
  if (says(v, "grain_sizes")) {
    v.group("grain_sizes", e.grain_sizes, "diameters, such as {d10: 6 um, d50: 10 um, d90: 16 um}",
            "how large the grains are", [&](auto& of, GrainSizes& sizes) {
              keys(of, sizes);
              of.reading([&](Fields& fields, bool sound) {
                if (!sound) return;
                if (std::optional<Given<Length>> radius = radius_of_sizes(fields, sizes)) e.particle_radius = *radius;
              });
            });
    v.reading([&](Fields& fields, bool) {
      if (fields.node("particle_radius") != nullptr)
        fields.error("particle_radius", "either 'particle_radius' or 'grain_sizes', not both");
      e.particle_radius.path = fields.path_of("particle_radius");
    });
    return;
  }
  v.value("particle_radius", e.particle_radius, reason::grain_radius, "of the average grain, a sphere");
  if constexpr (!reads<V>) {
    if constexpr (!V::changes) {
      v.group("grain_sizes", e.grain_sizes, "", "instead of one radius, how large the grains are by volume",
              [&](auto& of, GrainSizes& sizes) { keys(of, sizes); });
    }
    v.alternatives({.sets = {{{"particle_radius"}}, {{"grain_sizes"}}}, .several = {}, .none = {}});
  }
}

template <class V>
void electrode_keys(V& v, const char* key, ElectrodeSheet& e, std::optional<Role> expected) {
  v.group(
      key, "an electrode: material, coating or layer, particle_radius",
      "what the bench or a paper knows of this electrode", [&](auto& of) {
        of.group("coating", e.coating, "loading, thickness and recipe", "as the bench knows it: weighed and measured",
                 [&](auto& in, Coating& coating) { keys(in, coating, e); });
        of.group("layer", e.layer, "thickness, active_fraction and porosity", "as a paper reports it: volumes",
                 [&](auto& in, Layer& layer) { keys(in, layer, e); });
        of.alternatives(
            {.sets = {{{"coating"}}, {{"layer"}}},
             .several = "either 'coating' or 'layer', not both",
             .none =
                 "'coating' (loading, thickness, recipe) or 'layer' (thickness, active_fraction, porosity) is missing",
             .about_the_whole = true});
        keys_of_grains(of, e);
        of.value_or(
            "accessible_fraction", e.accessible_fraction, reason::accessible, 1, "all of the host takes part",
            "share of the host that takes part: less where grains are lost or cut off, above 100 % where a mass was "
            "measured too low; masses and porosity stay as measured");
        of.value("double_layer", e.double_layer, reason::double_layer,
                 "capacitance per grain surface, felt by an impedance spectrum alone; otherwise that of the material");
        of.card("material", e.material, "graphite",
                "name of a material card beside the sheet, else of a shipped one; or the card itself");
        of.phases("phases", e.phases,
                  "of the active powder by mass, from diffraction: the host and second phases that take up no lithium");
        of.reading([&](Fields& fields, bool sound) {
          e.key = key;
          if (sound) check_electrode(fields, e, expected);
        });
      });
}

template <class V>
void half_cell_keys(V& v, Sheet& s) {
  electrode_keys(v, "working", s.positive, std::nullopt);
  v.reading([&](Fields& fields, bool) {
    for (const char* key : {"positive", "negative"}) {
      if (fields.node(key) != nullptr)
        fields.error(key, "a half cell has one 'working' electrode against lithium metal");
    }
    if (fields.node("formation_loss") != nullptr)
      fields.error("formation_loss", "belongs to a full cell; against lithium metal no lithium is short");
  });
  v.group_or("counter", "the counter electrode, such as {material: lithium_metal}",
             "the counter electrode; otherwise lithium metal of the shipped card", [&](auto& of) {
               of.card("material", s.counter, "lithium_metal", "name of a lithium metal card, or the card itself");
             });
}

template <class V>
void full_cell_keys(V& v, Sheet& s) {
  electrode_keys(v, "positive", s.positive, Role::positive);
  if (s.negative) electrode_keys(v, "negative", *s.negative, Role::negative);
  v.reading([&](Fields& fields, bool) {
    for (const char* key : {"working", "counter"}) {
      if (fields.node(key) != nullptr) fields.error(key, "belongs to a half cell; this sheet says 'full_cell'");
    }
  });
  v.value("formation_loss", s.formation_loss, {.lower = 0, .upper = 0.9},
          "share of the first charge whose lithium is bound for good");
}

/// Reads quantities, values, spreads and their correlation, each as long as the other.
void read_knowledge(Fields& fields, Sheet& sheet, JointKnowledge& known);

template <class V>
void keys_of_knowledge(V& v, JointKnowledge& known, Sheet& s) {
  v.row("of", true, "names of quantities, such as [negative.diffusion_time, contact_resistance]",
        "the quantities: diffusion_time, exchange_current_density or capacity of an electrode, lithium, "
        "contact_resistance, or a value by its path");
  v.row("values", true, "a value for each of them, such as [9600 s, 10 ohm.cm2]", "a value for each of them");
  v.row("spread", true, "a spread for each of them, such as [factor 1.2, 0.8 ohm.cm2]",
        "half-width of a 95 % interval of each of them, or a factor");
  v.table("correlation", false, "a row of numbers for each of them, such as [[1, -0.9], [-0.9, 1]]",
          "of the quantities with each other; otherwise none");
  v.text("source", &known.source, false, "", "where it comes from");
  v.reading([&](Fields& fields, bool sound) {
    if (sound) read_knowledge(fields, s, known);
  });
}

template <class V>
void keys(V& v, Sheet& s) {
  v.version("onegrain");
  v.text("name", &s.name, true, "a name for reports, such as 'coin cell 07'", "a name for reports");
  v.text("note", &s.note, false, "", "anything worth knowing");
  v.text("source", nullptr, false, "", "where the numbers come from");
  v.choice("arrangement", {"full_cell", "half_cell"}, "two hosts, or one against lithium metal",
           [&](std::size_t k) { s.arrangement = k == 0 ? Arrangement::full_cell : Arrangement::half_cell; });
  const bool half = !s.is_full_cell();
  v.value("temperature", s.temperature, reason::temperature, "of the cell at rest");
  v.value("disc_diameter", s.disc_diameter, reason::diameter, "of the smaller disc: the plate area of the cell", "mm");
  v.value("plate_area", s.stated_plate_area, reason::area, "instead of the diameter");
  v.alternatives({.sets = {{{"disc_diameter"}}, {{"plate_area"}}},
                  .several = "either 'disc_diameter' or 'plate_area', not both",
                  .none = "a length, such as '14 mm', or 'plate_area', such as '1.54 cm2'"});
  v.group("voltage_window", "two voltages, such as {lower: 2.8 V, upper: 4.2 V}", "cut-offs of the cell",
          [&](auto& window) {
            window.value("lower", s.lower_voltage, reason::voltage, "where the cell counts as empty");
            window.value("upper", s.upper_voltage, reason::voltage, "where it counts as full");
            window.reading([&](Fields& fields, bool) {
              if (s.lower_voltage.si >= s.upper_voltage.si)
                fields.error("lower", "not below the upper limit, " + show(s.upper_voltage.si, VoltageKind::kind));
            });
          });
  v.value("rated_capacity", s.rated_capacity, limits::positive,
          "of the cell: what 1C refers to; otherwise from the balance of the electrodes");
  v.value_or("contact_resistance", s.contact_resistance, limits::not_negative, 0, "not stated",
             "of contacts and leads, per plate area");
  v.value("inductance", s.inductance, reason::inductance,
          "of the leads, felt by an impedance spectrum alone; otherwise none");
  half ? half_cell_keys(v, s) : full_cell_keys(v, s);
  v.group(
      "charged_state", s.charged_state,
      half ? "a stoichiometry, such as {working: 0.27}" : "stoichiometries, such as {positive: 0.27, negative: 0.90}",
      "filled shares of the sites when the cell is full", [&](auto& state, ChargedState& charged) {
        state.value(half ? "working" : "positive", charged.positive, limits::open_share, "filled share of the sites");
        if (!half) state.needed("negative", charged.negative, limits::open_share, "filled share of the sites");
      });
  if (!half) {
    v.alternatives({.sets = {{{"formation_loss"}}, {{"charged_state"}}},
                    .several = "either 'formation_loss' or 'charged_state': each fixes how much lithium is left",
                    .none = "the share of the first charge that is lost, such as '8 %', or 'charged_state'"});
  }
  v.group("separator", "thickness and porosity, such as {thickness: 25 um, porosity: 45 %}",
          "what keeps the electrodes apart", [&](auto& of) {
            of.value("thickness", s.separator.thickness, reason::separator_thickness, "all sheets together");
            of.value("porosity", s.separator.porosity, limits::positive_share, "volume of pores");
            of.value("tortuosity", s.separator.tortuosity, reason::tortuosity,
                     "of the pores; otherwise porosity to the power -1/2");
          });
  v.card("electrolyte", s.electrolyte, "carbonate_1M",
         "name of an electrolyte card beside the sheet, else of a shipped one; or the card itself");
  v.group("thermal", s.thermal, "mass, heat_capacity, heat_transfer_coefficient and cooled_area",
          "lets the cell warm up; otherwise the temperature stays", [&](auto& of, ThermalSheet& heat) {
            of.value("mass", heat.mass, limits::positive, "of the cell", "g");
            of.value("heat_capacity", heat.heat_capacity, limits::between(50, 10000), "per mass");
            of.value("heat_transfer_coefficient", heat.heat_transfer_coefficient, limits::not_negative,
                     "to the surroundings, which have the temperature of the sheet");
            of.value("cooled_area", heat.cooled_area, limits::not_negative, "surface that gives the heat away");
          });
  v.list("knowledge", s.knowledge,
         {.one = "what one estimate tells",
          .missing = {},
          .expected = "expected a list, each part of it what one estimate tells: of, values, spread, correlation",
          .one_expected = "expected a mapping such as {of: [contact_resistance], values: [10 ohm.cm2], spread: [2 %]}",
          .needed = false},
         "what tests tell of several quantities together; goes before the spreads of the values they are made of",
         [&](auto& of, JointKnowledge& known) { keys_of_knowledge(of, known, s); });
}

}  // namespace onegrain::params
