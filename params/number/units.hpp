#pragma once

#include <array>
#include <stdexcept>
#include <string>
#include <string_view>

/// Units as people of the laboratory write them: `mg/cm2`, `mS/cm`, `cm^2/s`, `J/(mol K)`, `m2.5 mol-0.5 s-1`, `mAh/g`,
/// `wt%`, `µm`, `°C`. One table of units with SI prefixes, real exponents, errors that name the part not understood.
namespace onegrain::params {

/// Powers of metre, kilogram, second, ampere, kelvin, mole and radian. Powers are real numbers. The radian is kept
/// apart so that a bare number, a percentage or a fraction is not taken where an angle is meant.
struct Dimension {
  std::array<double, 7> power{};

  constexpr Dimension() = default;
  constexpr Dimension(double m, double kg, double s, double A = 0, double K = 0, double mol = 0, double rad = 0)
      : power{m, kg, s, A, K, mol, rad} {}

  bool none() const { return *this == Dimension{}; }
  Dimension times(const Dimension& other, double exponent) const;
  /// Equal within 1e-9 in every power.
  bool operator==(const Dimension& other) const;
};

/// SI value = factor * (number + offset). The offset is not 0 only for `degC` and `degF` standing alone.
struct Unit {
  double factor = 1;
  Dimension dimension;
  double offset = 0;
};

/// What is wrong with a unit, as a sentence part: "'gg' is not a known unit".
struct UnitError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Reads a whole unit.
///
/// Products by space, `*`, `.` or `·`; quotients by `/`, strictly from left to right (`J/mol/K`; `J/mol K` is J K/mol);
/// powers `m2`, `m^2`, `m**2`, `m²`, `m-1`, `m2.5`, `m^(1/2)`; parentheses; `1/s`. Decimal and Greek letters, `µ` in
/// both code points, Å, Ω, °C. Prefixes of the SI from y to Y where usual.
///
/// `degC` and `degF` standing alone carry their offset; inside a product or with a power they are differences (1 K, 5/9
/// K). `C` is the coulomb, `M` is mol/L, `eV` is the CODATA 2018 value, `h`, `min`, `d` are times, `%`, `wt%`, `vol%`,
/// `mol%`, `ppm` are numbers.
/// @throws UnitError
Unit parse_unit(std::string_view text);

/// The text with the letters of the trade in plain ASCII (µ to u, ² to ^2, ° C to degC, - for the minus sign ...).
std::string plain_letters(std::string_view text);

}  // namespace onegrain::params
