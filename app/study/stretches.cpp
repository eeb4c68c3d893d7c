#include "app/study/stretches.hpp"

#include <algorithm>
#include <cmath>

#include "params/record/levels.hpp"

namespace onegrain::app {

namespace {

constexpr double even_current = 0.01;  // a current that strays less than this from its mean counts as constant
constexpr double current_tolerance =
    0.002;                           // of straight lines through a current, as a share of its largest in the step
constexpr double most_noise = 0.15;  // of a constant current; what scatters more is no noise
constexpr double jump_share = 0.05;  // of the largest current: between two rows, a jump
constexpr double temperature_tolerance = 0.1;  // K; what sensors in a cycler resolve
constexpr int temperature_means = 40;          // of each step: what heats or cools a cell is slower

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

}  // namespace

/// Where a step ends and the next begins: halfway between their rows.
double boundary(const params::Record& r, std::size_t last) {
  return last + 1 < r.size() ? 0.5 * (r.time[last] + r.time[last + 1]) : r.time[last];
}

void Stretches::add_unrecorded(double current, double end, std::size_t step) {
  const double start = end_;
  if (!(end > start)) return;
  done.push_back({{model::CurrentDrive{current / area_}, {.time = end - start}, "not recorded"}, start - origin_});
  steps.push_back(step);
  end_ = end;
}

void Stretches::add_step(const params::RecordedStep& recorded, std::size_t first_row, double end, std::size_t step,
                         double largest_current) {
  std::size_t from = first_row;
  if (recorded.kind == params::StepKind::varied) {
    for (std::size_t k = from; k < recorded.last; ++k) {
      if (std::abs(record_.current[k + 1] - record_.current[k]) <= jump_share * largest_current) continue;
      add(recorded.kind, from, k, boundary(record_, k), step);
      from = k + 1;
    }
  }
  const bool constant = recorded.constant && recorded.kind != params::StepKind::varied &&
                        recorded.noise <= most_noise * std::abs(recorded.mean_current);
  add(recorded.kind, from, recorded.last, end, step, constant, recorded.noise);
}

void Stretches::add(params::StepKind kind, std::size_t first, std::size_t last, double end, std::size_t step,
                    bool constant, double noise) {
  const double start = end_, duration = end - start;
  if (!(duration > 0)) return;
  solver::Stretch stretch{{model::CurrentDrive{0}, {.time = duration}, params::step_kind_name(kind)}, start - origin_};
  if (kind != params::StepKind::rest) stretch.step.drive = drive(first, last, start, end, constant, noise);
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

model::Drive Stretches::drive(std::size_t first, std::size_t last, double start, double end, bool constant,
                              double noise) const {
  const double charge = charge_of(record_, first, last, start, end), mean = charge / (end - start);
  if (constant) return model::CurrentDrive{mean / area_};
  const std::size_t from = last > first ? first + 1 : first;  // the first row may be older than the current
  double strays = 0, largest = 0;
  for (std::size_t k = from; k <= last; ++k) {
    strays = std::max(strays, std::abs(record_.current[k] - mean));
    largest = std::max(largest, std::abs(record_.current[k]));
  }
  if (strays <= even_current * std::abs(mean)) return model::CurrentDrive{mean / area_};
  // Noise is averaged away before lines are laid: each of its rows would be a corner.
  std::vector<double> current = record_.current;
  const double blurred = noise / (current_tolerance * largest);
  if (blurred > 1) {
    const std::size_t width = std::min<std::size_t>(15, static_cast<std::size_t>(blurred * blurred)) | 1;
    const std::vector<double> means = params::smoothed(record_.current, from, last, width);
    std::copy(means.begin(), means.end(), current.begin() + static_cast<std::ptrdiff_t>(from));
  }
  model::Course course = course_of(record_.time, current, from, last, start, current_tolerance * largest);
  const double passed = integral(course, end - start);
  const double factor =
      passed != 0 && std::abs(charge / passed - 1) < 0.05 ? charge / passed : 1;  // no charge is lost by the lines
  for (double& value : course.value) value *= factor / area_;
  return model::CourseDrive{std::move(course)};
}

}  // namespace onegrain::app
