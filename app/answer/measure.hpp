#pragma once

#include "params/number/quantity.hpp"

namespace onegrain::app::answer {

/// Where the last digit goes when a number is shown. A bound keeps its promise only when it is rounded to its safe
/// side: a highest rate downwards, a shortest time upwards.
enum class Rounding { nearest, down, up };

/// What a number measures and how it is shown. The number itself stays in SI until a rendering shows it.
struct Measure {
  const params::Kind* kind = &params::NumberKind::kind;
  const char* unit = nullptr;  ///< shown, and part of the key, where it is not that of the kind: a voltage in mV
  int digits = 4;              ///< significant ones
  Rounding rounding = Rounding::nearest;
  bool at_ease = false;  ///< a time that screen and page show in s, min, h or d as it suits; its key is in the unit

  bool whole = false;  ///< a count: no decimals anywhere

  const char* behind = "";     ///< written right behind the number wherever it stands: the C of "0.38C"
  const char* zero = nullptr;  ///< what is said in place of 0: "none"

  bool operator==(const Measure&) const = default;
  const char* shown_unit() const { return unit ? unit : kind->unit; }
};

/// Kinds that sheets have no use for.
inline constexpr params::Kind energy_kind{{2, 1, -2}, "an energy", "mWh"};
inline constexpr params::Kind resistance_kind{{2, 1, -3, -2}, "a resistance", "ohm"};
inline constexpr params::Kind frequency_kind{{0, 0, -1}, "a frequency", "Hz"};

/// `measure<params::Voltage>("mV", 3)`.
template <class Q>
Measure measure(const char* unit = nullptr, int digits = 4, Rounding rounding = Rounding::nearest) {
  return {&Q::kind(), unit, digits, rounding};
}

/// A time in s that screen and page show in the unit that suits.
inline Measure lasting() { return {&params::Time::kind(), "s", 3, Rounding::nearest, true}; }

/// A number of things.
inline Measure counted() { return {&params::NumberKind::kind, nullptr, 4, Rounding::nearest, false, true}; }

/// A charge rate that is allowed, as a multiple of 1C: always rounded down.
inline Measure allowed_rate() {
  return {&params::NumberKind::kind, nullptr, 3, Rounding::down, false, false, "C", "none"};
}

/// How well a number is known, in SI like the number.
struct ErrorBar {
  enum class Form {
    none,
    plus_minus,  ///< `size` is the half-width of the 95 % interval
    interval,    ///< with 95 % between `low` and `high`; an infinite end is open
    factor       ///< with 95 % within a factor `size` either way
  };
  Form form = Form::none;
  double size = 0, low = 0, high = 0;
  bool operator==(const ErrorBar&) const = default;

  static ErrorBar plus_minus(double half_width) { return {Form::plus_minus, half_width}; }
  static ErrorBar interval(double low, double high) { return {Form::interval, 0, low, high}; }
  static ErrorBar within_factor(double factor) { return {Form::factor, factor}; }
};

}  // namespace onegrain::app::answer
