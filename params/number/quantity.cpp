#include "params/number/quantity.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>

#include "params/text/ascii.hpp"

namespace onegrain::params {

namespace {

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

/// Length of the longest beginning that is a decimal number; 0 if there is none.
std::size_t number_length(std::string_view text) {
  std::size_t at = 0;
  const auto digits = [&] {
    const std::size_t start = at;
    while (at < text.size() && is_digit(text[at])) ++at;
    return at - start;
  };
  if (at < text.size() && (text[at] == '-' || text[at] == '+')) ++at;
  std::size_t count = digits();
  if (at < text.size() && text[at] == '.') {
    ++at;
    count += digits();
  }
  if (count == 0) return 0;
  if (at < text.size() && (text[at] == 'e' || text[at] == 'E')) {
    const std::size_t before = at++;
    if (at < text.size() && (text[at] == '-' || text[at] == '+')) ++at;
    if (digits() == 0) at = before;
  }
  return at;
}

constexpr std::array kinds = {
    &LengthKind::kind,
    &AreaKind::kind,
    &MassKind::kind,
    &TimeKind::kind,
    &TemperatureKind::kind,
    &VoltageKind::kind,
    &CurrentKind::kind,
    &CurrentDensityKind::kind,
    &SpecificCurrentKind::kind,
    &ChargeKind::kind,
    &ArealCapacityKind::kind,
    &SpecificCapacityKind::kind,
    &LoadingKind::kind,
    &DensityKind::kind,
    &ConcentrationKind::kind,
    &DiffusivityKind::kind,
    &MolarEnergyKind::kind,
    &MolarVolumeKind::kind,
    &MolarMassKind::kind,
    &PressureKind::kind,
    &ConductivityKind::kind,
    &ArealResistanceKind::kind,
    &SurfaceCapacitanceKind::kind,
    &InductanceKind::kind,
    &EntropicCoefficientKind::kind,
    &SpecificHeatKind::kind,
    &HeatTransferKind::kind,
    &AngleKind::kind,
};

/// "a length, such as '4.8 um'", or "a number"
std::string expected(const Kind& kind, std::string_view number, const char* example_unit) {
  const std::string unit = example_unit != nullptr ? example_unit : kind.unit;
  if (unit.empty()) return kind.noun;
  return fmt::format("{}, such as '{} {}'", kind.noun, number, unit);
}

double as_si(double value, const Unit& unit) { return (value + unit.offset) * unit.factor; }

}  // namespace

std::optional<double> parse_number(std::string_view text) {
  if (text.empty() || number_length(text) != text.size()) return std::nullopt;
  if (text.front() == '+') text.remove_prefix(1);
#ifdef __cpp_lib_to_chars
  double value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc{} || end != text.data() + text.size()) return std::nullopt;
#else
  const double value = std::strtod(std::string(text).c_str(), nullptr);
#endif
  if (!std::isfinite(value)) return std::nullopt;
  return value;
}

