#include "params/card/cif_crystal.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "params/card/keys.hpp"
#include "params/text/library.hpp"

namespace onegrain::params {

namespace {

constexpr double angstrom = 1e-10, degree = std::numbers::pi / 180;

/// Reads what one block says of its cell.
class CellReader {
 public:
  CellReader(const CifBlock& block, const std::string& file, Faults& faults)
      : block_(block), file_(file), faults_(faults), before_(faults.errors()) {}

  std::optional<CifCrystal> crystal() {
    CifCrystal found;
    found.file = file_;
    found.block = block_.name;
    found.line = block_.line;
    const auto a = edge("a"), b = edge("b"), c = edge("c");
    const auto alpha = corner("alpha"), beta = corner("beta"), gamma = corner("gamma");
    if (!sound()) return std::nullopt;
    Crystal& crystal = found.crystal;
    crystal.a = *a, crystal.b = b, crystal.c = c, crystal.alpha = alpha, crystal.beta = beta, crystal.gamma = gamma;
    crystal.system = CrystalSystem::triclinic;
    const double volume = crystal.cell_volume();
    if (!(volume > 1e-3 * a->si * b->si * c->si)) {
      faults_.error({file_, alpha->place.line, 1}, "", alpha->written, "no cell has these three angles");
      return std::nullopt;
    }
    check_system(crystal);
    formula(found);
    formula_units(found);
    if (!sound()) return std::nullopt;
    check_volume(volume);
    check_density(found);
    check_room(found, volume);
    return found;
  }

 private:
  bool sound() const { return faults_.errors() == before_; }
  void error(const CifValue& value, std::string message) {
    faults_.error({file_, value.line, 1}, "", std::string(value.text.substr(0, 60)), std::move(message));
  }
  void warning(int line, std::string value, std::string message) {
    faults_.warning({file_, line, 1}, "", std::move(value), std::move(message));
  }
  void missing(const std::string& tag, const std::string& what) {
    faults_.error({file_, block_.line, 1}, tag, "", what + " is missing in data_" + block_.name);
  }

  /// A number under a tag that has one value.
  template <class Q>
  std::optional<Given<Q>> number(const std::string& tag, const Limits& limits, double unit, const char* unit_name,
                                 const char* what) {
    const CifValue* value = block_.one({tag});
    if (value == nullptr) {
      missing(tag, what);
      return std::nullopt;
    }
    const std::optional<CifNumber> number = cif_number(value->text);
    if (!number) {
      error(*value, fmt::format("expected {}, a number such as 8.24 or 8.2401(3)", what));
      return std::nullopt;
    }
    Given<Q> given;
    given.si = number->value * unit;
    given.written = fmt::format("{} {}", value->text, unit_name);
    given.source = fmt::format("{}, line {}", file_, value->line);
    given.place = {file_, value->line, 1};
    given.path = "crystal." + tag.substr(tag.rfind('_') + 1);
    if (!(given.si >= limits.lower && given.si <= limits.upper)) {
      error(*value, fmt::format("{} between {} and {} is expected", what, show(limits.lower, Q::kind(), 4, unit_name),
                                show(limits.upper, Q::kind(), 4, unit_name)));
      return std::nullopt;
    }
    if (number->standard_uncertainty > 0) {
      if (!(number->standard_uncertainty * unit < 0.1 * given.si)) {
        error(*value, "an uncertainty of more than a tenth of the value");
        return std::nullopt;
      }
      given.spread = {Spread::Form::absolute, deviations_of_95_percent * number->standard_uncertainty * unit};
    }
    return given;
  }
  std::optional<Given<Length>> edge(const char* name) {
    return number<Length>(std::string("_cell_length_") + name, reason::lattice, angstrom, "angstrom",
                          "an edge of the cell in angstrom");
  }
  std::optional<Given<Angle>> corner(const char* name) {
    return number<Angle>(std::string("_cell_angle_") + name, reason::angle, degree, "deg",
                         "an angle of the cell in degrees");
  }

  static bool same(double one, double other) { return std::abs(one - other) <= 1e-6 * std::abs(one); }

