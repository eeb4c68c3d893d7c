#include <algorithm>
#include <cmath>

#include "app/study/recorded.hpp"

namespace onegrain::app {

std::vector<RestUnderCurrent> rests_under_current(const Job& job, const Recording& recording) {
  constexpr double small = 0.2;                       // of the largest current
  constexpr double would_move = 10e-3, of_it = 0.15;  // [V]
  const params::Record& record = recording.measured.record;
  const double largest = params::largest_current(record), holds = job.bench.window.capacity * job.plate_area();
  const AtRest rest(job);
  std::vector<RestUnderCurrent> found;
  for (std::size_t s = 0; s < recording.steps.size(); ++s) {
    const params::RecordedStep& step = recording.steps[s];
    if (!step.is_sweep() || !step.constant || std::abs(step.mean_current) > small * largest) continue;
    if (!params::looks_at_rest(record, step.first, step.last)) continue;
    const std::size_t middle = params::row_at(record, step.first, step.last, step.start + 0.5 * step.duration);
    const double soc = rest.state_of_charge(step.last_voltage);
    const double passed = params::charge_between(record, middle, step.last) / holds;
    const double by_sheet = std::min(std::abs(rest.voltage(soc) - rest.voltage(soc - passed)),
                                     std::abs(rest.voltage(soc + passed) - rest.voltage(soc)));
    const double sense = step.mean_current > 0 ? 1 : -1;
    if (by_sheet < would_move || sense * (step.last_voltage - record.voltage[middle]) > of_it * by_sheet) continue;
    found.push_back({s, step.mean_current, step.last_voltage, by_sheet});
  }
  return found;
}

}  // namespace onegrain::app
