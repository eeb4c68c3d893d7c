#include "app/study/recorded.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "app/study/stretches.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

namespace {

constexpr double charging_of_double_layer = 1;  // s; resistance times double-layer capacitance is well below that
constexpr double too_much = 5;                  // times what the cell of the sheet holds, within one step: no such cell
constexpr double too_little = 0.02;             // of it, from cut-off to cut-off
constexpr double whole_window = 0.8;            // of the voltage window

std::vector<std::size_t> picked(const Recording& r, std::size_t most) {
  const params::Record& record = r.measured.record;
  const std::size_t end = r.steps[r.last_step].last + 1;
  std::vector<std::size_t> rows;
  if (end - r.first_row <= most) {
    for (std::size_t k = r.first_row; k < end; ++k) rows.push_back(k);
    return rows;
  }
  // Each step is given rows by the voltage that it runs through and by its time; inside a step they are even in time
  // for one half, in its square root for the other.
  double range = 0, time = 0;
  std::vector<double> ranges;
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const std::size_t first = std::max(r.steps[s].first, r.first_row);
    const auto [low, high] =
        std::minmax_element(record.voltage.begin() + static_cast<std::ptrdiff_t>(first),
                            record.voltage.begin() + static_cast<std::ptrdiff_t>(r.steps[s].last) + 1);
    ranges.push_back(*high - *low);
    range += ranges.back();
    time += record.time[r.steps[s].last] - record.time[first];
  }
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const std::size_t first = std::max(r.steps[s].first, r.first_row), last = r.steps[s].last;
    const double duration = record.time[last] - record.time[first];
    const double share = 0.5 * ranges[s - r.first_step] / std::max(range, 1e-9) + 0.5 * duration / std::max(time, 1e-9);
    const auto count = std::max<std::size_t>(3, static_cast<std::size_t>(share * static_cast<double>(most)));
    for (std::size_t j = 0; j < count; ++j) {
      const double want = static_cast<double>(j) / static_cast<double>(count - 1);
      // solves 0.5 u + 0.5 sqrt(u) = want
      const double root = (std::sqrt(0.25 + 2 * want) - 0.5);
      const std::size_t row = params::row_at(record, first, last, record.time[first] + duration * root * root);
      if (rows.empty() || row > rows.back()) rows.push_back(row);
    }
  }
  return rows;
}

/// The title of the column of currents, as it stands in the file.
std::string current_title(const params::Measured& data) {
  for (const params::TakenColumn& column : data.columns)
    if (column.role == params::ColumnRole::current) return column.title;
  return "TITLE";
}

/// @throws UnsoundInput  no cell of this size: units or sheet are wrong
void require_size(const Recording& r, const Job& job) {
  const double holds = job.bench.window.capacity * job.plate_area();
  for (std::size_t s = 0; s < r.steps.size(); ++s) {
    const params::RecordedStep& step = r.steps[s];
    const double share = std::abs(step.charge) / holds, moves = std::abs(step.last_voltage - step.first_voltage);
    const bool whole = moves >= whole_window * (job.cell.upper_voltage - job.cell.lower_voltage);
    if (step.kind == params::StepKind::rest || (share <= too_much && !(whole && share < too_little))) continue;
    throw UnsoundInput(
        fmt::format("{}: step {} passes {}, {} what the cell of the sheet holds ({}). It is another cell, or a unit is "
                    "wrong: one that a title lacks stands behind a colon, --columns 'current={}:mA' time=TITLE:h\n",
                    r.file, s + 1, params::show(std::abs(step.charge), params::ChargeKind::kind),
                    share > 1 ? fmt::format("{:.3g} times", share) : fmt::format("{:.2g} of", share),
                    params::show(holds, params::ChargeKind::kind), current_title(r.measured)));
  }
}

