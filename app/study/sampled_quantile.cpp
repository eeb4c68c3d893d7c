#include "app/study/sampled_quantile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "app/study/ensemble.hpp"
#include "solver/estimation/quantiles.hpp"

namespace onegrain::app::study {

namespace {

constexpr double two_sided_95 = 0.975;
constexpr double least_of_random = 0.25;

/// Standard error of the share of all cells that lies below `value`.
double error_of_share(const std::vector<double>& values, double value, double share) {
  const std::size_t count = values.size(), groups = std::min<std::size_t>(scramblings, count);
  std::array<double, scramblings> below{}, all{};
  double sum = 0;
  for (std::size_t k = 0; k < count; ++k) {
    const double is_below = values[k] < value ? 1 : 0;
    below[k % groups] += is_below;
    all[k % groups] += 1;
    sum += is_below;
  }
  const auto n = static_cast<double>(count), g = static_cast<double>(groups);
  double squares = 0;
  for (std::size_t r = 0; r < groups; ++r) squares += std::pow(below[r] - all[r] * sum / n, 2);
  return std::max(std::sqrt(squares * g / (g - 1)) / n, least_of_random * std::sqrt(share * (1 - share) / n));
}

}  // namespace

double SampledQuantile::half_width() const {
  if (high == low) return 0;
  return value > 0 ? (high - low) / (2 * value) : std::numeric_limits<double>::infinity();
}

double quantile_of(const std::vector<double>& ascending, double share) {
  const auto n = static_cast<double>(ascending.size());
  const double rank = std::clamp(share * n - 0.5, 0.0, n - 1), left = std::floor(rank), w = rank - left;
  const auto k = static_cast<std::size_t>(left);
  return w > 0 ? (1 - w) * ascending[k] + w * ascending[k + 1] : ascending[k];
}

SampledQuantile sampled_quantile(const std::vector<double>& values, double share) {
  std::vector<double> sorted = values;
  std::sort(sorted.begin(), sorted.end());
  const auto n = static_cast<double>(sorted.size());
  const auto at = [&](double rank) { return sorted[static_cast<std::size_t>(std::clamp(rank, 0.0, n - 1))]; };
  SampledQuantile found;
  found.value = quantile_of(sorted, share);
  const double groups = std::min<double>(scramblings, n);
  const double reach = solver::student_quantile(two_sided_95, groups - 1) * error_of_share(values, found.value, share);
  found.low = std::min(found.value, at(std::floor((share - reach) * n - 0.5)));
  found.high = std::max(found.value, at(std::ceil((share + reach) * n - 0.5)));
  return found;
}

double least_share(int kept, int counted) {
  if (kept == 0) return 0;
  return solver::beta_quantile(1 - two_sided_95, kept, counted - kept + 1);
}

}  // namespace onegrain::app::study
