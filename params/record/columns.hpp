#pragma once

#include <array>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "params/number/quantity.hpp"
#include "params/text/faults.hpp"

/// Which column of a delimited file is what, and in which unit.
namespace onegrain::params {

/// What a column is to us. The first three are needed.
enum class ColumnRole { time, voltage, current, temperature, capacity, state, cycle, step };
constexpr std::size_t role_count = 8;
/// "time", "voltage", ... as in a column map.
const char* role_name(ColumnRole role);

/// What a row says of itself.
enum class RowState : unsigned char {
  unknown,  ///< no word, or one that is not understood
  rest,
  charge,
  discharge,
  hold  ///< a voltage is held; the word does not tell the direction
};

/// A column as the user names it.
struct ColumnChoice {
  std::string text;  ///< as written, behind the equals sign
};

/// What the user says of the columns of a file.
struct ColumnMap {
  std::array<std::optional<ColumnChoice>, role_count> columns;  ///< by ColumnRole
  /// Words of the state column, exactly as in the file; where none is given for a state, common words are understood.
  std::vector<std::string> rest, charge, discharge;

  bool empty() const;
};

/// What is wrong with a column map, in one sentence.
struct ColumnMapError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Reads `time=t/h`, `voltage=U/V`, `current=I/mA`; also `temperature`, `capacity`, `state`, `cycle`, `step`, and the
/// words of the state column, `charge=CHA,CHA2`, `discharge=DIS`, `rest=PAU`.
///
/// Behind the equals sign stands a title, or `#3` for the third column. A unit behind a colon goes before that of the
/// title, `time=Zeit:h`. A minus sign in front of the title of the current turns its sign: `current=-I/mA` is for
/// files whose discharge is positive.
/// @throws ColumnMapError  a word without equals sign, an unknown name (the nearest is suggested), a name given twice
ColumnMap parse_column_map(const std::vector<std::string>& words);

/// A title taken apart where its end is a unit of this kind: "U/V", "Voltage / V", "U [V]", "U (V)", "U, V", "U in V",
/// "voltage_V", "voltage_volt". `unit_text` is empty where there is no unit; where there is one of another kind, it is
/// set and `unit` is not. Units written out (second, hour, volt, ampere, celsius ...) are understood.
struct TitleUnit {
  std::string name, unit_text;
  std::optional<Unit> unit;
};
TitleUnit title_unit(std::string_view title, const Kind& kind);

/// A column that is taken: value in SI = factor * (number + offset).
struct TakenColumn {
  ColumnRole role;
  std::size_t index;  ///< from 0
  std::string title, unit;
  double factor = 1, offset = 0;
};

/// Finds the columns of the roles.
///
/// First those of the map. For the others: the labels and machine names of the Battery Data Format; then plain words
/// (time, voltage, current, ...), where a single column fits. Cycle, state and step are taken where they are found; a
/// file without them is sound.
/// @param clock_time  the cells of a column are clock times or dates, which need no unit; called with its index
/// @param where       place of the header, for faults
std::vector<TakenColumn> take_columns(const ColumnMap& map, const std::vector<std::string>& titles,
                                      const std::vector<bool>& clock_time, const Place& where, Faults& faults);

/// The state that a word of a state column names; see ColumnMap. `unknown` for other words; "" is unknown too.
RowState state_of(std::string_view word, const ColumnMap& map);

}  // namespace onegrain::params
