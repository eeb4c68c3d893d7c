#include "app/study/beginning.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <utility>

#include "app/study/recorded.hpp"
#include "params/record/levels.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

namespace {

constexpr double good_enough = 0.01;   // of the state of charge: no more is made of a first row
constexpr double no_better = 0.002;    // of the state of charge: nothing under current tells more
constexpr double recorder = 1e-3;      // [V] nothing is measured better
constexpr double settled = 7200;       // [s]
constexpr double short_rest = 60;      // [s] after a current: it says little
constexpr double unrelaxed = 10e-3;    // [V] what is still to come after such a rest
constexpr double at_once = 1;          // [s] the jump of the voltage is looked at so long after the current came up
constexpr double share_of_jump = 0.5;  // seen after the first row: it was recorded before the current
constexpr double whole_jump = 0.6;     // next to full or empty, where it may have been caught in its fall
constexpr double some_of_it = 0.15;    // is enough where the shape of the voltage says the same
constexpr double a_little = 0.1;       // next to full or empty
constexpr double no_jump = 5e-3;       // [V] a current that costs less starts anywhere near
constexpr double near_end = 0.03;      // of the state of charge: what a start next to full or empty may leave open
constexpr double jump_known_to = 0.5;  // of what a current costs: one standard deviation, by the spreads of the cards
constexpr double near_voltage = 0.03;  // [V]
constexpr double mid_step = 0.02;      // of the step's charge, by its counter

using From = Beginning::From;

/// What the voltage at rest may be off, as a state of charge.
double spread_of(const AtRest& rest, double voltage, double off) {
  const double here = rest.state_of_charge(voltage);
  return std::max(std::abs(rest.state_of_charge(voltage + off) - here),
                  std::abs(rest.state_of_charge(voltage - off) - here));
}

Beginning at_voltage(const AtRest& rest, From from, double voltage, double off) {
  Beginning b;
  b.from = from;
  b.voltage = voltage;
  b.taken_as = rest.within(voltage);
  b.state_of_charge = rest.state_of_charge(b.taken_as);
  b.spread = spread_of(rest, b.taken_as, off);
  return b;
}

/// What the voltage of a rest may still be off at its end: after a current it goes on by as much with each doubling of
/// the time, for two hours.
double unsettled(const params::Record& r, const std::vector<params::RecordedStep>& steps, std::size_t s) {
  const params::RecordedStep& rest = steps[s];
  const std::size_t middle = params::row_at(r, rest.first, rest.last, 0.5 * (r.time[rest.first] + r.time[rest.last]));
  double moves = std::abs(r.voltage[rest.last] - r.voltage[middle]);
  moves *= std::max(1.0, std::log2(settled / std::max(rest.duration, 1e-3)));
  if (s > 0 && rest.duration < short_rest) moves = std::max(moves, unrelaxed);
  return std::max(recorder, moves);
}

/// Resistance by the jump where a current starts or stops, between two rows at most `within` apart; the median of all.
std::optional<double> measured_resistance(const params::Record& r, const std::vector<params::RecordedStep>& steps,
                                          double within) {
  std::vector<double> found;
  for (std::size_t s = 0; s + 1 < steps.size(); ++s) {
    const std::size_t k = steps[s].last;
    const bool one_rests = (steps[s].kind == params::StepKind::rest) != (steps[s + 1].kind == params::StepKind::rest);
    if (!one_rests || r.time[k + 1] - r.time[k] > within) continue;
    // rows right after a jump may be older than the current, or caught in the middle of the fall
    std::size_t after = k + 1;
    while (after + 1 <= steps[s + 1].last && r.time[after + 1] - r.time[k] <= within) ++after;
    const double di = r.current[after] - r.current[k];
    const double resistance = di != 0 ? (r.voltage[after] - r.voltage[k]) / di : 0;
    if (resistance > 0) found.push_back(resistance);
  }
  if (found.empty()) return std::nullopt;
  return params::middle_of(std::move(found));
}

/// The voltage of the model under a current from rest at a voltage [V].
struct UnderCurrent {
  double first, later;  ///< where the current comes up, and some time after
};
UnderCurrent under_current(const Job& job, const AtRest& rest, double voltage, double current, double seconds) {
  solver::Workspace workspace;
  solver::Simulator simulator = job.simulator(workspace);
  const solver::State start = simulator.at_rest(solver::starting_charge(job.cell, {rest.within(voltage)}));
  const model::Step step{model::CurrentDrive{current / job.plate_area()}, {.time = seconds}, "jump"};
  const solver::StepSolution done = simulator.run(start, step);
  return {done.first().terminal.voltage, done.last().terminal.voltage};
}

/// What a current costs once it has flown for a while [V].
double settled_cost(const Job& job, const AtRest& rest, double voltage, double current) {
  constexpr double long_enough = 900;  // [s]
  const UnderCurrent later = under_current(job, rest, voltage, current, long_enough);
  const double soc =
      rest.state_of_charge(voltage) + current * long_enough / (job.bench.window.capacity * job.plate_area());
  return std::abs(later.later - rest.voltage(soc));
}

/// How far the first row stands off the course of the voltage behind it [V], positive where it is older than the
/// current. Under a constant current the voltage first runs with the square root of time: the next five moments, later
/// than a second where the rows are close, are carried back along it to the first.
double stands_off(const params::Record& r, const params::RecordedStep& step) {
  std::vector<double> root, voltage;
  const double from = step.last > step.first + 8 ? at_once : 0;
  for (std::size_t k = step.first + 1; k <= step.last && root.size() < 5; ++k) {
    const double since = r.time[k] - r.time[step.first];
    if (since <= 0 || since < from || (!root.empty() && std::sqrt(since) <= root.back())) continue;
    root.push_back(std::sqrt(since));
    voltage.push_back(r.voltage[k]);
  }
  if (root.size() < 3) return 0;
  const auto n = static_cast<double>(root.size());
  double x = 0, y = 0, xx = 0, xy = 0;
  for (std::size_t k = 0; k < root.size(); ++k) {
    x += root[k] / n;
    y += voltage[k] / n;
  }
  for (std::size_t k = 0; k < root.size(); ++k) {
    xx += (root[k] - x) * (root[k] - x);
    xy += (root[k] - x) * (voltage[k] - y);
  }
  const double sense = step.mean_current > 0 ? 1 : -1;
  return sense * (y - xy / xx * x - r.voltage[step.first]) - 0.05 * std::abs(voltage.back() - voltage.front());
}

/// A first row under current next to full (charges: empty). At rest the cell stood between the voltage of that row and
/// the end, anywhere as well as elsewhere, and near what the jump of the model tells.
/// @param told  voltage at rest by that jump [V]
/// @return nothing where that leaves more than 3 % of the capacity open
std::optional<Beginning> under_current_next_to(const AtRest& rest, bool charges, double end, double first,
                                               double told) {
  const double sense = charges ? -1 : 1;
  const double width = sense * (end - first), sd = std::max(recorder, jump_known_to * std::abs(told - first));
  if (!(width > 0)) return std::nullopt;
  constexpr int places = 400;
  double sum = 0, mean = 0, square = 0;
  const double nearest = std::clamp(sense * (told - first), 0.0, width);
  for (int k = 0; k < places; ++k) {
    const double v = width * (k + 0.5) / places;
    const double off = (v - sense * (told - first)) / sd, least = (nearest - sense * (told - first)) / sd;
    const double weight = std::exp(-0.5 * (off * off - least * least));
    sum += weight;
    mean += weight * v;
    square += weight * v * v;
  }
  mean /= sum;
  const double open = 1.96 * std::sqrt(std::max(0.0, square / sum - mean * mean));
  Beginning b = at_voltage(rest, charges ? From::empty : From::full, first + sense * mean, std::max(open, recorder));
  b.spread = std::max(b.spread, no_better);
  if (b.spread > near_end || std::abs(rest.state_of_charge(first) - rest.state_of_charge(end)) > 4 * near_end)
    return std::nullopt;
  return b;
}

/// How the first step of a record begins: `from` unknown where its first row does not tell.
Beginning first_rows(const Job& job, const AtRest& rest, const params::Record& r,
                     const std::vector<params::RecordedStep>& steps) {
  const params::RecordedStep& step = steps.front();
  const double V0 = r.voltage[step.first];
  Beginning unknown;
  unknown.voltage = V0;
  unknown.spread = 1;
  if (std::abs(r.current[step.first]) <= params::rest_current(r))
    return at_voltage(rest, From::first_row, V0, 2 * recorder);
  if (step.kind == params::StepKind::hold || step.kind == params::StepKind::varied) return unknown;
  std::size_t k = step.first;
  while (k < step.last && r.time[k] - r.time[step.first] < at_once) ++k;
  if (k == step.first) return unknown;
  const double since = r.time[k] - r.time[step.first], current = step.mean_current, sense = current > 0 ? 1 : -1;
  const std::optional<double> resistance = measured_resistance(r, steps, std::max(2.0, since));
  // Two readings: the first row was at rest, or it was under current. The voltage behind it lies nearer to one of them.
  const UnderCurrent from_rest = under_current(job, rest, V0, current, since);
  const double jump = resistance ? *resistance * std::abs(current) : std::abs(from_rest.first - rest.within(V0));
  double before = V0 - sense * jump;
  if (!resistance)  // once more, in the state that this gives
    before = V0 - sense * std::abs(under_current(job, rest, before, current, since).first - rest.within(before));
  const UnderCurrent loaded = under_current(job, rest, before, current, since);
  const double apart = jump + sense * ((from_rest.later - from_rest.first) - (loaded.later - loaded.first));
  const double seen = sense * (r.voltage[k] - V0 - (loaded.later - loaded.first));
  const bool charges = current > 0;
  const double at_end = job.cell.charged_state && !charges
                            ? model::equilibrium_voltage(job.cell, *job.cell.charged_state, job.cell.temperature)
                            : rest.voltage(charges ? 0 : 1);
  const double off = stands_off(r, step);
  const bool by_shape = off > std::max(0.5 * recorder, 0.2 * seen);
  // Under current already, next to full (empty): by the row behind, as the first may be caught in the middle of its
  // fall.
  const double by_model = before + r.voltage[k] - loaded.later;
  const bool measured_less = resistance && *resistance * std::abs(current) < std::abs(by_model - V0);
  const double told = measured_less ? V0 - sense * *resistance * std::abs(current) : by_model;
  const std::optional<Beginning> next_to_end = under_current_next_to(rest, charges, at_end, V0, told);
  // Where the first row lies next to full (empty), nothing but a rest can have come before it.
  const bool told_apart = apart > 0.3 * jump;
  const bool at_the_end =
      (off > 0.5 * recorder || (told_apart && seen >= a_little * apart)) && std::abs(V0 - at_end) <= near_voltage;
  const bool seen_whole = told_apart && seen >= (next_to_end ? whole_jump : share_of_jump) * apart;
  const bool seen_in_part = told_apart && by_shape && seen >= some_of_it * apart && !next_to_end;
  const bool older = seen_whole || seen_in_part || at_the_end;
  if (older) return at_voltage(rest, From::first_row, V0, 2 * recorder + std::min(jump, no_jump));
  if (jump <= no_jump) {
    // A current that has flown for a while costs more than one that comes up.
    Beginning b =
        at_voltage(rest, From::first_row, V0, 2 * recorder + std::max(jump, settled_cost(job, rest, V0, current)));
    b.little_current = true;
    if (b.spread <= good_enough) return b;
  }
  if (next_to_end) return *next_to_end;
  unknown.voltage = before;
  // A counter that already stands above zero where the step began: so long had its current gone on.
  if (!r.capacity.empty() && std::isfinite(r.capacity[step.first]) && std::isfinite(r.capacity[step.last])) {
    const double counted = std::abs(r.capacity[step.first]), passed = std::abs(step.charge),
                 grown = std::abs(r.capacity[step.last]) - counted;
    const double most = job.bench.window.capacity * job.plate_area();
    if (counted > mid_step * passed && std::abs(grown - passed) < 0.1 * passed && counted + passed < 1.2 * most)
      unknown.unrecorded = counted / std::abs(current);
  }
  return unknown;
}

}  // namespace

