#include "model/layer.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <mutex>
#include <stdexcept>

#include "model/constants.hpp"
#include "model/decompositions.hpp"
#include "model/gauss.hpp"
#include "model/kinetics.hpp"

namespace onegrain::model {

namespace {

constexpr double least_local_salt = 1;   // mol/m3: a front of used-up salt is sharp enough, and can be solved
constexpr double exact = 1e-11;          // V: currents that small potentials drive at rest are round-off
constexpr double small_enough = 1e-10;   // V: below it a step is not asked to leave less
constexpr double shortest_share = 1e-6;  // of a step of Newton's
constexpr int more_samples = 6, most_points = LayerPoints::most;
using Square = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor, most_points + 1, most_points + 1>;
using Column =
    Eigen::Matrix<double, Eigen::Dynamic, 1, Eigen::ColMajor, most_points + 1, 1>;  // neither asks for memory
using Sampled = Eigen::Array<double, Eigen::Dynamic, 1, Eigen::ColMajor, most_points + more_samples, 1>;

/// Gauss-Radau points of [0, 1] with one at 1: eigenvalues of the recurrence whose last coefficient is changed so that
/// 1 is among them. Source: G. H. Golub, SIAM Review 15 (1973) 318.
Gauss radau(int count) {
  Eigen::VectorXd diagonal = Eigen::VectorXd::Zero(count), beside(std::max(0, count - 1));
  const auto b2 = [](int k) { return k * k / (4.0 * k * k - 1); };
  for (int k = 1; k < count; ++k) beside[k - 1] = std::sqrt(b2(k));
  if (count > 1) {             // last diagonal: 1 - b_{n-1}^2 p_{n-2}(1) / p_{n-1}(1), monic polynomials
    double before = 1, p = 1;  // p_{k-1}(1), p_k(1)
    for (int k = 1; k < count; ++k) {
      const double next = p - (k > 1 ? b2(k - 1) * before : 0.0);
      before = p;
      p = next;
    }
    diagonal[count - 1] = 1 - b2(count - 1) * before / p;
  } else {
    diagonal[0] = 1;
  }
  const EigenPairs pairs = eigenpairs_of_tridiagonal(diagonal, beside);
  Gauss g{(0.5 * (1 + pairs.values.array())).eval(), pairs.vectors.row(0).transpose().array().square()};
  g.nodes[count - 1] = 1;
  return g;
}

/// Lagrange polynomial k of the nodes at x.
double lagrange(const Eigen::ArrayXd& nodes, Eigen::Index k, double x) {
  double value = 1;
  for (Eigen::Index j = 0; j < nodes.size(); ++j) {
    if (j != k) value *= (x - nodes[j]) / (nodes[k] - nodes[j]);
  }
  return value;
}

}  // namespace

const LayerPoints& LayerPoints::of(int count) {
  static std::mutex mutex;
  static std::map<int, const LayerPoints> made;
  const std::lock_guard lock(mutex);
  return made.try_emplace(count, count).first->second;
}

LayerPoints::LayerPoints(int count) {
  if (count < 1 || count > most_points) throw std::invalid_argument("a layer takes 1 to 20 points");
  const Gauss g = radau(count);
  xi_ = g.nodes;
  weights_ = g.weights;
  const int sample_count = count + more_samples;
  const Gauss fine = gauss_legendre(sample_count);
  samples_ = 0.5 * (1 + fine.nodes);
  sample_weights_ = 0.5 * fine.weights;
  share_ = share_at(samples_);
  // (1/w_k) int l_k(xi) int_xi^1 g: by parts, with the points' own l_k in the place of a delta at xi_k.
  integral_ =
      weights_.inverse().matrix().asDiagonal() * share_.transpose() * (0.5 * fine.weights).matrix().asDiagonal();
}

const LayerPoints& LayerPoints::even() {
  static const LayerPoints one = [] {
    LayerPoints points(1);
    points.xi_[0] = 0.5;  // the mean of what is straight over the depth
    points.even_ = true;
    return points;
  }();
  return one;
}

Eigen::MatrixXd LayerPoints::share_at(const Eigen::Ref<const Eigen::ArrayXd>& places) const {
  const Gauss inner = gauss_legendre((count() + 2) / 2);  // exact for the polynomials integrated
  Eigen::MatrixXd share(places.size(), count());
  for (Eigen::Index q = 0; q < places.size(); ++q) {
    for (Eigen::Index k = 0; k < count(); ++k) {
      double sum = 0;
      for (Eigen::Index m = 0; m < inner.nodes.size(); ++m) {
        sum += 0.5 * places[q] * inner.weights[m] * lagrange(xi_, k, 0.5 * places[q] * (1 + inner.nodes[m]));
      }
      share(q, k) = sum;
    }
  }
  return share;
}

Eigen::MatrixXd LayerPoints::values_at(const Eigen::Ref<const Eigen::ArrayXd>& places) const {
  Eigen::MatrixXd values(places.size(), count());
  for (Eigen::Index q = 0; q < places.size(); ++q) {
    for (Eigen::Index k = 0; k < count(); ++k) values(q, k) = lagrange(xi_, k, places[q]);
  }
  return values;
}

Eigen::MatrixXd LayerPoints::taken_from(const LayerPoints& other) const {
  if (count() >= other.count()) return other.values_at(xi_);
  const Eigen::MatrixXd there = values_at(other.xi_);
  const Eigen::MatrixXd weighted = there.transpose() * other.weights_.matrix().asDiagonal();
  return definite_solution(weighted * there, weighted);
}

LayerDrop layer_drop(const LayerPoints& points, const Electrode& layer, const Electrolyte& electrolyte,
                     const Eigen::VectorXd& salt, const Eigen::VectorXd& slope, double T) {
  const double solid = layer.electronic_conductivity > 0 ? layer.thickness / layer.electronic_conductivity : 0.0;
  const double scale = 2 * gas_constant * T / faraday_constant;
  const Property::Isotherm kappa(electrolyte.conductivity, T), t(electrolyte.transference_number, T),
      factor(electrolyte.thermodynamic_factor, T);
  const Sampled c = salt.array().max(least_local_salt);
  const Sampled resistance = layer.thickness * layer.tortuosity / (kappa.each(c) * layer.porosity) + solid;
  const Sampled diffusion = scale * (1 - t.each(c)) * factor.each(c) * slope.array() / c;
  LayerDrop result;
  result.drop = product(points.integral_to_separator(), resistance.matrix(), points.share_at_samples());
  result.solid = (solid * (1 - points.xi())).matrix();
  result.diffusion.noalias() = points.integral_to_separator() * diffusion.matrix();
  return result;
}

Eigen::MatrixXd layer_drop_by_salt(const LayerPoints& points, const Electrode& layer, const Electrolyte& electrolyte,
                                   const Eigen::VectorXd& salt, const Eigen::VectorXd& slope,
                                   const Eigen::VectorXd& current, double T, const Eigen::MatrixXd& by_unknown,
                                   const Eigen::MatrixXd& slope_by_unknown) {
  const double scale = 2 * gas_constant * T / faraday_constant;
  const Eigen::VectorXd crossing = points.share_at_samples() * current;
  const Property::Isotherm kappa_at(electrolyte.conductivity, T), t_at(electrolyte.transference_number, T),
      factor_at(electrolyte.thermodynamic_factor, T);
  Eigen::ArrayXd by_salt(salt.size()), by_slope(salt.size());
  for (Eigen::Index q = 0; q < salt.size(); ++q) {
    const double c = std::max(salt[q], least_local_salt), bends = salt[q] > least_local_salt ? 1.0 : 0.0;
    const Property::Value kappa = kappa_at.at(c), t = t_at.at(c), factor = factor_at.at(c);
    const double resistance = layer.thickness * layer.tortuosity / (kappa.value * layer.porosity);
    by_slope[q] = scale * (1 - t.value) * factor.value / c;
    const double by_c =
        scale * ((1 - t.value) * factor.by_composition - t.by_composition * factor.value) / c - by_slope[q] / c;
    by_salt[q] = bends * (by_c * slope[q] - resistance * kappa.by_composition / kappa.value * crossing[q]);
  }
  return product(points.integral_to_separator(),
                 by_salt.matrix().asDiagonal() * by_unknown + by_slope.matrix().asDiagonal() * slope_by_unknown);
}

bool solve_layer(const LayerPoints& points, const Electrode& layer, const LayerDrop& drop,
                 const Eigen::VectorXd& surface, const Eigen::VectorXd& salt, double i, double T, LayerState& state) {
  const Eigen::Index n = points.count();
  const double area = layer.roughness();
  if (state.current.size() != n) state.current.setConstant(n, i);
  state.equilibrium.resize(n);
  state.by_current.resize(n);
  state.by_surface.resize(n);
  state.by_salt.resize(n);
  Column potential(n), by_surface(n);
  std::array<ExchangeCurrent, most_points> exchange;
  for (Eigen::Index k = 0; k < n; ++k) {
    const Property::Value U = layer.host.potential.at(surface[k], T);
    potential[k] = state.equilibrium[k] = U.value;
    by_surface[k] = U.by_composition;
    exchange[static_cast<std::size_t>(k)] = exchange_current_density(layer.host, surface[k], salt[k], T);
  }
  const auto weights = points.weights().matrix();
  state.current.array() += i - weights.dot(state.current);  // linear, and kept by every step from here on
  Square jacobian(n + 1, n + 1);
  Column residual(n + 1), step(n + 1), from(n);
  // The overpotentials rise with the currents, so that Newton's direction always leads down: where a step leaves more
  // volts than there were it is cut. They bend like a logarithm: none changes a local current by more than a few times.
  double volts_before = std::numeric_limits<double>::infinity(), separator_side_from = 0, scale = 1;
  Eigen::PartialPivLU<Square> factors(n + 1);
  bool near = false;  // the factors of the step before will do
  for (int round = 0; round < 200; ++round) {
    for (Eigen::Index k = 0; k < n; ++k) {
      const ExchangeCurrent& i0 = exchange[static_cast<std::size_t>(k)];
      const Overpotential eta = butler_volmer(-state.current[k] / area, i0.value, T, layer.host.anodic_transfer,
                                              layer.host.cathodic_transfer);
      residual[k] = potential[k] + eta.value - state.separator_side + i * drop.solid[k] - drop.diffusion[k];
      state.by_current[k] = -eta.by_current / area;
      state.by_surface[k] = by_surface[k] + eta.by_exchange * i0.by_stoichiometry;
      state.by_salt[k] = eta.by_exchange * i0.by_concentration;
    }
    residual.head(n).noalias() -= drop.drop * state.current;
    residual[n] = weights.dot(state.current) - i;
    const double volts = residual.head(n).norm();
    if (!(volts <= volts_before || volts < small_enough) && scale > shortest_share) {
      scale *= 0.4;
      state.current = from + scale * step.head(n);
      state.separator_side = separator_side_from + scale * step[n];
      continue;
    }
    volts_before = volts;
    if (!near) {
      jacobian.topLeftCorner(n, n) = -drop.drop;
      jacobian.topLeftCorner(n, n).diagonal() += state.by_current;
      jacobian.col(n).head(n).setConstant(-1);
      jacobian.row(n).head(n) = weights.transpose();
      jacobian(n, n) = 0;
      factors.compute(jacobian);
    }
    step = -factors.solve(residual);
    if (!step.allFinite()) return false;
    const double size = std::max({std::abs(i), state.current.cwiseAbs().maxCoeff(), 1e-9});
    const double largest = step.head(n).cwiseAbs().maxCoeff();
    scale = largest > 3 * size ? 3 * size / largest : 1.0;
    from = state.current;
    separator_side_from = state.separator_side;
    state.current += scale * step.head(n);
    state.separator_side += scale * step[n];
    // What is left is the square of a step, or the step times the one that its factors are older by.
    const double enough = near ? 1e-6 : 1e-5;
    if ((largest > enough * size || std::abs(step[n]) > enough) && !(volts < exact)) {
      near = !near && largest < 0.02 * size && std::abs(step[n]) < 5e-4;
      continue;
    }
    residual.head(n) = drop.solid;
    residual[n] = -1;
    step = -factors.solve(residual);
    state.by_total = step.head(n);
    state.separator_side_by_total = step[n];
    return true;
  }
  return false;
}

}  // namespace onegrain::model