  /// The highest system that the cell has, so that edges which the system makes equal are one uncertain number and not
  /// three; then whether the file says otherwise.
  void check_system(Crystal& crystal) {
    const double a = crystal.a.si, b = crystal.b->si, c = crystal.c->si;
    const auto is = [](const std::optional<Given<Angle>>& angle, double degrees) {
      return std::abs(angle->si / degree - degrees) < 1e-6;
    };
    const bool right_alpha = is(crystal.alpha, 90), right_beta = is(crystal.beta, 90),
               right_gamma = is(crystal.gamma, 90);
    const bool equal = same(a, b) && same(a, c);
    const bool one_angle = same(crystal.alpha->si, crystal.beta->si) && same(crystal.alpha->si, crystal.gamma->si);
    using enum CrystalSystem;
    if (right_alpha && right_beta && right_gamma) {
      crystal.system = equal ? cubic : same(a, b) ? tetragonal : orthorhombic;
    } else if (right_alpha && right_beta && is(crystal.gamma, 120) && same(a, b)) {
      crystal.system = hexagonal;
    } else if (equal && one_angle) {
      crystal.system = rhombohedral;
    } else if (right_alpha && right_gamma) {
      crystal.system = monoclinic;
    }
    check_stated_system(crystal.system, same(a, b) || same(a, c) || same(b, c), right_alpha + right_beta + right_gamma);
    const bool higher = crystal.system == cubic || crystal.system == tetragonal || crystal.system == hexagonal ||
                        crystal.system == rhombohedral;
    if (higher) crystal.b.reset();
    if (crystal.system == cubic || crystal.system == rhombohedral) crystal.c.reset();
    if (crystal.system != rhombohedral && crystal.system != triclinic) crystal.alpha.reset();
    if (crystal.system != monoclinic && crystal.system != triclinic) crystal.beta.reset();
    if (crystal.system != triclinic) crystal.gamma.reset();
  }

