#include "params/number/value.hpp"

#include <fmt/format.h>

#include <cmath>

namespace onegrain::params {

namespace {
constexpr double deviations_of_95_percent = 1.959963984540054;  // of the normal distribution
}

double Value::at_deviation(double z) const {
  switch (spread.form) {
    case Spread::Form::absolute:
      return si + z * spread.size / deviations_of_95_percent;
    case Spread::Form::factor:
      return si * std::pow(spread.size, z / deviations_of_95_percent);
    case Spread::Form::none:
      break;
  }
  return si;
}

std::string Value::text() const {
  const std::string number = show(si, *kind);
  switch (spread.form) {
    case Spread::Form::absolute: {
      Kind difference = *kind;
      if (difference.absolute_temperature) difference = TemperatureDifferenceKind::kind;
      return fmt::format("{} \u00b1 {}", number, show(spread.size, difference));
    }
    case Spread::Form::factor:
      return fmt::format("{} (within a factor {:.4g})", number, spread.size);
    case Spread::Form::none:
      break;
  }
  return number;
}

}  // namespace onegrain::params