AtRest::AtRest(const Job& job) : job_(job), range_(model::rest_range(job.cell)), full_(0) {
  const model::Window& w = job.bench.window;
  full_ =
      solver::starting_charge(job.cell, {within(model::equilibrium_voltage(job.cell, w.full, job.cell.temperature))});
}

double AtRest::within(double voltage) const { return std::clamp(voltage, range_.lowest, range_.highest); }

double AtRest::state_of_charge(double voltage) const {
  return 1 + (solver::starting_charge(job_.cell, {within(voltage)}) - full_) / job_.bench.window.capacity;
}

double AtRest::voltage(double soc) const {
  const model::Stoichiometries x = model::at_state_of_charge(job_.bench.window, soc);
  return within(model::equilibrium_voltage(job_.cell, x, job_.cell.temperature));
}

Beginning find_beginning(const Job& job, const params::Record& record, const std::vector<params::RecordedStep>& steps,
                         std::size_t first) {
  const AtRest rest(job);
  Beginning best;
  best.spread = 2;
  best.voltage = record.voltage[steps[first].first];
  best.at_step = first;
  for (std::size_t s = first + 1; s-- > 0 && best.spread > known_within;) {
    if (steps[s].kind == params::StepKind::rest) continue;
    Beginning b;
    if (s > 0 && steps[s - 1].kind == params::StepKind::rest)
      b = at_voltage(rest, From::rest_before, record.voltage[steps[s - 1].last], unsettled(record, steps, s - 1));
    else if (s == 0)
      b = first_rows(job, rest, record, steps);
    else
      continue;
    b.at_step = s;
    if (b.spread < (best.from == From::unknown ? 2 : 0.5 * best.spread)) best = b;
  }
  return best;
}

