#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "params/record/record.hpp"

namespace onegrain::params {

namespace {

constexpr double counts_from = 0.02;  // of the charge of the largest sweep
constexpr double told = 0.010;        // [V]
constexpr double both_ways = 0.03;    // [V] up in some steps and down in others
constexpr double turning = 0.1;       // [V] up and down within one step
constexpr double most_of_it = 0.8;

bool any_of_sign(const Record& record, double sign) {
  const double zero = rest_current(record);
  return std::any_of(record.current.begin(), record.current.end(), [&](double i) { return sign * i > zero; });
}

/// A larger current of the same sign went right before: the voltage relaxes for a while.
bool stepped_down(const std::vector<RecordedStep>& steps, std::size_t n) {
  const double sign = steps[n].kind == StepKind::charge ? 1 : -1;
  return n > 0 && steps[n - 1].kind != StepKind::rest &&
         sign * steps[n - 1].last_current > 1.02 * std::abs(steps[n].mean_current);
}

/// How far the voltage moves past the first fifth of the step's time [V].
double moved(const Record& record, const RecordedStep& step) {
  return step.last_voltage - record.voltage[row_at(record, step.first, step.last, step.start + 0.2 * step.duration)];
}

/// Under one current the voltage goes far up and down again, or down and up.
bool turns_inside(const Record& record, const RecordedStep& step) {
  const auto from = record.voltage.begin() + static_cast<std::ptrdiff_t>(step.first);
  const auto [low, high] =
      std::minmax_element(from, record.voltage.begin() + static_cast<std::ptrdiff_t>(step.last) + 1);
  const double first = step.first_voltage, last = step.last_voltage;
  return (*high - first > turning && *high - last > turning) || (first - *low > turning && last - *low > turning);
}

}  // namespace

Direction direction_of(const Record& record, const std::vector<RecordedStep>& steps) {
  double largest = 0, with = 0, against = 0;
  for (const RecordedStep& step : steps)
    if (step.is_sweep()) largest = std::max(largest, std::abs(step.charge));
  bool inside = false;
  for (std::size_t n = 0; n < steps.size(); ++n) {
    const RecordedStep& step = steps[n];
    if (!step.is_sweep() || std::abs(step.charge) < counts_from * largest || step.last < step.first + 4) continue;
    if (stepped_down(steps, n)) continue;
    inside = inside || turns_inside(record, step);
    const double far = moved(record, step), sign = step.kind == StepKind::charge ? 1 : -1;
    if (std::abs(far) < told) continue;
    (sign * far > 0 ? with : against) += std::abs(far);
  }
  const bool both_signs = any_of_sign(record, 1) && any_of_sign(record, -1);
  if (!both_signs && (inside || std::min(with, against) > both_ways)) return Direction::without_sign;
  return against > 0 && against > most_of_it * (with + against) ? Direction::turned : Direction::as_agreed;
}

void examine_direction(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts) {
  for (std::size_t n = 0; n < steps.size(); ++n) {
    const RecordedStep& step = steps[n];
    if (!step.is_sweep()) continue;
    const double sign = step.kind == StepKind::charge ? 1 : -1;
    if (sign * (step.last_voltage - step.first_voltage) > -0.020) continue;
    if (stepped_down(steps, n)) continue;
    doubts.add(DoubtKind::contrary_voltage, record.line[step.first], [&] {
      return fmt::format("step {}: the current is {}, so the cell is {}d, yet its voltage goes from {} V to {} V",
                         n + 1, show(step.mean_current, CurrentKind::kind), step_kind_name(step.kind),
                         plain_number(step.first_voltage, 5), plain_number(step.last_voltage, 5));
    });
  }
  const std::uint32_t line = record.line.empty() ? 0 : record.line.front();
  switch (direction_of(record, steps)) {
    case Direction::without_sign:
      doubts.add(DoubtKind::unsigned_current, line, [] {
        return std::string(
            "no current is negative although the voltage rises and falls: name the column that tells charge from "
            "discharge, --columns state=TITLE, or split the file");
      });
      break;
    case Direction::turned:
      doubts.add(DoubtKind::turned_current, line, [] {
        return std::string(
            "the voltage falls where the current is positive: as it seems, positive means discharge here; a minus sign "
            "turns it, --columns current=-TITLE");
      });
      break;
    case Direction::as_agreed:
      break;
  }
}

}  // namespace onegrain::params
