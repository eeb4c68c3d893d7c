#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "params/card.hpp"

/// Measured and calculated time series as delimited text. Required columns follow the Battery Data Format, an open
/// standard: `Test Time / s`, `Voltage / V`, `Current / A`, or the machine names `test_time_second`, `voltage_volt`,
/// `current_ampere`.
namespace onegrain::params {

/// One column; units stand in the title: "Capacity / mAh".
struct Column {
  std::string title;
  std::vector<double> values;
};

/// A time series; positive current charges.
struct Measured {
  std::vector<double> time;     ///< since the start of the test [s], not falling
  std::vector<double> voltage;  ///< [V]
  std::vector<double> current;  ///< [A]
  std::vector<Column> others;   ///< further columns, as they stand
};

/// Reads a file; every fault names its line. Text cells in further columns drop that column.
Loaded<Measured> load_measured(const std::string& path);
Loaded<Measured> read_measured(const std::string& text, const std::string& file);

/// Comma-separated text, header first, lines ended by "\n"; what is not finite is an empty cell. 17 digits read back
/// exactly. All columns must have one length; asserted.
std::string delimited_text(const std::vector<Column>& columns, int digits = 10);

}  // namespace onegrain::params
