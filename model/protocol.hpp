#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

/// What is done to a cell: a list of steps, each with one thing that is driven and one or more ends. Plain data in
/// SI units per plate area; positive current charges the cell.
namespace onegrain::model {

/// A quantity against time: straight lines between the moments, the end values beyond them.
struct Course {
  std::vector<double> time;   ///< since the start of the step [s], ascending strictly, at least one
  std::vector<double> value;  ///< as many

  double at(double t) const {
    const auto next = std::upper_bound(time.begin(), time.end(), t);
    if (next == time.begin()) return value.front();
    if (next == time.end()) return value.back();
    const auto k = static_cast<std::size_t>(next - time.begin());
    return value[k - 1] + (value[k] - value[k - 1]) * (t - time[k - 1]) / (time[k] - time[k - 1]);
  }
};

struct CurrentDrive {
  double current;
};  ///< i [A/m2]; 0 is a rest
struct CourseDrive {
  Course current;
};  ///< i as it was measured [A/m2]; jumps belong to the boundaries of steps
struct VoltageDrive {
  double voltage;
};  ///< hold at the terminals [V]
/// Hold the potential of the negative (half cell: of the working electrode) against lithium at its separator side [V].
struct SeparatorSideDrive {
  double potential;
};
/// Hold the temperature that the cell has, by the current: what its losses give off is what it sheds. Needs a heat
/// balance.
struct TemperatureDrive {
  bool charge;  ///< which of the two currents, the one that charges or the one that discharges
};
using Drive = std::variant<CurrentDrive, CourseDrive, VoltageDrive, SeparatorSideDrive, TemperatureDrive>;

/// Ends of a step: whichever is met first. A voltage or temperature is met from the side on which the step starts.
struct Ends {
  std::optional<double> voltage;      ///< [V]
  std::optional<double> time;         ///< since the start of the step [s], > 0
  std::optional<double> current;      ///< |i| falls to this [A/m2], >= 0
  std::optional<double> capacity;     ///< charge passed in this step, absolute [C/m2], > 0
  std::optional<double> temperature;  ///< [K]
  std::optional<double>
      separator_side;  ///< potential of the negative (half cell: working) there has fallen to this [V]
};

struct Step {
  Drive drive;
  Ends until;
  std::string label;                       ///< as the user wrote it, for messages and reports
  std::optional<Course> temperature = {};  ///< as it was measured [K]; the heat balance, if any, is not asked then
  /// Go on where a grain surface is full or empty, for a search that needs an answer for any trial value.
  bool beyond_surfaces = false;
};

/// Where steps hold that were calculated for one cell: elsewhere they promise nothing.
struct MadeFor {
  double temperature;  ///< [K]
  double from_soc;     ///< state of charge from which they start, at rest [1]
};

struct Protocol {
  std::vector<Step> steps;
  int repeat = 1;
  std::optional<MadeFor> made_for = {};
};

}  // namespace onegrain::model
