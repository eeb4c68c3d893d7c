#include "app/answer/record_examination.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"
#include "app/study/fitted.hpp"

namespace onegrain::app::answer {

namespace {

constexpr double more_than = 1.35;   // times what the sheet's cell holds: no first charge and no wrong mass explains it
constexpr double less_than = 0.6;    // of it
constexpr double slow = 1.5 * 3600;  // [s] a sweep that lasts as long loses little to its rate
constexpr double whole_window = 0.8;  // of the voltage window
constexpr double half_way = 0.5;      // of a step
constexpr double misses = 0.1;        // [V] over half of the charge

constexpr double warm = 3;  // [K] a sensor on a cell tells to 1 or 2, common practice

std::string celsius(double kelvin) { return digits(kelvin - 273.15, 3) + " degC"; }
std::string share_words(double share) { return digits(100 * share, 3) + " %"; }
std::string spread_words(double share) { return digits(100 * share, 2) + " %"; }
std::string off_by(double volts) { return millivolts(volts) + " mV"; }
std::string charge_words(double coulombs) { return digits(coulombs / 3.6, 4) + " mAh"; }

const char* const how_to_tell =
    "--rested-at '4.15 V' (the voltage at rest before), a file of that rest or --from-soc 0.9 tells it.";

}  // namespace

std::optional<Finding> uncertain_start(const Recording& r) {
  const Beginning& b = r.beginning;
  if (b.is_told()) return std::nullopt;
  const std::string since = duration(b.unrecorded);
  if (b.from == Beginning::From::fitted)
    return Finding{
        "start_not_known",
        fmt::format(
            "no rest tells where {} begins: its first row is under current already. A state of charge of {} "
            "\u00b1 {}{} was fitted to the curve itself, {}. {}",
            r.name(), share_words(b.state_of_charge), spread_words(b.spread),
            b.unrecorded_taken ? fmt::format(", {} before, after which that current is taken to have flowed,", since)
            : b.unrecorded > 0 ? fmt::format(", {} before, when that current came up,", since)
                               : "",
            std::string(b.with_others
                            ? "together with what else was estimated, and the intervals hold what it leaves open"
                            : "so that how well it is met says less") +
                (b.either_history ? "; a rest before the first row and that current since it was full or empty "
                                    "meet the curve alike, and \u00b1 holds both"
                                  : ""),
            how_to_tell)};
  if (b.spread <= known_within) return std::nullopt;
  return Finding{
      "start_uncertain",
      fmt::format("where {} begins is known to \u00b1 {} of the capacity only ({}). {}", r.name(),
                  spread_words(b.spread),
                  b.is_measured() ? "the voltage of the rest before it still moved, or says little there"
                  : b.from == Beginning::From::empty ? "no rest was recorded, and it is taken as next to empty"
                                                     : "no rest was recorded, and it is taken as next to full",
                  how_to_tell)};
}

std::optional<Finding> other_size(const Job& job, const Recording& r) {
  const double holds = job.bench.window.capacity * job.plate_area();
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    if (step.kind == params::StepKind::rest) continue;
    const double share = std::abs(step.charge) / holds;
    const bool whole = std::abs(step.last_voltage - step.first_voltage) >=
                       whole_window * (job.cell.upper_voltage - job.cell.lower_voltage);
    if (share <= more_than && !(whole && share < less_than && step.duration > slow)) continue;
    return Finding{
        "other_size",
        fmt::format("step {} of {} passes {}, {} what the cell of the sheet holds ({}): the record is of another cell, "
                    "a mass or an area on the sheet is wrong, or a unit is.",
                    s + 1, r.name(), charge_words(std::abs(step.charge)),
                    share > 1 ? digits(share, 3) + " times" : share_words(share) + " of", charge_words(holds))};
  }
  return std::nullopt;
}