/// @throws UnsoundInput  one current at rests of different voltages: an offset of the sensor
void require_rests(const Recording& r, const Job& job) {
  constexpr double apart = 0.05, alike = 0.2;  // [V], of the current
  const std::vector<RestUnderCurrent> found = rests_under_current(job, r);
  for (const RestUnderCurrent& one : found) {
    for (const RestUnderCurrent& other : found) {
      if (std::abs(one.voltage - other.voltage) < apart ||
          std::abs(one.current - other.current) > alike * std::abs(one.current))
        continue;
      throw UnsoundInput(fmt::format(
          "{}: the voltage rests in the steps {} and {}, where {} flow by the file: as it seems the current sensor has "
          "that offset, too large for every charge to be of use. Take it off the column of the current and try again\n",
          r.file, std::min(one.step, other.step) + 1, std::max(one.step, other.step) + 1,
          params::show(one.current, params::CurrentKind::kind)));
    }
  }
}

/// @throws CommandLineError  no such cell was at rest there before a test; a fresh half cell may be, above its cut-offs
void require_within_cut_offs(const std::string& text, double voltage, const Job& job) {
  constexpr double beyond = 0.2;  // [V]
  const double lower = job.cell.lower_voltage, upper = job.cell.upper_voltage;
  if (voltage >= lower - beyond && (voltage <= upper + beyond || !job.cell.is_full_cell())) return;
  throw CommandLineError(fmt::format("--rested-at '{}': {} V lies beyond what the sheet allows, {} to {} V", text,
                                     params::plain_number(voltage, 4), params::plain_number(lower, 3),
                                     params::plain_number(upper, 3)));
}

/// What was told goes before what was measured.
std::optional<Beginning> told_beginning(const Request& request, Job& job, std::size_t first) {
  if (!request.from_soc && request.rested_at.empty()) return std::nullopt;
  const AtRest rest(job);
  Beginning b;
  b.at_step = first;
  if (request.from_soc) {
    b.from = Beginning::From::state_of_charge;
    b.state_of_charge = *request.from_soc;
    b.voltage = rest.voltage(*request.from_soc);
  } else {
    b.from = Beginning::From::told_voltage;
    b.voltage = rested_voltage(request.rested_at, job.sheet.files);
    require_within_cut_offs(request.rested_at, b.voltage, job);
    b.state_of_charge = rest.state_of_charge(b.voltage);
  }
  b.taken_as = rest.within(b.voltage);  // a fresh host may rest beyond what its potential on the card reaches
  return b;
}

/// @throws UnsoundInput  the cell of the sheet cannot rest there; a fresh host may, above what its card reaches
void require_reach(const Recording& r, const Job& job) {
  constexpr double beyond = 0.1;  // [V]
  const Beginning& b = r.beginning;
  if (b.voltage > 100)
    throw UnsoundInput(
        fmt::format("{}: it begins at {} V: as it seems these are millivolts. Name the unit behind the "
                    "title, --columns 'voltage=TITLE:mV'\n",
                    r.file, params::plain_number(b.voltage, 4)));
  const bool fresh = !job.cell.is_full_cell() && b.voltage > b.taken_as;
  if (b.from == Beginning::From::unknown || fresh || std::abs(b.voltage - b.taken_as) <= beyond) return;
  const model::RestRange range = model::rest_range(job.cell);
  throw UnsoundInput(
      fmt::format("{}: it begins at rest at {} V, where the cell of the sheet cannot stand: at rest that reaches from "
                  "{} to {} V. The record is of another cell, or of a half cell\n",
                  r.file, params::plain_number(b.voltage, 4), params::plain_number(range.lowest, 3),
                  params::plain_number(range.highest, 3)));
}

/// Where the run begins, and how warm the cell was there; what surrounds it says little of that.
void find_first_row(Recording& r) {
  const params::RecordedStep& first = r.steps[r.beginning.at_step];
  r.first_row = r.beginning.from == Beginning::From::rest_before ? first.first - 1 : first.first;
  if (!r.has_temperature || r.temperature_is_ambient()) return;
  const std::vector<double>& temperature = r.measured.record.temperature;
  const auto known = std::find_if(temperature.begin() + static_cast<std::ptrdiff_t>(r.first_row), temperature.end(),
                                  [](double t) { return std::isfinite(t); });
  if (known != temperature.end()) r.first_temperature = *known;
}

