#pragma once

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <numbers>

/// Integrals for tests, by rules that share nothing with the code under test. Checked in model_modes.cpp.
namespace onegrain::tests {

/// Composite rule of five Gauss points per interval (Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4).
template <class F>
double integral(F f, double a, double b, int intervals) {
  constexpr std::array<double, 5> node = {-0.906179845938664, -0.538469310105683, 0, 0.538469310105683,
                                          0.906179845938664};
  constexpr std::array<double, 5> weight = {0.236926885056189, 0.478628670499366, 0.568888888888889, 0.478628670499366,
                                            0.236926885056189};
  const double half = 0.5 * (b - a) / intervals;
  double sum = 0;
  for (int k = 0; k < intervals; ++k) {
    for (std::size_t g = 0; g < 5; ++g) sum += weight[g] * half * f(a + half * (2 * k + 1 + node[g]));
  }
  return sum;
}

/// Averages over a grain, 3 int_0^1 rho^2 f(rho) drho, by C. W. Clenshaw and A. R. Curtis, Numer. Math. 2 (1960) 197:
/// exact for polynomials f up to degree 126.
struct GrainAverage {
  Eigen::ArrayXd nodes{129}, weights{129};

  GrainAverage() {
    constexpr int N = 128;
    for (int j = 0; j <= N; ++j) {
      const double theta = std::numbers::pi * j / N;
      double w = 1;
      for (int k = 1; k <= N / 2; ++k) w -= (2 * k == N ? 1.0 : 2.0) / (4.0 * k * k - 1) * std::cos(2 * k * theta);
      nodes[j] = 0.5 * (1 - std::cos(theta));
      weights[j] = 3 * nodes[j] * nodes[j] * (j == 0 || j == N ? 0.5 : 1.0) / N * w;
    }
  }

  double operator()(const Eigen::ArrayXd& values_at_nodes) const { return (weights * values_at_nodes).sum(); }
};

}  // namespace onegrain::tests
