#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/text/faults.hpp"
#include "params/text/layout.hpp"

/// Delimited text with a header: tables of potentials, time series of cyclers.
///
/// One reader in four parts: lines (lines.hpp), their layout (layout.hpp), cells and numbers (cells.hpp), and here what
/// is wrong with the text as a whole, titles, and tables that are small enough to be kept.
namespace onegrain::params {

/// The layout of the text, or nothing and a fault: empty, binary, UTF-16. An absent header is no fault here.
std::optional<Layout> read_layout(const LineReader& lines, const std::string& file, Faults& faults);
/// The fault of a text that holds a NUL.
void fault_binary(const std::string& file, Faults& faults);

/// Whether the text is delimited rather than anything else, where no ending of a file name says so: rows of numbers, or
/// a header with two units.
bool looks_delimited(std::string_view text);

/// Where a unit may stand in a title.
struct TitleSplit {
  std::string_view name, unit;
};
/// The plainest first: "Voltage / V", "Voltage [V]", "Voltage (V)"; where `loosely`, also "U/V", "U, V", "U in V",
/// "U_V", "U V", of which the unit has to be tried.
std::vector<TitleSplit> title_splits(std::string_view title, bool loosely);

/// A title as it stands in a header, taken apart: "Voltage / V" -> "Voltage", "V"; also "[V]" and "(V)".
struct Title {
  std::string whole, name, unit;
};
Title read_title(std::string_view text);

struct DelimitedRow {
  int line;                                    ///< in the file, from 1
  std::vector<std::string> cells;              ///< unquoted, without surrounding spaces; as many as titles
  std::vector<std::optional<double>> numbers;  ///< the same as numbers; nothing for text, NaN, infinity
};

struct Delimited {
  std::vector<Title> titles;
  int header_line = 0;
  std::vector<DelimitedRow> rows;
};

/// A table, kept whole. Faults: those of read_layout, no header, rows of another length.
std::optional<Delimited> read_delimited(std::string_view text, const std::string& file, Faults& faults);

}  // namespace onegrain::params
