#include "params/card/property_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "params/card/function_reader.hpp"
#include "params/text/expression.hpp"

namespace onegrain::params {

namespace {

std::string variable_text(const PropertyRules& rules, double variable) {
  return fmt::format("{} = {:.5g}{}", rules.composition, variable, rules.composition == "c" ? " mol/L" : "");
}

/// The unit of what the formula gives; nothing where it is wrong or lacking. Potentials without unit are in volt.
std::optional<Unit> read_unit(Fields& fields, const PropertyRules& rules, bool potential) {
  const std::optional<std::string> text = fields.text("unit");
  if (!text) {
    if (potential || rules.result.dimension.none() || fields.has("unit")) return Unit{};
    fields.missing("unit", fmt::format("the unit of the expression, such as '{}'", rules.result.unit));
    return std::nullopt;
  }
  try {
    const Unit unit = parse_unit(*text);
    if (unit.dimension == rules.result.dimension) return unit;
    fields.error("unit", fmt::format("{} where {} is expected, such as '{}'", describe(unit.dimension),
                                     rules.result.noun, rules.result.unit));
  } catch (const UnitError& wrong) {
    fields.error("unit", wrong.what());
  }
  return std::nullopt;
}

/// Holds a formula against its limits at 25 degC, before anyone builds on it; false and a fault where it fails.
bool within_reason(Fields& fields, const PropertyRules& rules, bool potential, const Function::Formula& formula,
                   const FunctionRange& range, bool by_composition, double scaled_by) {
  constexpr int samples = 400;
  double rise = 0, lowest = 1e300;
  for (int k = 0; k <= samples; ++k) {
    const double variable = k == samples ? range.upper : range.lower + (range.upper - range.lower) * k / samples;
    const double value = scaled_by * formula(variable / variable_scale(rules), 298.15);
    const std::string where = by_composition ? " at " + variable_text(rules, variable) : "";
    if (!std::isfinite(value)) {
      fields.error("expression", fmt::format("not finite{}{}", where,
                                             range.given || !by_composition
                                                 ? std::string("; narrow the 'range'")
                                                 : fmt::format("; state where it holds, such as 'range: [{}, {}]'",
                                                               rules.composition == "c" ? "0.1" : "0.01",
                                                               rules.composition == "c" ? "2" : "0.99")));
      return false;
    }
    const bool low = rules.limits.lower_open ? !(value > rules.limits.lower) : !(value >= rules.limits.lower);
    if (low || !(value <= rules.limits.upper)) {
      fields.error("expression", fmt::format("gives {}{}{}, out of reason for {}{}", show(value, rules.result),
                                             after_scaling(scaled_by), where, rules.result.noun,
                                             by_composition ? "; narrow the 'range' or mend the formula" : ""));
      return false;
    }
    lowest = std::min(lowest, value);
    rise = std::max(rise, value - lowest);
  }
  if (potential && rise > 1e-3) {
    fields.warning(
        "expression",
        fmt::format("the potential rises by {:.3g} mV somewhere with filling; a host at rest does not do that",
                    1e3 * rise));
  }
  return true;
}

std::shared_ptr<const Function> read_expression(Fields& fields, const PropertyRules& rules, bool potential,
                                                const std::string& text, double scaled_by) {
  const bool has_composition = !rules.composition.empty();
  std::vector<std::string> variables;
  if (has_composition) variables.push_back(rules.composition);
  if (rules.temperature) variables.push_back("T");

  const std::optional<Unit> unit = read_unit(fields, rules, potential);
  const FunctionRange range = read_range(fields, rules);
  std::shared_ptr<Expression> expression;
  try {
    expression = std::make_shared<Expression>(text, variables);
  } catch (const ExpressionError& wrong) {
    fields.error("expression", wrong.what());
    return nullptr;
  }
  if (!unit) return nullptr;

  const double scale = variable_scale(rules), factor = unit->factor;
  const auto formula = [expression, scale, factor, has_composition](double composition, double temperature) {
    return factor * (has_composition ? (*expression)(composition * scale, temperature) : (*expression)(temperature));
  };
  Function::Shape shape;
  shape.depends_on_composition = has_composition && expression->uses(rules.composition);
  shape.depends_on_temperature = rules.temperature && expression->uses("T");
  shape.lower = range.lower / scale;
  shape.upper = range.upper / scale;
  shape.relative = !potential;
  shape.beyond = potential ? model::Curve::Beyond::tangent : model::Curve::Beyond::hold;
  if (!within_reason(fields, rules, potential, formula, range, shape.depends_on_composition, scaled_by)) return nullptr;
  return std::make_shared<const Function>(formula, shape);
}

}  // namespace

FunctionRange read_range(Fields& fields, const PropertyRules& rules) {
  const FunctionRange otherwise{rules.lower, rules.upper, false};
  const Node* node = fields.node("range");
  if (node == nullptr) return otherwise;
  const std::string right = rules.composition == "c" ? "two concentrations, such as [0, 2 mol/L]"
                                                     : "two stoichiometries, such as [0.25, 0.98]";
  if (node->type != Node::Type::sequence || node->items.size() != 2 || node->items[0].type != Node::Type::scalar ||
      node->items[1].type != Node::Type::scalar) {
    fields.error("range", "expected " + right);
    return otherwise;
  }
  FunctionRange range{0, 0, true};
  for (const bool upper : {false, true}) {
    const Node& item = node->items[upper ? 1 : 0];
    try {
      double value = 0;
      if (const std::optional<double> bare = parse_number(item.text)) {
        value = *bare;
      } else {
        value = rules.composition == "c" ? parse_quantity(item.text, ConcentrationKind::kind) * litre
                                         : parse_quantity(item.text, FractionKind::kind);
      }
      (upper ? range.upper : range.lower) = value;
    } catch (const QuantityError& wrong) {
      fields.reading().faults->error(fields.reading().at(item.line, item.column), fields.path_of("range"), item.text,
                                     wrong.what());
      return otherwise;
    }
  }
  const double highest = rules.composition == "c" ? 20 : 1;
  if (!(range.lower >= 0 && range.lower < range.upper && range.upper <= highest)) {
    fields.error("range", fmt::format("must ascend and lie between 0 and {}", highest));
    return otherwise;
  }
  return range;
}

PropertyRules host_rules(const Kind& result, const Limits& limits) { return {.result = result, .limits = limits}; }

PropertyRules electrolyte_rules(const Kind& result, const Limits& limits) {
  return {.result = result, .limits = limits, .composition = "c", .upper = 3};
}

std::shared_ptr<const Function> read_function(Fields& fields, const PropertyRules& rules, bool potential,
                                              double scaled_by) {
  const bool expression = fields.has("expression"), table = fields.has("table");
  if (expression && table) fields.error("table", "either 'expression' or 'table', not both");
  if (!expression && !table) {
    fields.missing("expression", "a formula ('expression') or the name of a table ('table')");
    for (const char* key : {"unit", "range"}) fields.node(key);
  }
  if (expression) {
    const std::optional<std::string> text = fields.text("expression");
    if (table) fields.node("table");
    if (text) return read_expression(fields, rules, potential, *text, scaled_by);
    for (const char* key : {"unit", "range"}) fields.node(key);
  } else if (table) {
    const std::optional<std::string> name = fields.text("table");
    if (name && name->empty()) fields.error("table", "the name of a table is expected, such as 'potential.csv'");
    if (name && !name->empty()) {
      std::shared_ptr<const Function> function = read_table(fields, rules, potential, *name, scaled_by);
      fields.node("range");
      return function;
    }
    fields.node("range");
  }
  return nullptr;
}

std::optional<PropertyValue> read_property(Fields& parent, const std::string& key, const PropertyRules& rules,
                                           bool required) {
  const Node* node = parent.node(key);
  if (node == nullptr) {
    if (required) {
      parent.missing(key, *rules.result.unit == '\0'
                              ? std::string(rules.result.noun)
                              : fmt::format("{}, such as '1 {}'", rules.result.noun, rules.result.unit));
    }
    return std::nullopt;
  }
  PropertyValue result;
  result.result = &rules.result;
  const bool function =
      node->type == Node::Type::mapping && (node->find("expression") != nullptr || node->find("table") != nullptr);
  if (!function) {
    const std::optional<Value> value = read_value(*node, parent.path_of(key), rules.result, rules.limits,
                                                  parent.reading(), rules.example_unit, &result.scaled_by);
    if (!value) return std::nullopt;
    static_cast<Value&>(result) = *value;
    return result;
  }
  Fields fields(*node, parent.path_of(key), parent.reading());
  const int before = parent.reading().faults->errors();
  const std::optional<double> scale = read_scale(fields);
  result.scaled_by = scale.value_or(1);
  result.function = read_function(fields, rules, false, result.scaled_by);
  result.source = fields.text("source").value_or("");
  result.path = parent.path_of(key);
  result.place = parent.reading().at(node->line, node->column);
  result.written = fields.text(node->find("expression") != nullptr ? "expression" : "table").value_or("");
  if (node->find("value") != nullptr) fields.error("value", "either a number ('value') or a formula, not both");
  fields.node("value");
  if (fields.has("scaled_by") && scale) result.written += " scaled by " + fields.node("scaled_by")->text;
  result.si = result.scaled_by;
  result.of_function = true;
  if (const Node* spread = fields.node("spread")) {
    result.spread = read_spread(*spread, fields.path_of("spread"), rules.result, std::nullopt, parent.reading());
    result.shifts = result.spread.form == Spread::Form::absolute;
    if (result.shifts) {
      result.si = 0;
      result.kind = &rules.result;
    }
  }
  fields.finish();
  if (!result.function || parent.reading().faults->errors() > before) return std::nullopt;
  return result;
}

}  // namespace onegrain::params
