#include "params/card/card_reader.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/card/property_reader.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

/// What no crystal, no powder and no electrolyte has: a slip of the unit shows here.
namespace reason {
const Limits lattice = limits::between(0.5e-10, 200e-10);
const Limits angle = {.lower = 0.1, .upper = 3.1};
const Limits density = limits::between(100, 25000);
const Limits concentration = limits::between(100, 400e3);
const Limits diffusivity = limits::between(1e-25, 1e-4);
const Limits exchange_current = limits::between(1e-8, 1e6);
const Limits activation_energy = limits::between(0, 300e3);
const Limits salt = limits::between(1, 10e3);
const Limits entropic = limits::between(-0.05, 0.05);
}  // namespace reason

void read_names(Fields& fields, std::string& name, std::string& note, std::string& source, const std::string& otherwise,
                bool with_version) {
  if (with_version || fields.has("name")) name = one_line(fields.required_text("name", "a name for reports"));
  if (name.empty()) name = otherwise;
  note = fields.text("note").value_or("");
  source = fields.text("source").value_or("");
  if (const std::optional<std::string> more = fields.text("attribution"))
    source += (source.empty() ? "" : "; ") + *more;
}

Given<MolarEnergy> activation_energy(Fields& fields, const std::string& key, const PropertyValue* property,
                                     const std::string& what) {
  std::optional<Given<MolarEnergy>> stated = fields.optional<MolarEnergy>(key, reason::activation_energy);
  if (stated) {
    if (property != nullptr && property->function && property->function->shape().depends_on_temperature &&
        stated->si != 0) {
      fields.error(key, "the expression holds the temperature already; an activation energy would count it twice");
    }
    return std::move(*stated);
  }
  return assumed<MolarEnergy>(0, fields.path_of(key), "not stated: " + what + " taken as independent of temperature");
}

void transfer_coefficients(Fields& fields, Given<Number>& anodic, Given<Number>& cathodic) {
  const std::string key = "transfer_coefficients";
  if (std::optional<Fields> pair = fields.mapping(key, "two numbers, such as {anodic: 0.5, cathodic: 0.5}")) {
    anodic = pair->required<Number>("anodic", limits::open_share);
    cathodic = pair->required<Number>("cathodic", limits::open_share);
    pair->finish();
    return;
  }
  anodic = assumed<Number>(0.5, fields.path_of(key + ".anodic"), "common practice: one half each");
  cathodic = assumed<Number>(0.5, fields.path_of(key + ".cathodic"), "common practice: one half each");
}

