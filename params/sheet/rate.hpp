#pragma once

#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "params/sheet/sheet.hpp"

namespace onegrain::params {

/// What a rate refers to.
struct RateBase {
  double one_hour_charge;                ///< charge that 1C passes in an hour, per plate area [C/m2]
  double plate_area;                     ///< [m2]
  std::optional<double> active_loading;  ///< host of the positive (working) electrode per plate area [kg/m2]
};

/// A rate without direction.
struct Rate {
  double current_density;  ///< [A/m2], > 0
  double c_rate;           ///< multiples of 1C
  std::string written;     ///< as the user wrote it
};

/// "'2 x' is not a rate; write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g"
struct RateError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// `C/5`, `0.2C`, `2C`, `C`, or a current `1.5 mA`, `3 mA/cm2`, `160 mA/g`. Positive, finite. @throws RateError
Rate parse_rate(std::string_view text, const RateBase& base);

/// Comma-separated, at least one: `C/10,C/2,1C,2mA`. @throws RateError
std::vector<Rate> parse_rates(std::string_view text, const RateBase& base);

/// "C/20", "C/5", "0.3C", "1C", "2C".
std::string rate_name(double c_rate);

/// Base of the rates of a sheet; `one_hour_charge` as of the balance or the rated capacity of the sheet.
RateBase rate_base(const Sheet& sheet, double one_hour_charge);

}  // namespace onegrain::params