  void check_stated_system(CrystalSystem of_cell, bool two_edges_equal, int right_angles) {
    std::string stated;
    const CifValue* says = block_.one({"_space_group_crystal_system", "_symmetry_cell_setting"});
    if (says != nullptr) {
      stated = std::string(says->text);
      std::transform(stated.begin(), stated.end(), stated.begin(),
                     [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    } else if ((says = block_.one({"_space_group_it_number", "_symmetry_int_tables_number"})) != nullptr) {
      const std::optional<CifNumber> group = cif_number(says->text);
      if (!group || group->value < 1 || group->value > 230 || group->value != std::floor(group->value))
        return error(*says, "expected the number of a space group, 1 to 230");
      // International Tables for Crystallography, volume A: the numbers of the space groups of each system
      const int n = static_cast<int>(group->value);
      stated = n < 3     ? "triclinic"
               : n < 16  ? "monoclinic"
               : n < 75  ? "orthorhombic"
               : n < 143 ? "tetragonal"
               : n < 168 ? "trigonal"
               : n < 195 ? "hexagonal"
                         : "cubic";
    }
    using enum CrystalSystem;
    const bool right = of_cell == cubic || of_cell == tetragonal || of_cell == orthorhombic;
    const bool has = stated == "cubic"          ? of_cell == cubic
                     : stated == "tetragonal"   ? of_cell == cubic || (right && two_edges_equal)
                     : stated == "orthorhombic" ? right
                     : stated == "hexagonal"    ? of_cell == hexagonal
                     : stated == "trigonal"     ? of_cell == hexagonal || of_cell == rhombohedral || of_cell == cubic
                     : stated == "rhombohedral" ? of_cell == hexagonal || of_cell == rhombohedral || of_cell == cubic
                     : stated == "monoclinic"   ? right_angles >= 2
                                                : true;
    if (!has)
      error(*says, fmt::format("the edges and angles of data_{} are not those of a {} cell", block_.name, stated));
  }

  void formula(CifCrystal& found) {
    const CifValue* sum = block_.one({"_chemical_formula_sum"});
    if (sum == nullptr) return;
    std::string plain;
    for (const char c : sum->text) {
      if (c != ' ' && c != '\t' && c != '\n' && c != '\r') plain += c;
    }
    try {
      found.formula = parse_formula(plain);
      found.formula_line = sum->line;
    } catch (const FormulaError& wrong) {
      error(*sum, wrong.what());
    }
  }

  void formula_units(CifCrystal& found) {
    Given<Number>& units = found.crystal.formula_units;
    units.si = std::numeric_limits<double>::quiet_NaN();
    const CifValue* value = block_.one({"_cell_formula_units_z"});
    if (value == nullptr) return;
    const std::optional<CifNumber> number = cif_number(value->text);
    if (!number || !(number->value > 0) || number->value > 1000)
      return error(*value, "expected the formula units in a cell (Z), a number from 1 to 1000");
    units.si = number->value;
    units.written = std::string(value->text);
    units.place = {file_, value->line, 1};
    units.path = "crystal.formula_units";
    units.source = fmt::format("{}, line {}", file_, value->line);
    found.units_line = value->line;
  }

  void check_volume(double volume) {
    const CifValue* stated = block_.one({"_cell_volume"});
    const std::optional<CifNumber> number = stated == nullptr ? std::nullopt : cif_number(stated->text);
    if (!number) return;
    const double own = volume / (angstrom * angstrom * angstrom), off = std::abs(number->value - own);
    if (off > std::max(4 * number->standard_uncertainty, 1e-3 * own))
      warning(stated->line, std::string(stated->text),
              fmt::format("the volume of the cell that the edges and angles make is {:.6g} angstrom^3; one of them is "
                          "a slip, and the edges are used",
                          own));
  }

  void check_density(const CifCrystal& found) {
    const CifValue* stated = block_.one({"_exptl_crystal_density_diffrn"});
    const std::optional<CifNumber> number = stated == nullptr ? std::nullopt : cif_number(stated->text);
    const std::optional<double> own = found.density();
    if (!number || !own || std::abs(number->value * 1000 / *own - 1) < 0.01) return;
    warning(stated->line, std::string(stated->text),
            fmt::format("a density in g/cm3, where Z = {}, {} and the cell make {:.4g}: one of them is a slip; check Z",
                        found.crystal.formula_units.written, found.formula->written, *own / 1000));
  }

  /// Room for each atom in solids, hydrogen apart, from memory: 5.7 angstrom^3 in diamond, 22 in lithium, up to 120 in
  /// the heaviest alkali metals.
  void check_room(const CifCrystal& found, double volume) {
    if (!found.formula || found.units_line == 0) return;
    double atoms = 0;
    for (const auto& [element, count] : found.formula->atoms) atoms += element == "H" ? 0 : count;
    const double each = volume / (angstrom * angstrom * angstrom) / (atoms * found.crystal.formula_units.si);
    if (atoms == 0 || (each > 5 && each < 120)) return;
    warning(found.units_line, found.crystal.formula_units.written,
            fmt::format("so many formula units of {} would leave {:.3g} angstrom^3 to each atom, where solids have 6 "
                        "to 40; check Z",
                        found.formula->written, each));
  }

  const CifBlock& block_;
  const std::string& file_;
  Faults& faults_;
  int before_;
};

bool has_cell(const CifBlock& block) { return !block.all("_cell_length_a").empty(); }

std::string names_of(const std::vector<const CifBlock*>& blocks) {
  std::string names;
  for (std::size_t k = 0; k < blocks.size() && k < 8; ++k) names += (k == 0 ? "" : ", ") + blocks[k]->name;
  return names + (blocks.size() > 8 ? fmt::format(" and {} more", blocks.size() - 8) : "");
}

}  // namespace

std::optional<double> CifCrystal::density() const {
  if (!formula || units_line == 0) return std::nullopt;
  return crystal.density(formula->molar_mass());
}

std::optional<CifCrystal> crystal_of_cif(const Cif& cif, const std::string& file, const std::string& name,
                                         Fields& fields, const std::string& at) {
  Faults& faults = *fields.reading().faults;
  const CifBlock* block = nullptr;
  if (!name.empty()) {
    block = cif.block(name.starts_with("data_") ? std::string_view(name).substr(5) : std::string_view(name));
    if (block == nullptr) {
      std::vector<const CifBlock*> all;
      for (const CifBlock& one : cif.blocks) all.push_back(&one);
      fields.error(
          at, fmt::format("no block data_{} in '{}', which has {}", name, file, all.empty() ? "none" : names_of(all)));
      return std::nullopt;
    }
  } else {
    std::vector<const CifBlock*> candidates;
    for (const CifBlock& one : cif.blocks) {
      if (has_cell(one)) candidates.push_back(&one);
    }
    if (candidates.size() != 1) {
      fields.error(at, candidates.empty()
                           ? fmt::format("no block of '{}' holds a unit cell (_cell_length_a ...)", file)
                           : fmt::format("several blocks of '{}' hold a unit cell; say which with 'block': {}", file,
                                         names_of(candidates)));
      return std::nullopt;
    }
    block = candidates.front();
  }
  return CellReader(*block, file, faults).crystal();
}

std::optional<std::string> text_of_cif(Fields& fields, const std::string& key, const std::string& name,
                                       std::string& shown_name) {
  const DocumentReading& reading = fields.reading();
  if (reading.shipped || name.empty() || name.find('\0') != std::string::npos) {
    fields.error(key, "the name of a CIF beside this file is expected, such as 'my_oxide.cif'");
    return std::nullopt;
  }
  shown_name = reading.folder.empty() || name.starts_with('/') ? name : reading.folder + "/" + name;
  Faults missing;
  std::optional<std::string> text = read_file(shown_name, missing, std::size_t{64} << 20);
  if (!text) {
    for (const Fault& fault : missing.sorted()) fields.error(key, fault.text());
    return std::nullopt;
  }
  add_file(*reading.files, source_file(shown_name, false, *text, reading.file, name));
  return text;
}

std::optional<CifCrystal> read_cif_crystal(Fields& fields, const std::string& key, const std::string& name,
                                           const std::string& block) {
  std::string file;
  const std::optional<std::string> text = text_of_cif(fields, key, name, file);
  if (!text) return std::nullopt;
  const std::optional<Cif> cif = read_cif(*text, file, *fields.reading().faults);
  if (!cif) return std::nullopt;
  return crystal_of_cif(*cif, file, block, fields, block.empty() ? key : "block");
}

}  // namespace onegrain::params