std::optional<Crystal> read_crystal(Fields& parent) {
  std::optional<Fields> fields =
      parent.mapping("crystal", "a unit cell, such as {system: cubic, a: 8.24 angstrom, formula_units: 8}");
  if (!fields) return std::nullopt;
  const int before = fields->reading().faults->errors();
  static const std::vector<std::string> names = {"cubic",    "tetragonal",   "orthorhombic", "hexagonal",
                                                 "trigonal", "rhombohedral", "monoclinic",   "triclinic"};
  const std::optional<std::string> name = fields->choice("system", names);
  Crystal crystal;
  crystal.a = fields->required<Length>("a", reason::lattice, "angstrom");
  crystal.formula_units = fields->required<Number>("formula_units", {.lower = 0, .upper = 1000, .lower_open = true});
  if (!name) {
    for (const char* key : {"b", "c", "alpha", "beta", "gamma"}) fields->node(key);
    return std::nullopt;
  }
  for (std::size_t k = 0; k < names.size(); ++k) {
    if (names[k] == *name) crystal.system = static_cast<CrystalSystem>(k);
  }
  const auto edge = [&](const char* key) { return fields->required<Length>(key, reason::lattice, "angstrom"); };
  const auto corner = [&](const char* key) { return fields->required<Angle>(key, reason::angle); };
  switch (crystal.system) {
    case CrystalSystem::cubic:
      break;
    case CrystalSystem::tetragonal:
    case CrystalSystem::hexagonal:
    case CrystalSystem::trigonal:
      crystal.c = edge("c");
      break;
    case CrystalSystem::rhombohedral:
      crystal.alpha = corner("alpha");
      break;
    case CrystalSystem::triclinic:
      crystal.alpha = corner("alpha");
      crystal.gamma = corner("gamma");
      [[fallthrough]];
    case CrystalSystem::monoclinic:
      crystal.beta = corner("beta");
      [[fallthrough]];
    case CrystalSystem::orthorhombic:
      crystal.b = edge("b");
      crystal.c = edge("c");
      break;
  }
  // What the system fixes may be repeated, if it is repeated truly.
  const auto fixed_edge = [&](const char* key, double right) {
    const std::optional<Given<Length>> given =
        fields->has(key) ? fields->optional<Length>(key, reason::lattice, "angstrom") : std::nullopt;
    if (given && std::abs(given->si - right) > 1e-6 * right)
      fields->error(key, "in a " + *name + " cell this equals a; leave it out");
  };
  const auto fixed_angle = [&](const char* key, double right_degrees) {
    const std::optional<Given<Angle>> given =
        fields->has(key) ? fields->optional<Angle>(key, reason::angle) : std::nullopt;
    if (given && std::abs(in_unit(given->si, "deg") - right_degrees) > 1e-6) {
      fields->error(key, fmt::format("in a {} cell this is {} deg; leave it out", *name, right_degrees));
    }
  };
  const bool hexagonal = crystal.system == CrystalSystem::hexagonal || crystal.system == CrystalSystem::trigonal;
  if (!crystal.b) fixed_edge("b", crystal.a.si);
  if (!crystal.c) fixed_edge("c", crystal.a.si);
  if (crystal.system != CrystalSystem::rhombohedral) {
    if (!crystal.alpha) fixed_angle("alpha", 90);
    if (!crystal.beta) fixed_angle("beta", 90);
    if (!crystal.gamma) fixed_angle("gamma", hexagonal ? 120 : 90);
  }
  fields->finish();
  if (fields->reading().faults->errors() > before) return std::nullopt;
  if (!(crystal.cell_volume() > 0)) {
    fields->error_here("no cell has these angles");
    return std::nullopt;
  }
  return crystal;
}

std::optional<StressCard> read_stress(Fields& parent) {
  std::optional<Fields> fields =
      parent.mapping("stress", "partial_molar_volume, youngs_modulus, poisson_ratio and fracture_strength");
  if (!fields) return std::nullopt;
  StressCard stress;
  stress.partial_molar_volume = fields->required<MolarVolume>("partial_molar_volume", limits::between(-20e-6, 20e-6));
  stress.youngs_modulus = fields->required<Pressure>("youngs_modulus", limits::between(1e6, 2e12), "GPa");
  stress.poisson_ratio = fields->required<Number>("poisson_ratio", {.lower = 0, .upper = 0.5, .upper_open = true});
  stress.fracture_strength = fields->required<Pressure>("fracture_strength", limits::between(1e4, 1e11), "MPa");
  fields->finish();
  return stress;
}

void read_potential(Fields& parent, PotentialCard& card) {
  std::optional<Fields> fields =
      parent.required_mapping("open_circuit_potential", "an 'expression' of x, or a 'table', against lithium metal");
  if (!fields) return;
  const PropertyRules rules = host_rules(VoltageKind::kind, limits::between(-5, 10));
  PropertyValue& potential = card.potential;
  potential.function = read_function(*fields, rules, true);
  potential.result = potential.kind = &VoltageKind::kind;
  potential.shifts = true;
  potential.si = 0;
  potential.path = fields->path();
  potential.place = fields->reading().at(fields->here().line, fields->here().column);
  potential.source = fields->text("source").value_or("");
  fields->text("note");
  if (const Entry* entry = fields->here().find("expression")) potential.written = entry->value.text;
  if (const Entry* entry = fields->here().find("table")) potential.written = entry->value.text;
  if (const Node* spread = fields->node("spread")) {
    potential.spread =
        read_spread(*spread, fields->path_of("spread"), VoltageKind::kind, std::nullopt, fields->reading());
    if (potential.spread.form == Spread::Form::factor)
      fields->error("spread", "a potential has no factor; expected a voltage, such as '5 mV'");
  }
  if (fields->node("scaled_by") != nullptr) {
    fields->error("scaled_by",
                  "a potential is not scaled: a voltage curve that is off by a factor has another expression or table");
  }
  if (potential.function) {
    card.lower = potential.function->shape().lower;
    card.upper = potential.function->shape().upper;
  }
  PropertyRules entropic = host_rules(EntropicCoefficientKind::kind, reason::entropic);
  entropic.temperature = false;
  card.entropic = read_property(*fields, "entropic_coefficient", entropic, false);
  if (card.entropic && potential.function && potential.function->shape().depends_on_temperature) {
    fields->error("entropic_coefficient", "the expression of the potential holds the temperature already");
  }
  fields->finish();
}

