#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"

/// Where SI becomes what people read: units, digits, keys. Sentences hold numbers, so answers need it as renderings do.
namespace onegrain::app::answer {

/// A number with so many significant digits, never in exponent form between 1e-4 and 1e6.
std::string digits(double value, int significant = 4);

/// A voltage difference in mV, three significant digits, nothing finer than 0.01 mV: "12.3", "0.04", "0".
std::string millivolts(double volts);

/// "42 s", "12 min", "5.1 h", "3.2 d".
std::string duration(double seconds);

/// Turns SI into the unit of a measure; made once for a column, since a unit is text that has to be read.
class Scale {
 public:
  explicit Scale(const Measure& measure);
  double operator()(double si) const { return si / factor_ - offset_; }
  /// A spread or a width: without the zero point of degC.
  double difference(double si) const { return si / factor_; }

 private:
  double factor_ = 1, offset_ = 0;
};

/// The number alone, in the unit of the measure, with its digits, rounded to the side that it asks for: "2.070".
/// A dash for what is not finite.
std::string digits_of(double si, const Measure& measure);

/// With its unit: "2.070 mA", "62.3 %", "5.1 h" where the measure is at ease.
std::string text_of(double si, const Measure& measure);

/// What stands in a cell of a table; the unit stands in the head of its column. "" for nothing.
std::string cell_text(const TableCell& cell, const TableColumn& column);

/// The number of a figure with "+-" alone, to the digits of its uncertainty: "1.107".
std::string value_of(const Figure& figure);

/// Value and uncertainty to the second digit of the uncertainty: "2.070 ± 0.027 mA"; "1.2e-14 m2/s, within a factor 3",
/// "12.1 mAh (11.8 to 12.5)".
std::string text_of(const Figure& figure);
std::string text_of(const Amount& amount);
/// The uncertainty alone: "± 0.027 mA"; "" where there is none.
std::string uncertainty_of(const Figure& figure);

/// "% of rated" and the like have their unit in a line of its own: "mAh"; "" for plain numbers and times at ease.
std::string unit_of(const Measure& measure);

/// The key of the summary: "capacity" in mAh is "capacity_mAh"; plain numbers and shares add nothing.
std::string key_of(const std::string& key, const Measure& measure);

/// The number of the summary: in the unit of the key, shares as 0..1.
double machine_number(double si, const Measure& measure);

}  // namespace onegrain::app::answer
