#include <fmt/format.h>
#include <math.h>  // before pchip.hpp, which needs ::isnan in Boost 1.74

#include <algorithm>
#include <boost/math/interpolators/pchip.hpp>
#include <memory>

#include "params/card/function_reader.hpp"
#include "params/text/delimited.hpp"
#include "params/text/library.hpp"

namespace onegrain::params {

namespace {

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

}  // namespace

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
  const FunctionRange range = read_range(fields, rules);
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

}  // namespace onegrain::params
