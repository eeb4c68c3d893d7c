#include "params/text/formula.hpp"

#include <cmath>
#include <string>

#include "model/constants.hpp"
#include "params/card/crystal.hpp"
#include "params/number/quantity.hpp"
#include "tests/catch.hpp"

using namespace onegrain::params;

namespace {

Given<Length> angstrom(double value) {
  Given<Length> length;
  length.si = value * 1e-10;
  return length;
}
Given<Angle> degrees(double value) {
  Given<Angle> angle;
  angle.si = parse_quantity(std::to_string(value) + " deg", AngleKind::kind);
  return angle;
}
Crystal cell(CrystalSystem system, double a, double b, double c, double formula_units) {
  Crystal crystal;
  crystal.system = system;
  crystal.a = angstrom(a);
  if (b > 0) crystal.b = angstrom(b);
  if (c > 0) crystal.c = angstrom(c);
  crystal.formula_units.si = formula_units;
  return crystal;
}
constexpr double cubic_angstrom = 1e-30;

}  // namespace

TEST_CASE("standard atomic weights are those of IUPAC", "[params][formula]") {
  // Meija et al., Pure Appl. Chem. 88, 265 (2016): Li 6.94 (conventional), Mn 54.938044, Co 58.933194, P 30.973761998;
  // Pure Appl. Chem. 68, 2339 (1996): Ti 47.867, Fe 55.845, Ni 58.6934, C 12.0107, O 15.9994, Si 28.0855; five digits
  // of each.
  struct Row {
    const char* element;
    double weight;
  };
  for (const Row& row :
       {Row{"Li", 6.94}, Row{"C", 12.0107}, Row{"O", 15.9994}, Row{"Si", 28.0855}, Row{"P", 30.973761998},
        Row{"Ti", 47.867}, Row{"Mn", 54.938044}, Row{"Fe", 55.845}, Row{"Co", 58.933194}, Row{"Ni", 58.6934}}) {
    CAPTURE(row.element);
    CHECK_THAT(atomic_weight(row.element), WithinRel(row.weight, 5e-5));
  }
  CHECK_THROWS_WITH(atomic_weight("Xx"), "'Xx' is not an element");
}

TEST_CASE("molar mass and theoretical capacity of the usual hosts", "[params][formula]") {
  // q = n F / (3.6 M) [mAh/g]; graphite 372 and Li4Ti5O12 175 mAh/g in Sun, Radovanovic, Cui, New J. Chem. (2015),
  // LiFePO4 170 in Dathar et al.; further digits are arithmetic with IUPAC weights and CODATA 2018.
  struct Row {
    const char* formula;
    double n, grams, capacity;
  };
  const auto row = GENERATE(values<Row>({
      {"C6", 1, 72.0660, 371.902},
      {"LiC6", 1, 79.0060, 339.233},
      {"LiCoO2", 1, 97.8710, 273.845},
      {"LiFePO4", 1, 157.7550, 169.893},
      {"FePO4", 1, 150.8150, 177.711},
      {"LiMn2O4", 1, 180.8120, 148.228},
      {"LiNi1/3Mn1/3Co1/3O2", 1, 96.4593, 277.853},
      {"LiNi0.5Mn0.3Co0.2O2", 1, 96.5525, 277.585},
      {"LiNi0.6Mn0.2Co0.2O2", 1, 96.9280, 276.509},
      {"LiNi0.8Mn0.1Co0.1O2", 1, 97.2795, 275.510},
      {"Li(Ni0.8Mn0.1Co0.1)O2", 1, 97.2795, 275.510},
      {"Li4Ti5O12", 3, 459.0830, 175.141},
      {"Li[Li1/3Ti5/3]O4", 1, 459.0830 / 3, 175.141},
      {"Si", 15.0 / 4, 28.0850, 3578.620},
      {"Li", 1, 6.9400, 3861.885},
      {"LiFePO\xE2\x82\x84", 1, 157.7550, 169.893},
  }));
  CAPTURE(row.formula);
  const Formula formula = parse_formula(row.formula);
  CHECK_THAT(1e3 * formula.molar_mass(), WithinRel(row.grams, 1e-6));
  CHECK_THAT(row.n * onegrain::model::faraday_constant / formula.molar_mass() / 3600, WithinRel(row.capacity, 3e-6));
}

TEST_CASE("a formula that cannot be read says where", "[params][formula][messages]") {
  CHECK_THROWS_WITH(parse_formula("LiXxO2"), "'Xx' is not an element at position 3 of the formula");
  CHECK_THROWS_WITH(parse_formula("Li(CoO2"), "a ')' is missing at position 8 of the formula");
  CHECK_THROWS_WITH(parse_formula("lico2"), "unexpected 'l' at position 1 of the formula");
  CHECK_THROWS_WITH(parse_formula("Li1/0O2"), "a count out of reason at position 6 of the formula");
  CHECK_THROWS_WITH(parse_formula("Li0.5.5O2"), "a number is expected at position 8 of the formula");
  CHECK_THROWS_AS(parse_formula(""), FormulaError);
  CHECK_THROWS_AS(parse_formula(std::string(100, '(')), FormulaError);
}

