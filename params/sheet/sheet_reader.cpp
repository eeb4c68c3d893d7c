#include <fmt/format.h>

#include <cmath>

#include "params/card/card_reader.hpp"
#include "params/sheet/sheet.hpp"
#include "params/sheet/temperature.hpp"
#include "params/text/fields.hpp"
#include "params/text/library.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

/// Bounds beyond which a number is a slip of the unit rather than a cell.
namespace reason {
const Limits temperature = {.lower = 273.15 - 60, .upper = 273.15 + 150};
const Limits diameter = limits::between(1e-3, 1);
const Limits area = limits::between(1e-7, 1e3);
const Limits voltage = limits::between(-5, 10);
const Limits layer_thickness = limits::between(0.1e-6, 5e-3);
const Limits separator_thickness = limits::between(0.1e-6, 10e-3);
const Limits grain_radius = limits::between(1e-9, 1e-3);
const Limits loading = limits::between(1e-4, 10);
const Limits density = limits::between(100, 25000);
const Limits tortuosity = {.lower = 1, .upper = 1000};
const Limits accessible = {
    .lower = 0,
    .upper = 1.5,
    .lower_open = true,
    .reason = "must be greater than 0 and at most 150 %; it is above 100 % where a mass was measured too low"};
}  // namespace reason

// Densities of what holds a coating together, taken where the sheet is silent.
constexpr double carbon_black_density = 1950;   // [kg/m3] common practice: 1.9 to 2.0 g/cm3 for conductive carbon black
constexpr double fluoropolymer_density = 1780;  // [kg/m3] common practice: poly(vinylidene fluoride), 1.78 g/cm3

Recipe read_recipe(Fields& coating, const std::string& electrode, bool& good) {
  Recipe recipe;
  const int before = coating.reading().faults->errors();
  if (std::optional<Fields> parts = coating.required_mapping(
          "recipe", "mass fractions of the dry coating, such as {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}")) {
    recipe.active = parts->required<Fraction>("active", limits::positive_share, "wt%");
    recipe.carbon = parts->required<Fraction>("carbon", limits::share, "wt%");
    recipe.binder = parts->required<Fraction>("binder", limits::share, "wt%");
    parts->finish();
    const double sum = recipe.active.si + recipe.carbon.si + recipe.binder.si;
    if (coating.reading().faults->errors() == before && std::abs(sum - 1) > 2e-3) {
      parts->error_here(fmt::format("the parts add up to {:.4g} %, not 100 %", 100 * sum));
    }
  }
  std::optional<Given<Density>> carbon, binder;
  if (std::optional<Fields> densities =
          coating.mapping("densities", "densities, such as {carbon: 1.95 g/cm3, binder: 1.78 g/cm3}")) {
    recipe.active_density = densities->optional<Density>("active", reason::density);
    carbon = densities->optional<Density>("carbon", reason::density);
    binder = densities->optional<Density>("binder", reason::density);
    densities->finish();
  }
  const std::string path = coating.path_of("densities");
  recipe.carbon_density = carbon ? *carbon
                                 : assumed<Density>(carbon_black_density, path + ".carbon",
                                                    "common practice: conductive carbon black, 1.9 to 2.0 g/cm3");
  recipe.binder_density =
      binder ? *binder
             : assumed<Density>(fluoropolymer_density, path + ".binder", "common practice: poly(vinylidene fluoride)");
  if (!carbon && recipe.carbon.si > 0) {
    coating.reading().assumptions->push_back(fmt::format(
        "{}: density of the carbon {} (carbon black, common practice; 'densities: {{carbon: ...}}' states another)",
        electrode, show(carbon_black_density, DensityKind::kind)));
  }
  if (!binder && recipe.binder.si > 0) {
    coating.reading().assumptions->push_back(
        fmt::format("{}: density of the binder {} (poly(vinylidene fluoride), common practice; 'densities: {{binder: "
                    "...}}' states another)",
                    electrode, show(fluoropolymer_density, DensityKind::kind)));
  }
  good = coating.reading().faults->errors() == before;
  return recipe;
}

