#include "params/number/value.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/number/units.hpp"

namespace onegrain::params {

namespace {
/// The unit behind the number as it was written; empty where there is none of this kind.
std::string unit_of(const Value& value) {
  if (value.of_function || value.kind->dimension.none()) return "";
  const std::string& text = value.written;
  std::size_t at = text.find_first_not_of("+-.0123456789 ");
  while (at != std::string::npos && (text[at] == 'e' || text[at] == 'E') && at + 1 < text.size() &&
         (text[at + 1] == '-' || text[at + 1] == '+' || (text[at + 1] >= '0' && text[at + 1] <= '9')))
    at = text.find_first_not_of("+-.0123456789 ", at + 1);
  if (at == std::string::npos) return "";
  try {
    const std::string unit = text.substr(at, text.find(" scaled by ") - at);
    return parse_unit(unit).dimension == value.kind->dimension ? unit : "";
  } catch (const UnitError&) {
    return "";
  }
}
}  // namespace

double Value::at_deviation(double z) const {
  switch (spread.form) {
    case Spread::Form::absolute:
      return std::max(least, si + z * spread.size / deviations_of_95_percent);
    case Spread::Form::factor:
      return si * std::pow(spread.size, z / deviations_of_95_percent);
    case Spread::Form::none:
      break;
  }
  return si;
}

std::string Value::spread_text() const {
  switch (spread.form) {
    case Spread::Form::absolute: {
      Kind difference = *kind;
      if (difference.absolute_temperature) difference = TemperatureDifferenceKind::kind;
      const std::string unit = kind->absolute_temperature ? "" : unit_of(*this);
      return "\u00b1 " + show(spread.size, difference, 3, unit.empty() ? nullptr : unit.c_str());
    }
    case Spread::Form::factor:
      return fmt::format("within a factor {:.4g}", spread.size);
    case Spread::Form::none:
      break;
  }
  return "";
}

std::string Value::text() const {
  const std::string unit = unit_of(*this);
  const std::string number =
      of_function ? "as its formula or table" : show(si, *kind, 5, unit.empty() ? nullptr : unit.c_str());
  switch (spread.form) {
    case Spread::Form::absolute:
      return number + " " + spread_text();
    case Spread::Form::factor:
      return number + " (" + spread_text() + ")";
    case Spread::Form::none:
      break;
  }
  return number;
}

}  // namespace onegrain::params