void make_run(Recording& r, double plate_area) {
  const params::Record& record = r.measured.record;
  const params::RecordedStep& first = r.steps[r.beginning.at_step];
  r.origin = record.time[r.first_row] - r.beginning.unrecorded;
  Stretches stretches(record, plate_area, r.origin, r.has_temperature && !r.predicts_temperature);
  const double largest = params::largest_current(record);
  stretches.add_unrecorded(first.mean_current, record.time[r.first_row], r.beginning.at_step);
  if (r.first_row < first.first)
    stretches.add(params::StepKind::rest, r.first_row, r.first_row, boundary(record, r.first_row), r.beginning.at_step);
  for (std::size_t s = r.beginning.at_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    const std::size_t from = std::max(step.first, r.first_row);
    // a pause of the record between two steps: nothing flows in it
    const double gap = s < r.last_step ? record.time[step.last + 1] - record.time[step.last] : 0;
    const double usual = step.last > step.first ? step.duration / static_cast<double>(step.last - step.first) : gap;
    if (gap > 60 && gap > 5 * usual) {
      stretches.add_step(step, from, record.time[step.last], s, largest);
      stretches.add(params::StepKind::rest, step.last, step.last, record.time[step.last + 1], s);
    } else {
      stretches.add_step(step, from, s == r.last_step ? record.time[step.last] : boundary(record, step.last), s,
                         largest);
    }
  }
  r.run.stretches = std::move(stretches.done);
  r.stretch_step = std::move(stretches.steps);
}

/// Rows that are compared, with their moments and the charge passed up to them.
void make_rows(Recording& r, std::size_t most) {
  const params::Record& record = r.measured.record;
  r.rows = picked(r, most);
  // The double layer is not in the model: what a jump of the current does within a second is not compared.
  std::erase_if(r.rows, [&](std::size_t row) {
    const double t = r.time(row);
    const auto next = std::upper_bound(r.run.stretches.begin(), r.run.stretches.end(), t,
                                       [](double at, const solver::Stretch& s) { return at < s.start; });
    return t - std::prev(next)->start < charging_of_double_layer;
  });
  double passed = r.unrecorded_charge();
  std::size_t before = r.first_row;
  for (const std::size_t row : r.rows) {
    r.run.times.push_back(r.time(row));
    passed += params::charge_between(record, before, row);
    r.charge.push_back(passed);
    before = row;
  }
}

/// Fits the start. A current that had flowed for long has left its profiles in the grains: where the curve is met
/// better with that current since full (a charge: since empty) it is taken to have flowed since then.
Beginning fitted_start(Recording& r, const Job& job, std::size_t most_rows) {
  const Beginning plain = fitted_beginning(job, r);
  const params::RecordedStep& first = r.steps[r.beginning.at_step];
  if (!first.is_sweep() || !first.constant || r.beginning.unrecorded > 0) return plain;
  const double holds = job.bench.window.capacity * job.plate_area();
  const double end = first.mean_current > 0 ? 0 : 1;
  const double since = (plain.state_of_charge - end) * holds / first.mean_current;
  const Beginning asked = r.beginning;
  if (!(since > charging_of_double_layer)) return plain;
  Beginning earlier = asked;
  earlier.unrecorded = since;
  earlier.unrecorded_taken = true;
  begin_run(r, earlier, job.plate_area(), most_rows);
  const Beginning since_end = fitted_beginning(job, r);
  const bool earlier_it_is = since_end.rms < plain.rms && !since_end.at_end;
  if (!earlier_it_is) begin_run(r, asked, job.plate_area(), most_rows);
  Beginning found = earlier_it_is ? since_end : plain;
  const Beginning& other = earlier_it_is ? plain : since_end;
  if (other.rms * other.rms <= met_alike * found.rms * found.rms && !other.at_end) {
    const double apart =
        std::abs(since_end.state_of_charge + since * first.mean_current / holds - plain.state_of_charge);
    found.spread = std::max(found.spread, apart + other.spread);
    found.either_history = true;
  }
  return found;
}