Coating read_coating(Fields& fields, const std::string& electrode, bool& good) {
  Coating coating;
  const Faults& faults = *fields.reading().faults;
  const int before = faults.errors();
  coating.loading = fields.optional<Loading>("loading", reason::loading);
  coating.coated_disc_mass = fields.optional<Mass>("coated_disc_mass", limits::positive);
  coating.foil_mass = fields.optional<Mass>("foil_mass", limits::not_negative);
  coating.disc_diameter = fields.optional<Length>("disc_diameter", reason::diameter, "mm");
  if (fields.has("loading")) {
    for (const char* key : {"coated_disc_mass", "foil_mass", "disc_diameter"}) {
      if (fields.has(key)) fields.error(key, "either 'loading', or 'coated_disc_mass' with 'foil_mass', not both");
    }
  } else if (!fields.has("coated_disc_mass") && !fields.has("foil_mass")) {
    fields.missing(
        "loading",
        "the dry coating mass per area, such as '11.8 mg/cm2', or 'coated_disc_mass' and 'foil_mass' of one disc");
  } else {
    for (const char* key : {"coated_disc_mass", "foil_mass"}) {
      if (!fields.has(key))
        fields.missing(key, "a mass, such as '25.3 mg'; 'coated_disc_mass' and 'foil_mass' belong together");
    }
    if (coating.coated_disc_mass && coating.foil_mass && !(coating.coated_disc_mass->si > coating.foil_mass->si)) {
      fields.error("coated_disc_mass", "not more than the bare foil, " + show(coating.foil_mass->si, MassKind::kind));
    }
  }
  coating.thickness = fields.required<Length>("thickness", reason::layer_thickness);
  bool recipe_good = true;
  coating.recipe = read_recipe(fields, electrode, recipe_good);
  good = faults.errors() == before && recipe_good;
  return coating;
}

Layer read_layer(Fields& fields, bool& good) {
  const int before = fields.reading().faults->errors();
  Layer layer;
  layer.thickness = fields.required<Length>("thickness", reason::layer_thickness);
  layer.active_fraction = fields.required<Fraction>("active_fraction", limits::positive_share);
  layer.porosity = fields.required<Fraction>("porosity", limits::open_share);
  good = fields.reading().faults->errors() == before;
  if (good && layer.active_fraction.si + layer.porosity.si > 1 + 1e-9) {
    fields.error("porosity", fmt::format("active material and pores fill {:.4g} % of the layer, more than all of it",
                                         100 * (layer.active_fraction.si + layer.porosity.si)));
    good = false;
  }
  return layer;
}

std::optional<ElectrodeSheet> read_electrode(Fields& sheet, const std::string& key, std::optional<Role> expected) {
  std::optional<Fields> fields =
      sheet.required_mapping(key, "an electrode: material, coating or layer, particle_radius");
  if (!fields) return std::nullopt;
  const DocumentReading& reading = fields->reading();
  const int before = reading.faults->errors();
  ElectrodeSheet electrode;
  electrode.key = key;
  std::optional<Material> material = material_of(*fields, "material");
  bool form_good = true;
  const auto common = [&](Fields& form) {
    electrode.tortuosity = form.optional<Number>("tortuosity", reason::tortuosity);
    electrode.electronic_conductivity = form.optional<Conductivity>("electronic_conductivity", limits::positive);
    form.finish();
  };
  if (fields->has("coating") == fields->has("layer")) {
    fields->node("coating");
    fields->node("layer");
    fields->error_here(
        fields->has("layer")
            ? "either 'coating' or 'layer', not both"
            : "'coating' (loading, thickness, recipe) or 'layer' (thickness, active_fraction, porosity) is missing");
    form_good = false;
  } else if (std::optional<Fields> coating = fields->mapping("coating", "loading, thickness and recipe")) {
    electrode.coating = read_coating(*coating, key, form_good);
    common(*coating);
  } else if (std::optional<Fields> layer = fields->mapping("layer", "thickness, active_fraction and porosity")) {
    electrode.layer = read_layer(*layer, form_good);
    common(*layer);
  }
  for (const char* form : {"coating", "layer"}) fields->node(form);
  electrode.particle_radius = fields->required<Length>("particle_radius", reason::grain_radius);
  electrode.accessible_fraction.path = fields->path_of("accessible_fraction");
  if (std::optional<Given<Fraction>> share = fields->optional<Fraction>("accessible_fraction", reason::accessible))
    electrode.accessible_fraction = std::move(*share);
  fields->finish();
  if (!material || reading.faults->errors() > before) return std::nullopt;
  electrode.material = std::move(*material);

  if (electrode.coating && !electrode.material.density() && !electrode.coating->recipe.active_density) {
    fields->error(
        "material",
        "a coating needs the density of the material: its card must give 'density', or 'crystal' with 'formula'");
    return std::nullopt;
  }
  if (expected && electrode.material.role != *expected) {
    fields->warning("material", fmt::format("a material for the {} electrode stands in the {} one",
                                            *expected == Role::positive ? "negative" : "positive", key));
  }
  if (electrode.particle_radius.si > 0.5 * electrode.thickness()) {
    fields->warning("particle_radius", fmt::format("a grain of {} across does not fit a layer of {}",
                                                   show(2 * electrode.particle_radius.si, LengthKind::kind),
                                                   show(electrode.thickness(), LengthKind::kind)));
  }
  return electrode;
}

