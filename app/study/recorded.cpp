#include "app/study/recorded.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

namespace {

constexpr double even_current = 0.01;  // a current that strays less than this from its mean counts as constant
constexpr double current_tolerance =
    0.002;                           // of straight lines through a current, as a share of its largest in the step
constexpr double jump_share = 0.05;  // of the largest current: between two rows, a jump
constexpr double temperature_tolerance = 0.1;   // K; what sensors in a cycler resolve
constexpr int temperature_means = 40;           // of each step: what heats or cools a cell is slower
constexpr double charging_of_double_layer = 1;  // s; resistance times double-layer capacitance is well below that

/// The rows that straight lines need to stay within `tolerance` of all values: Douglas and Peucker's method, The
/// Canadian Cartographer 10, 112 (1973), with distances along the value.
std::vector<std::size_t> simplified(const std::vector<double>& time, const std::vector<double>& value,
                                    double tolerance) {
  std::vector<char> keep(time.size(), 0);
  keep.front() = keep.back() = 1;
  std::vector<std::pair<std::size_t, std::size_t>> open{{0, time.size() - 1}};
  while (!open.empty()) {
    const auto [a, b] = open.back();
    open.pop_back();
    double worst = tolerance;
    std::size_t at = 0;
    for (std::size_t k = a + 1; k < b; ++k) {
      const double line = value[a] + (value[b] - value[a]) * (time[k] - time[a]) / (time[b] - time[a]);
      if (std::abs(value[k] - line) > worst) {
        worst = std::abs(value[k] - line);
        at = k;
      }
    }
    if (at == 0) continue;
    keep[at] = 1;
    open.emplace_back(a, at);
    open.emplace_back(at, b);
  }
  std::vector<std::size_t> kept;
  for (std::size_t k = 0; k < keep.size(); ++k) {
    if (keep[k]) kept.push_back(k);
  }
  return kept;
}

/// Rows first..last as a course from `start` on; rows of one time are averaged.
model::Course course_of(const std::vector<double>& time, const std::vector<double>& value, std::size_t first,
                        std::size_t last, double start, double tolerance) {
  std::vector<double> t, v;
  for (std::size_t k = first; k <= last; ++k) {
    if (!std::isfinite(value[k])) continue;
    if (!t.empty() && time[k] - start <= t.back())
      v.back() = 0.5 * (v.back() + value[k]);
    else {
      t.push_back(time[k] - start);
      v.push_back(value[k]);
    }
  }
  if (t.empty()) return {};
  model::Course course;
  for (const std::size_t k : simplified(t, v, tolerance)) {
    course.time.push_back(t[k]);
    course.value.push_back(v[k]);
  }
  return course;
}

/// Rows first..last as the means of equal parts of time, with straight lines between them: the steps of a sensor would
/// otherwise be taken for the cell's. Empty where nothing is known.
model::Course temperature_course(const params::Record& r, std::size_t first, std::size_t last, double start) {
  const double duration = r.time[last] - r.time[first];
  std::vector<double> time, mean;
  std::size_t k = first;
  for (int part = 0; part < temperature_means && k <= last; ++part) {
    const double end = r.time[first] + duration * (part + 1) / temperature_means;
    double at = 0, sum = 0, count = 0;
    for (; k <= last && (r.time[k] <= end || part + 1 == temperature_means); ++k) {
      if (!std::isfinite(r.temperature[k])) continue;
      at += r.time[k];
      sum += r.temperature[k];
      ++count;
    }
    if (count == 0 || (!time.empty() && at / count <= time.back())) continue;
    time.push_back(at / count);
    mean.push_back(sum / count);
  }
  if (time.empty()) return {};
  model::Course course;
  for (const std::size_t j : simplified(time, mean, temperature_tolerance)) {
    course.time.push_back(time[j] - start);
    course.value.push_back(mean[j]);
  }
  return course;
}

double integral(const model::Course& course, double duration) {
  double sum = 0, t0 = 0, v0 = course.at(0);
  for (std::size_t k = 0; k < course.time.size() && course.time[k] < duration; ++k) {
    if (course.time[k] <= 0) continue;
    sum += 0.5 * (v0 + course.value[k]) * (course.time[k] - t0);
    t0 = course.time[k];
    v0 = course.value[k];
  }
  return sum + 0.5 * (v0 + course.at(duration)) * (duration - t0);
}

/// Measured charge of rows first..last with the halves of the intervals around them [C], trapezoidal rule.
double charge_of(const params::Record& r, std::size_t first, std::size_t last, double start, double end) {
  return r.current[first] * (r.time[first] - start) + params::charge_between(r, first, last) +
         r.current[last] * (end - r.time[last]);
}

/// Builds the stretches of a run one after the other.
class Stretches {
 public:
  Stretches(const params::Record& record, double area, double start, bool temperature)
      : record_(record), area_(area), origin_(start), temperature_(temperature), end_(start) {}