/// Puts the card that a key names, or holds, through `read`.
template <class Card>
std::optional<Card> card_of(Fields& sheet, const std::string& key, const std::string& name,
                            const std::string& shipped_folder, std::optional<Card> (*read)(Fields, bool)) {
  const DocumentReading& reading = sheet.reading();
  std::string problem;
  std::optional<FoundFile> found = find_card(name, reading.folder, reading.shipped, shipped_folder, problem);
  if (!found) {
    sheet.error(key, problem, nearest(name, shipped_names(shipped_folder)));
    return std::nullopt;
  }
  add_file(*reading.files, source_file(found->name, found->shipped, found->text, reading.file, name));
  DocumentReading inner = reading;
  inner.file = found->name;
  inner.folder = found->folder;
  inner.shipped = found->shipped;
  const std::optional<Node> document = read_document(found->text, found->name, *reading.faults);
  if (!document) return std::nullopt;
  std::optional<Card> card = read(Fields(*document, "", inner), true);
  if (card) card->card = name;
  return card;
}

template <class Card>
Loaded<Card> load_card(const std::string& name_or_path, const std::string& folder,
                       std::optional<Card> (*read)(Fields, bool)) {
  Loaded<Card> result;
  const std::optional<FoundFile> found = find_file(name_or_path, folder, result.faults);
  if (!found) return result;
  result.files.push_back(source_file(found->name, found->shipped, found->text));
  const DocumentReading reading{found->name,    found->folder, found->shipped,
                                &result.faults, &result.files, &result.assumptions};
  if (const std::optional<Node> document = read_document(found->text, found->name, result.faults)) {
    result.value = read(Fields(*document, "", reading), true);
    if (result.value) result.value->card = name_or_path;
  }
  if (result.faults.any_error()) result.value.reset();
  return result;
}

}  // namespace

void read_version(Fields& fields, const std::string& key) {
  const Node* node = fields.node(key);
  if (node == nullptr) {
    fields.missing(key, "'" + key + ": 1' at the top of the file");
    return;
  }
  if (node->text != "1") fields.error(key, "this program reads version 1");
}

std::optional<Material> read_material(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  if (with_version) read_version(fields, "onegrain_material");
  Material material;
  material.file = fields.reading().file;
  if (const std::optional<std::string> formula = fields.text("formula")) {
    try {
      material.formula = parse_formula(*formula);
    } catch (const FormulaError& wrong) {
      fields.error("formula", wrong.what());
    }
  }
  read_names(fields, material.name, material.note, material.source,
             material.formula ? material.formula->written : "unnamed", with_version);
  if (const std::optional<std::string> role = fields.choice("role", {"positive", "negative", "lithium_metal"})) {
    material.role = *role == "positive" ? Role::positive : *role == "negative" ? Role::negative : Role::lithium_metal;
    if (material.role == Role::lithium_metal) {
      fields.error(
          "role",
          "lithium metal is a counter electrode, not a host of grains; a host has the role positive or negative");
      return std::nullopt;
    }
  }
  material.lithium_sites = fields.optional<Number>("lithium_sites", {.lower = 0, .upper = 100, .lower_open = true});
  material.crystal = read_crystal(fields);
  material.stated_density = fields.optional<Density>("density", reason::density);
  material.stated_maximum_concentration =
      fields.optional<SiteConcentration>("maximum_concentration", reason::concentration);
  read_potential(fields, material.open_circuit_potential);

  const auto take = [](PropertyValue& target, std::optional<PropertyValue> found) {
    if (found) target = std::move(*found);
  };
  take(material.diffusion_coefficient,
       read_property(fields, "diffusion_coefficient", host_rules(DiffusivityKind::kind, reason::diffusivity), true));
  PropertyRules exchange = host_rules(CurrentDensityKind::kind, reason::exchange_current);
  exchange.composition = "";
  take(material.exchange_current_density, read_property(fields, "exchange_current_density", exchange, true));
  material.diffusion_activation_energy =
      activation_energy(fields, "diffusion_activation_energy", &material.diffusion_coefficient, "diffusion");
  material.exchange_activation_energy = activation_energy(
      fields, "exchange_activation_energy", &material.exchange_current_density, "the exchange current density");
  transfer_coefficients(fields, material.anodic_transfer, material.cathodic_transfer);
  material.stress = read_stress(fields);
  fields.finish();
  if (fields.reading().faults->errors() > before) return std::nullopt;

  if (material.crystal && !material.formula) {
    fields.missing("formula", "the chemical formula of which the unit cell holds 'formula_units'");
  } else if (!material.stated_maximum_concentration && !material.sites()) {
    if (material.formula) {
      fields.missing("lithium_sites",
                     "how many lithium one formula unit can take up; the formula itself holds no lithium");
    } else {
      fields.missing("maximum_concentration", "it, such as '50000 mol/m3', or a formula and a crystal");
    }
  } else if (!material.stated_maximum_concentration && !material.crystal &&
             !(material.stated_density && material.formula)) {
    fields.missing("crystal", "a unit cell, or 'density', or 'maximum_concentration'");
  }
  if (fields.reading().faults->errors() > before) return std::nullopt;

  const std::optional<double> of_crystal = material.crystal_concentration();
  if (of_crystal && material.stated_maximum_concentration &&
      std::abs(material.stated_maximum_concentration->si / *of_crystal - 1) > 0.1) {
    fields.warning("maximum_concentration",
                   fmt::format("{:+.0f} % against the crystal, which gives {:.5g} mol/m3; only its product with the "
                               "active fraction is sure then",
                               100 * (material.stated_maximum_concentration->si / *of_crystal - 1), *of_crystal));
  }
  return material;
}

