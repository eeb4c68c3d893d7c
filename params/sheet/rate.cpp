#include "params/sheet/rate.hpp"

#include <fmt/format.h>

#include <cmath>

#include "params/number/quantity.hpp"

namespace onegrain::params {

namespace {

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

constexpr const char* right = "write C/5, 0.2C, 1.5 mA, 3 mA/cm2 or 160 mA/g";

/// `C/5`, `0.2C`, `2C/3`, `C`: multiples of 1C; nothing if this is not of that form.
std::optional<double> multiple_of_1C(std::string_view text) {
  const std::size_t letter = text.find_first_of("Cc");
  if (letter == std::string_view::npos) return std::nullopt;
  const std::string_view before = trimmed(text.substr(0, letter)), after = trimmed(text.substr(letter + 1));
  double value = 1;
  if (!before.empty()) {
    const std::optional<double> number = parse_number(before);
    if (!number) return std::nullopt;
    value = *number;
  }
  if (!after.empty()) {
    if (after.front() != '/') return std::nullopt;
    const std::optional<double> number = parse_number(trimmed(after.substr(1)));
    if (!number || *number == 0) return std::nullopt;
    value /= *number;
  }
  return value;
}

}  // namespace

Rate parse_rate(std::string_view text, const RateBase& base) {
  const std::string_view all = trimmed(text);
  if (all.empty()) throw RateError(fmt::format("an empty rate; {}", right));
  Rate rate{};
  rate.written = std::string(all);
  if (const std::optional<double> c_rate = multiple_of_1C(all)) {
    rate.current_density = *c_rate * base.one_hour_charge / 3600;
  } else {
    // The kind that the unit names decides what the number means.
    std::size_t letter = all.find_first_not_of("+-.0123456789");
    while (letter != std::string_view::npos && (all[letter] == 'e' || all[letter] == 'E') && letter + 1 < all.size() &&
           (all[letter + 1] == '-' || all[letter + 1] == '+' || (all[letter + 1] >= '0' && all[letter + 1] <= '9'))) {
      letter = all.find_first_not_of("+-.0123456789", letter + 1);
    }
    if (letter == std::string_view::npos || letter == 0) {
      if (letter == 0) {
        const std::optional<double> hours =
            (all[0] == 'C' || all[0] == 'c') ? parse_number(all.substr(1)) : std::nullopt;
        throw RateError(
            hours ? fmt::format("'{}' is not a rate; did you mean C/{} or {}C?", all, all.substr(1), all.substr(1))
                  : fmt::format("'{}' is not a rate; {}", all, right));
      }
      throw RateError(
          fmt::format("'{0}' is not a rate; a unit is missing: write {0}C, {0} mA, {0} mA/cm2 or {0} mA/g", all));
    }
    try {
      const Dimension dimension = parse_unit(trimmed(all.substr(letter))).dimension;
      if (dimension == CurrentKind::kind.dimension) {
        rate.current_density = parse<Current>(all).si() / base.plate_area;
      } else if (dimension == CurrentDensityKind::kind.dimension) {
        rate.current_density = parse<CurrentDensity>(all).si();
      } else if (dimension == SpecificCurrentKind::kind.dimension) {
        if (!base.active_loading) {
          throw RateError(fmt::format(
              "'{}': the mass of active material is not known (the card of the material gives no density)", all));
        }
        rate.current_density = parse<SpecificCurrent>(all).si() * *base.active_loading;
      } else {
        throw RateError(fmt::format("'{}': {} is not a rate; {}", all, describe(dimension), right));
      }
    } catch (const UnitError& wrong) {
      throw RateError(fmt::format("'{}' is not a rate: {}; {}", all, wrong.what(), right));
    } catch (const QuantityError& wrong) {
      throw RateError(fmt::format("'{}' is not a rate: {}; {}", all, wrong.what(), right));
    }
  }
  rate.c_rate = rate.current_density * 3600 / base.one_hour_charge;
  if (!(rate.current_density > 0)) {
    throw RateError(fmt::format("'{}': a rate is greater than 0; the direction is stated apart from it", all));
  }
  if (!(rate.c_rate >= 1e-6 && rate.c_rate <= 1e5))
    throw RateError(fmt::format("'{}': {:.3g}C is out of reason", all, rate.c_rate));
  return rate;
}

std::vector<Rate> parse_rates(std::string_view text, const RateBase& base) {
  std::vector<Rate> rates;
  for (std::size_t at = 0;;) {
    std::size_t comma = text.find(',', at);
    const auto digit = [&](std::size_t k) { return k < text.size() && text[k] >= '0' && text[k] <= '9'; };
    if (comma != std::string_view::npos && digit(comma + 1) && parse_number(trimmed(text.substr(at, comma - at)))) {
      const std::string_view first = trimmed(text.substr(at, comma - at)),
                             second = text.substr(comma + 1, text.find(',', comma + 1) - comma - 1);
      throw RateError(
          fmt::format("'{0},{1}': a comma parts two rates, and '{0}' has no unit; if it is a decimal comma, "
                      "write a point: {0}.{1}",
                      first, second));
    }
    rates.push_back(parse_rate(text.substr(at, comma == std::string_view::npos ? comma : comma - at), base));
    if (rates.size() > 200) throw RateError("more than 200 rates");
    if (comma == std::string_view::npos) return rates;
    at = comma + 1;
  }
}

std::string rate_name(double c_rate) {
  const double hours = 1 / c_rate;
  if (c_rate < 1 && std::abs(hours - std::round(hours)) < 1e-6 * hours) return fmt::format("C/{:.0f}", hours);
  return fmt::format("{:.3g}C", c_rate);
}

RateBase rate_base(const Sheet& sheet, double one_hour_charge) {
  const double area = sheet.plate_area();
  return {one_hour_charge, area, sheet.positive.active_loading(area)};
}

}  // namespace onegrain::params
