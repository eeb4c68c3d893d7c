#include <algorithm>
#include <cmath>
#include <limits>

#include "app/study/overlay.hpp"

// What an overlay says without any model.

namespace onegrain::app::study {

namespace {

constexpr double same_current = 0.03;  // two steps are the same where their currents differ by less
constexpr double core_from = 0.02,
                 core_to = 0.95;        // of the capacity: where curves are compared, as the ends are steep
constexpr double clearly_faster = 1.5;  // times the current of the slow curve

/// Straight line through (x, y), ascending x; NaN outside.
double interpolated(const std::vector<double>& x, const std::vector<double>& y, double at) {
  const auto next = std::lower_bound(x.begin(), x.end(), at);
  if (next == x.end() || (next == x.begin() && *next > at)) return not_a_number;
  const auto k = static_cast<std::size_t>(next - x.begin());
  if (k == 0) return y[0];
  const double w = x[k] > x[k - 1] ? (at - x[k - 1]) / (x[k] - x[k - 1]) : 1;
  return y[k - 1] + w * (y[k] - y[k - 1]);
}

/// Steps of one direction, the slowest first.
std::vector<StepAt> sweeps(const Overlay& overlay, bool discharge) {
  std::vector<StepAt> steps;
  for (std::size_t r = 0; r < overlay.runs.size(); ++r) {
    for (std::size_t s = 0; s < overlay.runs[r].steps.size(); ++s) {
      const OverlaidStep& step = overlay.at({r, s});
      if (step.is_sweep() && step.discharges() == discharge && step.charge.size() > 10) steps.push_back({r, s});
    }
  }
  std::stable_sort(steps.begin(), steps.end(),
                   [&](StepAt a, StepAt b) { return overlay.at(a).c_rate < overlay.at(b).c_rate; });
  return steps;
}

/// Calls use(row, voltage of the slow curve at the same charge, weight) for the rows of a step that count.
template <class Use>
void each_row(const OverlaidStep& step, const OverlaidStep& slow, const Use& use) {
  for (std::size_t k = 0; k < step.charge.size(); ++k) {
    const double share = step.charge[k] / step.capacity;
    const double V = interpolated(slow.charge, slow.measured, step.charge[k]);
    if (share < core_from || share > core_to || !std::isfinite(V)) continue;
    const double w = 0.5 * (step.charge[std::min(k + 1, step.charge.size() - 1)] - step.charge[k > 0 ? k - 1 : 0]);
    use(k, V, w);
  }
}

double more_current(const OverlaidStep& step, const OverlaidStep& slow) {
  return std::abs(step.recorded.mean_current) - std::abs(slow.recorded.mean_current);
}

/// By least squares: what the faster curve lies below the slow one on discharge, above it on charge, per ampere.
std::optional<double> resistance_between(const OverlaidStep& fast, const OverlaidStep& slow) {
  double up = 0, down = 0;
  const double di = more_current(fast, slow), sign = fast.discharges() ? 1 : -1;
  each_row(fast, slow, [&](std::size_t k, double V, double w) {
    up += w * di * sign * (V - fast.measured[k]);
    down += w * di * di;
  });
  return down > 0 ? std::optional(up / down) : std::nullopt;
}

void compare_with(const OverlaidStep& slow, double resistance, OverlaidStep& step) {
  const double drop = more_current(step, slow) * resistance * (step.discharges() ? -1 : 1);
  double line = 0, model = 0, weights = 0;
  each_row(step, slow, [&](std::size_t k, double V, double w) {
    if (!std::isfinite(step.model[k])) return;
    line += w * std::pow(V + drop - step.measured[k], 2);
    model += w * std::pow(step.model[k] - step.measured[k], 2);
    weights += w;
  });
  if (!(weights > 0)) return;
  step.resistance_rms = std::sqrt(line / weights);
  step.model_rms_there = std::sqrt(model / weights);
}

void compare_with_resistance(Overlay& overlay, bool discharge) {
  const std::vector<StepAt> steps = sweeps(overlay, discharge);
  double largest = 0;
  for (const StepAt place : steps) largest = std::max(largest, overlay.at(place).capacity);
  const auto first = std::find_if(steps.begin(), steps.end(),
                                  [&](StepAt place) { return overlay.at(place).capacity > goes_as_far * largest; });
  if (first == steps.end()) return;
  const OverlaidStep& slow = overlay.at(*first);
  std::vector<StepAt> faster;
  for (const StepAt place : steps)
    if (overlay.at(place).c_rate > clearly_faster * slow.c_rate && overlay.same_start(*first, place))
      faster.push_back(place);
  if (faster.empty()) return;
  const auto resistance = resistance_between(overlay.at(faster.front()), slow);
  if (!resistance) return;
  overlay.yardsticks.push_back({discharge, *resistance, *first, faster.front()});
  if (!(*resistance > 0)) return;  // no yardstick: told, and nothing is read against it
  overlay.runs[faster.front().run].steps[faster.front().step].resistance_fitted_here = true;
  for (const StepAt place : faster) compare_with(slow, *resistance, overlay.runs[place.run].steps[place.step]);
}

void compare_cells(Overlay& overlay) {
  for (std::size_t a = 0; a < overlay.runs.size(); ++a) {
    for (OverlaidStep& step : overlay.runs[a].steps) {
      if (!step.is_sweep()) continue;
      double sum = 0, weights = 0;
      for (std::size_t b = 0; b < overlay.runs.size(); ++b) {
        if (a == b) continue;
        for (const OverlaidStep& other : overlay.runs[b].steps) {
          if (other.recorded.kind != step.recorded.kind || std::abs(other.c_rate / step.c_rate - 1) > same_current)
            continue;
          for (std::size_t k = 0; k < step.charge.size(); ++k) {
            const double V = interpolated(other.charge, other.measured, step.charge[k]),
                         share = step.charge[k] / step.capacity;
            if (!std::isfinite(V) || share < core_from || share > core_to) continue;
            sum += std::pow(V - step.measured[k], 2);
            ++weights;
          }
        }
      }
      if (weights > 0) step.between_cells_rms = std::sqrt(sum / weights);
    }
  }
}

}  // namespace

void compare_without_model(Overlay& overlay) {
  compare_with_resistance(overlay, true);
  compare_with_resistance(overlay, false);
  compare_cells(overlay);
}

}  // namespace onegrain::app::study
