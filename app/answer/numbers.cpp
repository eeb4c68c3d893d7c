#include "app/answer/numbers.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "params/number/units.hpp"

namespace onegrain::app::answer {

std::string digits(double value, int significant) {
  if (!std::isfinite(value)) return "-";
  if (value == 0) return "0";
  const double magnitude = std::floor(std::log10(std::abs(value)));
  if (magnitude < -4 || magnitude >= 6) return fmt::format("{:.{}g}", value, significant);
  const int decimals = std::max(0, significant - 1 - static_cast<int>(magnitude));
  return fmt::format("{:.{}f}", value, decimals);
}

std::string millivolts(double volts) {
  const double mV = 1e3 * volts;
  return std::abs(mV) < 0.005 ? "0" : std::abs(mV) < 1 ? fmt::format("{:.2f}", mV) : digits(mV, 3);
}

std::string duration(double seconds) {
  if (seconds < 120) return digits(seconds, 3) + " s";
  if (seconds < 2 * 3600) return digits(seconds / 60, 3) + " min";
  if (seconds < 72 * 3600) return digits(seconds / 3600, 3) + " h";
  return digits(seconds / 86400, 3) + " d";
}

namespace {

/// Decimals that leave so many significant digits.
int decimals_of(double value, int significant) {
  return significant - 1 - static_cast<int>(std::floor(std::log10(std::abs(value))));
}

/// Rounded to one side at the last digit shown. What differs from a round number by less than 1e-9 of itself is one.
double rounded(double value, const Measure& measure) {
  if (measure.rounding == Rounding::nearest || value == 0 || !std::isfinite(value)) return value;
  const double step = std::pow(10.0, decimals_of(value, measure.digits));
  const double slack = 1e-9 * std::abs(value) * step;
  return measure.rounding == Rounding::down ? std::floor(value * step + slack) / step
                                            : std::ceil(value * step - slack) / step;
}

bool dimensionless(const Measure& measure) { return measure.kind->dimension.none(); }

std::string with_unit(const std::string& number, const Measure& measure) {
  const std::string unit = measure.shown_unit();
  return unit.empty() ? number : number + " " + unit;
}

/// "2.070" and "0.027": both to the second significant digit of the margin.
std::pair<std::string, std::string> value_and_margin(const Figure& figure) {
  const Scale scale(figure.measure);
  const double value = scale(figure.value), margin = scale.difference(figure.uncertainty.size);
  const int decimals = decimals_of(margin, 2);
  if (decimals > 8 || (decimals < 0 && std::abs(value) >= 1e6))
    return {params::plain_number(value, 6), params::plain_number(margin, 2)};
  return {fmt::format("{:.{}f}", value, std::max(0, decimals)), fmt::format("{:.{}f}", margin, std::max(0, decimals))};
}

}  // namespace

Scale::Scale(const Measure& measure) {
  const std::string unit = measure.shown_unit();
  if (unit.empty()) return;
  const params::Unit read = params::parse_unit(unit);
  factor_ = read.factor;
  if (measure.kind->absolute_temperature) offset_ = read.offset;
}

std::string digits_of(double si, const Measure& measure) {
  if (!std::isfinite(si)) return "-";
  double value = Scale(measure)(si);
  if (std::abs(value) < 1e-12 * std::abs(si)) value = 0;  // round-off of 273.15 K - 273.15 K
  if (measure.whole) return fmt::format("{:.0f}", value);
  return digits(rounded(value, measure), measure.digits);
}

std::string text_of(double si, const Measure& measure) {
  if (measure.at_ease) return std::isfinite(si) ? duration(si) : "-";
  if (measure.zero && si == 0) return measure.zero;
  return with_unit(digits_of(si, measure) + (std::isfinite(si) ? measure.behind : ""), measure);
}

std::string cell_text(const TableCell& cell, const TableColumn& column) {
  if (const auto* value = std::get_if<double>(&cell)) {
    if (!column.measure) return digits(*value);
    const Measure& m = *column.measure;
    return m.at_ease || m.zero || *m.behind != '\0' ? text_of(*value, m) : digits_of(*value, m);
  }
  if (const auto* yes = std::get_if<bool>(&cell)) return *yes ? "yes" : "no";
  if (const auto* words = std::get_if<std::string>(&cell)) return *words;
  if (const auto* amount = std::get_if<Amount>(&cell)) return text_of(*amount);
  return "";
}

std::string text_of(const Figure& figure) {
  const ErrorBar& known = figure.uncertainty;
  switch (known.form) {
    case ErrorBar::Form::plus_minus:
      if (known.size > 0) {
        const auto [value, margin] = value_and_margin(figure);
        return with_unit(value + " \u00b1 " + margin, figure.measure);
      }
      break;
    case ErrorBar::Form::interval:
      return text_of(figure.value, figure.measure) + " (" + uncertainty_of(figure) + ")";
    case ErrorBar::Form::factor:
      return text_of(figure.value, figure.measure) + ", " + uncertainty_of(figure);
    case ErrorBar::Form::none:
      break;
  }
  const Measure& m = figure.measure;
  if (m.at_ease || m.whole || m.rounding != Rounding::nearest || !std::isfinite(figure.value))
    return text_of(figure.value, m);
  return params::show(figure.value, *m.kind, m.digits, m.shown_unit());  // "42 um", not "42.00 um"
}

std::string text_of(const Amount& amount) {
  Figure figure;
  figure.value = amount.value;
  figure.measure = amount.measure;
  figure.uncertainty = amount.uncertainty;
  return text_of(figure);
}

std::string uncertainty_of(const Figure& figure) {
  const ErrorBar& known = figure.uncertainty;
  switch (known.form) {
    case ErrorBar::Form::plus_minus:
      return known.size > 0 ? "\u00b1 " + with_unit(value_and_margin(figure).second, figure.measure) : "";
    case ErrorBar::Form::interval: {
      Measure down = figure.measure, up = figure.measure;  // an interval is never made narrower
      down.rounding = Rounding::down;
      up.rounding = Rounding::up;
      const std::string low = digits_of(known.low, down), high = digits_of(known.high, up);
      if (!std::isfinite(known.low) && !std::isfinite(known.high)) return "open at both ends";
      if (!std::isfinite(known.low)) return "at most " + high;
      if (!std::isfinite(known.high)) return "at least " + low;
      return low + " to " + high;
    }
    case ErrorBar::Form::factor:
      return "within a factor " + digits(known.size, 2);
    case ErrorBar::Form::none:
      break;
  }
  return "";
}

std::string value_of(const Figure& figure) { return with_unit(value_and_margin(figure).first, figure.measure); }

std::string unit_of(const Measure& measure) { return measure.at_ease ? "" : measure.shown_unit(); }

std::string key_of(const std::string& key, const Measure& measure) {
  if (dimensionless(measure)) return key;
  std::string suffix;
  for (const char c : std::string(measure.shown_unit())) {
    const bool letter = std::isalnum(static_cast<unsigned char>(c)) != 0;
    if (letter)
      suffix += c;
    else if (!suffix.empty() && suffix.back() != '_')
      suffix += '_';
  }
  if (suffix.back() == '_') suffix.pop_back();
  return key + "_" + suffix;
}

double machine_number(double si, const Measure& measure) { return dimensionless(measure) ? si : Scale(measure)(si); }

}  // namespace onegrain::app::answer
