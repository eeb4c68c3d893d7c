#include "params/record/levels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace onegrain::params {

namespace {

constexpr std::size_t block = 64;           // rows that share one estimate of the noise
constexpr double certain = 7;               // standard deviations
constexpr double inside = 0.4;              // of a jump, that may happen inside either side
constexpr std::size_t widest = 64;          // rows of one side
constexpr double stray_of_constant = 0.01;  // a constant current strays less than that
constexpr double spike_share = 0.5;         // of the level around
constexpr double follows = 5e-3;            // [V] a voltage that moves less does not follow
constexpr double least_offset = 5e-4;       // of the largest current

/// Up and down change places as noise does, two times out of three; a fading current in uneven rows goes one way.
bool flips(const std::vector<double>& values, std::size_t begin, std::size_t end) {
  double turns = 0, moves = 0, before = 0;
  for (std::size_t k = begin + 1; k < end; ++k) {
    const double now = values[k] - values[k - 1];
    if (now == 0) continue;
    ++moves;
    turns += now * before < 0;
    before = now;
  }
  return turns >= 0.25 * moves;
}

/// Sums from the start, for means of any rows.
class Means {
 public:
  Means(const std::vector<double>& values, std::size_t first, std::size_t last) : first_(first), sums_(1, 0) {
    sums_.reserve(last - first + 2);
    for (std::size_t k = first; k <= last; ++k) sums_.push_back(sums_.back() + values[k]);
  }
  double operator()(std::size_t from, std::size_t count) const {
    return (sums_[from - first_ + count] - sums_[from - first_]) / static_cast<double>(count);
  }

 private:
  std::size_t first_;
  std::vector<double> sums_;
};

}  // namespace

double middle_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

void noise_around(const std::vector<double>& values, std::size_t first, std::size_t last, std::vector<double>& noise) {
  const double from_median = 1 / (0.6745 * std::sqrt(1.5));
  const std::size_t stop = last + 1;
  std::vector<double> off;
  for (std::size_t from = first; from < stop;) {
    // what is left over makes no block of its own
    const std::size_t end = from + 2 * block > stop ? stop : from + block;
    off.clear();
    for (std::size_t k = from + 1; k + 1 < end; ++k)
      off.push_back(std::abs(values[k] - 0.5 * (values[k - 1] + values[k + 1])));
    const double sd = off.size() > 1 && flips(values, from, end) ? from_median * middle_of(off) : 0;
    std::fill(noise.begin() + static_cast<std::ptrdiff_t>(from), noise.begin() + static_cast<std::ptrdiff_t>(end), sd);
    from = end;
  }
}

std::vector<std::size_t> level_changes(const std::vector<double>& current, const std::vector<double>& noise,
                                       std::size_t first, std::size_t last) {
  std::vector<std::size_t> changes;
  const Means mean(current, first, last);
  for (std::size_t w = 2; w <= widest; w *= 2) {
    if (last + 1 - first < 2 * w) break;
    std::vector<std::size_t> found;
    std::size_t best = 0;
    double largest = 0;
    for (std::size_t k = first + w; k + w <= last + 1; ++k) {
      // no window across a change that is known
      const auto next = std::lower_bound(changes.begin(), changes.end(), k + 1 - w);
      const bool free = next == changes.end() || *next >= k + w;
      const double before = mean(k - w, w), after = mean(k, w), jump = std::abs(after - before);
      const double sd = std::max({noise[k - w], noise[k - 1], noise[k], noise[k + w - 1]});
      const double level = std::max(std::abs(before), std::abs(after));
      const auto hidden = [&](double rows) { return certain * sd * std::sqrt(2 / rows); };
      const auto rows = static_cast<double>(w);
      // Longer windows only where noise hides in the shorter ones what is looked for.
      const bool wanted = w == 2 || hidden(rows / 2) > level_change * level;
      const double needed = std::max(level_change * level, hidden(rows));
      const double allowed = std::min(inside * jump, same_level * level) + 2 * sd * std::sqrt(4 / rows);
      const bool counts = free && wanted && jump > needed &&
                          std::abs(mean(k - w / 2, w / 2) - mean(k - w, w / 2)) <= allowed &&
                          std::abs(mean(k + w / 2, w / 2) - mean(k, w / 2)) <= allowed;
      if (counts && jump > largest) {
        largest = jump;
        best = k;
      }
      if (best > 0 && (!counts || k + w == last + 1)) {  // the end of a run of candidates: its largest jump
        if (found.empty() || best >= found.back() + w) found.push_back(best);
        best = 0;
        largest = 0;
      }
    }
    changes.insert(changes.end(), found.begin(), found.end());
    std::sort(changes.begin(), changes.end());
  }
  return changes;
}

