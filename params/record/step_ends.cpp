#include <algorithm>
#include <cmath>

#include "params/record/levels.hpp"

namespace onegrain::params {

namespace {

bool round_time(double seconds) {
  if (seconds < 9) return false;
  const double minutes = std::round(seconds / 60);
  if (minutes >= 1 && std::abs(seconds - 60 * minutes) <= 0.1) return true;
  return seconds <= 600 && std::abs(seconds - 10 * std::round(seconds / 10)) <= 0.02;
}

}  // namespace

void tell_ends(const Record& record, std::vector<RecordedStep>& steps) {
  constexpr double alike = 2e-3;  // [V]
  const auto extreme = [&](const RecordedStep& step) {
    const auto begin = record.voltage.begin() + static_cast<std::ptrdiff_t>(step.first);
    const auto end = record.voltage.begin() + static_cast<std::ptrdiff_t>(step.last + 1);
    return step.kind == StepKind::charge ? step.last_voltage >= *std::max_element(begin, end) - 1e-3
                                         : step.last_voltage <= *std::min_element(begin, end) + 1e-3;
  };
  std::vector<double> ends[2];  // of charges and discharges, sorted
  for (const RecordedStep& step : steps) {
    if (step.kind == StepKind::charge) ends[0].push_back(step.last_voltage);
    if (step.kind == StepKind::discharge) ends[1].push_back(step.last_voltage);
  }
  for (auto& list : ends) std::sort(list.begin(), list.end());
  for (std::size_t s = 0; s < steps.size(); ++s) {
    RecordedStep& step = steps[s];
    const bool timed = round_time(step.duration);
    if (step.kind == StepKind::hold) step.ended_by = timed ? StepEnd::time : StepEnd::current;
    if (step.kind == StepKind::rest && timed) step.ended_by = StepEnd::time;
    if (step.is_sweep()) {
      const auto& list = ends[step.kind == StepKind::charge ? 0 : 1];
      const auto shared = std::upper_bound(list.begin(), list.end(), step.last_voltage + alike) -
                          std::lower_bound(list.begin(), list.end(), step.last_voltage - alike);
      const bool then_held = s + 1 < steps.size() && steps[s + 1].kind == StepKind::hold &&
                             std::abs(steps[s + 1].last_voltage - step.last_voltage) <= 2 * held_within;
      const bool round = std::abs(step.last_voltage - 0.05 * std::round(step.last_voltage / 0.05)) <= alike;
      const bool at_extreme = extreme(step) && step.last > step.first + 1;
      const bool at_a_limit = at_extreme && (then_held || round || shared > 1) && !(timed && !then_held && !round);
      if (timed && !at_a_limit) {
        step.ended_by = StepEnd::time;
      } else if (at_a_limit || (at_extreme && s + 1 < steps.size())) {
        step.ended_by = StepEnd::voltage;
      }
    }
    if (step.ended_by == StepEnd::unknown && s + 1 == steps.size()) step.ended_by = StepEnd::record;
  }
}

}  // namespace onegrain::params
