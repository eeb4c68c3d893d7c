#include "params/card/crystal.hpp"

#include <cmath>
#include <numbers>

namespace onegrain::params {

namespace {
constexpr double avogadro_constant = 6.02214076e23;  // exact, CODATA 2018 [1/mol]
constexpr double right_angle = std::numbers::pi / 2;
}  // namespace

double Crystal::cell_volume() const {
  const auto angle = [](const std::optional<Given<Angle>>& given, double otherwise) {
    return given ? given->si : otherwise;
  };
  double second = a.si, third = a.si;
  double alpha_si = right_angle, beta_si = right_angle, gamma_si = right_angle;
  switch (system) {
    case CrystalSystem::cubic:
      break;
    case CrystalSystem::tetragonal:
      third = c->si;
      break;
    case CrystalSystem::hexagonal:
    case CrystalSystem::trigonal:
      third = c->si;
      gamma_si = 2 * std::numbers::pi / 3;
      break;
    case CrystalSystem::rhombohedral:
      alpha_si = beta_si = gamma_si = alpha->si;
      break;
    case CrystalSystem::orthorhombic:
    case CrystalSystem::monoclinic:
    case CrystalSystem::triclinic:
      second = b->si;
      third = c->si;
      alpha_si = angle(alpha, right_angle);
      beta_si = angle(beta, right_angle);
      gamma_si = angle(gamma, right_angle);
      break;
  }
  const double ca = std::cos(alpha_si), cb = std::cos(beta_si), cg = std::cos(gamma_si);
  return a.si * second * third * std::sqrt(1 - ca * ca - cb * cb - cg * cg + 2 * ca * cb * cg);
}

double Crystal::density(double molar_mass) const {
  return formula_units.si * molar_mass / (cell_volume() * avogadro_constant);
}

double Crystal::site_concentration(double sites_per_formula_unit) const {
  return formula_units.si * sites_per_formula_unit / (cell_volume() * avogadro_constant);
}

}  // namespace onegrain::params