/// Where nothing in the file tells the start: the curve does, or the user has to.
void settle_beginning(Recording& r, const Job& job, UntoldStart untold, std::size_t most_rows) {
  constexpr double told = 0.1;  // of the state of charge: a curve that leaves more open tells nothing
  constexpr double met = 0.15;  // [V]
  constexpr double as_good = 1.1;
  constexpr double near_end = 0.1;
  constexpr double as_if_there = 0.01;  // past full or empty: noise
  using From = Beginning::From;
  const bool assumed = r.beginning.from == From::full || r.beginning.from == From::empty;
  if (!assumed && r.beginning.from != From::unknown) return;
  if (auto behind = beginning_by_rest_behind(job, r.measured.record, r.steps, r.beginning.at_step)) {
    // what flowed before the record began is no part of the charge until that rest
    if (assumed ? behind->spread < r.beginning.spread : r.beginning.unrecorded == 0) {
      r.beginning = *behind;
      return;
    }
  }
  if (assumed && untold == UntoldStart::free) return;  // how far it is known goes with it
  if (r.rows.size() > 3) {
    const Beginning fitted = assumed ? fitted_beginning(job, r) : fitted_start(r, job, most_rows);
    const double end = r.beginning.from == From::empty ? 0 : 1;
    if (assumed) {
      const double good = as_good * fitted.rms + 1e-3;
      // past full or empty no cell was at rest: what the model is off would go into the start
      const bool past = end == 1 ? fitted.state_of_charge > end : fitted.state_of_charge < end;
      if (misfit_from(job, r, r.beginning.state_of_charge) <= good) return;
      const bool close = past && std::abs(fitted.state_of_charge - end) <= as_if_there;
      if (close || misfit_from(job, r, end) <= good) {
        r.beginning.voltage = r.beginning.taken_as = AtRest(job).voltage(end);
        r.beginning.state_of_charge = end;
        return;
      }
      if (past) return;
    }
    // What else is estimated may yet bring the model to the curve: then that search tells.
    const bool tells =
        assumed ? fitted.spread <= 0.5 * near_end && std::abs(fitted.state_of_charge - end) <= near_end
                : untold == UntoldStart::free || (fitted.spread <= told && !(fitted.at_end && fitted.rms > met));
    if (tells) r.beginning = fitted;
    if (tells || assumed) return;
  }
  ask_for_start(r);
}

}  // namespace

void begin_run(Recording& r, const Beginning& beginning, double plate_area, std::size_t most_rows) {
  r.beginning = beginning;
  r.run = {};
  r.charge.clear();
  make_run(r, plate_area);
  make_rows(r, most_rows);
}

void ask_for_start(const Recording& r) {
  const params::RecordedStep& first = r.steps[r.beginning.at_step];
  throw UnsoundInput(fmt::format(
      "{}: nothing tells in which state step {} begins: no rest is recorded before it, and its first row is under "
      "current at {} V, not near full or empty. Tell it: --rested-at '3.71 V' (the voltage at rest before), "
      "--rested-at REST.csv (a file that ends with that rest), or --from-soc 0.5 (the state of charge)\n",
      r.file, r.first_step + 1, params::plain_number(first.first_voltage, 4)));
}

