#pragma once

#include <fmt/format.h>

#include <memory>
#include <string>

#include "params/card/property_reader.hpp"

/// What reading a formula and reading a table share.
namespace onegrain::params {

inline constexpr double litre = 1e-3;  // [m3]

/// The variable as it stands in formulas, per unit of the model's composition: c in mol/L, the model's in mol/m3.
inline double variable_scale(const PropertyRules& rules) { return rules.composition == "c" ? litre : 1; }

/// Of the variable, as formulas have it.
struct FunctionRange {
  double lower, upper;
  bool given = false;
};

/// `range: [0.25, 0.98]`, or `[0.1 mol/L, 2 mol/L]` (bare numbers are mol/L); in the variable of formulas.
FunctionRange read_range(Fields& fields, const PropertyRules& rules);

/// For a message about a value that is not as written.
inline std::string after_scaling(double scaled_by) {
  return scaled_by == 1 ? "" : fmt::format(" after scaling by {:.6g}", scaled_by);
}

/// The table that `table: NAME` names, as a function through its points.
std::shared_ptr<const Function> read_table(Fields& fields, const PropertyRules& rules, bool potential,
                                           const std::string& name, double scaled_by);

}  // namespace onegrain::params
