#pragma once

#include <vector>

#include "params/record/record.hpp"
#include "solver/step/replay.hpp"

/// From rows of a record to the stretches of a run: currents and temperatures as straight lines.
namespace onegrain::app {

/// Builds the stretches of a run one after the other.
class Stretches {
 public:
  /// @param origin       the moment of the record at which the run begins [s]
  /// @param temperature  the measured one goes with the current
  Stretches(const params::Record& record, double plate_area, double origin, bool temperature)
      : record_(record), area_(plate_area), origin_(origin), temperature_(temperature), end_(origin) {}

  /// A current that nobody recorded, from where the last stretch ended to `end` [A].
  void add_unrecorded(double current, double end, std::size_t step);

  /// The rows of steps[step] from `first_row` on, up to `end`: one stretch, or several where the current of a profile
  /// jumps.
  void add_step(const params::RecordedStep& recorded, std::size_t first_row, double end, std::size_t step,
                double largest_current);

  /// Rows first..last, driven from where the last stretch ended to `end`.
  void add(params::StepKind kind, std::size_t first, std::size_t last, double end, std::size_t step,
           bool constant = false, double noise = 0);

  std::vector<solver::Stretch> done;
  std::vector<std::size_t> steps;  ///< that each belongs to

 private:
  model::Drive drive(std::size_t first, std::size_t last, double start, double end, bool constant, double noise) const;

  const params::Record& record_;
  double area_, origin_;
  bool temperature_;
  double end_;
};

/// Where a step ends and the next begins: halfway between their rows.
double boundary(const params::Record& record, std::size_t last_row);

}  // namespace onegrain::app