std::optional<Beginning> beginning_by_rest_behind(const Job& job, const params::Record& record,
                                                  const std::vector<params::RecordedStep>& steps, std::size_t first) {
  constexpr double told = 0.02;
  constexpr double sheet_is_right = 0.01;  // of the capacity: by mass and thickness, common practice
  const AtRest rest(job);
  const double holds = job.bench.window.capacity * job.plate_area();
  for (std::size_t s = first + 1; s < steps.size(); ++s) {
    if (steps[s].kind != params::StepKind::rest) continue;
    Beginning b = at_voltage(rest, From::rest_behind, record.voltage[steps[s].last], unsettled(record, steps, s));
    if (b.spread > told) continue;
    const double passed = params::charge_between(record, steps[first].first, steps[s].last) / holds;
    b.state_of_charge -= passed;
    b.spread += sheet_is_right * std::abs(passed);
    if (b.state_of_charge < -told || b.state_of_charge > 1 + told) continue;
    b.voltage = b.taken_as = rest.voltage(b.state_of_charge);
    b.at_step = first;
    b.rest_step = s;
    return b;
  }
  return std::nullopt;
}

double rested_voltage(const std::string& text, std::vector<params::SourceFile>& files) {
  const auto wrong = [&](const std::string& why) { return CommandLineError("--rested-at '" + text + "': " + why); };
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(text, ignored)) {
    try {
      return params::parse<params::Voltage>(text).si();
    } catch (const params::QuantityError& error) {
      throw wrong(std::string(error.what()) + "; or name a file of measured data that ends with the rest");
    }
  }
  auto loaded = params::load_measured(text);
  if (!loaded.value) throw wrong("no measured data are read from this file: " + params::one_line(loaded.faults.text()));
  params::mend_sensors(*loaded.value);
  files.insert(files.end(), loaded.files.begin(), loaded.files.end());
  const params::Record& record = loaded.value->record;
  const std::vector<params::RecordedStep> steps = params::recorded_steps(record);
  if (steps.empty() || steps.back().kind != params::StepKind::rest) throw wrong("the file does not end with a rest");
  return record.voltage.back();
}

}  // namespace onegrain::app
