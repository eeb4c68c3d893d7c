// The potential that several classes of grains share at every point over the depth of a layer, and their currents.

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/kinetics.hpp"
#include "model/layer.hpp"

namespace onegrain::model {

namespace {

constexpr double solved = 1e-11;    // V: currents that small potentials drive at rest are round-off
constexpr double little = 1e-10;    // V: below it a step is not asked to leave less
constexpr double shortest = 1e-6;   // of a step of Newton's
constexpr double most_growth = 3;   // of a local current in a step: overpotentials bend like a logarithm
constexpr double last_step = 1e-5;  // of the currents, and in volts: what is left is its square
constexpr int most_rounds = 200;

/// Newton's iteration. What a class takes is put off: of the equations of a point those of its classes leave one,
///
///     B dS - drop dS - dPhi(1) = -rho,    1/B = sum_c 1/b_c,  rho = B sum_c r_c / b_c,
///
/// b_c: change of its overpotential with its current, r_c: volts by which it misses the potential of the solid.
class Classes {
 public:
  Classes(const LayerPoints& points, const std::vector<LayerClass>& classes, const LayerDrop& drop,
          const Eigen::VectorXd& surface, const Eigen::VectorXd& salt, double i, double T, LayerState& state)
      : classes_(classes),
        drop_(drop),
        weights_(points.weights().matrix()),
        n_(points.count()),
        C_(static_cast<Eigen::Index>(classes.size())),
        i_(i),
        T_(T),
        state_(state) {
    prepare(surface, salt);
    start();
  }

  bool solve() {
    Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(n_ + 1, n_ + 1);
    Eigen::VectorXd right(n_ + 1), step(n_ + 1), by_class(n_ * C_);
    double volts_before = std::numeric_limits<double>::infinity(), scale = 1, side_from = 0;
    Eigen::VectorXd from;
    for (int round = 0; round < most_rounds; ++round) {
      look();
      const double volts = residual_.norm();
      if (!(volts <= volts_before || volts < little) && scale > shortest) {
        scale *= 0.4;
        state_.class_current = from + scale * by_class;
        state_.separator_side = side_from + scale * step[n_];
        continue;
      }
      volts_before = volts;
      reduce(right);
      jacobian.topLeftCorner(n_, n_) = -drop_.drop;
      jacobian.topLeftCorner(n_, n_).diagonal() += together_;
      jacobian.col(n_).head(n_).setConstant(-1);
      jacobian.row(n_).head(n_) = weights_.transpose();
      const Eigen::PartialPivLU<Eigen::MatrixXd> factors(jacobian);
      step = -factors.solve(right);
      if (!step.allFinite()) return false;
      const Eigen::VectorXd potential = (drop_.drop * step.head(n_)).array() + step[n_];
      for (Eigen::Index s = 0; s < n_ * C_; ++s)
        by_class[s] = (potential[s / C_] - residual_[s]) / state_.by_current[s];
      if (!by_class.allFinite()) return false;
      const double size = std::max({std::abs(i_), state_.class_current.cwiseAbs().maxCoeff(), 1e-9});
      const double largest = by_class.cwiseAbs().maxCoeff();
      scale = largest > most_growth * size ? most_growth * size / largest : 1.0;
      from = state_.class_current;
      side_from = state_.separator_side;
      state_.class_current += scale * by_class;
      state_.separator_side += scale * step[n_];
      if ((largest > last_step * size || std::abs(step[n_]) > last_step) && !(volts < solved)) continue;
      sum_up();
      right.head(n_) = drop_.solid;
      right[n_] = -1;
      step = -factors.solve(right);
      state_.by_total = step.head(n_);
      state_.separator_side_by_total = step[n_];
      return true;
    }
    return false;
  }

