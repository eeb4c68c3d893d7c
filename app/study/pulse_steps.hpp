#pragma once

#include <vector>

#include "app/study/pulses.hpp"
#include "params/record/record.hpp"

/// Inside of add_pulses(): the steps of a record, one pulse, and where pulses lie.
namespace onegrain::app::study {

/// The steps of a record with what passed before each; rests that follow each other are one.
struct PulseSteps {
  explicit PulseSteps(const params::Record& record);

  const params::Record& record;
  std::vector<params::RecordedStep> list;
  std::vector<double> charge_before;  ///< [C]
  double resolution;                  ///< step of the recorder [V]

  bool is_rest(std::size_t k) const { return k < list.size() && list[k].kind == params::StepKind::rest; }
  bool is_driven(std::size_t k) const { return k < list.size() && list[k].is_sweep(); }
  solver::RestingPotential rest_end(std::size_t k) const;

 private:
  void join_rests();
};

/// Evaluates step `s`, but for its name and its stoichiometry.
MeasuredPulse evaluated(const PulseReport& report, const Job& job, const PulseSteps& steps, std::size_t s);

/// The axis of the plots: read from the potential where that is steep, counted from there elsewhere.
/// @param origin  the steps of the pulses, the first of which is `pulses[first]`
void place_pulses(const Job& job, const PulseSteps& steps, const std::vector<std::size_t>& origin,
                  std::vector<MeasuredPulse>& pulses, std::size_t first);

}  // namespace onegrain::app::study
