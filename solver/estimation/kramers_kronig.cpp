#include "solver/estimation/kramers_kronig.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "model/decompositions.hpp"

namespace onegrain::solver {
namespace {

using Complex = std::complex<double>;
using Eigen::Index;

constexpr double common_limit = 0.01, times_noise = 5, overfitted = 0.85;
constexpr double normal_of_median = 1.4826;  // standard deviation over the median of the magnitudes

/// Values of the chain, each of its parts in a column.
class Chain {
 public:
  Chain(const std::vector<double>& frequency, int elements) : elements_(elements) {
    const auto [low, high] = std::minmax_element(frequency.begin(), frequency.end());
    const double longest = 1 / (2 * std::numbers::pi * *low), shortest = 1 / (2 * std::numbers::pi * *high);
    for (int k = 0; k < elements; ++k)
      times_.push_back(elements == 1
                           ? std::sqrt(longest * shortest)
                           : shortest * std::pow(longest / shortest, static_cast<double>(k) / (elements - 1)));
    slow_ = 2 * std::numbers::pi * *low;
    fast_ = 2 * std::numbers::pi * *high;
  }
  Index columns() const { return 3 + elements_; }
  /// R_0, L w_most, 1 / (C w_least), R_k: all in ohm, so that no column is much smaller than another.
  Complex part(Index column, double w) const {
    if (column == 0) return 1;
    if (column == 1) return {0, w / fast_};
    if (column == 2) return {0, -slow_ / w};
    return 1.0 / Complex(1, w * times_[static_cast<std::size_t>(column - 3)]);
  }
  double inductance(double coefficient) const { return coefficient / fast_; }

 private:
  int elements_;
  std::vector<double> times_;
  double slow_, fast_;
};

struct Fitted {
  Eigen::VectorXd coefficients;
  std::vector<Complex> residuals;
  double mu = 1;
};

Fitted fitted(const Chain& chain, const std::vector<double>& frequency, const std::vector<Complex>& Z,
              const std::vector<bool>& used) {
  const auto count = static_cast<Index>(std::count(used.begin(), used.end(), true));
  Eigen::MatrixXd A(2 * count, chain.columns());
  Eigen::VectorXd y(2 * count);
  Index row = 0;
  for (std::size_t k = 0; k < Z.size(); ++k) {
    if (!used[k]) continue;
    const double weight = 1 / std::abs(Z[k]);
    for (Index c = 0; c < chain.columns(); ++c) {
      const Complex part = chain.part(c, 2 * std::numbers::pi * frequency[k]) * weight;
      A(row, c) = part.real();
      A(row + 1, c) = part.imag();
    }
    y(row) = Z[k].real() * weight;
    y(row + 1) = Z[k].imag() * weight;
    row += 2;
  }
  Fitted result{model::least_squares_solution(A, y, 1e-10), {}, 1};
  double up = 0, down = 0;
  for (Index c = 3; c < chain.columns(); ++c)
    (result.coefficients[c] < 0 ? down : up) += std::abs(result.coefficients[c]);
  result.mu = up > 0 ? 1 - down / up : 0;
  for (std::size_t k = 0; k < Z.size(); ++k) {
    Complex sum = 0;
    for (Index c = 0; c < chain.columns(); ++c)
      sum += result.coefficients[c] * chain.part(c, 2 * std::numbers::pi * frequency[k]);
    result.residuals.push_back((Z[k] - sum) / std::abs(Z[k]));
  }
  return result;
}

/// As many elements as bring no more swings of sign than data do, and no more than a third of the numbers that are
/// fitted.
int elements_for(const std::vector<double>& frequency, const std::vector<Complex>& Z, const std::vector<bool>& used) {
  const int most = std::max(3, static_cast<int>(2 * std::count(used.begin(), used.end(), true) / 3) - 3);
  const auto [low, high] = std::minmax_element(frequency.begin(), frequency.end());
  int elements = std::min(most, 2 * static_cast<int>(std::ceil(std::log10(*high / *low))));
  while (elements < most && fitted(Chain(frequency, elements + 1), frequency, Z, used).mu > overfitted) ++elements;
  return elements;
}

double noise_of(const std::vector<Complex>& residuals, const std::vector<bool>& used) {
  std::vector<double> sizes;
  for (std::size_t k = 0; k < residuals.size(); ++k)
    if (used[k]) sizes.insert(sizes.end(), {std::abs(residuals[k].real()), std::abs(residuals[k].imag())});
  std::nth_element(sizes.begin(), sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2), sizes.end());
  return normal_of_median * sizes[sizes.size() / 2];
}

}  // namespace

int KramersKronig::failing() const { return static_cast<int>(std::count(passes.begin(), passes.end(), false)); }

KramersKronig kramers_kronig(const std::vector<double>& frequency, const std::vector<Complex>& impedance) {
  if (frequency.size() != impedance.size() || frequency.size() < 5)
    throw std::invalid_argument("Kramers-Kronig: at least five points");
  for (std::size_t k = 0; k < frequency.size(); ++k) {
    if (!(frequency[k] > 0 && std::isfinite(frequency[k]) && std::isfinite(std::abs(impedance[k])) &&
          std::abs(impedance[k]) > 0))
      throw std::invalid_argument("Kramers-Kronig: a point that is none");
  }
  KramersKronig result;
  result.passes.assign(frequency.size(), true);
  for (int round = 0; round < 4; ++round) {
    result.elements = elements_for(frequency, impedance, result.passes);
    const Chain chain(frequency, result.elements);
    const Fitted fit = fitted(chain, frequency, impedance, result.passes);
    result.series = fit.coefficients[0];
    result.inductance = chain.inductance(fit.coefficients[1]);
    result.residuals = fit.residuals;
    result.noise = noise_of(fit.residuals, result.passes);
    result.limit = std::max(common_limit, times_noise * result.noise);
    std::vector<bool> passes;
    for (const Complex& r : fit.residuals)
      passes.push_back(std::abs(r.real()) <= result.limit && std::abs(r.imag()) <= result.limit);
    const bool settled = passes == result.passes;
    result.passes = std::move(passes);
    if (settled || static_cast<std::size_t>(result.failing()) * 2 > frequency.size() ||
        frequency.size() - static_cast<std::size_t>(result.failing()) < 5)
      break;
  }
  return result;
}

}  // namespace onegrain::solver
