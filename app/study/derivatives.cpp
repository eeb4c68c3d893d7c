#include "app/study/derivatives.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace onegrain::app::study {

namespace {

constexpr int points = 240;

}  // namespace

Derivative kernel_derivative(const std::vector<double>& x, const std::vector<double>& y, double width, int count) {
  Derivative d;
  if (x.size() < 2) return d;
  const auto [low, high] = std::minmax_element(x.begin(), x.end());
  for (int j = 0; j < count; ++j) {
    const double at = *low + (*high - *low) * j / (count - 1);
    double up = 0, down = 0;
    for (std::size_t k = 0; k + 1 < x.size(); ++k) {
      const double u = std::abs(0.5 * (x[k] + x[k + 1]) - at) / width;
      if (u >= 1) continue;
      up += (1 - u) * (y[k + 1] - y[k]);
      down += (1 - u) * (x[k + 1] - x[k]);
    }
    d.x.push_back(at);
    d.value.push_back(std::abs(down) > 1e-3 * width ? up / down : std::numeric_limits<double>::quiet_NaN());
  }
  return d;
}

Derivatives derivatives(const std::vector<double>& charge, const std::vector<double>& voltage, bool discharge,
                        double voltage_width, double charge_width) {
  std::vector<double> q, v;
  for (std::size_t k = 0; k < voltage.size(); ++k) {
    if (!std::isfinite(voltage[k])) continue;
    q.push_back(charge[k]);
    v.push_back(voltage[k]);
  }
  Derivatives both{kernel_derivative(v, q, voltage_width, points), kernel_derivative(q, v, charge_width, points)};
  if (!discharge) return both;
  for (Derivative* d : {&both.charge_by_voltage, &both.voltage_by_charge})
    for (double& value : d->value) value = -value;
  return both;
}

}  // namespace onegrain::app::study