  /// Rows first..last, driven from where the last stretch ended to `end`.
  void add(params::StepKind kind, std::size_t first, std::size_t last, double end, std::size_t step) {
    const double start = end_, duration = end - start;
    if (!(duration > 0)) return;
    solver::Stretch stretch{{model::CurrentDrive{0}, {.time = duration}, params::step_kind_name(kind)},
                            start - origin_};
    if (kind != params::StepKind::rest) stretch.step.drive = drive(first, last, start, end);
    if (temperature_) {
      const model::Course course = temperature_course(record_, first, last, start);
      if (!course.time.empty())
        stretch.step.temperature = course;
      else if (!done.empty() && done.back().step.temperature)
        stretch.step.temperature = model::Course{{0}, {done.back().step.temperature->value.back()}};
    }
    done.push_back(std::move(stretch));
    steps.push_back(step);
    end_ = end;
  }

  std::vector<solver::Stretch> done;
  std::vector<std::size_t> steps;

 private:
  model::Drive drive(std::size_t first, std::size_t last, double start, double end) const {
    const double charge = charge_of(record_, first, last, start, end), mean = charge / (end - start);
    const std::size_t from = last > first ? first + 1 : first;  // the first row may be older than the current
    double strays = 0, largest = 0;
    for (std::size_t k = from; k <= last; ++k) {
      strays = std::max(strays, std::abs(record_.current[k] - mean));
      largest = std::max(largest, std::abs(record_.current[k]));
    }
    if (strays <= even_current * std::abs(mean)) return model::CurrentDrive{mean / area_};
    model::Course course = course_of(record_.time, record_.current, from, last, start, current_tolerance * largest);
    const double passed = integral(course, end - start);
    const double factor =
        passed != 0 && std::abs(charge / passed - 1) < 0.05 ? charge / passed : 1;  // no charge is lost by the lines
    for (double& value : course.value) value *= factor / area_;
    return model::CourseDrive{std::move(course)};
  }