double parse_quantity(std::string_view text, const Kind& kind, const char* example_unit) {
  const std::string plain = plain_letters(trimmed(text));
  const std::string_view all = trimmed(plain);
  if (all.empty()) throw QuantityError("no value given; expected " + expected(kind, "1", example_unit));
  const std::size_t length = number_length(all);
  const std::string_view digits = all.substr(0, length);
  const std::string_view rest = trimmed(all.substr(length));
  const bool plain_kind = kind.dimension.none();
  if (length == 0) {
    const std::string_view word = all.front() == '-' || all.front() == '+' ? all.substr(1) : all;
    for (const char* odd :
         {".nan", "nan", "NaN", ".NaN", ".NAN", "NAN", "inf", ".inf", "Inf", ".Inf", ".INF", "infinity", "Infinity"}) {
      if (word == odd) throw QuantityError("not a finite number; expected " + expected(kind, "1", example_unit));
    }
    throw QuantityError("not a number" + std::string(plain_kind ? "" : " with a unit") + "; expected " +
                        expected(kind, "1", example_unit));
  }
  if (rest.size() > 1 && rest.front() == ',' && is_digit(rest[1])) {
    std::string corrected(all);
    corrected[corrected.find(',')] = '.';
    throw QuantityError(fmt::format("a decimal comma; write a point, '{}'", corrected));
  }
  const std::optional<double> value = parse_number(digits);
  if (!value) throw QuantityError("a number beyond what can be computed with");
  if (rest.empty()) {
    if (plain_kind) return *value;
    throw QuantityError("no unit given; expected " + expected(kind, digits, example_unit));
  }
  if (plain_kind && rest.front() == '/') {  // 8/3
    const std::optional<double> below = parse_number(trimmed(rest.substr(1)));
    if (below && *below != 0 && std::isfinite(*value / *below)) return *value / *below;
  }
  // An x or E behind the digits is a number gone wrong (hexadecimal, a lost power) rather than a unit.
  if (rest.front() == 'x' || rest.front() == 'X' || is_digit(rest.front()) || rest.front() == '.') {
    throw QuantityError("not a number" + std::string(plain_kind ? "" : " with a unit") + "; expected " +
                        expected(kind, "1", example_unit));
  }
  if (kind.absolute_temperature && (rest == "C" || rest == "F"))
    throw QuantityError(fmt::format("'{0}' is the {1}, a unit of {2}; a temperature is written '{3} deg{0}'", rest,
                                    rest == "C" ? "coulomb" : "farad", rest == "C" ? "charge" : "capacitance", digits));
  Unit unit;
  try {
    unit = parse_unit(rest);
  } catch (const UnitError& fault) {
    throw QuantityError(fmt::format("{}; expected {}", fault.what(), expected(kind, digits, example_unit)));
  }
  if (!(unit.dimension == kind.dimension)) {
    throw QuantityError(fmt::format(
        "{} where {} is expected{}", describe(unit.dimension), kind.noun,
        *kind.unit == '\0' && example_unit == nullptr
            ? std::string()
            : fmt::format(", such as '{} {}'", digits, example_unit != nullptr ? example_unit : kind.unit)));
  }
  if (!kind.absolute_temperature) unit.offset = 0;
  const double si = as_si(*value, unit);
  if (!std::isfinite(si)) throw QuantityError("a number beyond what can be computed with");
  return si;
}

std::string describe(const Dimension& dimension) {
  if (dimension.none()) return "a number without unit";
  for (const Kind* kind : kinds) {
    if (kind->dimension == dimension) return kind->noun;
  }
  static constexpr const char* names[] = {"m", "kg", "s", "A", "K", "mol", "rad"};
  std::string text = "a quantity in";
  for (std::size_t k = 0; k < dimension.power.size(); ++k) {
    if (std::abs(dimension.power[k]) < 1e-9) continue;
    text += fmt::format(" {}", names[k]);
    if (std::abs(dimension.power[k] - 1) > 1e-9) text += fmt::format("{:.4g}", dimension.power[k]);
  }
  return text;
}

double in_unit(double si, std::string_view unit_text) {
  const Unit unit = parse_unit(unit_text);
  return si / unit.factor - unit.offset;
}

std::string plain_number(double value, int digits) {
  const double size = std::abs(value);
  if (value == 0) return "0";
  if (!(size >= 1e-4 && size < 1e6)) return fmt::format("{:.{}g}", value, digits);
  const int decimals = std::max(0, digits - 1 - static_cast<int>(std::floor(std::log10(size))));
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (decimals > 0) {
    while (text.back() == '0') text.pop_back();
    if (text.back() == '.') text.pop_back();
  }
  return text;
}

std::string show(double si, const Kind& kind, int digits, const char* unit) {
  const std::string_view name = unit != nullptr ? unit : kind.unit;
  if (name.empty()) return plain_number(si, digits);
  Unit scale = parse_unit(name);
  if (!kind.absolute_temperature) scale.offset = 0;
  double value = si / scale.factor - scale.offset;
  // 298.15 K - 273.15 K is 25 but for round-off of the subtraction, which must not be shown
  if (std::abs(value) < 1e-12 * std::abs(scale.offset)) value = 0;
  return fmt::format("{} {}", plain_number(value, digits), name);
}

}  // namespace onegrain::params
