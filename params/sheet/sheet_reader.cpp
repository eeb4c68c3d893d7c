#include <fmt/format.h>

#include <cmath>

#include "params/keys/reader.hpp"
#include "params/keys/walk.hpp"
#include "params/sheet/keys.hpp"
#include "params/sheet/knowledge.hpp"
#include "params/sheet/sheet.hpp"
#include "params/sheet/temperature.hpp"
#include "params/text/fields.hpp"
#include "params/text/library.hpp"
#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

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
  if (electrode.grain_sizes) {
    const GrainSizes& sizes = *electrode.grain_sizes;
    assumptions.push_back(fmt::format(
        "{}: grain sizes: {}, as {} that keep the surface and the mean square of the radii", key,
        one_line(sizes.made_of),
        sizes.classes.size() == 1 ? std::string("one class") : fmt::format("{} classes", sizes.classes.size())));
    if (!sizes.note.empty()) assumptions.push_back(key + ": " + sizes.note);
  }
  if (electrode.phases) {
    for (const SecondPhase& phase : electrode.phases->others) {
      assumptions.push_back(fmt::format("{}: density of {} {} ({}); it takes up no lithium", key, one_line(phase.name),
                                        show(phase.density, DensityKind::kind, 4), phase.source));
    }
  }
  if (material.anodic_transfer.origin == Origin::assumed)
    assumptions.push_back(key + ": transfer coefficients one half each (common practice)");
}

/// What reading took for granted.
void note_defaults(const Sheet& sheet, std::vector<std::string>& assumptions) {
  const auto is_assumed = [](const Value& value) { return value.origin == Origin::assumed; };
  if (is_assumed(sheet.contact_resistance)) assumptions.push_back("contact resistance 0: none stated");
  for (const ElectrodeSheet* electrode : {&sheet.positive, sheet.negative ? &*sheet.negative : nullptr}) {
    if (electrode == nullptr || !electrode->coating) continue;
    const Recipe& recipe = electrode->coating->recipe;
    if (is_assumed(recipe.carbon_density) && recipe.carbon.si > 0) {
      assumptions.push_back(fmt::format(
          "{}: density of the carbon {} (carbon black, common practice; 'densities: {{carbon: ...}}' states another)",
          electrode->key, show(carbon_black_density, DensityKind::kind)));
    }
    if (is_assumed(recipe.binder_density) && recipe.binder.si > 0) {
      assumptions.push_back(
          fmt::format("{}: density of the binder {} (poly(vinylidene fluoride), common practice; 'densities: {{binder: "
                      "...}}' states another)",
                      electrode->key, show(fluoropolymer_density, DensityKind::kind)));
    }
  }
}

std::optional<Sheet> read_fields(Fields& fields, const DocumentReading& reading) {
  Sheet sheet;
  sheet.file = reading.file;
  // Which electrodes are read where 'arrangement' cannot be: whatever the sheet looks like.
  const Node* arrangement = fields.node("arrangement");
  const bool half = arrangement != nullptr && (arrangement->text == "half_cell" || arrangement->text == "full_cell")
                        ? arrangement->text == "half_cell"
                        : fields.has("working");
  sheet.arrangement = half ? Arrangement::half_cell : Arrangement::full_cell;
  if (!half) sheet.negative.emplace();
  KeyReader reader(fields);
  keys(reader, sheet);
  reader.finish();
  if (reading.faults->any_error()) return std::nullopt;
  note_defaults(sheet, *reading.assumptions);
  if (half && !fields.has("counter"))
    reading.assumptions->push_back("counter electrode: lithium metal of the shipped card 'lithium_metal'");
  if (!sheet.separator.tortuosity)
    reading.assumptions->push_back("separator: tortuosity as porosity to the power -1/2 (common practice)");
  return sheet;
}

/// Whether parts of the knowledge contradict one another, or the values that the sheet itself gives.
void check_knowledge(const Sheet& sheet, const model::Cell& cell, Faults& faults) {
  const Knowledge known(sheet.knowledge);
  if (const auto& c = known.contradiction())
    faults.warning(c->place, "knowledge", c->name,
                   fmt::format("what is known of it contradicts itself: {} against {}; one of the tests was of another "
                               "cell, or the model does not describe both",
                               c->one, c->other));
  for (const KnownQuantity& quantity : known.quantities()) {
    const std::optional<double> made = quantity_of(sheet, cell, quantity.name);
    const Value& value = quantity.value;
    if (!made || !(std::abs(*made - value.si) > 0.01 * value.si)) continue;
    const double width =
        value.spread.form == Spread::Form::factor ? (value.spread.size - 1) * value.si : value.spread.size;
    if (std::abs(*made - value.si) <= 0.25 * width) continue;
    faults.warning(
        value.place, "knowledge", quantity.name,
        fmt::format("known as {}, and the values of the sheet make {}: what is drawn follows what is known, "
                    "and what is calculated without drawing follows the sheet",
                    value.text(), show(*made, *value.kind, 5, value.kind == &TimeKind::kind ? "s" : nullptr)));
  }
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
    check_knowledge(sheet, cell, faults);
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

void check_electrode(Fields& fields, ElectrodeSheet& electrode, std::optional<Role> expected) {
  if (electrode.phases && !name_the_host(fields, "phases", electrode.material, *electrode.phases)) return;
  if (electrode.coating && !electrode.material.density() && !electrode.coating->recipe.active_density) {
    fields.error(
        "material",
        "a coating needs the density of the material: its card must give 'density', or 'crystal' with 'formula'");
    return;
  }
  if (electrode.phases && !electrode.host_density()) {
    fields.error(
        "phases",
        "second phases need the density of the host: its card must give 'density', or 'crystal' with 'formula'");
    return;
  }
  if (expected && electrode.material.role != *expected) {
    fields.warning("material", fmt::format("a material for the {} electrode stands in the {} one",
                                           *expected == Role::positive ? "negative" : "positive", electrode.key));
  }
  const double largest = electrode.grain_sizes ? electrode.grain_sizes->largest : 2 * electrode.particle_radius.si;
  if (largest > electrode.thickness()) {
    fields.warning(electrode.grain_sizes ? "grain_sizes" : "particle_radius",
                   fmt::format("a grain of {} across does not fit a layer of {}", show(largest, LengthKind::kind),
                               show(electrode.thickness(), LengthKind::kind)));
  }
}

void for_each_value(Sheet& sheet, const std::function<void(const std::string&, Value&)>& visit) {
  const KeyWalk::SeeCard no_card = [](const std::string&, const std::string&) {};
  KeyWalk walk(visit, no_card);
  keys(walk, sheet);
}

void for_each_value(const Sheet& sheet, const std::function<void(const std::string&, const Value&)>& visit) {
  for_each_value(const_cast<Sheet&>(sheet),  // NOLINT: the visitor sees constants
                 [&](const std::string& path, Value& value) { visit(path, value); });
}

void for_each_card(const Sheet& sheet, const std::function<void(const std::string&, const std::string&)>& visit) {
  const KeyWalk::See no_value = [](const std::string&, Value&) {};
  KeyWalk walk(no_value, visit);
  keys(walk, const_cast<Sheet&>(sheet));  // NOLINT: nothing is changed
}

Loaded<Sheet> load_sheet(const std::string& path) {
  Loaded<Sheet> nothing;
  const std::optional<FoundFile> found = find_file(path, "cells", nothing.faults);
  return found ? read_found(*found) : nothing;
}

Loaded<Sheet> read_sheet(const std::string& text, const std::string& file, const std::string& folder) {
  return read_found({text, file, folder, false});
}

}  // namespace onegrain::params
