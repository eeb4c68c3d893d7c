#pragma once

#include <optional>
#include <string>
#include <vector>

#include "params/card/function.hpp"
#include "params/text/fields.hpp"

/// Reading what may be a number, a formula or a table.
namespace onegrain::params {

/// What is allowed where a property stands.
struct PropertyRules {
  const Kind& result;
  Limits limits;                  ///< of every value
  std::string composition = "x";  ///< variable: "x" stoichiometry, "c" salt in mol/L, "" none
  bool temperature = true;        ///< may the formula hold T
  double lower = 0, upper = 1;    ///< default range of the variable
  const char* example_unit = nullptr;
};

/// Rules of a property of a host, and of an electrolyte (c up to 3 mol/L unless a range is given).
PropertyRules host_rules(const Kind& result, const Limits& limits);
PropertyRules electrolyte_rules(const Kind& result, const Limits& limits);

/// The property under a key: `1e-14 m2/s`, {value, scaled_by, spread, source}, {expression, unit, range, scaled_by,
/// spread, source} or {table, range, scaled_by, spread, source}. `scaled_by` multiplies the value, formula or table;
/// limits hold for the product, and a spread is that of the product. Faults a missing key where `required`. Nothing
/// after a fault.
std::optional<PropertyValue> read_property(Fields& parent, const std::string& key, const PropertyRules& rules,
                                           bool required);

/// A formula or a table as a function; keys `expression`, `unit`, `table`, `range` of `fields`, which the caller
/// finishes. The function is as written; its values times `scaled_by` are held against the limits.
std::shared_ptr<const Function> read_function(Fields& fields, const PropertyRules& rules, bool potential,
                                              double scaled_by = 1);

}  // namespace onegrain::params
