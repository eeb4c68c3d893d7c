#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/card/card.hpp"
#include "params/record/columns.hpp"

/// Measured and calculated time series as delimited text: the Battery Data Format, an open standard, with the columns
/// `Test Time / s`, `Voltage / V`, `Current / A` (or `test_time_second`, `voltage_volt`, `current_ampere`), and any
/// other delimited text through a ColumnMap.
namespace onegrain::params {

/// One column; units stand in the title: "Capacity / mAh".
struct Column {
  std::string title;
  std::vector<double> values;
};

/// What a cycler recorded, row by row. All series have one length; those that were not recorded are empty.
struct Record {
  std::vector<double> time;         ///< since the start of the test [s], not falling
  std::vector<double> voltage;      ///< [V]
  std::vector<double> current;      ///< positive charges [A]
  std::vector<double> temperature;  ///< [K]; NaN where the cell is empty
  std::vector<double> capacity;     ///< as the cycler counted it [C]; NaN where the cell is empty
  std::vector<RowState> state;
  std::vector<std::int32_t> cycle, step;  ///< as numbered in the file; -1 where the cell is no whole number
  std::vector<Column> others;             ///< further columns of numbers, as they stand; NaN where a cell is no number
  std::vector<std::uint32_t> line;        ///< of each row, in the file, from 1

  std::size_t size() const { return time.size(); }
};

/// What may be wrong with a row.
enum class DoubtKind {
  // rows left out
  cell_count,     ///< more or fewer cells than titles
  missing,        ///< an empty cell, or NaN, for time, voltage or current
  not_a_number,   ///< words, infinity or a second kind of decimal mark for time, voltage or current
  backward_time,  ///< a single row whose time does not fit between its neighbours
  // rows kept
  time_restart,      ///< the time starts anew and is continued
  unknown_state,     ///< a word of the state column that is not understood
  repeated_row,      ///< the same time, voltage and current once more
  repeated_time,     ///< the same time with other values, inside a step
  gap,               ///< much longer without a row than before and after
  voltage_jump,      ///< the voltage jumps although the current does not
  contrary_voltage,  ///< the voltage falls in a charge or rises in a discharge
  unsigned_current,  ///< no current is negative, although the voltage falls
  turned_current,    ///< positive where the voltage falls, throughout the file
  current_spike,     ///< a single row far off its neighbours, which the voltage does not follow: mended
  voltage_glitch,    ///< one row or two far off their neighbours, which no current explains: mended
  open_balance,      ///< more charge comes out than went in, or far less, between two visits to one state
};
constexpr std::size_t doubt_kinds = 16;
constexpr bool leaves_row_out(DoubtKind kind) { return kind <= DoubtKind::backward_time; }
/// "no value for time, voltage or current", ...
const char* doubt_name(DoubtKind kind);

struct Doubt {
  DoubtKind kind;
  std::uint32_t line;  ///< in the file, from 1
  std::string text;
};

/// Doubtful rows: all are counted, the first `shown` of each kind are kept with their text.
class Doubts {
 public:
  static constexpr std::size_t shown = 200;
  /// @param text  called only where the text is kept
  template <class Text>
  void add(DoubtKind kind, std::uint32_t line, Text&& text) {
    if (counts_[static_cast<std::size_t>(kind)]++ < shown) list_.push_back({kind, line, text()});
  }
  std::size_t count(DoubtKind kind) const { return counts_[static_cast<std::size_t>(kind)]; }
  std::size_t left_out() const;
  const std::vector<Doubt>& list() const { return list_; }  ///< in the order of finding

 private:
  std::array<std::size_t, doubt_kinds> counts_{};
  std::vector<Doubt> list_;
};

/// What passed by the file's own counter of capacity, and by the current between the same rows [C], both > 0.
struct CountedCharge {
  double by_counter, by_current;
};

/// A step whose current was not taken row by row; see mend_charges().
struct ChargeTaken {
  std::uint32_t line;                    ///< of the first row of the step
  double noise;                          ///< standard deviation of the current from row to row, as a share of it
  double known_to;                       ///< what may be wrong with its charge at 95 %, as a share
  std::optional<CountedCharge> counted;  ///< the counter was taken; otherwise the mean of the rows
  bool by_noise;                         ///< the noise explains by how much the two differ
};

/// A record, and how it was understood.
struct Measured {
  Record record;
  std::vector<TakenColumn> columns;       ///< that were taken
  std::vector<std::string> other_titles;  ///< of the columns that were not; those of numbers are in record.others
  char separator = ',';                   ///< ' ' stands for any number of blanks and tabs
  bool decimal_comma = false;
  std::size_t header_line = 0;   ///< 0: there is no header, columns were named by number
  bool sign_from_state = false;  ///< the current had no sign; the state gave it
  double current_offset = 0;     ///< read at every rest and taken off every row [A]; 0: none was taken
  std::vector<ChargeTaken> charges_taken;
  std::size_t rows_read = 0;  ///< all that follow the header and are neither blank nor comment
  Doubts doubts;              ///< of reading; rows_read = record.size() + doubts.left_out()
};

/// What is taken from a file of measured data.
struct MeasuredRequest {
  ColumnMap columns;
  bool others = true;  ///< keep further columns of numbers
};

/// Reads a file of any size in pieces.
///
/// Comma, semicolon, tab, bar or blanks separate; a decimal comma is understood unless the comma separates. Comments
/// ('#' or '%' in front), a preamble before the header, a line of units under it, quotes, a byte order mark, and line
/// ends of all systems are passed over. The header is the line above the first rows of numbers; a commented header is
/// found too. Times may be numbers with a unit, `h:mm:ss`, `d h:mm:ss` or `YYYY-MM-DD hh:mm:ss`; dates count from the
/// first row.
///
/// A single row whose time runs backwards is left out. Where the time starts anew and goes on from there, it is
/// continued from the last row, the time between taken as none. Where no current is negative and a state column tells
/// discharge, the state gives the sign.
///
/// Faults: what the header lacks, with what to pass; no rows; more than half of the rows unusable; text that is not
/// UTF-8 compatible or binary. All else is in Measured::doubts, with lines.
/// The SHA-256 in `files` is that of the whole file, whatever its size; it is empty where a fault ended the reading
/// early.
Loaded<Measured> load_measured(const std::string& path, const MeasuredRequest& request = {});
Loaded<Measured> read_measured(const std::string& text, const std::string& file, const MeasuredRequest& request = {});

/// Comma-separated text, header first, lines ended by "\n"; what is not finite is an empty cell. 17 digits read back
/// exactly. All columns must have one length; asserted.
std::string delimited_text(const std::vector<Column>& columns, int digits = 10);

/// The record in the Battery Data Format: the three required columns, then `others`. 17 digits read back exactly.
std::string battery_data_text(const Record& record, int digits = 17);

}  // namespace onegrain::params