std::optional<Finding> start_to_blame(const study::OverlaidRun& run) {
  if (!run.better_start) return std::nullopt;
  const Beginning &b = *run.better_start, &now = run.recording.beginning;
  return Finding{"start_to_blame",
                 fmt::format("most of what the model is off for {} goes if the cell stood elsewhere when it began: at "
                             "a state of charge of {} instead of {} it would be {} off. Either it began there, or the "
                             "sheet has another capacity or potential. {}",
                             run.recording.name(), share_words(b.state_of_charge), share_words(now.state_of_charge),
                             off_by(b.rms), how_to_tell)};
}

namespace {

/// What the model is off over half of the charge that it reaches [V]: a steep end, where a little charge is a large
/// voltage, counts for no more than its charge.
double missed_over_half(const study::OverlaidStep& step) {
  std::vector<std::pair<double, double>> off;  // and the charge that it holds for
  double whole = 0;
  for (std::size_t k = 0; k < step.time.size(); ++k) {
    if (!std::isfinite(step.model[k])) continue;
    const double before = step.charge[k > 0 ? k - 1 : 0], after = step.charge[std::min(k + 1, step.time.size() - 1)];
    off.emplace_back(std::abs(step.model[k] - step.measured[k]), 0.5 * (after - before));
    whole += off.back().second;
  }
  std::sort(off.begin(), off.end());
  double sum = 0;
  for (const auto& [volts, charge] : off) {
    sum += charge;
    if (sum >= 0.5 * whole) return volts;
  }
  return 0;
}

}  // namespace

std::optional<Finding> not_described(const study::OverlaidRun& run) {
  for (const study::OverlaidStep& step : run.steps) {
    if (!step.is_sweep() || step.time.size() < 5) continue;
    const double reached = static_cast<double>(step.distance.rows) / static_cast<double>(step.time.size());
    if (reached < half_way)
      return Finding{"not_described", fmt::format("the model goes through {} of step {} of {} only: it does not "
                                                  "describe this cell, and its figures for it mean nothing.",
                                                  share_words(reached), step.number + 1, run.recording.name())};
    if (step.distance.rows < 5) continue;
    const double half = missed_over_half(step);
    if (half <= misses) continue;
    return Finding{"not_described",
                   fmt::format("the model misses more than half of step {} of {} by {} and more: it does not describe "
                               "this cell, and its figures for it mean nothing.",
                               step.number + 1, run.recording.name(), off_by(half))};
  }
  return std::nullopt;
}

std::optional<Finding> worse_than_a_line(const Job& job, const study::OverlaidRun& run) {
  const double window = job.cell.upper_voltage - job.cell.lower_voltage;
  for (const study::OverlaidStep& step : run.steps) {
    const double range = std::abs(step.recorded.last_voltage - step.recorded.first_voltage);
    const bool tail = step.capacity < 0.3 * job.bench.window.capacity * job.plate_area();
    if (!step.is_sweep() || tail || step.time.size() < 20 || range < half_way * window) continue;
    const double line = study::rms_about_line(step.charge, step.measured);
    if (!(step.distance.rms > std::max(line, 2 * usual_misfit()))) continue;
    return Finding{
        "worse_than_a_line",
        fmt::format("the model misses step {} of {} by {} rms, a straight line through it by {}: what the "
                    "sheet says of capacity, potentials or losses is not so in this cell, or a unit is wrong.",
                    step.number + 1, run.recording.name(), off_by(step.distance.rms), off_by(line))};
  }
  return std::nullopt;
}

std::optional<Finding> many_glitches(const Recording& r) {
  const std::size_t count = r.measured.doubts.count(params::DoubtKind::voltage_glitch), rows = r.measured.record.size();
  if (50 * count <= rows) return std::nullopt;
  return Finding{"glitches", fmt::format("{} of the {} voltages of {} stand far off the rows around, which no current "
                                         "explains: a contact or a lead is loose, and what lies between them is no "
                                         "measurement either.",
                                         count, rows, r.name())};
}

