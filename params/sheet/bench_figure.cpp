#include <fmt/format.h>

#include <cmath>

#include "params/sheet/bench.hpp"

namespace onegrain::params {

std::string BenchFigure::text(int digits) const {
  if (!(plus_minus > 0)) return show(value, *kind, digits);
  // Both to the second significant digit of the uncertainty: 2.918 ± 0.085 mAh
  const bool has_unit = *kind->unit != '\0';
  const Unit unit = has_unit ? parse_unit(kind->unit) : Unit{};
  const double shown = value / unit.factor - (kind->absolute_temperature ? unit.offset : 0),
               margin = plus_minus / unit.factor;
  const int decimals = 1 - static_cast<int>(std::floor(std::log10(margin)));
  const std::string suffix = has_unit ? std::string(" ") + kind->unit : "";
  if (decimals < 0 && std::abs(shown) < 1e6) return fmt::format("{:.0f} \u00b1 {:.0f}{}", shown, margin, suffix);
  if (decimals < 0 || decimals > 8) {
    return fmt::format("{} \u00b1 {}{}", plain_number(shown, 6), plain_number(margin, 2), suffix);
  }
  return fmt::format("{:.{}f} \u00b1 {:.{}f}{}", shown, decimals, margin, decimals, suffix);
}

}  // namespace onegrain::params
