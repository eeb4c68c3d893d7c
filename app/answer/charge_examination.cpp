#include <fmt/format.h>

#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/record_examination.hpp"
#include "app/answer/words.hpp"

// How well the charge of a record is known.

namespace onegrain::app::answer {

namespace {

/// The steps that take part of those of which the current was not taken row by row.
std::vector<std::pair<std::size_t, const params::ChargeTaken*>> charges_taken(const Recording& r) {
  std::vector<std::pair<std::size_t, const params::ChargeTaken*>> some;
  for (const params::ChargeTaken& taken : r.measured.charges_taken) {
    const std::size_t step = r.step_at_line(taken.line);
    if (step >= r.first_step && step <= r.last_step) some.emplace_back(step, &taken);
  }
  return some;
}

Finding counter_finding(const Recording& r, std::size_t step, const params::CountedCharge& found, const char* told) {
  const double off = std::abs(found.by_current - found.by_counter);
  return {"counter",
          fmt::format("in step {} of {} the current sums up to {} mAh, the file's own counter of capacity says {}: the "
                      "current is off (by {} mA throughout, if it is an offset), or the counter is. All charges and "
                      "capacities told here are those of the {}.",
                      step + 1, r.name(), digits(found.by_current / 3.6, 4), digits(found.by_counter / 3.6, 4),
                      digits(1e3 * off / r.steps[step].duration, 2), told)};
}

}  // namespace

std::optional<Finding> counter_disagrees(const Recording& r) {
  constexpr double agree = 0.005, counts_other_steps = 0.01;  // of the charge of a step
  constexpr std::size_t enough = 20;                          // rows: the trapezoidal rule over fewer says little
  for (const auto& [step, taken] : charges_taken(r))
    if (taken->counted && !taken->by_noise &&
        std::abs(taken->counted->by_current - taken->counted->by_counter) > agree * taken->counted->by_counter)
      return counter_finding(r, step, *taken->counted, "counter");
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    const auto found = params::counted_charge(r.measured.record, step);
    if (!found || !step.is_sweep() || step.last < step.first + enough) continue;
    if (found->by_counter < counts_other_steps * found->by_current ||
        std::abs(found->by_current - found->by_counter) <= agree * found->by_counter)
      continue;
    return counter_finding(r, s, *found, "current");
  }
  return std::nullopt;
}

std::optional<Finding> charge_scatters(const Recording& r) {
  constexpr double known = 0.005;
  const params::ChargeTaken* worst = nullptr;
  std::size_t at = 0;
  for (const auto& [step, taken] : charges_taken(r)) {
    if (taken->counted || taken->known_to <= known || (worst && taken->known_to <= worst->known_to)) continue;
    worst = taken;
    at = step;
  }
  if (!worst) return std::nullopt;
  return Finding{"charge_not_known",
                 fmt::format("the current of step {} of {} scatters by {} % from row to row, over {} rows: its charge, "
                             "and every capacity told here, is known to \u00b1 {} % only, and what the model is off "
                             "where the voltage is steep says little. A column of what the cycler counted tells more: "
                             "--columns 'capacity=TITLE'.",
                             at + 1, r.name(), digits(100 * worst->noise, 2), r.steps[at].last - r.steps[at].first + 1,
                             digits(100 * worst->known_to, 2))};
}

std::optional<Finding> clock_set(const Recording& r) {
  const params::Record& record = r.measured.record;
  for (const params::Doubt& doubt : r.measured.doubts.list()) {
    const std::size_t step = r.step_at_line(doubt.line);
    if (doubt.kind != params::DoubtKind::time_restart || step < r.first_step || step > r.last_step) continue;
    if (r.steps[step].kind == params::StepKind::rest || record.line[r.steps[step].first] == doubt.line) continue;
    return Finding{"clock_set",
                   fmt::format("{}, line {}: {}. That is within step {}, under current: what passed meanwhile is in no "
                               "charge, capacity or voltage told here.",
                               r.name(), doubt.line, doubt.text, step + 1)};
  }
  return std::nullopt;
}

std::optional<Finding> rows_far_apart(const Recording& r) {
  constexpr double known = 0.005;
  const std::vector<double>&t = r.measured.record.time, &current = r.measured.record.current;
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    if (!step.is_sweep() || step.last < step.first + 2) continue;
    double comes_up = 0, ends = 0;  // between which rows
    if (std::abs(current[step.first]) < 0.5 * std::abs(step.mean_current))
      comes_up = t[step.first + 1] - t[step.first];
    else if (step.first > 0 && params::bridged(r.measured.record, step.first - 1))
      comes_up = t[step.first] - t[step.first - 1];
    if (step.last + 1 < t.size() && params::bridged(r.measured.record, step.last))
      ends = t[step.last + 1] - t[step.last];
    const double apart = std::max(comes_up, ends), open = 0.5 * apart / step.duration;
    if (open <= known) continue;
    return Finding{
        "rows_far_apart",
        fmt::format(
            "the rows of {} are {} apart where the current of step {} {}: when it did is known to \u00b1 {} "
            "only, which leaves its charge open by \u00b1 {} % and moves all that is compared by as much. A row "
            "at every switch of the current tells it.",
            r.name(), duration(apart), s + 1, comes_up >= ends ? "comes up" : "ends", duration(0.5 * apart),
            digits(100 * open, 2))};
  }
  return std::nullopt;
}

namespace {

/// True where a rest shows what the sensor reads without current, or a counter confirms the charge of the step.
bool charge_confirmed(const Recording& r, const params::RecordedStep& step) {
  constexpr std::size_t rows = 3;
  for (const params::RecordedStep& other : r.steps)
    if (other.kind == params::StepKind::rest && other.last >= other.first + rows) return true;
  return params::counted_charge(r.measured.record, step).has_value();  // where they differ that is said
}

}  // namespace

std::optional<Finding> sensor_unchecked(const Job& job, const Recording& r, std::size_t number, double measured,
                                        double expected) {
  constexpr double usual = 0.004;    // of 1C: an offset that a channel of a cycler may well have, common practice
  constexpr double worth_it = 0.01;  // of a capacity
  const params::RecordedStep& step = r.steps[number];
  const double one_c = job.base.one_hour_charge * job.plate_area() / 3600, current = std::abs(step.mean_current);
  const double off = std::abs(measured / expected - 1);
  if (!step.is_sweep() || off < worth_it || off > usual * one_c / current || charge_confirmed(r, step))
    return std::nullopt;
  return Finding{
      "sensor_unchecked",
      fmt::format(
          "the capacity that {} shows differs from what is expected by {} %, as much as an offset of {} mA of "
          "the current sensor makes at so slow a rate, and the file has no rest and no counter of capacity that "
          "would show it: the cell may be sound. Record a rest of some minutes with it, or name a column that "
          "counts, --columns 'capacity=TITLE'.",
          r.name(), digits(100 * off, 2), digits(1e3 * off * current, 2))};
}

std::optional<Finding> sensor_unchecked(const Job& job, const study::OverlaidRun& run) {
  for (const study::OverlaidStep& step : run.steps) {
    if (!step.model_capacity || step.recorded.ended_by != params::StepEnd::voltage) continue;
    if (auto found = sensor_unchecked(job, run.recording, step.number, step.capacity, *step.model_capacity))
      return found;
  }
  return std::nullopt;
}

}  // namespace onegrain::app::answer
