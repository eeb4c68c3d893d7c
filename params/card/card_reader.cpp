#include "params/card/card_reader.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/card/keys.hpp"
#include "params/keys/reader.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

/// A name where a card inside a sheet has none.
void name_it(std::string& name, const std::string& otherwise) {
  name = one_line(name);
  if (name.empty()) name = otherwise;
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

void read_formula(Fields& fields, Material& material) {
  const std::optional<std::string> formula = fields.text("formula");
  if (!formula) return;
  try {
    material.formula = parse_formula(*formula);
  } catch (const FormulaError& wrong) {
    fields.error("formula", wrong.what());
  }
}

std::optional<Material> read_material(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  const Node* role = fields.node("role");
  if (role != nullptr && role->text == "lithium_metal") {
    fields.error("role",
                 "lithium metal is a counter electrode, not a host of "
                 "grains; a host has the role positive or negative");
    return std::nullopt;
  }
  Material material;
  material.file = fields.reading().file;
  KeyReader reader(fields);
  keys(reader, material, with_version);
  reader.finish();
  name_it(material.name, material.formula ? material.formula->written : "unnamed");
  if (fields.reading().faults->errors() > before) return std::nullopt;

  if (material.crystal && !material.formula) {
    fields.missing("formula", "the chemical formula of which the unit cell holds 'formula_units'");
  } else if (!material.stated_maximum_concentration && !material.sites()) {
    if (material.formula) {
      fields.missing("lithium_sites",
                     "how many lithium one formula unit can take up; the "
                     "formula itself holds no lithium");
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
                   fmt::format("{:+.0f} % against the crystal, which gives {:.5g} mol/m3; only "
                               "its product with the "
                               "active fraction is sure then",
                               100 * (material.stated_maximum_concentration->si / *of_crystal - 1), *of_crystal));
  }
  return material;
}

std::optional<LithiumMetalCard> read_lithium_metal(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  const Node* role = fields.node("role");
  if (role != nullptr && (role->text == "positive" || role->text == "negative")) {
    fields.error("role",
                 "the counter electrode of a half cell is lithium "
                 "metal; expected 'lithium_metal'");
    return std::nullopt;
  }
  LithiumMetalCard card;
  card.file = fields.reading().file;
  KeyReader reader(fields);
  keys(reader, card, with_version);
  reader.finish();
  name_it(card.name, "lithium metal");
  if (fields.reading().faults->errors() > before) return std::nullopt;
  return card;
}

std::optional<ElectrolyteCard> read_electrolyte(Fields fields, bool with_version) {
  const int before = fields.reading().faults->errors();
  ElectrolyteCard card;
  card.file = fields.reading().file;
  KeyReader reader(fields);
  keys(reader, card, with_version);
  reader.finish();
  name_it(card.name, "electrolyte");
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
    sheet.missing(key,
                  "the name of an electrolyte card, such as "
                  "'carbonate_1M', or its mapping");
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