TEST_CASE("unit cells of known hosts have the published volume, density and lithium content", "[params][crystal]") {
  // Lattices: LiCoO2 Akimoto et al., J. Solid State Chem. 141, 298 (1998), from memory; NMC111 Shaju et al.,
  // Electrochim. Acta 48, 145 (2002); LiFePO4 Streltsov et al., Acta Cryst. B49, 147 (1993), from memory; LiMn2O4 Igawa
  // et al.; LiC6 Guerard, Herold, Carbon 13, 337 (1975), from memory; Li4Ti5O12 Ohzuku et al., J. Electrochem. Soc.
  // 142, 1431 (1995), from memory. V, rho, c: arithmetic by hand.
  struct Row {
    const char* formula;
    CrystalSystem system;
    double a, b, c, Z, sites, volume, density, concentration;
  };
  const auto row = GENERATE(values<Row>({
      {"LiCoO2", CrystalSystem::hexagonal, 2.8161, 0, 14.0536, 3, 1, 96.519, 5051, 51613},
      {"LiNi1/3Mn1/3Co1/3O2", CrystalSystem::trigonal, 2.864, 0, 14.233, 3, 1, 101.105, 4753, 49272},
      {"LiFePO4", CrystalSystem::orthorhombic, 10.332, 6.010, 4.692, 4, 1, 291.35, 3597, 22798},
      {"LiMn2O4", CrystalSystem::cubic, 8.2442, 0, 0, 8, 1, 560.33, 4287, 23708},
      {"C6", CrystalSystem::hexagonal, 2.464, 0, 6.711, 4.0 / 6, 1, 35.286, 2261, 31373},
      {"LiC6", CrystalSystem::hexagonal, 4.305, 0, 3.706, 1, 1, 59.482, 2206, 27917},
      {"Li4Ti5O12", CrystalSystem::cubic, 8.3595, 0, 0, 8.0 / 3, 3, 584.17, 3480, 22740},
  }));
  CAPTURE(row.formula);
  const Crystal crystal = cell(row.system, row.a, row.b, row.c, row.Z);
  CHECK_THAT(crystal.cell_volume(), WithinRel(row.volume * cubic_angstrom, 2e-5));
  CHECK_THAT(crystal.density(parse_formula(row.formula).molar_mass()), WithinRel(row.density, 2e-4));
  CHECK_THAT(crystal.site_concentration(row.sites), WithinRel(row.concentration, 3e-5));
}

TEST_CASE("the cold face-centred cell of LiMn2O4 has the density that its authors print", "[params][crystal]") {
  // Hayakawa et al., Powder Diffr.: Fddd, 250 K, Dx = 4.284 g/cm3, V = 5046.1(4) angstrom^3
  const Crystal crystal = cell(CrystalSystem::orthorhombic, 24.855, 24.755, 8.2014, 72);
  CHECK_THAT(crystal.cell_volume(), WithinAbs(5046.1 * cubic_angstrom, 0.4 * cubic_angstrom));
  CHECK_THAT(crystal.density(parse_formula("LiMn2O4").molar_mass()), WithinAbs(4284, 1));
}

TEST_CASE("one lattice described in several systems has one volume", "[params][crystal]") {
  // The rhombohedral cell of an R lattice is a third of the hexagonal one: a_r = sqrt(3 a^2 + c^2) / 3, sin(alpha/2) =
  // 3 / (2 sqrt(3 + c^2/a^2)).
  const double a = 2.8161, c = 14.0536;
  const Crystal hexagonal = cell(CrystalSystem::hexagonal, a, 0, c, 3);
  Crystal rhombohedral = cell(CrystalSystem::rhombohedral, std::sqrt(3 * a * a + c * c) / 3, 0, 0, 1);
  rhombohedral.alpha = Given<Angle>();
  rhombohedral.alpha->si = 2 * std::asin(1.5 / std::sqrt(3 + c * c / (a * a)));
  CHECK_THAT(3 * rhombohedral.cell_volume(), WithinRel(hexagonal.cell_volume(), 1e-12));

  // A cubic cell written as tetragonal, orthorhombic, monoclinic and triclinic.
  const double cubic = cell(CrystalSystem::cubic, 8.2442, 0, 0, 8).cell_volume();
  Crystal general = cell(CrystalSystem::triclinic, 8.2442, 8.2442, 8.2442, 8);
  general.alpha = general.beta = general.gamma = degrees(90);
  CHECK_THAT(general.cell_volume(), WithinRel(cubic, 1e-13));
  general.system = CrystalSystem::monoclinic;
  general.alpha.reset();
  general.gamma.reset();
  CHECK_THAT(general.cell_volume(), WithinRel(cubic, 1e-13));
  CHECK_THAT(cell(CrystalSystem::tetragonal, 8.2442, 0, 8.2442, 8).cell_volume(), WithinRel(cubic, 1e-13));

  // A hexagonal cell written as a triclinic one with gamma 120 deg; a monoclinic one is a b c sin(beta).
  Crystal oblique = cell(CrystalSystem::triclinic, a, a, c, 3);
  oblique.alpha = oblique.beta = degrees(90);
  oblique.gamma = degrees(120);
  CHECK_THAT(oblique.cell_volume(), WithinRel(hexagonal.cell_volume(), 1e-12));
  Crystal monoclinic = cell(CrystalSystem::monoclinic, 5, 8.5, 5, 4);
  monoclinic.beta = degrees(109);
  CHECK_THAT(monoclinic.cell_volume(), WithinRel(5 * 8.5 * 5 * std::sin(monoclinic.beta->si) * cubic_angstrom, 1e-12));
}