std::optional<LithiumMetalCard> read_lithium_metal(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  if (with_version) read_version(fields, "onegrain_material");
  LithiumMetalCard card;
  card.file = fields.reading().file;
  read_names(fields, card.name, card.note, card.source, "lithium metal", with_version);
  const std::optional<std::string> role = fields.choice("role", {"positive", "negative", "lithium_metal"});
  if (role && *role != "lithium_metal") {
    fields.error("role", "the counter electrode of a half cell is lithium metal; expected 'lithium_metal'");
    return std::nullopt;
  }
  fields.text("formula");
  PropertyRules exchange = host_rules(CurrentDensityKind::kind, reason::exchange_current);
  exchange.composition = "";
  if (std::optional<PropertyValue> found = read_property(fields, "exchange_current_density", exchange, true))
    card.exchange_current_density = std::move(*found);
  card.exchange_activation_energy = activation_energy(fields, "exchange_activation_energy",
                                                      &card.exchange_current_density, "the exchange current density");
  transfer_coefficients(fields, card.anodic_transfer, card.cathodic_transfer);
  fields.finish();
  if (fields.reading().faults->errors() > before) return std::nullopt;
  return card;
}

std::optional<ElectrolyteCard> read_electrolyte(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  if (with_version) read_version(fields, "onegrain_electrolyte");
  ElectrolyteCard card;
  card.file = fields.reading().file;
  read_names(fields, card.name, card.note, card.source, "electrolyte", with_version);
  card.concentration = fields.required<Concentration>("concentration", reason::salt);
  const auto take = [&](PropertyValue& target, const char* key, const Kind& kind, const Limits& bounds) {
    if (std::optional<PropertyValue> found = read_property(fields, key, electrolyte_rules(kind, bounds), true))
      target = std::move(*found);
  };
  take(card.conductivity, "conductivity", ConductivityKind::kind, limits::between(0, 1000));
  take(card.diffusion_coefficient, "diffusion_coefficient", DiffusivityKind::kind, limits::between(1e-16, 1e-6));
  take(card.transference_number, "transference_number", NumberKind::kind, limits::between(-1, 1));
  take(card.thermodynamic_factor, "thermodynamic_factor", NumberKind::kind, limits::between(1e-3, 100));
  card.conductivity_activation_energy =
      activation_energy(fields, "conductivity_activation_energy", &card.conductivity, "the conductivity");
  card.diffusion_activation_energy =
      activation_energy(fields, "diffusion_activation_energy", &card.diffusion_coefficient, "salt diffusion");
  fields.finish();
  if (fields.reading().faults->errors() > before) return std::nullopt;

  const double c = card.concentration.si;
  for (const auto& [key, property] :
       {std::pair("conductivity", &card.conductivity), std::pair("diffusion_coefficient", &card.diffusion_coefficient),
        std::pair("transference_number", &card.transference_number),
        std::pair("thermodynamic_factor", &card.thermodynamic_factor)}) {
    if (property->function && property->function->shape().depends_on_composition &&
        (c < property->function->shape().lower || c > property->function->shape().upper)) {
      fields.error("concentration",
                   fmt::format("outside the range of '{}', {:.4g} to {:.4g} mol/L", key,
                               1e-3 * property->function->shape().lower, 1e-3 * property->function->shape().upper));
    }
  }
  const double conductivity = card.conductivity.at(c, 298.15);
  if (fields.reading().faults->errors() == before && !(conductivity > 1e-6))
    fields.error("conductivity", "no conductivity at the concentration of the card");
  if (fields.reading().faults->errors() > before) return std::nullopt;
  return card;
}

