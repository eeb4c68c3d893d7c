#include <fmt/format.h>

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

void require_unbroken(const Job& job, const Recording& r) {
  constexpr double shortest = 30, open = 15e-3;            // [s], [V] what a rest may still move
  constexpr double apart = 0.25, less = 0.55, more = 1.8;  // of the capacity; capacities that explain it
  const params::Record& record = r.measured.record;
  const AtRest rest(job);
  const double holds = job.bench.window.capacity * job.plate_area();
  const auto spread = [&](double voltage) {
    return 0.5 * std::abs(rest.state_of_charge(voltage + open) - rest.state_of_charge(voltage - open));
  };
  std::optional<std::size_t> before;
  for (std::size_t s = r.beginning.at_step > 0 ? r.beginning.at_step - 1 : 0; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    if (step.kind != params::StepKind::rest || step.duration < shortest) continue;
    if (before) {
      const double from = record.voltage[r.steps[*before].last], to = record.voltage[step.last];
      const double passed = params::charge_between(record, r.steps[*before].last, step.last) / holds;
      const double told = rest.state_of_charge(to) - rest.state_of_charge(from);
      const bool other_size = passed != 0 && told / passed > less && told / passed < more;
      if (std::abs(told - passed) > apart + spread(from) + spread(to) && !other_size)
        throw UnsoundInput(fmt::format(
            "{}: from the rest of step {} at {} V to that of step {} at {} V the current passes {}, which those "
            "voltages do not go with: rows are missing, the clock was set, two records stand one behind the other, or "
            "the sheet is of another cell. --steps takes a part of the record\n",
            r.file, *before + 1, params::plain_number(from, 4), s + 1, params::plain_number(to, 4),
            params::show(passed * holds, params::ChargeKind::kind)));
    }
    before = s;
  }
}

}  // namespace onegrain::app