 private:
  void prepare(const Eigen::VectorXd& surface, const Eigen::VectorXd& salt) {
    const Eigen::Index seats = n_ * C_;
    potential_.resize(seats);
    slope_.resize(seats);
    exchange_.resize(static_cast<std::size_t>(seats));
    state_.equilibrium = Eigen::VectorXd::Zero(n_);
    for (Eigen::VectorXd* each :
         {&state_.by_current, &state_.by_surface, &state_.by_salt, &state_.response, &residual_})
      each->resize(seats);
    together_.resize(n_);
    for (Eigen::Index s = 0; s < seats; ++s) {
      const LayerClass& its = classes_[static_cast<std::size_t>(s % C_)];
      const Property::Value U = its.host->potential.at(surface[s], T_);
      potential_[s] = U.value;
      slope_[s] = U.by_composition;
      state_.equilibrium[s / C_] += its.share * U.value;
      exchange_[static_cast<std::size_t>(s)] = exchange_current_density(*its.host, surface[s], salt[s / C_], T_);
    }
  }

  /// From the currents that the state holds, or from one density on every surface; the sum is kept from here on.
  void start() {
    double all = 0;
    for (const LayerClass& its : classes_) all += its.roughness;
    const bool afresh = state_.class_current.size() != n_ * C_ || state_.current.size() != n_;
    if (afresh) {
      state_.current.setZero(n_);
      state_.class_current.setZero(n_ * C_);
    }
    const double missing = i_ - weights_.dot(state_.current);
    for (Eigen::Index s = 0; s < n_ * C_; ++s)
      state_.class_current[s] += missing * classes_[static_cast<std::size_t>(s % C_)].roughness / all;
  }

  void sum_up() {
    state_.current.setZero(n_);
    for (Eigen::Index s = 0; s < n_ * C_; ++s) state_.current[s / C_] += state_.class_current[s];
  }

  void look() {
    sum_up();
    const Eigen::VectorXd solid =
        (drop_.drop * state_.current + drop_.diffusion - i_ * drop_.solid).array() + state_.separator_side;
    for (Eigen::Index s = 0; s < n_ * C_; ++s) {
      const LayerClass& its = classes_[static_cast<std::size_t>(s % C_)];
      const ExchangeCurrent& i0 = exchange_[static_cast<std::size_t>(s)];
      const Overpotential eta = butler_volmer(-state_.class_current[s] / its.roughness, i0.value, T_,
                                              its.host->anodic_transfer, its.host->cathodic_transfer);
      residual_[s] = potential_[s] + eta.value - solid[s / C_];
      state_.by_current[s] = -eta.by_current / its.roughness;
      state_.by_surface[s] = slope_[s] + eta.by_exchange * i0.by_stoichiometry;
      state_.by_salt[s] = eta.by_exchange * i0.by_concentration;
    }
  }

  void reduce(Eigen::VectorXd& right) {
    for (Eigen::Index k = 0; k < n_; ++k) {
      const auto b = state_.by_current.segment(k * C_, C_).array();
      together_[k] = 1 / b.inverse().sum();
      right[k] = together_[k] * (residual_.segment(k * C_, C_).array() / b).sum();
      state_.response.segment(k * C_, C_) = together_[k] * state_.by_surface.segment(k * C_, C_).array() / b;
    }
    right[n_] = weights_.dot(state_.current) - i_;
  }

  const std::vector<LayerClass>& classes_;
  const LayerDrop& drop_;
  const Eigen::VectorXd weights_;
  Eigen::Index n_, C_;
  double i_, T_;
  LayerState& state_;
  Eigen::VectorXd potential_, slope_, residual_, together_;
  std::vector<ExchangeCurrent> exchange_;
};

}  // namespace

bool solve_layer(const LayerPoints& points, const std::vector<LayerClass>& classes, const LayerDrop& drop,
                 const Eigen::VectorXd& surface, const Eigen::VectorXd& salt, double i, double T, LayerState& state) {
  return Classes(points, classes, drop, surface, salt, i, T, state).solve();
}

}  // namespace onegrain::model
