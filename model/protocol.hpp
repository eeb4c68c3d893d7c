#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

/// What is done to a cell: a list of steps, each with one thing that is driven and one or more ends. Plain data in
/// SI units per plate area; positive current charges the cell.
namespace onegrain::model {

struct CurrentDrive { double current; };  ///< i [A/m2]; 0 is a rest
struct VoltageDrive { double voltage; };  ///< hold at the terminals [V]
/// Hold the potential of the negative (half cell: of the working electrode) against lithium at its separator side [V].
struct SeparatorSideDrive { double potential; };
/// Hold the temperature that the cell has, by the current: what its losses give off is what it sheds. Needs a heat balance.
struct TemperatureDrive {
  bool charge;  ///< which of the two currents, the one that charges or the one that discharges
};
using Drive = std::variant<CurrentDrive, VoltageDrive, SeparatorSideDrive, TemperatureDrive>;

/// Ends of a step: whichever is met first. A voltage or temperature is met from the side on which the step starts.
struct Ends {
  std::optional<double> voltage;      ///< [V]
  std::optional<double> time;         ///< since the start of the step [s], > 0
  std::optional<double> current;      ///< |i| falls to this [A/m2], >= 0
  std::optional<double> capacity;     ///< charge passed in this step, absolute [C/m2], > 0
  std::optional<double> temperature;  ///< [K]
  std::optional<double> separator_side;  ///< potential of the negative (half cell: working) there has fallen to this [V]
};

struct Step {
  Drive drive;
  Ends until;
  std::string label;  ///< as the user wrote it, for messages and reports
};

struct Protocol {
  std::vector<Step> steps;
  int repeat = 1;
};

}  // namespace onegrain::model
