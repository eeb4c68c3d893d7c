#include <fmt/format.h>
#include <math.h>  // before pchip.hpp, which needs ::isnan in Boost 1.74

#include <algorithm>
#include <boost/math/interpolators/pchip.hpp>
#include <filesystem>
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

/// A table of the program, by its name; `shown_name` becomes that within it.
std::optional<std::string> shipped_table(const std::string& name, std::string& shown_name) {
  for (const char* folder : {"materials/", "electrolytes/"}) {
    const std::string_view text = embedded_file(folder + name);
    if (text.data() == nullptr) continue;
    shown_name = folder + name;
    return std::string(text);
  }
  return std::nullopt;
}

/// The table beside the card; a copy of a shipped card that was made without its table finds the shipped one.
/// @param shipped  whether it is one of the program
std::optional<std::string> text_beside(const DocumentReading& reading, const std::string& name, std::string& shown_name,
                                       bool& shipped, Faults& faults) {
  shipped = reading.shipped;
  if (reading.shipped) {
    shown_name = "materials/" + name;
    if (auto text = shipped_table(name, shown_name)) return text;
    faults.error({shown_name}, "", "", "no such table is shipped");
    return std::nullopt;
  }
  shown_name = reading.folder.empty() || name.starts_with('/') ? name : reading.folder + "/" + name;
  std::error_code ignored;
  if (!std::filesystem::exists(std::filesystem::symlink_status(shown_name, ignored))) {
    std::string within;
    if (auto text = shipped_table(name, within)) {
      shown_name = within;
      shipped = true;
      return text;
    }
  }
  return read_file(shown_name, faults, std::size_t{4} << 20);
}

/// A table on its way to a function: what it is of, and where its faults go.
struct TableReading {
  const PropertyRules& rules;
  double scaled_by;
  std::string file;
  Faults& faults;
  int before;  ///< faults that others have

  bool of_salt() const { return rules.composition == "c"; }
  const char* composition() const { return of_salt() ? "concentration" : "stoichiometry"; }
  bool sound() const { return faults.errors() == before; }
  bool enough_faults() const { return faults.errors() > before + 10; }
};

/// What the numbers of the two columns are multiplied by to be SI.
struct TableUnits {
  Unit composition, value;
};

/// Nothing where there are not two columns; after other faults the rows are looked at all the same.
std::optional<TableUnits> read_header(const TableReading& reading, const Delimited& table, bool potential) {
  const Place header{reading.file, table.header_line, 1};
  const Kind& result = reading.rules.result;
  const std::string example = fmt::format("{}, {} / {}", reading.of_salt() ? "concentration / mol/L" : "stoichiometry",
                                          potential ? "potential" : "value", *result.unit == '\0' ? "1" : result.unit);
  if (table.titles.size() != 2) {
    reading.faults.error(header, "", "",
                         fmt::format("{} columns where two are expected, such as '{}'", table.titles.size(), example));
    return std::nullopt;
  }
  const Title &first = table.titles[0], &second = table.titles[1];
  const auto fault = [&](const Title& title, const std::string& what) {
    reading.faults.error(header, "", title.whole, fmt::format("{}; expected a header such as '{}'", what, example));
  };
  if (first.name != reading.composition()) {
    fault(first, fmt::format("the first column must be the {}", reading.composition()));
  }
  TableUnits units;
  try {
    if (!second.unit.empty()) units.value = parse_unit(second.unit);
    if (second.unit.empty() && !result.dimension.none()) throw UnitError("no unit given");
    if (!(units.value.dimension == result.dimension)) {
      throw UnitError(fmt::format("{} where {} is expected", describe(units.value.dimension), result.noun));
    }
  } catch (const UnitError& wrong) {
    fault(second, wrong.what());
  }
  try {
    const std::string unit = first.unit.empty() && reading.of_salt() ? "mol/L" : first.unit;
    if (!unit.empty()) units.composition = parse_unit(unit);
    if (reading.of_salt() && !(units.composition.dimension == ConcentrationKind::kind.dimension)) {
      throw UnitError("a concentration is expected");
    }
    if (!reading.of_salt() && !units.composition.dimension.none()) throw UnitError("a stoichiometry has no unit");
  } catch (const UnitError& wrong) {
    fault(first, wrong.what());
  }
  return units;
}

/// In SI, and the line that each stands in.
struct TablePoints {
  std::vector<double> x, y;
  std::vector<int> lines;
};

