#include "params/measured.hpp"

#include <fmt/format.h>

#include <cassert>
#include <cmath>

#include "params/delimited.hpp"
#include "params/library.hpp"
#include "params/quantity.hpp"
#include "params/sha256.hpp"

namespace onegrain::params {

namespace {

struct Required {
  const char* name;  ///< of the open standard, with its unit
  const char* machine;
  const Kind& kind;
};
const Required required[] = {
    {"Test Time", "test_time_second", TimeKind::kind},
    {"Voltage", "voltage_volt", VoltageKind::kind},
    {"Current", "current_ampere", CurrentKind::kind},
};
const char* const titles[] = {"Test Time / s", "Voltage / V", "Current / A"};

}  // namespace

Loaded<Measured> read_measured(const std::string& text, const std::string& file) {
  Loaded<Measured> result;
  result.files.push_back({file, false, sha256(text)});
  const std::optional<Delimited> table = read_delimited(text, file, result.faults);
  if (!table) return result;
  std::size_t columns[3] = {};
  double factors[3] = {1, 1, 1};
  for (std::size_t k = 0; k < 3; ++k) {
    bool found = false;
    std::vector<std::string> names;
    for (std::size_t c = 0; c < table->titles.size() && !found; ++c) {
      const Title& title = table->titles[c];
      names.push_back(title.whole);
      if (title.whole == required[k].machine) {
        columns[k] = c;
        found = true;
      } else if (title.name == required[k].name) {
        columns[k] = c;
        found = true;
        try {
          const Unit unit = parse_unit(title.unit);
          if (!(unit.dimension == required[k].kind.dimension))
            throw UnitError(describe(unit.dimension) + " where " + required[k].kind.noun + " is expected");
          factors[k] = unit.factor;
        } catch (const UnitError& wrong) {
          result.faults.error({file, table->header_line, 1}, "", title.whole,
                              fmt::format("{}; expected '{}'", wrong.what(), titles[k]));
        }
      }
    }
    if (!found) {
      const std::string near = nearest(titles[k], names);
      result.faults.error({file, table->header_line, 1}, "", "",
                          fmt::format("no column '{}' (or '{}'){}", titles[k], required[k].machine,
                                      near.empty() ? "" : fmt::format("; is it '{}'?", near)));
    }
  }
  if (result.faults.any_error()) return result;
  if (table->rows.empty()) {
    result.faults.error({file}, "", "", "no rows of numbers");
    return result;
  }
  Measured data;
  std::vector<double>* series[] = {&data.time, &data.voltage, &data.current};
  int reported = 0;
  const auto report = [&](int line, const std::string& value, const std::string& message) {
    if (++reported <= 20) result.faults.error({file, line, 1}, "", value, message);
  };
  for (const DelimitedRow& row : table->rows) {
    for (std::size_t k = 0; k < 3; ++k) {
      const std::string& cell = row.cells[columns[k]];
      const std::optional<double> value = table->number(cell);
      if (!value) report(row.line, cell, fmt::format("not a finite number in the column '{}'", titles[k]));
      series[k]->push_back(value ? *value * factors[k] : 0);
    }
    const std::size_t n = data.time.size();
    if (n > 1 && data.time[n - 1] < data.time[n - 2])
      report(row.line, row.cells[columns[0]], "the time runs backwards");
  }
  if (reported > 20)
    result.faults.error({file}, "", "", fmt::format("and {} further faults of this kind", reported - 20));
  for (std::size_t c = 0; c < table->titles.size(); ++c) {
    if (c == columns[0] || c == columns[1] || c == columns[2]) continue;
    Column column{table->titles[c].whole, {}};
    bool numbers = true;
    for (std::size_t r = 0; numbers && r < table->rows.size(); ++r) {
      const std::optional<double> value = table->number(table->rows[r].cells[c]);
      numbers = value.has_value();
      if (numbers) column.values.push_back(*value);
    }
    if (numbers) data.others.push_back(std::move(column));
  }
  if (!result.faults.any_error()) result.value = std::move(data);
  return result;
}

Loaded<Measured> load_measured(const std::string& path) {
  Loaded<Measured> nothing;
  const std::optional<std::string> text = read_file(path, nothing.faults, std::size_t{512} << 20);
  return text ? read_measured(*text, path) : nothing;
}

std::string delimited_text(const std::vector<Column>& columns, int digits) {
  std::string text;
  for (std::size_t c = 0; c < columns.size(); ++c) {
    assert(columns[c].values.size() == columns[0].values.size());
    const std::string& title = columns[c].title;
    const bool quoted = title.find_first_of(",\"\n") != std::string::npos;
    text += (c == 0 ? "" : ",") + (quoted ? fmt::format("\"{}\"", title) : title);
  }
  text += '\n';
  const std::size_t rows = columns.empty() ? 0 : columns[0].values.size();
  for (std::size_t r = 0; r < rows; ++r) {
    for (std::size_t c = 0; c < columns.size(); ++c) {
      if (c > 0) text += ',';
      const double value = columns[c].values[r];
      if (std::isfinite(value)) fmt::format_to(std::back_inserter(text), "{:.{}g}", value == 0 ? 0.0 : value, digits);
    }
    text += '\n';
  }
  return text;
}

}  // namespace onegrain::params