/// Assumptions about one electrode that hold whatever its form.
void note_assumptions(const ElectrodeSheet& electrode, double area, std::vector<std::string>& assumptions) {
  const std::string& key = electrode.key;
  if (!electrode.tortuosity && electrode.porosity(area) > 0) {
    assumptions.push_back(fmt::format("{}: tortuosity {:.3g}, porosity to the power -1/2 (common practice)", key,
                                      electrode.tortuosity_value(area)));
  }
  const Material& material = electrode.material;
  if (!electrode.electronic_conductivity)
    assumptions.push_back(key + ": no electronic conductivity stated, so no voltage is lost in the solid of the layer");
  const std::optional<double> sites = material.sites();
  if (!material.lithium_sites && sites && !material.stated_maximum_concentration) {
    assumptions.push_back(
        fmt::format("{}: {:.4g} lithium sites per {}, counted in the formula", key, *sites, material.formula->written));
  }
  if (material.anodic_transfer.origin == Origin::assumed)
    assumptions.push_back(key + ": transfer coefficients one half each (common practice)");
}

std::optional<Sheet> read_fields(Fields& fields, const DocumentReading& reading) {
  Faults& faults = *reading.faults;
  Sheet sheet;
  sheet.file = reading.file;
  read_version(fields, "onegrain");
  sheet.name = one_line(fields.required_text("name", "a name for reports, such as 'coin cell 07'"));
  sheet.note = fields.text("note").value_or("");
  fields.text("source");
  const std::optional<std::string> arrangement = fields.choice("arrangement", {"full_cell", "half_cell"});
  // Which electrodes are read where 'arrangement' cannot be: whatever the sheet looks like.
  const bool half = arrangement ? *arrangement == "half_cell" : fields.has("working");
  sheet.arrangement = half ? Arrangement::half_cell : Arrangement::full_cell;
  sheet.temperature = fields.required<Temperature>("temperature", reason::temperature);

  sheet.disc_diameter = fields.optional<Length>("disc_diameter", reason::diameter, "mm");
  sheet.stated_plate_area = fields.optional<Area>("plate_area", reason::area);
  if (fields.has("disc_diameter") && fields.has("plate_area")) {
    fields.error("plate_area", "either 'disc_diameter' or 'plate_area', not both");
  } else if (!fields.has("disc_diameter") && !fields.has("plate_area")) {
    fields.missing("disc_diameter", "a length, such as '14 mm', or 'plate_area', such as '1.54 cm2'");
  }

  sheet.lower_voltage.si = sheet.upper_voltage.si = std::nan("");
  if (std::optional<Fields> window =
          fields.required_mapping("voltage_window", "two voltages, such as {lower: 2.8 V, upper: 4.2 V}")) {
    sheet.lower_voltage = window->required<Voltage>("lower", reason::voltage);
    sheet.upper_voltage = window->required<Voltage>("upper", reason::voltage);
    window->finish();
    if (sheet.lower_voltage.si >= sheet.upper_voltage.si) {
      window->error("lower", "not below the upper limit, " + show(sheet.upper_voltage.si, VoltageKind::kind));
    }
  }
  sheet.rated_capacity = fields.optional<Charge>("rated_capacity", limits::positive);
  const std::optional<Given<ArealResistance>> contact =
      fields.optional<ArealResistance>("contact_resistance", limits::not_negative);
  sheet.contact_resistance = contact ? *contact : assumed<ArealResistance>(0, "contact_resistance", "not stated");
  if (!contact && !fields.has("contact_resistance"))
    reading.assumptions->push_back("contact resistance 0: none stated");

  std::optional<ElectrodeSheet> first, second;
  if (half) {
    first = read_electrode(fields, "working", std::nullopt);
    for (const char* key : {"positive", "negative"}) {
      if (fields.has(key)) {
        fields.node(key);
        fields.error(key, "a half cell has one 'working' electrode against lithium metal");
      }
    }
    if (fields.has("formation_loss")) {
      fields.node("formation_loss");
      fields.error("formation_loss", "belongs to a full cell; against lithium metal no lithium is short");
    }
    if (std::optional<Fields> counter =
            fields.mapping("counter", "the counter electrode, such as {material: lithium_metal}")) {
      sheet.counter = lithium_metal_of(*counter, "material", "lithium_metal");
      counter->finish();
    } else if (!fields.has("counter")) {
      sheet.counter = lithium_metal_of(fields, "counter", "lithium_metal");
      reading.assumptions->push_back("counter electrode: lithium metal of the shipped card 'lithium_metal'");
    }
  } else {
    first = read_electrode(fields, "positive", Role::positive);
    second = read_electrode(fields, "negative", Role::negative);
    for (const char* key : {"working", "counter"}) {
      if (fields.has(key)) {
        fields.node(key);
        fields.error(key, "belongs to a half cell; this sheet says 'full_cell'");
      }
    }
    sheet.formation_loss = fields.optional<Fraction>("formation_loss", {.lower = 0, .upper = 0.9});
  }
  if (std::optional<Fields> state =
          fields.mapping("charged_state", half ? "a stoichiometry, such as {working: 0.27}"
                                               : "stoichiometries, such as {positive: 0.27, negative: 0.90}")) {
    ChargedState charged;
    charged.positive = state->required<Fraction>(half ? "working" : "positive", limits::open_share);
    if (!half) charged.negative = state->required<Fraction>("negative", limits::open_share);
    state->finish();
    sheet.charged_state = charged;
    if (sheet.formation_loss)
      fields.error("charged_state", "either 'formation_loss' or 'charged_state': each fixes how much lithium is left");
  } else if (!half && !fields.has("formation_loss") && !fields.has("charged_state")) {
    fields.missing("formation_loss", "the share of the first charge that is lost, such as '8 %', or 'charged_state'");
  }

  if (std::optional<Fields> separator =
          fields.required_mapping("separator", "thickness and porosity, such as {thickness: 25 um, porosity: 45 %}")) {
    sheet.separator.thickness = separator->required<Length>("thickness", reason::separator_thickness);
    sheet.separator.porosity = separator->required<Fraction>("porosity", limits::positive_share);
    sheet.separator.tortuosity = separator->optional<Number>("tortuosity", reason::tortuosity);
    separator->finish();
    if (!separator->has("tortuosity"))
      reading.assumptions->push_back("separator: tortuosity as porosity to the power -1/2 (common practice)");
  }
  std::optional<ElectrolyteCard> electrolyte = electrolyte_of(fields, "electrolyte");
  if (std::optional<Fields> thermal =
          fields.mapping("thermal", "mass, heat_capacity, heat_transfer_coefficient and cooled_area")) {
    ThermalSheet heat;
    heat.mass = thermal->required<Mass>("mass", limits::positive, "g");
    heat.heat_capacity = thermal->required<SpecificHeat>("heat_capacity", limits::between(50, 10000));
    heat.heat_transfer_coefficient = thermal->required<HeatTransfer>("heat_transfer_coefficient", limits::not_negative);
    heat.cooled_area = thermal->required<Area>("cooled_area", limits::not_negative);
    thermal->finish();
    sheet.thermal = heat;
  }
  fields.finish();
  if (faults.any_error() || !first || !electrolyte) return std::nullopt;
  sheet.positive = std::move(*first);
  sheet.negative = std::move(second);
  sheet.electrolyte = std::move(*electrolyte);
  return sheet;
}

