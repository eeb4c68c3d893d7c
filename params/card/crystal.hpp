#pragma once

#include <optional>
#include <string>

#include "params/number/value.hpp"

namespace onegrain::params {

enum class CrystalSystem { cubic, tetragonal, orthorhombic, hexagonal, trigonal, rhombohedral, monoclinic, triclinic };

/// Unit cell as a diffraction pattern gives it. What the system fixes need not be stated.
/// `trigonal` means hexagonal axes; `rhombohedral` means rhombohedral axes (a, alpha).
struct Crystal {
  CrystalSystem system = CrystalSystem::cubic;
  Given<Length> a;
  std::optional<Given<Length>> b, c;
  std::optional<Given<Angle>> alpha, beta, gamma;
  Given<Number> formula_units;  ///< Z, per unit cell; need not be whole
  std::string cif, block;       ///< the file and the block that it was read from, as named; may be empty

  /// V = a b c sqrt(1 - cos^2 alpha - cos^2 beta - cos^2 gamma + 2 cos alpha cos beta cos gamma)   [m3]
  double cell_volume() const;
  /// rho = Z M / (V N_A)   [kg/m3];  molar_mass in kg/mol
  double density(double molar_mass) const;
  /// c = Z n / (V N_A)   [mol/m3], n sites per formula unit
  double site_concentration(double sites_per_formula_unit) const;
};

}  // namespace onegrain::params
