#pragma once

#include <limits>
#include <string>

#include "params/number/quantity.hpp"
#include "params/text/faults.hpp"

namespace onegrain::params {

/// Standard deviations of a normal distribution to either side that hold 95 % of it.
inline constexpr double deviations_of_95_percent = 1.959963984540054;

/// How well a value is known.
struct Spread {
  enum class Form {
    none,
    absolute,  ///< `size` is the half-width of a 95 % interval, SI
    factor     ///< log-normal: within a factor `size` > 1 either way with 95 %
  };
  Form form = Form::none;
  double size = 0;

  bool given() const { return form != Form::none; }
};

/// Where a number comes from.
enum class Origin {
  sheet,   ///< written by the user, on the sheet or on a card
  assumed  ///< a default of the program; always listed among the assumptions of a report
};

/// A number with all that is known about it. Plain and copyable; studies change `si` in a copy of the sheet.
struct Value {
  double si = 0;  ///< in SI units
  Spread spread;
  const Kind* kind = &NumberKind::kind;
  std::string written;  ///< as on the sheet: "4.8 um"
  std::string source;   ///< the `source` of the mapping form; may be empty
  Place place;
  std::string path;  ///< within its file, "particle_radius"
  Origin origin = Origin::sheet;
  bool of_function = false;  ///< moves a formula or a table as a whole: a factor, or an amount that is added
  /// What the quantity cannot fall below; what a spread would carry beyond stands there.
  double least = -std::numeric_limits<double>::infinity();

  /// The value moved by `z` standard deviations of its spread (95 % lies within 1.96), SI. Without spread: `si`.
  double at_deviation(double z) const;
  /// In the unit in which it was written: "4.8 um", "2.872 angstrom ± 0.004 angstrom", "1e-14 m2/s (within a factor
  /// 3)", "as its formula or table ± 0.3".
  std::string text() const;
  /// The spread alone: "± 0.4 um", "within a factor 3"; empty for none.
  std::string spread_text() const;
};

/// A value of which the kind is known in advance.
template <class Q>
struct Given : Value {
  Given() { kind = &Q::kind(); }
  explicit Given(Value value) : Value(std::move(value)) {}
  Q quantity() const { return Q::from_si(si); }
};

/// A default of the program, marked as such.
template <class Q>
Given<Q> assumed(double si, std::string path, std::string source) {
  Value value;  // of no type that depends on Q: the moves below are then seen as such
  value.kind = &Q::kind();
  value.si = si;
  value.written = show(si, Q::kind());
  value.path = std::move(path);
  value.source = std::move(source);
  value.origin = Origin::assumed;
  return Given<Q>(std::move(value));
}

}  // namespace onegrain::params