/// What only the whole sheet can tell: pores, balance, formulas at the temperature of the sheet.
void check_physics(Fields& fields, const Sheet& sheet, Faults& faults) {
  const double area = sheet.plate_area();
  for (const ElectrodeSheet* electrode : {&sheet.positive, sheet.negative ? &*sheet.negative : nullptr}) {
    if (electrode == nullptr || !electrode->coating) continue;
    const double porosity = electrode->porosity(area);
    const Coating& coating = *electrode->coating;
    if (porosity > 0.01) continue;
    faults.warning(coating.thickness.place, coating.thickness.path, coating.thickness.written,
                   fmt::format("the solids of a loading of {} need {} without any pores: the porosity would be {:.3g} "
                               "%; measure the loading and the thickness again",
                               show(*electrode->loading(area), LoadingKind::kind, 4),
                               show(electrode->thickness() * (1 - porosity), LengthKind::kind, 4), 100 * porosity));
  }
  try {
    const model::Cell cell = to_cell_of_any_porosity(sheet);
    model::equilibrium_window(cell);
  } catch (const model::ImpossibleBalance& impossible) {
    std::string hint;
    if (sheet.is_full_cell() && sheet.formation_loss) {
      hint = "; measure loading and thickness of both coatings again";
    } else if (sheet.is_full_cell()) {
      hint = "; check 'charged_state'";
    }
    fields.error("voltage_window", std::string(impossible.what()) + hint);
  } catch (const std::domain_error& not_finite) {
    fields.error("temperature", std::string("a formula of a card cannot be used at this temperature (") +
                                    not_finite.what() + "); give its 'range', or a temperature nearer 25 degC");
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception& other) {
    fields.error("name", std::string("no cell can be made of this sheet: ") + other.what());
  }
}

