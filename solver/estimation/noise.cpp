#include "solver/estimation/noise.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::solver {

namespace {

constexpr double voltage_resolution = 1e-4;  // V; what a good cycler reads a voltage to, common practice: data without
                                             // any scatter (calculated ones) tell no more
constexpr double resolved_to = 3e-4;  // V; what the resolved reaction is known to, see usual_accuracy(), and what its
                                      // derivatives by differences rest on

}  // namespace

Eigen::VectorXd weights_by_slope(const std::vector<double>& charge, const Eigen::VectorXd& voltage) {
  constexpr double charge_share = 1e-3, voltage_error = 2e-3, reach = 5e-3;
  const Eigen::Index n = voltage.size();
  const auto [low, high] = std::minmax_element(charge.begin(), charge.end());
  const double range = charge.empty() ? 0 : *high - *low;
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(n);
  for (Eigen::Index k = 0; range > 0 && k < n; ++k) {
    const auto q = [&](Eigen::Index j) { return charge[static_cast<std::size_t>(j)]; };
    const Eigen::Index before = std::max<Eigen::Index>(k - 1, 0), after = std::min<Eigen::Index>(k + 1, n - 1);
    if (std::abs(q(after) - q(before)) < 1e-9 * range) continue;  // in a rest the voltage is as good as it is
    Eigen::Index a = k, b = k;
    while (a > 0 && (a == k || std::abs(q(k) - q(a)) < reach * range)) --a;
    while (b + 1 < n && (b == k || std::abs(q(b) - q(k)) < reach * range)) ++b;
    const double passed = std::abs(q(b) - q(a)) / range;
    const double slope = passed > 0.1 * reach ? (voltage[b] - voltage[a]) / passed : 0;
    weight[k] = 1 / std::sqrt(1 + std::pow(slope * charge_share / voltage_error, 2));
  }
  return weight;
}

Noise noise_of(const FitProblem& problem, const Eigen::VectorXd& difference, Eigen::Index parameters) {
  Noise noise;
  double squares = 0, points = 0;
  Eigen::Index row = 0;
  for (const FitCurve& c : problem.curves) {
    const Eigen::VectorXd part = difference.segment(row, c.voltage.size()).cwiseProduct(c.weight);
    const double tau = correlation_time(part), count = c.weight.squaredNorm();
    noise.correlation.push_back(tau);
    noise.independent += count / tau;
    squares += part.squaredNorm();
    points += count;
    row += part.size();
  }
  noise.standard_deviation =
      std::max(1e-6, std::sqrt(squares / std::max(1.0, points - static_cast<double>(parameters))));
  const double least = problem.reaction == model::Reaction::uneven ? resolved_to : voltage_resolution;
  for (const double tau : noise.correlation)
    noise.deviation.push_back(std::max(least, noise.standard_deviation) * std::sqrt(tau));
  return noise;
}

}  // namespace onegrain::solver