  const params::Record& record_;
  double area_, origin_;
  bool temperature_;
  double end_;
};

/// Where a step ends and the next begins: halfway between their rows.
double boundary(const params::Record& r, std::size_t last) {
  return last + 1 < r.size() ? 0.5 * (r.time[last] + r.time[last + 1]) : r.time[last];
}

/// True where the first row of a charge or discharge was recorded before the current came up. Under a constant current
/// the voltage first runs with the square root of time: the next five moments are carried back along it to the first,
/// and a row that stands off by more than half a millivolt, and a twentieth of what these five run through, is older
/// than the current.
bool rested_before(const params::Record& r, const params::RecordedStep& step, double rest_current) {
  if (std::abs(r.current[step.first]) <= rest_current) return true;
  std::vector<double> root, voltage;
  for (std::size_t k = step.first + 1; k <= step.last && root.size() < 5; ++k) {
    const double since = r.time[k] - r.time[step.first];
    if (since <= 0 || (!root.empty() && std::sqrt(since) <= root.back())) continue;
    root.push_back(std::sqrt(since));
    voltage.push_back(r.voltage[k]);
  }
  if (root.size() < 3) return false;
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
  const double at_start = y - xy / xx * x, sense = step.mean_current > 0 ? 1 : -1;
  return sense * (at_start - r.voltage[step.first]) > std::max(5e-4, 0.05 * std::abs(voltage.back() - voltage.front()));
}

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
      const double t = record.time[first] + duration * root * root;
      const auto row =
          static_cast<std::size_t>(std::lower_bound(record.time.begin() + static_cast<std::ptrdiff_t>(first),
                                                    record.time.begin() + static_cast<std::ptrdiff_t>(last), t) -
                                   record.time.begin());
      if (rows.empty() || row > rows.back()) rows.push_back(row);
    }
  }
  return rows;
}

/// From where the first step that takes part starts.
Beginning beginning(const Request& request, const Job& job, const Recording& r, double resting) {
  using From = Beginning::From;
  const params::Record& record = r.measured.record;
  const params::RecordedStep& first = r.steps[r.first_step];
  const model::Window& window = job.bench.window;
  if (request.from_soc) {
    const model::Stoichiometries state = model::at_state_of_charge(window, *request.from_soc);
    return {From::state_of_charge, *request.from_soc,
            model::equilibrium_voltage(job.cell, state, job.cell.temperature)};
  }
  if (r.first_step > 0 && r.steps[r.first_step - 1].kind == params::StepKind::rest)
    return {From::rest_before, 0, record.voltage[first.first - 1]};
  if (rested_before(record, first, resting)) return {From::first_row, 0, record.voltage[first.first]};
  const auto reached = [](const std::optional<model::HostEnd>& before, double cut_off) {
    return before ? before->voltage : cut_off;
  };
  if (first.mean_current > 0) return {From::empty, 0, reached(window.before_lower, job.cell.lower_voltage)};
  return {From::full, 0,
          job.cell.charged_state ? model::equilibrium_voltage(job.cell, *job.cell.charged_state, job.cell.temperature)
                                 : reached(window.before_upper, job.cell.upper_voltage)};
}

}  // namespace

std::string nominal_rate(double c_rate) {
  if (!(c_rate > 0)) return "-";
  const double hours = std::round(1 / c_rate);
  if (c_rate < 0.95 && std::abs(c_rate * hours - 1) < 0.02) return params::rate_name(1 / hours);
  if (std::abs(c_rate - std::round(c_rate)) < 0.02 * c_rate) return params::rate_name(std::round(c_rate));
  return params::rate_name(c_rate);
}

std::pair<std::size_t, std::size_t> chosen_steps(const std::string& text, std::size_t count) {
  const auto wrong = [&](const std::string& why) { return CommandLineError("--steps '" + text + "': " + why); };
  const auto number = [&](const std::string& part) -> std::size_t {
    const auto value = params::parse_number(part);
    if (!value || *value < 1 || *value != std::floor(*value))
      throw wrong("write step numbers as `onegrain check DATA` shows them, such as 2..4 or 3");
    return static_cast<std::size_t>(std::min(*value, 1e15)) - 1;  // 1e300 steps: more than the file has
  };
  const std::size_t dots = text.find("..");
  const std::size_t first = number(text.substr(0, dots));
  const std::string rest = dots == std::string::npos ? "" : text.substr(dots + 2);
  const std::size_t last = dots == std::string::npos ? first : rest.empty() ? count - 1 : number(rest);
  if (first > last) throw wrong("the first step comes after the last");
  if (last >= count) throw wrong(fmt::format("the file has {} step{}", count, count == 1 ? "" : "s"));
  return {first, last};
}