TablePoints read_points(const TableReading& reading, const Delimited& table, const TableUnits& units) {
  TablePoints points;
  for (const DelimitedRow& row : table.rows) {
    const std::optional<double>&a = row.numbers[0], &b = row.numbers[1];
    const Place place{reading.file, row.line, 1};
    if (!a || !b) {
      reading.faults.error(place, "", a ? row.cells[1] : row.cells[0], "not a finite number");
    } else {
      const double x = *a * units.composition.factor;
      points.x.push_back(x);
      points.y.push_back(*b * units.value.factor);
      points.lines.push_back(row.line);
      if (!(x >= 0) || (!reading.of_salt() && !(x <= 1))) {
        reading.faults.error(place, "", row.cells[0],
                             reading.of_salt() ? "a concentration below 0" : "a stoichiometry outside 0 to 1");
      }
    }
    if (reading.enough_faults()) break;
  }
  if (points.x.size() < 2 && reading.sound()) {
    reading.faults.error({reading.file}, "", "", "at least two rows are needed");
  }
  return points;
}

void let_rise(TablePoints& points) {
  if (!(points.x.front() > points.x.back())) return;
  std::reverse(points.x.begin(), points.x.end());
  std::reverse(points.y.begin(), points.y.end());
  std::reverse(points.lines.begin(), points.lines.end());
}

void check_order(const TableReading& reading, const TablePoints& points, const std::string& title) {
  const std::vector<double>& x = points.x;
  for (std::size_t k = 1; k < x.size(); ++k) {
    if (x[k] > x[k - 1]) continue;
    reading.faults.error({reading.file, points.lines[k], 1}, "",
                         fmt::format("{:.6g}", x[k] * variable_scale(reading.rules)),
                         x[k] == x[k - 1] ? fmt::format("the same {} as in line {}", title, points.lines[k - 1])
                                          : fmt::format("out of order: the {} must rise or fall throughout", title));
    if (reading.enough_faults()) break;
  }
}

void check_limits(const TableReading& reading, const TablePoints& points) {
  const PropertyRules& rules = reading.rules;
  for (std::size_t k = 0; k < points.y.size() && !reading.enough_faults(); ++k) {
    const double value = reading.scaled_by * points.y[k];
    if (value < rules.limits.lower || value > rules.limits.upper ||
        (rules.limits.lower_open && value == rules.limits.lower)) {
      reading.faults.error({reading.file, points.lines[k], 1}, "", show(value, rules.result),
                           fmt::format("out of reason for {}{}", rules.result.noun, after_scaling(reading.scaled_by)));
    }
  }
}

/// Narrows the pieces to the range that the card asks for; false where the table does not cover it.
bool narrow(std::vector<double>& x, std::vector<std::vector<double>>& coefficients, const FunctionRange& range,
            double scale, Fields& fields) {
  const double lower = range.lower / scale, upper = range.upper / scale;
  if (lower < x.front() - 1e-9 * x.back() || upper > x.back() * (1 + 1e-9)) {
    fields.error("range", fmt::format("wider than the table, which covers {:.5g} to {:.5g}", x.front() * scale,
                                      x.back() * scale));
    return false;
  }
  clip(x, coefficients, std::max(lower, x.front()), std::min(upper, x.back()));
  return true;
}

}  // namespace

std::shared_ptr<const Function> read_table(Fields& fields, const PropertyRules& rules, bool potential,
                                           const std::string& name, double scaled_by) {
  const DocumentReading& document = fields.reading();
  TableReading reading{rules, scaled_by, "", *document.faults, document.faults->errors()};
  Faults missing;
  bool shipped = false;
  const std::optional<std::string> text = text_beside(document, name, reading.file, shipped, missing);
  if (!text) {
    for (const Fault& fault : missing.sorted()) fields.error("table", fault.text());
    return nullptr;
  }
  add_file(*document.files, source_file(reading.file, shipped, *text, document.file, name));
  const std::optional<Delimited> table = read_delimited(*text, reading.file, reading.faults);
  if (!table) return nullptr;

  const std::optional<TableUnits> units = read_header(reading, *table, potential);
  if (!units) return nullptr;
  TablePoints points = read_points(reading, *table, *units);
  if (!reading.sound()) return nullptr;
  let_rise(points);
  check_order(reading, points, table->titles[0].name);
  check_limits(reading, points);
  if (!reading.sound()) return nullptr;

  std::vector<std::vector<double>> coefficients;
  through_points(points.x, points.y, coefficients);
  const FunctionRange range = read_range(fields, rules);
  if (!reading.sound()) return nullptr;
  if (range.given && !narrow(points.x, coefficients, range, variable_scale(rules), fields)) return nullptr;
  using Beyond = model::Curve::Beyond;
  return std::make_shared<const Function>(std::move(points.x), std::move(coefficients),
                                          potential ? Beyond::tangent : Beyond::hold);
}

}  // namespace onegrain::params