void require_signs(const std::string& file, const params::Measured& data,
                   const std::vector<params::RecordedStep>& steps) {
  if (params::runs_backwards(data))
    throw UnsoundInput(fmt::format(
        "{}: in {} of its {} rows the time falls: the newest row stands first, as it seems. Sort the rows by "
        "time\n",
        file, data.doubts.count(params::DoubtKind::time_restart), data.rows_read));
  if (params::interleaved(data.record))
    throw UnsoundInput(
        fmt::format("{}: every other row lies on another course: as it seems two channels are written in turn, or each "
                    "pulse has one row. Split the file by channel, or record pulses in more rows\n",
                    file));
  switch (params::direction_of(data.record, steps)) {
    case params::Direction::as_agreed:
      return;
    case params::Direction::turned:
      throw UnsoundInput(
          fmt::format("{}: the voltage falls where the current is positive: as it seems, positive means discharge in "
                      "this file. Here it means charge; a minus sign turns it: --columns 'current=-{}'\n",
                      file, current_title(data)));
    case params::Direction::without_sign:
      throw UnsoundInput(fmt::format(
          "{}: no current is negative, although the voltage both rises and falls: charge and discharge cannot be told "
          "apart. Name the column that tells them, --columns state=TITLE, or split the file\n",
          file));
  }
}

bool Recording::temperature_is_ambient() const {
  return std::any_of(measured.columns.begin(), measured.columns.end(), [](const params::TakenColumn& column) {
    return column.role == params::ColumnRole::temperature && column.title.find("mbient") != std::string::npos;
  });
}

std::size_t Recording::step_at_line(std::uint32_t line) const {
  const std::vector<std::uint32_t>& lines = measured.record.line;
  return static_cast<std::size_t>(
      std::find_if(steps.begin(), steps.end(),
                   [&](const params::RecordedStep& step) { return lines[step.last] >= line; }) -
      steps.begin());
}

solver::State Recording::starting_state(const solver::Simulator& simulator, double passed) const {
  solver::State state = simulator.at_rest(passed);
  if (predicts_temperature && first_temperature) state.temperature = *first_temperature;
  return state;
}

std::string nominal_rate(double c_rate) {
  if (!(c_rate > 0)) return "-";
  const double hours = std::round(1 / c_rate);
  if (c_rate < 0.95 && std::abs(c_rate * hours - 1) < 0.02) return params::rate_name(1 / hours);
  if (std::abs(c_rate - std::round(c_rate)) < 0.02 * c_rate) return params::rate_name(std::round(c_rate));
  return params::rate_name(c_rate);
}

Recording load_recording(const Request& request, const Channels& channels, Job& job, const std::string& file,
                         const Reading& reading) {
  Recording r;
  r.file = params::one_line(params::stream_name(file));
  r.measured = read_data(request, channels, file, job.sheet.files);
  const params::Record& record = r.measured.record;
  r.steps = params::recorded_steps(record);
  params::examine(record, r.steps, r.measured.doubts);
  require_signs(r.file, r.measured, r.steps);
  require_size(r, job);
  require_rests(r, job);
  r.first_step = 0;
  r.last_step = r.steps.size() - 1;
  if (!request.steps.empty()) std::tie(r.first_step, r.last_step) = chosen_steps(request.steps, r.steps.size());

  // A rest at the start is where the run begins, at its end.
  while (r.first_step < r.last_step && r.steps[r.first_step].kind == params::StepKind::rest) ++r.first_step;
  if (r.steps[r.first_step].kind == params::StepKind::rest) {
    throw NotCompleted(file + ": there is no charge or discharge in the steps asked for; `onegrain check " + file +
                       "` lists what was found");
  }
  r.has_temperature =
      std::any_of(record.temperature.begin(), record.temperature.end(), [](double t) { return std::isfinite(t); });
  r.predicts_temperature = reading.predict_temperature && job.cell.thermal;
  const std::optional<Beginning> told = told_beginning(request, job, r.first_step);
  r.beginning = told ? *told : find_beginning(job, record, r.steps, r.first_step);
  require_reach(r, job);
  require_unbroken(job, r);
  find_first_row(r);
  make_run(r, job.plate_area());
  make_rows(r, reading.most_rows);
  settle_beginning(r, job, reading.untold, reading.most_rows);
  r.start.rest_voltage = r.beginning.taken_as;
  return r;
}

}  // namespace onegrain::app