Recording load_recording(const Request& request, const Channels& channels, Job& job, const std::string& file,
                         std::size_t most_rows) {
  Recording r;
  r.file = params::one_line(params::stream_name(file));
  r.measured = read_data(request, channels, file, job.sheet.files);
  const params::Record& record = r.measured.record;
  r.steps = params::recorded_steps(record);
  params::examine(record, r.steps, r.measured.doubts);
  r.first_step = 0;
  r.last_step = r.steps.size() - 1;
  if (!request.steps.empty()) std::tie(r.first_step, r.last_step) = chosen_steps(request.steps, r.steps.size());
  const double resting = params::rest_current(record);

  // A rest at the start is where the run begins, at its end.
  while (r.first_step < r.last_step && r.steps[r.first_step].kind == params::StepKind::rest) ++r.first_step;
  const params::RecordedStep& first = r.steps[r.first_step];
  if (first.kind == params::StepKind::rest) {
    throw NotCompleted(file + ": there is no charge or discharge in the steps asked for; `onegrain check " + file +
                       "` lists what was found");
  }
  r.beginning = beginning(request, job, r, resting);
  r.first_row = r.beginning.from == Beginning::From::rest_before ? first.first - 1 : first.first;
  // A fresh host may rest beyond what its potential on the card reaches: graphite without lithium near 3 V.
  const model::RestRange range = model::rest_range(job.cell);
  r.beginning.taken_as = std::clamp(r.beginning.voltage, range.lowest, range.highest);
  r.start.rest_voltage = r.beginning.taken_as;

  r.has_temperature =
      std::any_of(record.temperature.begin(), record.temperature.end(), [](double t) { return std::isfinite(t); });
  const double start = record.time[r.first_row];
  Stretches stretches(record, job.plate_area(), start, r.has_temperature);
  double largest = 0;
  for (const double i : record.current) largest = std::max(largest, std::abs(i));
  if (r.first_row < first.first)
    stretches.add(params::StepKind::rest, r.first_row, r.first_row, boundary(record, r.first_row), r.first_step);
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    std::size_t from = std::max(step.first, r.first_row);
    const double end = s == r.last_step ? record.time[step.last] : boundary(record, step.last);
    if (step.kind == params::StepKind::varied) {
      for (std::size_t k = from; k < step.last; ++k) {
        if (std::abs(record.current[k + 1] - record.current[k]) <= jump_share * largest) continue;
        stretches.add(step.kind, from, k, boundary(record, k), s);
        from = k + 1;
      }
    }
    // a pause of the record between two steps: nothing flows in it
    const double gap = s < r.last_step ? record.time[step.last + 1] - record.time[step.last] : 0;
    const double usual = step.last > step.first ? step.duration / static_cast<double>(step.last - step.first) : gap;
    if (gap > 60 && gap > 5 * usual) {
      stretches.add(step.kind, from, step.last, record.time[step.last], s);
      stretches.add(params::StepKind::rest, step.last, step.last, record.time[step.last + 1], s);
    } else {
      stretches.add(step.kind, from, step.last, end, s);
    }
  }
  r.run.stretches = std::move(stretches.done);
  r.stretch_step = std::move(stretches.steps);
  r.rows = picked(r, most_rows);
  // The double layer is not in the model: what a jump of the current does within a second is not compared.
  std::erase_if(r.rows, [&](std::size_t row) {
    const double t = r.time(row);
    const auto next = std::upper_bound(r.run.stretches.begin(), r.run.stretches.end(), t,
                                       [](double at, const solver::Stretch& s) { return at < s.start; });
    return t - std::prev(next)->start < charging_of_double_layer;
  });
  double passed = 0;
  std::size_t before = r.first_row;
  for (const std::size_t row : r.rows) {
    r.run.times.push_back(r.time(row));
    passed += params::charge_between(record, before, row);
    r.charge.push_back(passed);
    before = row;
  }
  return r;
}

}  // namespace onegrain::app