Loaded<Sheet> read_found(const FoundFile& found) {
  Loaded<Sheet> result;
  result.files.push_back(source_file(found.name, found.shipped, found.text));
  const DocumentReading reading{found.name,     found.folder,  found.shipped,
                                &result.faults, &result.files, &result.assumptions};
  const std::optional<Node> document = read_document(found.text, found.name, result.faults);
  if (!document) return result;
  Fields fields(*document, "", reading);
  std::optional<Sheet> sheet = read_fields(fields, reading);
  if (!sheet || result.faults.any_error()) return result;
  check_physics(fields, *sheet, result.faults);
  if (result.faults.any_error()) return result;
  note_assumptions(sheet->positive, sheet->plate_area(), result.assumptions);
  if (sheet->negative) note_assumptions(*sheet->negative, sheet->plate_area(), result.assumptions);
  for (const ThermalProcess& process : thermal_processes(*sheet)) {
    if (process.known) continue;
    result.assumptions.push_back(process.key + ": no activation energy given for " + process.name +
                                 ": taken as zero, so that its value at 25 degC stands at every temperature");
  }
  sheet->assumptions = result.assumptions;
  sheet->files = result.files;
  result.value = std::move(sheet);
  return result;
}

}  // namespace

Loaded<Sheet> load_sheet(const std::string& path) {
  Loaded<Sheet> nothing;
  const std::optional<FoundFile> found = find_file(path, "cells", nothing.faults);
  return found ? read_found(*found) : nothing;
}

Loaded<Sheet> read_sheet(const std::string& text, const std::string& file, const std::string& folder) {
  return read_found({text, file, folder, false});
}

}  // namespace onegrain::params
