#include <fmt/format.h>

#include <algorithm>
#include <cmath>

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

}  // namespace onegrain::params
