#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "params/card/cif_crystal.hpp"
#include "params/sheet/phases.hpp"

namespace onegrain::params {

namespace {

constexpr const char* mass_tag = "_pd_phase_mass_%";

/// The block that describes a phase: by `_pd_block_id`, else by its own name.
const CifBlock* block_of(const Cif& cif, std::string_view id, std::string_view name) {
  for (const CifBlock& block : cif.blocks) {
    const CifValue* own = block.one({"_pd_block_id"});
    if (own != nullptr && !id.empty() && own->text == id) return &block;
  }
  const CifBlock* by_id = id.empty() ? nullptr : cif.block(id);
  return by_id != nullptr ? by_id : cif.block(name);
}

/// Density and formula of a phase from its own block; false after a fault.
bool describe(Fields& fields, const Cif& cif, const std::string& file, const CifBlock& block, SecondPhase& phase,
              std::optional<Formula>& formula) {
  const std::optional<CifCrystal> crystal = crystal_of_cif(cif, file, block.name, fields, "cif");
  if (!crystal) return false;
  formula = crystal->formula;
  const std::optional<double> density = crystal->density();
  if (density) {
    phase.density = *density;
    phase.source = fmt::format("{}, data_{}", file, block.name);
  }
  return true;
}

/// The one value that a row of a loop has under a tag, as text; empty where there is none.
std::string_view in_row(const CifBlock& block, const char* tag, std::size_t row) {
  const std::vector<CifValue>& values = block.all(tag);
  return row < values.size() && !values[row].absent() ? values[row].text : std::string_view();
}

std::set<std::string> elements_but_lithium(const Formula& formula) {
  std::set<std::string> elements;
  for (const auto& [element, count] : formula.atoms) {
    if (element != "Li" && count > 0) elements.insert(element);
  }
  return elements;
}

}  // namespace

std::optional<Phases> read_phases_of_cif(Fields& fields, const std::string& name, const std::string& host_name) {
  Faults& faults = *fields.reading().faults;
  const int before = faults.errors();
  std::string file;
  const std::optional<std::string> text = text_of_cif(fields, "cif", name, file);
  const std::optional<Cif> cif = text ? read_cif(*text, file, faults) : std::nullopt;
  if (!cif) return std::nullopt;
  const CifBlock* list = nullptr;
  for (const CifBlock& block : cif->blocks) {
    if (block.all(mass_tag).empty()) continue;
    if (list != nullptr) {
      fields.error("cif", fmt::format("data_{} and data_{} both list mass fractions of phases; keep one of them in the "
                                      "file",
                                      list->name, block.name));
      return std::nullopt;
    }
    list = &block;
  }
  if (list == nullptr) {
    fields.error("cif", fmt::format("'{}' lists no mass fractions of phases (_pd_phase_mass_%)", file));
    return std::nullopt;
  }
  Phases phases;
  phases.cif = name;
  phases.host_name = host_name;
  const std::vector<CifValue>& masses = list->all(mass_tag);
  for (std::size_t k = 0; k < masses.size(); ++k) {
    SecondPhase phase;
    std::string_view called = in_row(*list, "_pd_phase_name", k);
    if (called.empty()) called = in_row(*list, "_pd_phase_id", k);
    const std::string_view id = in_row(*list, "_pd_phase_block_id", k);
    if (called.empty()) called = id;
    const std::optional<CifNumber> number = cif_number(masses[k].text);
    const Place place{file, masses[k].line, 1};
    if (!number || number->value < 0 || number->value > 100) {
      faults.error(place, "", std::string(masses[k].text), "expected a mass fraction in per cent, 0 to 100");
      continue;
    }
    if (called.empty()) {
      faults.error(place, "", std::string(masses[k].text), "a phase without a name (_pd_phase_name, _pd_phase_id)");
      continue;
    }
    phase.name = std::string(called);
    phase.mass.si = number->value / 100;
    phase.mass.written = fmt::format("{} wt%", masses[k].text);
    phase.mass.source = fmt::format("{}, line {}", file, masses[k].line);
    phase.mass.place = place;
    phase.mass.least = 0;
    if (number->standard_uncertainty > 0)
      phase.mass.spread = {Spread::Form::absolute, deviations_of_95_percent * number->standard_uncertainty / 100};
    std::optional<Formula> formula;
    if (const CifBlock* own = block_of(*cif, id, called); own != nullptr && own != list) {
      if (!describe(fields, *cif, file, *own, phase, formula)) continue;
    } else if (const KnownPhase* known = known_phase(phase.name)) {
      formula = parse_formula(known->formula);
    }
    phases.others.push_back(std::move(phase));
    phases.formulas.push_back(std::move(formula));
  }
  if (faults.errors() > before || !check_sum(fields, phases)) return std::nullopt;
  return phases;
}

bool name_the_host(Fields& electrode, const std::string& key, const Material& material, Phases& phases) {
  if (phases.cif.empty()) return true;
  std::vector<std::size_t> candidates;
  std::string names;
  for (std::size_t k = 0; k < phases.others.size(); ++k) {
    const std::optional<Formula>& formula = phases.formulas[k];
    const bool is =
        phases.host_name.empty()
            ? formula && material.formula && elements_but_lithium(*formula) == elements_but_lithium(*material.formula)
            : phases.others[k].name == phases.host_name;
    if (is) candidates.push_back(k);
    names += (k == 0 ? "" : ", ") + phases.others[k].name;
  }
  if (candidates.size() != 1) {
    electrode.error(
        key, fmt::format("{} of '{}' {} the host{}; say which with 'host': {}", candidates.empty() ? "none" : "several",
                         phases.cif, candidates.empty() ? "is" : "may be",
                         material.formula ? " " + material.formula->written : "", names));
    return false;
  }
  const auto host = static_cast<std::ptrdiff_t>(candidates.front());
  phases.host = phases.others[candidates.front()].mass;
  phases.others.erase(phases.others.begin() + host);
  if (phases.others.empty()) {
    electrode.error(key, "no second phase; a powder of the host alone needs no 'phases'");
    return false;
  }
  std::optional<Fields> fields = electrode.mapping(key, "");
  for (SecondPhase& phase : phases.others) {
    if (phase.density > 0) continue;
    if (!fields || !find_density(*fields, "cif", phase)) return false;
  }
  return true;
}

}  // namespace onegrain::params
