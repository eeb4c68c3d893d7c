#include "params/sheet/grain_sizes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "model/decompositions.hpp"
#include "model/gauss.hpp"
#include "model/root_search.hpp"

namespace onegrain::params {

namespace {

constexpr double z90 = 1.2815515655446004;  // of the normal distribution: 90 % lie below

/// Mean of D^power by volume.
double mean_power(const std::vector<SizeClass>& classes, int power) {
  double sum = 0, all = 0;
  for (const SizeClass& its : classes) {
    sum += its.volume * std::pow(its.diameter, power);
    all += its.volume;
  }
  return sum / all;
}

/// The Gauss points of a measure on ln D, fewer than it has classes: from the recurrence of its polynomials
/// (Stieltjes' procedure; W. Gautschi, Orthogonal Polynomials (2004), ch. 2, from memory).
std::vector<SizeClass> gauss_points(const std::vector<SizeClass>& many, std::size_t count) {
  const auto N = static_cast<Eigen::Index>(many.size());
  Eigen::ArrayXd x(N), w(N);
  for (Eigen::Index k = 0; k < N; ++k) {
    x[k] = std::log(many[static_cast<std::size_t>(k)].diameter);
    w[k] = many[static_cast<std::size_t>(k)].volume;
  }
  w /= w.sum();
  const double middle = (w * x).sum();
  x -= middle;
  const auto n = static_cast<Eigen::Index>(count);
  Eigen::VectorXd diagonal(n), beside(n - 1);
  Eigen::ArrayXd before = Eigen::ArrayXd::Zero(N), p = Eigen::ArrayXd::Ones(N);
  for (Eigen::Index k = 0; k < n; ++k) {
    diagonal[k] = (w * x * p * p).sum();
    if (k + 1 == n) break;
    Eigen::ArrayXd next = (x - diagonal[k]) * p;
    if (k > 0) next -= beside[k - 1] * before;
    beside[k] = std::sqrt((w * next * next).sum());
    before = p;
    p = next / beside[k];
  }
  const model::EigenPairs pairs = model::eigenpairs_of_tridiagonal(diagonal, beside);
  std::vector<SizeClass> points;
  for (Eigen::Index k = 0; k < n; ++k)
    points.push_back({std::exp(middle + pairs.values[k]), pairs.vectors(0, k) * pairs.vectors(0, k)});
  return points;
}

/// Moves ln D along a straight line until <1/D> and <D^2> are those asked for.
void move_to(std::vector<SizeClass>& points, double inverse, double square) {
  const double middle = std::log(1 / inverse);
  const auto moved = [&](double stretch) {
    std::vector<SizeClass> result = points;
    for (SizeClass& its : result) its.diameter = std::exp(stretch * (std::log(its.diameter) - middle));
    const double shift = mean_power(result, -1) / inverse;
    for (SizeClass& its : result) its.diameter *= shift;
    return result;
  };
  const auto excess = [&](double stretch) { return mean_power(moved(stretch), 2) / square - 1; };
  if (excess(0.5) < 0 && excess(2) > 0) points = moved(model::bracketed_root(excess, 0.5, 2, 1e-14));
}

}  // namespace

SizeMeans size_means(const std::vector<SizeClass>& classes) {
  return {0.5 / mean_power(classes, -1), 0.5 * std::sqrt(mean_power(classes, 2))};
}

bool is_log_normal(double d10, double d50, double d90) {
  const double shape = d50 * d50 / (d10 * d90);
  return shape >= 0.9 && shape <= 1.1;
}

std::vector<SizeClass> distribution(double d10, double d50, double d90) {
  double below = std::log(d50 / d10) / z90, above = std::log(d90 / d50) / z90;
  if (is_log_normal(d10, d50, d90)) below = above = std::log(d90 / d10) / (2 * z90);
  constexpr double far = 8;  // deviations; beyond lie 1e-15 of the volume
  constexpr int panels = 16;
  const model::Gauss g = model::gauss_legendre(12);
  std::vector<SizeClass> classes;
  for (int side = -1; side <= 1; side += 2) {
    for (int panel = 0; panel < panels; ++panel) {
      for (Eigen::Index q = 0; q < g.nodes.size(); ++q) {
        const double z = far * (panel + 0.5 * (1 + g.nodes[q])) / panels;
        const double density = std::exp(-0.5 * z * z) / std::sqrt(2 * std::numbers::pi);
        classes.push_back(
            {d50 * std::exp(side * z * (side < 0 ? below : above)), density * 0.5 * g.weights[q] * far / panels});
      }
    }
  }
  std::sort(classes.begin(), classes.end(),
            [](const SizeClass& a, const SizeClass& b) { return a.diameter < b.diameter; });
  return classes;
}

std::vector<SizeClass> fewer(const std::vector<SizeClass>& many, std::size_t most) {
  constexpr double right = 1e-4;
  constexpr std::array powers = {-1, 1, 2};
  std::vector<SizeClass> classes;
  double all = 0;
  for (const SizeClass& its : many) {
    if (!(its.volume > 0)) continue;
    all += its.volume;
    const auto same = std::find_if(classes.begin(), classes.end(),
                                   [&](const SizeClass& other) { return other.diameter == its.diameter; });
    if (many.size() <= 1000 && same != classes.end())
      same->volume += its.volume;
    else
      classes.push_back(its);
  }
  for (SizeClass& its : classes) its.volume /= all;
  if (classes.size() <= most) return classes;
  std::vector<SizeClass> points;
  for (std::size_t count = std::min<std::size_t>(3, most); count <= most; ++count) {
    points = gauss_points(classes, count);
    const bool enough = std::all_of(powers.begin(), powers.end(), [&](int power) {
      return std::abs(mean_power(points, power) / mean_power(classes, power) - 1) < right;
    });
    if (enough) break;
  }
  move_to(points, mean_power(classes, -1), mean_power(classes, 2));
  return points;
}

std::vector<SizeClass> volumes_of(const std::vector<double>& counted) {
  std::vector<SizeClass> classes;
  double all = 0;
  for (const double D : counted) all += D * D * D;
  for (const double D : counted) classes.push_back({D, D * D * D / all});
  return classes;
}

double uncertainty_of_counting(const std::vector<double>& counted) {
  const auto N = static_cast<double>(counted.size());
  double squares = 0, cubes = 0;
  for (const double D : counted) {
    squares += D * D / N;
    cubes += D * D * D / N;
  }
  double variance = 0;
  for (const double D : counted) {
    const double off = D * D * D / cubes - D * D / squares;
    variance += off * off;
  }
  return std::sqrt(variance / (N * (N - 1)));
}

}  // namespace onegrain::params