bool is_constant(const std::vector<double>& current, const std::vector<double>& noise, std::size_t first,
                 std::size_t last) {
  const std::size_t rows = last - first + 1;
  const Means mean(current, first, last);
  const double level = mean(first, rows);
  // Means of a twelfth of the rows each: a drift shows in them, noise does not.
  const std::size_t width = std::max<std::size_t>(1, rows / 12);
  for (std::size_t from = first; from + width <= last + 1; from += width) {
    const double sd = noise[from + width / 2] / std::sqrt(static_cast<double>(width));
    if (std::abs(mean(from, width) - level) > stray_of_constant * std::abs(level) + 4 * sd) return false;
  }
  return true;
}

std::vector<double> smoothed(const std::vector<double>& values, std::size_t first, std::size_t last,
                             std::size_t width) {
  const Means mean(values, first, last);
  std::vector<double> result;
  result.reserve(last - first + 1);
  for (std::size_t k = first; k <= last; ++k) {
    const std::size_t half = std::min({(width - 1) / 2, k - first, last - k});
    result.push_back(mean(k - half, 2 * half + 1));
  }
  return result;
}

namespace {

void mend_spikes(Measured& data) {
  Record& r = data.record;
  if (r.size() < 7) return;
  std::vector<double> noise(r.size(), 0);
  noise_around(r.current, 0, r.size() - 1, noise);
  const double largest = largest_current(r);
  for (std::size_t k = 2; k + 2 < r.size(); ++k) {
    const std::vector<double>&I = r.current, &V = r.voltage;
    const double level = 0.25 * (I[k - 2] + I[k - 1] + I[k + 1] + I[k + 2]), off = std::abs(I[k] - level);
    if (off <= std::max({spike_share * std::abs(level), 10 * noise[k], 1e-3 * largest})) continue;
    const double alike = std::max(0.1 * off, 6 * noise[k]);
    const bool level_around =
        std::all_of(I.begin() + static_cast<std::ptrdiff_t>(k) - 2, I.begin() + static_cast<std::ptrdiff_t>(k) + 3,
                    [&](double i) { return i == I[k] || std::abs(i - level) <= alike; });
    if (!level_around || std::abs(I[k - 1] - level) > alike || std::abs(I[k + 1] - level) > alike) continue;
    const double straight = 0.5 * (V[k - 1] + V[k + 1]), moves = std::abs(V[k + 1] - V[k - 1]);
    if (std::abs(V[k] - straight) > follows + moves) continue;  // the cell felt it
    data.doubts.add(DoubtKind::current_spike, r.line[k], [&] {
      return fmt::format("{} between {} and {}, and the voltage does not follow: taken as {}",
                         show(I[k], CurrentKind::kind), show(I[k - 1], CurrentKind::kind),
                         show(I[k + 1], CurrentKind::kind), show(level, CurrentKind::kind));
    });
    r.current[k] = level;
  }
}

void mend_offset(Measured& data) {
  Record& r = data.record;
  double sum = 0, rows = 0, low = INFINITY, high = -INFINITY;
  for (const RecordedStep& step : recorded_steps(r)) {
    if (step.kind != StepKind::rest) continue;
    const auto count = static_cast<double>(step.last - step.first + 1);
    double own = 0;
    for (std::size_t k = step.first; k <= step.last; ++k) own += r.current[k];
    sum += own;
    rows += count;
    low = std::min(low, own / count);
    high = std::max(high, own / count);
  }
  if (rows == 0) return;
  const double offset = sum / rows;
  const bool everywhere = high - low <= 0.5 * std::abs(offset);  // else it is no offset of the sensor
  if (!everywhere || std::abs(offset) <= least_offset * largest_current(r)) return;
  data.current_offset = offset;
  for (double& i : r.current) i -= offset;
}

}  // namespace

void mend_sensors(Measured& data) {
  mend_glitches(data);
  mend_spikes(data);
  mend_offset(data);
  mend_charges(data);
}

}  // namespace onegrain::params
