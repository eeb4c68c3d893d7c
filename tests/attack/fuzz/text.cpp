// Fuzzed: the readers of plain words - quantities, rates, formulas, expressions, titles.

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "params/number/quantity.hpp"
#include "params/record/columns.hpp"
#include "params/sheet/rate.hpp"
#include "params/text/delimited.hpp"
#include "params/text/expression.hpp"
#include "params/text/formula.hpp"
#include "tests/attack/fuzz/targets.hpp"

namespace onegrain::attack::fuzz {

void require(bool holds, const char* sentence) {
  if (holds) return;
  std::fprintf(stderr, "broken promise: %s\n", sentence);
  std::abort();
}

void check_messages(const params::Faults& faults, bool sound) {
  require(sound || faults.any_error(), "what cannot be read has a reason");
  for (const params::Fault& fault : faults.sorted()) {
    const std::string text = fault.text();
    require(!fault.message.empty(), "a fault says what is wrong");
    for (const char c : text) {
      require(static_cast<unsigned char>(c) >= 0x20 || c == '\t',
              "no control character but the tab is among the words of a fault");
      require(c != 0x7f, "no control character but the tab is among the words of a fault");
    }
  }
}

namespace {

/// Lines of an input, for readers that take several words.
std::vector<std::string> lines_of(std::string_view bytes) {
  std::vector<std::string> lines(1);
  for (const char c : bytes) {
    if (c == '\n')
      lines.emplace_back();
    else
      lines.back() += c;
  }
  return lines;
}

}  // namespace

void quantity(std::string_view bytes) {
  if (const auto number = params::parse_number(bytes)) require(std::isfinite(*number), "a number is finite");
  try {
    const params::Unit unit = params::parse_unit(bytes);
    require(std::isfinite(unit.factor) && unit.factor != 0 && std::isfinite(unit.offset), "a unit has a finite factor");
  } catch (const params::UnitError&) {
  }
  for (const params::Kind* kind :
       {&params::NumberKind::kind, &params::FractionKind::kind, &params::LengthKind::kind,
        &params::TemperatureKind::kind, &params::ArealResistanceKind::kind, &params::MolarEnergyKind::kind,
        &params::ChargeKind::kind, &params::AngleKind::kind}) {
    try {
      const double si = params::parse_quantity(bytes, *kind);
      require(std::isfinite(si), "a quantity is finite");
      // What is shown with 17 digits reads back, where it is shown in a unit of its own.
      if (std::abs(si) > 1e-200 && std::abs(si) < 1e200) {
        const double again = params::parse_quantity(params::show(si, *kind, 17), *kind);
        const double scale = kind->absolute_temperature ? std::abs(si) + 273.15 : std::abs(si);
        require(std::abs(again - si) <= 1e-12 * scale, "a quantity that is shown reads back");
      }
    } catch (const params::QuantityError& error) {
      require(error.what()[0] != '\0', "a refusal says why");
    }
  }
}

void rate(std::string_view bytes) {
  const params::RateBase base{20.0, 1e-4, bytes.size() % 2 == 0 ? std::optional(0.1) : std::nullopt};
  try {
    for (const params::Rate& r : params::parse_rates(bytes, base)) {
      require(r.current_density > 0 && std::isfinite(r.current_density), "a rate is positive and finite");
      require(r.c_rate > 0 && std::isfinite(r.c_rate), "a C-rate is positive and finite");
      require(!params::rate_name(r.c_rate).empty(), "a rate has a name");
    }
  } catch (const params::RateError&) {
  }
}

void formula(std::string_view bytes) {
  try {
    const params::Formula f = params::parse_formula(bytes);
    require(!f.atoms.empty(), "a formula holds atoms");
    const double mass = f.molar_mass();
    require(mass > 0 && std::isfinite(mass), "a molar mass is positive and finite");
    for (const auto& [element, count] : f.atoms)  // Li0FePO4 is an emptied host
      require(count >= 0 && std::isfinite(count), "a count of atoms is finite and not negative");
  } catch (const params::FormulaError&) {
  }
}

void expression(std::string_view bytes) {
  try {
    const params::Expression f(std::string(bytes), {"x", "T"});
    const double once = f(0.5, 298.15), again = f(0.5, 298.15);
    require(once == again || (std::isnan(once) && std::isnan(again)), "an expression has one value");
    for (const double x : {0.0, 1e-9, 0.3, 1.0}) f(x, 298.15);
  } catch (const params::ExpressionError&) {
  }
}

void columns(std::string_view bytes) {
  const std::vector<std::string> lines = lines_of(bytes);
  const std::size_t half = lines.size() / 2;
  const std::vector<std::string> words(lines.begin(), lines.begin() + static_cast<std::ptrdiff_t>(half));
  const std::vector<std::string> titles(lines.begin() + static_cast<std::ptrdiff_t>(half), lines.end());
  for (const std::string& title : titles) {
    params::read_title(title);
    params::title_unit(title, params::VoltageKind::kind);
  }
  try {
    const params::ColumnMap map = params::parse_column_map(words);
    params::Faults faults;
    const std::vector<params::TakenColumn> taken = params::take_columns(
        map, titles, std::vector<bool>(titles.size(), bytes.size() % 2 == 1), {"data.csv", 1, 0}, faults);
    for (const params::TakenColumn& column : taken) {
      require(column.index < titles.size(), "a column taken is one of the file");
      require(std::isfinite(column.factor) && column.factor != 0 && std::isfinite(column.offset),
              "its factor is finite");
    }
    for (const std::string& word : lines) params::state_of(word, map);
  } catch (const params::ColumnMapError&) {
  }
}

}  // namespace onegrain::attack::fuzz