std::optional<Finding> open_balance(const Recording& r) {
  for (const params::Doubt& doubt : r.measured.doubts.list())
    if (doubt.kind == params::DoubtKind::open_balance)
      return Finding{"open_balance",
                     fmt::format("{}: {}. All its charges and capacities are as wrong. A rest in the record would show "
                                 "the offset, and it would be taken off.",
                                 r.name(), doubt.text)};
  return std::nullopt;
}

std::optional<Finding> current_at_rest(const Job& job, const Recording& r) {
  const std::vector<RestUnderCurrent> found = rests_under_current(job, r);
  if (found.empty()) return std::nullopt;
  return Finding{
      "current_at_rest",
      fmt::format(
          "the voltage of step {} of {} rests although {} mA flow by the file, which by the sheet would move it "
          "by {} mV in the second half of the step. If the cell was at rest there the sensor has that offset, and "
          "all charges and capacities are as wrong.",
          found.front().step + 1, r.name(), digits(1e3 * found.front().current, 3),
          digits(1e3 * found.front().would_move, 2))};
}

std::optional<Finding> other_surroundings(const Job& job, const Recording& r) {
  if (!r.predicts_temperature || !r.first_temperature) return std::nullopt;
  if (std::abs(*r.first_temperature - job.cell.temperature) <= warm) return std::nullopt;
  return Finding{"other_surroundings",
                 fmt::format("{} begins at {}, where the sheet has surroundings of {}, to which its heat balance "
                             "leads: --temperature '{}' sets them, if the cell had taken their temperature.",
                             r.name(), celsius(*r.first_temperature), celsius(job.cell.temperature),
                             celsius(*r.first_temperature))};
}

std::optional<Finding> heat_not_described(const study::OverlaidRun& run) {
  const study::OverlaidStep* worst = nullptr;
  for (const study::OverlaidStep& step : run.steps)
    if (step.temperature_distance && (!worst || step.temperature_distance->rms > worst->temperature_distance->rms))
      worst = &step;
  if (!worst || worst->temperature_distance->rms <= warm) return std::nullopt;
  return Finding{
      "heat_not_described",
      fmt::format("the heat balance of the sheet misses the temperature of step {} of {} by {} K rms: mass, heat "
                  "capacity, heat transfer or surroundings are not those of this test, and voltage and capacity were "
                  "predicted at that temperature. A sheet without thermal takes the measured one.",
                  worst->number + 1, run.recording.name(), digits(worst->temperature_distance->rms, 2))};
}

void examine(const Job& job, const study::OverlaidRun& run, std::vector<Finding>& findings) {
  take(findings, start_to_blame(run));
  take(findings, not_described(run));
  take(findings, worse_than_a_line(job, run));
  take(findings, heat_not_described(run));
  take(findings, sensor_unchecked(job, run));
}

std::vector<const Recording*> recordings_of(const study::Estimation& estimation) {
  std::vector<const Recording*> all;
  for (const Recording& r : estimation.recordings) all.push_back(&r);
  return all;
}

std::vector<const Recording*> recordings_of(const study::Overlay& overlay) {
  std::vector<const Recording*> all;
  for (const study::OverlaidRun& run : overlay.runs) all.push_back(&run.recording);
  return all;
}

std::vector<Finding> examined(const Job& job, const std::vector<const Recording*>& recordings) {
  std::vector<Finding> findings;
  for (const Recording* r : recordings) {
    take(findings, other_size(job, *r));
    take(findings, uncertain_start(*r));
    take(findings, many_glitches(*r));
    take(findings, open_balance(*r));
    take(findings, counter_disagrees(*r));
    take(findings, charge_scatters(*r));
    take(findings, rows_far_apart(*r));
    take(findings, clock_set(*r));
    take(findings, current_at_rest(job, *r));
    take(findings, other_surroundings(job, *r));
  }
  return findings;
}

}  // namespace onegrain::app::answer
