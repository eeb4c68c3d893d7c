#pragma once

#include <map>
#include <stdexcept>
#include <string>
#include <string_view>

namespace onegrain::params {

/// "'Xx' is not an element", with the position in the formula.
struct FormulaError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Chemical formula: elements, decimal or fractional counts, nested parentheses or brackets: LiNi0.6Mn0.2Co0.2O2,
/// Li[Li1/3Ti5/3]O4, (NH4)2HPO4, C6. Subscript digits of Unicode are taken too.
struct Formula {
  std::string written;
  std::map<std::string, double> atoms;  ///< element -> count per formula unit

  double molar_mass() const;                       ///< [kg/mol], from IUPAC standard atomic weights
  double count(const std::string& element) const;  ///< 0 if absent
};

/// @throws FormulaError
Formula parse_formula(std::string_view text);

/// Standard atomic weight abridged to five digits (lithium: conventional 6.94)   [g/mol].
/// Source: T. Prohaska et al., Pure Appl. Chem. 94, 573 (2022) and IUPAC/CIAAW 2021, from memory; elements without a
/// standard weight have the mass number of the longest-lived isotope. @throws FormulaError
double atomic_weight(std::string_view element);

}  // namespace onegrain::params
