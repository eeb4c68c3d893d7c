#include <algorithm>
#include <cmath>

#include "params/record/levels.hpp"

// How much passed in a step, where single rows of the current do not tell.

namespace onegrain::params {

namespace {

constexpr double noisy = 0.005;          // of a current: less leaves its sum over any rows alone
constexpr double differs = 0.002;        // between current and counter: more than rounding and the trapezoidal rule
constexpr double same_thing = 0.05;      // further apart the counter is in another unit, or counts something else
constexpr double grow_together = 0.02;   // of the charge of a step: current and counter grow in one way
constexpr std::size_t few_rows = 8;      // rows of a step
constexpr std::size_t summed_rows = 20;  // rows: over fewer the trapezoidal rule says little

/// The finest decimal of a milliampere-hour on which all values of rows [first, last] lie [C].
double rounded_to(const std::vector<double>& counter, std::size_t first, std::size_t last) {
  constexpr double mAh = 3.6;
  double grid = 100;
  for (; grid > 1e-6; grid /= 10) {
    const bool all = std::all_of(counter.begin() + static_cast<std::ptrdiff_t>(first),
                                 counter.begin() + static_cast<std::ptrdiff_t>(last) + 1, [&](double charge) {
                                   const double steps = charge / mAh / grid;
                                   return std::abs(steps - std::round(steps)) < 1e-6 * std::max(1.0, std::abs(steps));
                                 });
    if (all) break;
  }
  return grid * mAh;
}

struct Counted {
  CountedCharge charge;
  double seconds;  ///< over which both were taken
};

/// What the counter says of a step, where it counts just this step: never backwards, in step with the current, finer
/// than what is looked for. Where it starts anew within three rows of the end of the step, it is that of the rows
/// before.
/// @param left  what noise leaves of the mean of the rows, as a share
std::optional<Counted> trusted_counter(const Record& r, const RecordedStep& step, double left) {
  if (r.capacity.empty()) return std::nullopt;
  const std::vector<double>& counter = r.capacity;
  const std::size_t first = step.first + 1;
  std::size_t last = step.last;
  if (last < first + few_rows + 3) return std::nullopt;
  for (std::size_t k = step.last; k + 3 > step.last; --k)
    if (std::abs(counter[k] - counter[first]) < std::abs(counter[k - 1] - counter[first])) last = k - 1;
  const CountedCharge found{std::abs(counter[last] - counter[first]), std::abs(charge_between(r, first, last))};
  if (!(found.by_counter > 0) || !(found.by_current > 0)) return std::nullopt;
  if (std::abs(found.by_counter - found.by_current) > same_thing * found.by_current) return std::nullopt;
  if (rounded_to(counter, first, last) > differs * found.by_counter) return std::nullopt;
  const double sense = counter[last] > counter[first] ? 1 : -1;
  double passed = 0;
  for (std::size_t k = first; k < last; ++k) {
    if (!(sense * (counter[k + 1] - counter[k]) >= 0)) return std::nullopt;
    passed += std::abs(charge_between(r, k, k + 1));
    const double counted = std::abs(counter[k + 1] - counter[first]);
    if (std::abs(passed / found.by_current - counted / found.by_counter) > grow_together + 6 * left)
      return std::nullopt;
  }
  return Counted{found, r.time[last] - r.time[first]};
}

}  // namespace

void mend_charges(Measured& data) {
  Record& r = data.record;
  for (const RecordedStep& step : recorded_steps(r)) {
    if (step.kind == StepKind::rest || step.kind == StepKind::varied || step.last < step.first + few_rows) continue;
    // the first row may be older than the current
    const bool opens = std::abs(r.current[step.first]) > 0.5 * std::abs(step.mean_current);
    const std::size_t first = opens ? step.first : step.first + 1;
    const auto rows = static_cast<double>(step.last - first + 1);
    const double noise = step.noise / std::abs(step.mean_current);
    const double left = noise / std::sqrt(rows);  // of the mean of the rows
    const auto counted = trusted_counter(r, step, left);
    const double off = counted ? counted->charge.by_current / counted->charge.by_counter - 1 : 0;
    const bool scatters = noise > noisy;
    const bool corrects = counted && (scatters || (std::abs(off) > differs && step.last >= step.first + summed_rows));
    if (!corrects && !(scatters && step.constant)) continue;
    ChargeTaken taken{r.line[step.first], noise, 1.96 * left, std::nullopt, true};
    if (corrects) {
      taken.counted = counted->charge;
      taken.known_to = differs;
      taken.by_noise = std::abs(off) <= 6 * left + differs;
    }
    double level = 0;
    for (std::size_t k = first; k <= step.last; ++k) level += r.current[k] / rows;
    if (corrects) level = std::copysign(counted->charge.by_counter / counted->seconds, step.mean_current);
    for (std::size_t k = first; k <= step.last; ++k)
      r.current[k] = step.constant && scatters ? level : r.current[k] / (1 + off);
    data.charges_taken.push_back(taken);
  }
}

}  // namespace onegrain::params