std::optional<Material> material_of(Fields& sheet, const std::string& key) {
  const Node* node = sheet.node(key);
  if (node != nullptr && node->type == Node::Type::mapping) {
    std::optional<Material> material = read_material(Fields(*node, sheet.path_of(key), sheet.reading()), false);
    if (material) material->card = "(on the sheet)";
    return material;
  }
  if (node == nullptr) {
    sheet.missing(key, "the name of a material card, such as 'graphite'");
    return std::nullopt;
  }
  const std::optional<std::string> name = sheet.text(key);
  return name ? card_of<Material>(sheet, key, *name, "materials", read_material) : std::nullopt;
}

std::optional<LithiumMetalCard> lithium_metal_of(Fields& sheet, const std::string& key,
                                                 const std::string& name_if_absent) {
  const Node* node = sheet.node(key);
  if (node != nullptr && node->type == Node::Type::mapping) {
    std::optional<LithiumMetalCard> card =
        read_lithium_metal(Fields(*node, sheet.path_of(key), sheet.reading()), false);
    if (card) card->card = "(on the sheet)";
    return card;
  }
  const std::optional<std::string> name = node == nullptr ? std::optional(name_if_absent) : sheet.text(key);
  return name ? card_of<LithiumMetalCard>(sheet, key, *name, "materials", read_lithium_metal) : std::nullopt;
}

std::optional<ElectrolyteCard> electrolyte_of(Fields& sheet, const std::string& key) {
  const Node* node = sheet.node(key);
  if (node != nullptr && node->type == Node::Type::mapping) {
    std::optional<ElectrolyteCard> card = read_electrolyte(Fields(*node, sheet.path_of(key), sheet.reading()), false);
    if (card) card->card = "(on the sheet)";
    return card;
  }
  if (node == nullptr) {
    sheet.missing(key, "the name of an electrolyte card, such as 'carbonate_1M', or its mapping");
    return std::nullopt;
  }
  const std::optional<std::string> name = sheet.text(key);
  return name ? card_of<ElectrolyteCard>(sheet, key, *name, "electrolytes", read_electrolyte) : std::nullopt;
}

Loaded<Material> load_material(const std::string& name_or_path) {
  return load_card<Material>(name_or_path, "materials", read_material);
}
Loaded<LithiumMetalCard> load_lithium_metal(const std::string& name_or_path) {
  return load_card<LithiumMetalCard>(name_or_path, "materials", read_lithium_metal);
}
Loaded<ElectrolyteCard> load_electrolyte(const std::string& name_or_path) {
  return load_card<ElectrolyteCard>(name_or_path, "electrolytes", read_electrolyte);
}

std::vector<ShippedCard> shipped_cards() {
  std::vector<ShippedCard> cards;
  for (const char* folder : {"materials", "electrolytes", "cells"}) {
    for (const std::string& name : shipped_names(folder)) {
      ShippedCard card{folder, name, name, std::string(embedded_file(std::string(folder) + "/" + name + ".yaml"))};
      Faults faults;
      const std::optional<Node> document = read_document(card.text, name, faults);
      const Entry* title = document ? document->find("name") : nullptr;
      if (title != nullptr) card.title = title->value.text;
      cards.push_back(std::move(card));
    }
  }
  return cards;
}

}  // namespace onegrain::params
