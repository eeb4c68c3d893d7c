#include "params/card/property_reader.hpp"

#include <fmt/format.h>
#include <math.h>  // before pchip.hpp, which needs ::isnan in Boost 1.74

#include <algorithm>
#include <boost/math/interpolators/pchip.hpp>
#include <cmath>
#include <memory>

#include "params/text/delimited.hpp"
#include "params/text/expression.hpp"
#include "params/text/library.hpp"

namespace onegrain::params {

namespace {

constexpr double litre = 1e-3;  // [m3]

/// The variable as it stands in formulas, per unit of the model's composition: c in mol/L, the model's in mol/m3.
double variable_scale(const PropertyRules& rules) { return rules.composition == "c" ? litre : 1; }

std::string variable_text(const PropertyRules& rules, double variable) {
  return fmt::format("{} = {:.5g}{}", rules.composition, variable, rules.composition == "c" ? " mol/L" : "");
}

struct Range {
  double lower, upper;
  bool given = false;
};

/// `range: [0.25, 0.98]`, or `[0.1 mol/L, 2 mol/L]` (bare numbers are mol/L); in the variable of formulas.
Range read_range(Fields& fields, const PropertyRules& rules) {
  const Range otherwise{rules.lower, rules.upper, false};
  const Node* node = fields.node("range");
  if (node == nullptr) return otherwise;
  const std::string right = rules.composition == "c" ? "two concentrations, such as [0, 2 mol/L]"
                                                     : "two stoichiometries, such as [0.25, 0.98]";
  if (node->type != Node::Type::sequence || node->items.size() != 2 || node->items[0].type != Node::Type::scalar ||
      node->items[1].type != Node::Type::scalar) {
    fields.error("range", "expected " + right);
    return otherwise;
  }
  Range range{0, 0, true};
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

/// Cubic polynomial pieces through the points, monotone where the points are: Boost's pchip (F. N. Fritsch, J. Butland,
/// SIAM J. Sci. Stat. Comput. 5, 300 (1984)); straight lines for two or three points.
void through_points(const std::vector<double>& x, const std::vector<double>& y,
                    std::vector<std::vector<double>>& coefficients) {
  std::vector<double> slopes;
  if (x.size() >= 4) {
    std::vector<double> px = x, py = y;
    const boost::math::interpolators::pchip<std::vector<double>> spline(std::move(px), std::move(py));
    for (const double knot : x) slopes.push_back(spline.prime(knot));
  }
  for (std::size_t k = 0; k + 1 < x.size(); ++k) {
    const double h = x[k + 1] - x[k], d = (y[k + 1] - y[k]) / h;
    if (slopes.empty()) {
      coefficients.push_back({y[k], d});
    } else {
      const double s0 = slopes[k], s1 = slopes[k + 1];
      coefficients.push_back({y[k], s0, (3 * d - 2 * s0 - s1) / h, (s0 + s1 - 2 * d) / (h * h)});
    }
  }
}

/// Leaves of the pieces only what lies in [lower, upper].
void clip(std::vector<double>& breaks, std::vector<std::vector<double>>& coefficients, double lower, double upper) {
  while (breaks.size() > 2 && breaks[1] <= lower) {
    breaks.erase(breaks.begin());
    coefficients.erase(coefficients.begin());
  }
  while (breaks.size() > 2 && breaks[breaks.size() - 2] >= upper) {
    breaks.pop_back();
    coefficients.pop_back();
  }
  const double move = lower - breaks.front();
  std::vector<double>& first = coefficients.front();
  for (std::size_t k = 0; k < first.size(); ++k) {  // Taylor shift by repeated synthetic division
    for (std::size_t m = first.size() - 1; m > k; --m) first[m - 1] += move * first[m];
  }
  breaks.front() = lower;
  breaks.back() = upper;
}

std::optional<std::string> text_beside(const DocumentReading& reading, const std::string& name, std::string& shown_name,
                                       Faults& faults) {
  if (reading.shipped) {
    shown_name = "materials/" + name;
    for (const char* folder : {"materials/", "electrolytes/"}) {
      const std::string_view text = embedded_file(folder + name);
      if (text.data() != nullptr) {
        shown_name = folder + name;
        return std::string(text);
      }
    }
    faults.error({shown_name}, "", "", "no such table is shipped");
    return std::nullopt;
  }
  shown_name = reading.folder.empty() || name.starts_with('/') ? name : reading.folder + "/" + name;
  return read_file(shown_name, faults, std::size_t{4} << 20);
}

/// For a message about a value that is not as written.
std::string after_scaling(double scaled_by) {
  return scaled_by == 1 ? "" : fmt::format(" after scaling by {:.6g}", scaled_by);
}

std::shared_ptr<const Function> read_table(Fields& fields, const PropertyRules& rules, bool potential,
                                           const std::string& name, double scaled_by) {
  const DocumentReading& reading = fields.reading();
  Faults& faults = *reading.faults;
  const int before = faults.errors();
  Faults missing;
  std::string file;
  const std::optional<std::string> text = text_beside(reading, name, file, missing);
  if (!text) {
    for (const Fault& fault : missing.sorted()) fields.error("table", fault.text());
    return nullptr;
  }
  add_file(*reading.files, source_file(file, reading.shipped, *text, reading.file, name));
  const std::optional<Delimited> table = read_delimited(*text, file, faults);
  if (!table) return nullptr;

  const Place header{file, table->header_line, 1};
  const bool salt = rules.composition == "c";
  const std::string example =
      fmt::format("{}, {} / {}", salt ? "concentration / mol/L" : "stoichiometry", potential ? "potential" : "value",
                  *rules.result.unit == '\0' ? "1" : rules.result.unit);
  if (table->titles.size() != 2) {
    faults.error(header, "", "",
                 fmt::format("{} columns where two are expected, such as '{}'", table->titles.size(), example));
    return nullptr;
  }
  if (table->titles[0].name != (salt ? "concentration" : "stoichiometry")) {
    faults.error(header, "", table->titles[0].whole,
                 fmt::format("the first column must be the {}; expected a header such as '{}'",
                             salt ? "concentration" : "stoichiometry", example));
  }
  Unit value_unit, composition_unit;
  try {
    if (table->titles[1].unit.empty()) {
      if (!rules.result.dimension.none()) throw UnitError("no unit given");
    } else {
      value_unit = parse_unit(table->titles[1].unit);
    }
    if (!(value_unit.dimension == rules.result.dimension)) {
      throw UnitError(fmt::format("{} where {} is expected", describe(value_unit.dimension), rules.result.noun));
    }
  } catch (const UnitError& wrong) {
    faults.error(header, "", table->titles[1].whole,
                 fmt::format("{}; expected a header such as '{}'", wrong.what(), example));
  }
  try {
    if (salt) {
      composition_unit = parse_unit(table->titles[0].unit.empty() ? "mol/L" : table->titles[0].unit);
      if (!(composition_unit.dimension == ConcentrationKind::kind.dimension))
        throw UnitError("a concentration is expected");
    } else if (!table->titles[0].unit.empty()) {
      composition_unit = parse_unit(table->titles[0].unit);
      if (!composition_unit.dimension.none()) throw UnitError("a stoichiometry has no unit");
    }
  } catch (const UnitError& wrong) {
    faults.error(header, "", table->titles[0].whole,
                 fmt::format("{}; expected a header such as '{}'", wrong.what(), example));
  }

  std::vector<double> x, y;
  std::vector<int> lines;
  for (const DelimitedRow& row : table->rows) {
    const std::optional<double>&a = row.numbers[0], &b = row.numbers[1];
    if (!a || !b) {
      faults.error({file, row.line, 1}, "", a ? row.cells[1] : row.cells[0], "not a finite number");
    } else {
      x.push_back(*a * composition_unit.factor);
      y.push_back(*b * value_unit.factor);
      lines.push_back(row.line);
      if (!(x.back() >= 0) || (!salt && !(x.back() <= 1))) {
        faults.error({file, row.line, 1}, "", row.cells[0],
                     salt ? "a concentration below 0" : "a stoichiometry outside 0 to 1");
      }
    }
    if (faults.errors() > before + 10) break;
  }
  if (x.size() < 2 && faults.errors() == before) faults.error({file}, "", "", "at least two rows are needed");
  if (faults.errors() > before) return nullptr;
  if (x.front() > x.back()) {
    std::reverse(x.begin(), x.end());
    std::reverse(y.begin(), y.end());
    std::reverse(lines.begin(), lines.end());
  }
  for (std::size_t k = 1; k < x.size(); ++k) {
    if (x[k] > x[k - 1]) continue;
    faults.error({file, lines[k], 1}, "", fmt::format("{:.6g}", x[k] * variable_scale(rules)),
                 x[k] == x[k - 1]
                     ? fmt::format("the same {} as in line {}", table->titles[0].name, lines[k - 1])
                     : fmt::format("out of order: the {} must rise or fall throughout", table->titles[0].name));
    if (faults.errors() > before + 10) break;
  }
  for (std::size_t k = 0; k < y.size() && faults.errors() <= before + 10; ++k) {
    const double value = scaled_by * y[k];
    if (value < rules.limits.lower || value > rules.limits.upper ||
        (rules.limits.lower_open && value == rules.limits.lower)) {
      faults.error({file, lines[k], 1}, "", show(value, rules.result),
                   fmt::format("out of reason for {}{}", rules.result.noun, after_scaling(scaled_by)));
    }
  }
  if (faults.errors() > before) return nullptr;

  std::vector<std::vector<double>> coefficients;
  through_points(x, y, coefficients);
  const Range range = read_range(fields, rules);
  if (faults.errors() > before) return nullptr;
  if (range.given) {
    const double lower = range.lower / variable_scale(rules), upper = range.upper / variable_scale(rules);
    if (lower < x.front() - 1e-9 * x.back() || upper > x.back() * (1 + 1e-9)) {
      fields.error("range", fmt::format("wider than the table, which covers {:.5g} to {:.5g}",
                                        x.front() * variable_scale(rules), x.back() * variable_scale(rules)));
      return nullptr;
    }
    clip(x, coefficients, std::max(lower, x.front()), std::min(upper, x.back()));
  }
  using Beyond = model::Curve::Beyond;
  return std::make_shared<const Function>(std::move(x), std::move(coefficients),
                                          potential ? Beyond::tangent : Beyond::hold);
}

std::shared_ptr<const Function> read_expression(Fields& fields, const PropertyRules& rules, bool potential,
                                                const std::string& text, double scaled_by) {
  std::vector<std::string> variables;
  if (!rules.composition.empty()) variables.push_back(rules.composition);
  if (rules.temperature) variables.push_back("T");

  Unit unit;
  bool good = true;
  if (const std::optional<std::string> unit_text = fields.text("unit")) {
    try {
      unit = parse_unit(*unit_text);
      if (!(unit.dimension == rules.result.dimension)) {
        fields.error("unit", fmt::format("{} where {} is expected, such as '{}'", describe(unit.dimension),
                                         rules.result.noun, rules.result.unit));
        good = false;
      }
    } catch (const UnitError& wrong) {
      fields.error("unit", wrong.what());
      good = false;
    }
  } else if (!potential && !rules.result.dimension.none() && !fields.has("unit")) {
    fields.missing("unit", fmt::format("the unit of the expression, such as '{}'", rules.result.unit));
    good = false;
  }
  const Range range = read_range(fields, rules);
  std::shared_ptr<Expression> expression;
  try {
    expression = std::make_shared<Expression>(text, variables);
  } catch (const ExpressionError& wrong) {
    fields.error("expression", wrong.what());
    return nullptr;
  }
  if (!good) return nullptr;

  const double scale = variable_scale(rules), factor = unit.factor;
  const bool has_composition = !rules.composition.empty();
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

  // Held against its limits at 25 degC before anyone builds on it.
  constexpr int samples = 400;
  double rise = 0, lowest = 1e300;
  for (int k = 0; k <= samples; ++k) {
    const double variable = k == samples ? range.upper : range.lower + (range.upper - range.lower) * k / samples;
    const double value = scaled_by * formula(variable / scale, 298.15);
    const std::string where = shape.depends_on_composition ? " at " + variable_text(rules, variable) : "";
    if (!std::isfinite(value)) {
      fields.error("expression", fmt::format("not finite{}{}", where,
                                             range.given || !shape.depends_on_composition
                                                 ? std::string("; narrow the 'range'")
                                                 : fmt::format("; state where it holds, such as 'range: [{}, {}]'",
                                                               rules.composition == "c" ? "0.1" : "0.01",
                                                               rules.composition == "c" ? "2" : "0.99")));
      return nullptr;
    }
    const bool low = rules.limits.lower_open ? !(value > rules.limits.lower) : !(value >= rules.limits.lower);
    if (low || !(value <= rules.limits.upper)) {
      fields.error("expression",
                   fmt::format("gives {}{}{}, out of reason for {}{}", show(value, rules.result),
                               after_scaling(scaled_by), where, rules.result.noun,
                               shape.depends_on_composition ? "; narrow the 'range' or mend the formula" : ""));
      return nullptr;
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
  return std::make_shared<const Function>(formula, shape);
}

}  // namespace

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
      const std::shared_ptr<const Function> function = read_table(fields, rules, potential, *name, scaled_by);
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
