#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/faults.hpp"

/// Delimited text with a header: tables of potentials, time series of cyclers.
namespace onegrain::params {

/// A title as it stands in a header, taken apart: "Voltage / V" -> "Voltage", "V"; also "[V]" and "(V)".
struct Title {
  std::string whole, name, unit;
};
Title read_title(std::string_view text);

struct DelimitedRow {
  int line;                        ///< in the file, from 1
  std::vector<std::string> cells;  ///< unquoted, without surrounding spaces; as many as titles
};

struct Delimited {
  std::vector<Title> titles;
  int header_line = 0;
  char delimiter = ',';
  bool decimal_comma = false;
  std::vector<DelimitedRow> rows;

  /// A cell as a number (a decimal comma where the file has them); nothing for text, NaN, infinity.
  std::optional<double> number(const std::string& cell) const;
};

/// Comma, semicolon or tab, whichever the header has most of; lines that begin with '#' and empty lines are passed
/// over; the first other line is the header. Quotes `"` may surround cells. With a semicolon or a tab a decimal comma
/// is understood. Faults: empty, no header, rows of another length, a header of numbers, NUL bytes.
std::optional<Delimited> read_delimited(std::string_view text, const std::string& file, Faults& faults);

}  // namespace onegrain::params
