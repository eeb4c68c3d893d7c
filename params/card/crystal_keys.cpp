#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "params/card/cif_crystal.hpp"
#include "params/card/keys.hpp"
#include "params/keys/reader.hpp"

namespace onegrain::params {

namespace {

enum class CellPart { edge_b, edge_c, alpha, beta, gamma };

/// Whether the system leaves this free, so that it must be stated.
bool is_free(CrystalSystem system, CellPart part) {
  switch (system) {
    case CrystalSystem::cubic:
      return false;
    case CrystalSystem::tetragonal:
    case CrystalSystem::hexagonal:
    case CrystalSystem::trigonal:
      return part == CellPart::edge_c;
    case CrystalSystem::rhombohedral:
      return part == CellPart::alpha;
    case CrystalSystem::orthorhombic:
      return part == CellPart::edge_b || part == CellPart::edge_c;
    case CrystalSystem::monoclinic:
      return part == CellPart::edge_b || part == CellPart::edge_c || part == CellPart::beta;
    case CrystalSystem::triclinic:
      return true;
  }
  return false;
}

}  // namespace

void check_crystal(Fields& fields, Crystal& crystal, bool sound) {
  const Node* system = fields.node("system");
  if (system == nullptr ||
      std::find(crystal_systems.begin(), crystal_systems.end(), system->text) == crystal_systems.end())
    return;
  const std::string& name = system->text;
  // What the system fixes may be repeated, if it is repeated truly.
  const auto edge = [&](const char* key, std::optional<Given<Length>>& given, CellPart part) {
    if (is_free(crystal.system, part)) {
      if (!fields.has(key)) fields.required<Length>(key, reason::lattice, "angstrom");
      return;
    }
    if (given && std::abs(given->si - crystal.a.si) > 1e-6 * crystal.a.si)
      fields.error(key, "in a " + name + " cell this equals a; leave it out");
    given.reset();
  };
  const auto corner = [&](const char* key, std::optional<Given<Angle>>& given, CellPart part, double degrees) {
    if (is_free(crystal.system, part)) {
      if (!fields.has(key)) fields.required<Angle>(key, reason::angle);
      return;
    }
    if (given && crystal.system != CrystalSystem::rhombohedral && std::abs(in_unit(given->si, "deg") - degrees) > 1e-6)
      fields.error(key, fmt::format("in a {} cell this is {} deg; leave it out", name, degrees));
    given.reset();
  };
  const bool hexagonal = crystal.system == CrystalSystem::hexagonal || crystal.system == CrystalSystem::trigonal;
  const int before = fields.reading().faults->errors();
  edge("b", crystal.b, CellPart::edge_b);
  edge("c", crystal.c, CellPart::edge_c);
  corner("alpha", crystal.alpha, CellPart::alpha, 90);
  corner("beta", crystal.beta, CellPart::beta, 90);
  corner("gamma", crystal.gamma, CellPart::gamma, hexagonal ? 120 : 90);
  if (sound && fields.reading().faults->errors() == before && !(crystal.cell_volume() > 0))
    fields.error_here("no cell has these angles");
}

namespace {

/// Atoms that are not lithium, which comes and goes.
std::map<std::string, double> without_lithium(const Formula& formula) {
  std::map<std::string, double> atoms = formula.atoms;
  atoms.erase("Li");
  return atoms;
}

double sum(const std::map<std::string, double>& atoms) {
  double total = 0;
  for (const auto& [element, count] : atoms) total += count;
  return total;
}

/// How many formulas of the card one formula of the file makes; nothing, with a fault, where it is another compound.
std::optional<double> formulas_in(const CifCrystal& found, const Formula& card, Fields& fields) {
  constexpr double another = 0.1, noteworthy = 0.02;  // atoms per atom of the host (judgement)
  const std::map<std::string, double> in_file = without_lithium(*found.formula), in_card = without_lithium(card);
  const double ratio = in_card.empty() ? 0 : sum(in_file) / sum(in_card);
  double off = ratio > 0 ? 0 : 1;
  for (const auto* atoms : {&in_file, &in_card}) {
    for (const auto& [element, count] : *atoms) {
      const auto one = in_file.find(element), other = in_card.find(element);
      const double a = one == in_file.end() ? 0 : one->second / sum(in_file);
      const double b = other == in_card.end() ? 0 : other->second / sum(in_card);
      off = std::max(off, std::abs(a - b));
    }
  }
  if (off > another) {
    fields.error("cif", fmt::format("data_{} is of {} ({}, line {}), the card of {}: another compound", found.block,
                                    found.formula->written, found.file, found.formula_line, card.written));
    return std::nullopt;
  }
  const double lithium = std::abs(found.formula->count("Li") / sum(in_file) - card.count("Li") / sum(in_card));
  if (off > noteworthy || lithium > noteworthy) {
    fields.warning("cif",
                   fmt::format("data_{} is of {} ({}, line {}), the card of {}: the cell of the one is taken for "
                               "that of the other",
                               found.block, found.formula->written, found.file, found.formula_line, card.written));
  }
  return ratio;
}

}  // namespace

void read_crystal_from_cif(Fields& fields, Crystal& crystal, Material& material) {
  bool both = false;
  for (const char* key : {"system", "a", "b", "c", "alpha", "beta", "gamma", "formula_units"}) {
    if (fields.node(key) == nullptr) continue;
    fields.error(key, "the CIF tells it; either the unit cell in numbers or a 'cif', not both");
    both = true;
  }
  if (both) return;
  const std::optional<CifCrystal> found = read_cif_crystal(fields, "cif", crystal.cif, crystal.block);
  if (!found) return;
  const std::string cif = crystal.cif, block = crystal.block;
  crystal = found->crystal;
  crystal.cif = cif;
  crystal.block = block;
  if (found->units_line == 0) {
    fields.error("cif", fmt::format("data_{} does not say how many formula units a cell holds; write a line such as "
                                    "'_cell_formula_units_Z 3' into it",
                                    found->block));
    return;
  }
  if (!found->formula) {
    if (!material.formula) {
      fields.error("cif",
                   fmt::format("data_{} does not give a formula (_chemical_formula_sum); the card must", found->block));
    }
    return;
  }
  if (!material.formula) material.formula = found->formula;
  if (const std::optional<double> ratio = formulas_in(*found, *material.formula, fields))
    crystal.formula_units.si *= *ratio;
}

}  // namespace onegrain::params
