#include "solver/charge/uneven.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "solver/ode/bordered.hpp"

namespace onegrain::solver {

namespace {
const model::Electrode& layer_of(const model::Cell& cell) { return cell.negative ? *cell.negative : cell.positive; }
}  // namespace

/// Unknowns: mean stoichiometry at every point, then the amplitudes of the modes, point by point. The local currents
/// and the potential at the separator are algebraic.
class UnevenLayer::Equations final : public OdeSystem {
 public:
  Equations(const UnevenLayer& owner, const StepSolution& step)
      : owner_(owner),
        step_(step),
        layer_(layer_of(owner.cell_)),
        points_(owner.points_.count()),
        grain_(model::GrainModes::of(owner.modes_), layer_.particle_radius, layer_.host.diffusivity),
        salt_model_(step.model().salt()),
        salt_count_(salt_model_ ? salt_model_->count() : 0),
        jacobian_(blocks(points_, owner.modes_, salt_count_), 2 * points_ + 1, points_ + 1) {
    const bool full = owner.cell_.is_full_cell();
    current_ = full ? step.first().current : -step.first().current;
    thermal_ = owner.cell_.thermal.has_value();
    temperature_ = step.first().temperature;
    outflow_ = -1 / (layer_.roughness() * model::faraday_constant * layer_.host.maximum_concentration);
    drive_ = outflow_ * grain_.drive();
    for (Bordered::Block& block : jacobian_.blocks()) block.diagonal = grain_.decoupled();
    salt_offset_ = points_ * (1 + owner.modes_);
    if (!salt_model_) return;
    jacobian_.blocks().back().diagonal = false;

    // Places in the salt: the layer's foil is at 0 in a full cell, at the far end in a half cell.
    const model::Salt& salt = *salt_model_;
    const double L = layer_.thickness;
    const double foil = full ? 0 : salt.length(), towards = full ? L : -L;
    at_samples_ = salt.rows(foil + towards * owner.points_.samples(), false);
    slope_at_samples_ = towards * salt.rows(foil + towards * owner.points_.samples(), true);
    at_points_ = salt.rows(foil + towards * owner.points_.xi(), false);
    // Current that crosses the nodes of the salt: as the local currents have it inside this layer, evenly spread
    // elsewhere.
    const Eigen::Index per_layer = salt.nodes_per_part(), first = full ? 0 : salt.nodes().size() - per_layer;
    crossing_by_share_ = Eigen::MatrixXd::Zero(salt.nodes().size(), points_);
    crossing_by_share_.middleRows(first, per_layer) =
        (full ? 1 : -1) * owner.points_.share_at((salt.nodes().segment(first, per_layer) - foil) / towards);
    crossing_elsewhere_ = (step.first().current * salt.share()).matrix();
    crossing_elsewhere_.segment(first, per_layer).setZero();
  }

  int size() const override { return salt_offset_ + salt_count_; }

  Evaluation rate(double t, ConstVectorView y, VectorView ydot) override {
    if (!balance(t, y)) return Evaluation::retry_smaller_step;
    const int n = owner_.modes_;
    for (int k = 0; k < points_; ++k) {
      const double s = state_.current[k];
      ydot[k] = s / layer_.capacity();
      const auto a = y.segment(points_ + k * n, n);
      auto dadt = ydot.segment(points_ + k * n, n);
      dadt.array() = -decay_ * a.array() + drive_ * s;
      if (grain_.decoupled()) continue;
      work_.resize(n);
      grain_.remainder(y[k], a, temperature_, frozen_, work_);
      dadt += work_;
    }
    if (salt_model_) {
      work_.resize(salt_count_);
      salt_model_->rate(y.tail(salt_count_), crossing_elsewhere_ + crossing_by_share_ * state_.current, temperature_,
                        work_);
      ydot.tail(salt_count_) = work_;
    }
    return ydot.allFinite() ? Evaluation::ok : Evaluation::retry_smaller_step;
  }

  Evaluation linearise(double t, ConstVectorView y) override {
    if (!balance(t, y)) return Evaluation::retry_smaller_step;
    const int n = owner_.modes_;
    jacobian_.set_zero();
    Eigen::VectorXd by_mean(n), by_temperature(n);
    for (int k = 0; k < points_; ++k) {
      Bordered::Block& block = jacobian_.blocks()[static_cast<std::size_t>(k)];
      if (grain_.decoupled()) {
        block.diagonal_values = -decay_;
      } else {
        grain_.remainder_jacobian(y[k], y.segment(points_ + k * n, n), temperature_, frozen_, block.values, by_mean,
                                  by_temperature);
        block.values.diagonal() -= decay_.matrix();
        jacobian_.columns().col(k).segment(block.offset, n) = by_mean;
      }
      jacobian_.columns().col(points_ + k).segment(block.offset, n) = drive_.matrix();
      jacobian_.corner()(k, points_ + k) = 1 / layer_.capacity();
      const int row = points_ + k;
      jacobian_.corner()(row, k) = state_.by_surface[k];
      jacobian_.rows().row(row).segment(block.offset, n) =
          state_.by_surface[k] * grain_.modes().surface().matrix().transpose();
      jacobian_.corner().row(row).segment(points_, points_) = -drop_.drop.row(k);
      jacobian_.corner()(row, points_ + k) += state_.by_current[k];
      jacobian_.corner()(row, 2 * points_) = -1;
    }
    jacobian_.corner().row(2 * points_).segment(points_, points_) = owner_.points_.weights().matrix().transpose();
    if (salt_model_) {
      const auto b = y.tail(salt_count_);
      Bordered::Block& block = jacobian_.blocks().back();
      salt_model_->rate_jacobian(b, crossing_elsewhere_ + crossing_by_share_ * state_.current, temperature_,
                                 block.values, by_crossing_);
      jacobian_.columns().middleRows(block.offset, block.size).middleCols(points_, points_).noalias() =
          by_crossing_ * crossing_by_share_;
      // On a flat potential it is the salt that shares the current out: without these rows Newton's iteration fails.
      jacobian_.rows().middleRows(points_, points_).middleCols(block.offset, block.size) =
          state_.by_salt.asDiagonal() * at_points_ -
          model::layer_drop_by_salt(owner_.points_, layer_, owner_.cell_.electrolyte,
                                    (at_samples_ * b).array() + salt_model_->mean(), slope_at_samples_ * b,
                                    state_.current, temperature_, at_samples_, slope_at_samples_);
    }
    return Evaluation::ok;
  }

  /// Room left under the fullest grain surface, and salt left above what counts as used up: as in a step of one grain.
  int root_count() const override { return salt_model_ ? 2 : 1; }
  void roots(double /*t*/, ConstVectorView y, double* g) override {
    const int n = owner_.modes_;
    double fullest = 0;
    for (int k = 0; k < points_; ++k) {
      fullest = std::max(fullest, grain_.surface_stoichiometry(y[k], y.segment(points_ + k * n, n)));
    }
    g[0] = 1 - surface_limit - fullest;
    if (!salt_model_) return;
    double lowest = 0, highest = 0;
    salt_model_->extremes(y.tail(salt_count_), lowest, highest);
    g[1] = lowest / salt_model_->mean() - used_up_salt;
  }

  bool factor(double gamma) override { return jacobian_.factor(gamma); }
  void solve(VectorView b) override { jacobian_.solve(b); }

  /// The local currents at (t, y), kept in `state_`.
  bool balance(double t, ConstVectorView y) {
    if (thermal_ && t != time_) temperature_ = step_.temperature(time_ = t);
    if (salt_model_) {
      const auto b = y.tail(salt_count_);
      drop_ = model::layer_drop(owner_.points_, layer_, owner_.cell_.electrolyte,
                                (at_samples_ * b).array() + salt_model_->mean(), slope_at_samples_ * b, temperature_);
      salt_ = (at_points_ * b).array() + salt_model_->mean();
    } else if (salt_.size() == 0 || thermal_) {
      const double c = owner_.cell_.electrolyte.concentration;
      const Eigen::VectorXd even = Eigen::VectorXd::Constant(owner_.points_.samples().size(), c);
      drop_ = model::layer_drop(owner_.points_, layer_, owner_.cell_.electrolyte, even, 0 * even, temperature_);
      salt_.setConstant(points_, c);
    }
    frozen_ = grain_.diffusivity(0.5, temperature_);
    decay_ = frozen_ / (grain_.radius() * grain_.radius()) * grain_.modes().decay();
    surface_.resize(points_);
    for (int k = 0; k < points_; ++k) {
      surface_[k] = grain_.surface_stoichiometry(y[k], y.segment(points_ + k * owner_.modes_, owner_.modes_));
    }
    const model::LayerState before = state_;
    if (model::solve_layer(owner_.points_, layer_, drop_, surface_, salt_, current_, temperature_, state_)) return true;
    state_ = before;
    return false;
  }

  double current() const { return current_; }
  const model::LayerState& state() const { return state_; }
  const Eigen::VectorXd& surface() const { return surface_; }
  const model::Salt* salt() const { return salt_model_; }

 private:
  static std::vector<int> blocks(int points, int modes, int salt) {
    std::vector<int> sizes(static_cast<std::size_t>(points), modes);
    if (salt > 0) sizes.push_back(salt);
    return sizes;
  }

  const UnevenLayer& owner_;
  const StepSolution& step_;
  const model::Electrode& layer_;
  int points_;
  model::Grain grain_;
  double current_ = 0, temperature_ = 0, outflow_ = 0, frozen_ = 1, time_ = std::numeric_limits<double>::quiet_NaN();
  bool thermal_ = false;
  Eigen::ArrayXd drive_, decay_;
  const model::Salt* salt_model_;
  int salt_count_, salt_offset_ = 0;
  Eigen::MatrixXd at_samples_, slope_at_samples_, at_points_, crossing_by_share_, by_crossing_;
  Eigen::VectorXd crossing_elsewhere_;
  model::LayerDrop drop_;
  Eigen::VectorXd salt_, surface_, work_;
  model::LayerState state_;
  Bordered jacobian_;
};

UnevenLayer::UnevenLayer(const model::Cell& cell, Workspace& workspace, int points, int modes)
    : cell_(cell), workspace_(&workspace), points_(points), modes_(modes) {}

UnevenStep UnevenLayer::follow(const StepSolution& step, const UnevenState& start) const {
  Equations equations(*this, step);
  const int K = points_.count();
  Vector y = Vector::Zero(equations.size());
  if (start.means.size() == K) {
    y.head(K) = start.means;
    y.segment(K, K * modes_) = Eigen::Map<const Eigen::VectorXd>(start.amplitudes.data(), start.amplitudes.size());
  } else {
    const Point p = step.first();
    y.head(K).setConstant(cell_.is_full_cell() ? p.negative_mean : p.positive_mean);
  }
  if (equations.salt() && start.salt.size() > 0) y.tail(start.salt.size()) = start.salt;
  UnevenStep result;
  result.lowest_salt = std::numeric_limits<double>::infinity();
  const auto look = [&](double t, ConstVectorView at) {
    if (!equations.balance(t, at)) throw IntegrationFailure("the current finds no way to spread over the layer");
    const model::LayerState& s = equations.state();
    if (s.separator_side < result.lowest_separator_side || t == 0) {
      result.lowest_separator_side = s.separator_side;
      result.time_of_lowest = t;
    }
    if (result.times.empty() || t > result.times.back()) {
      result.times.push_back(t);
      result.separator_side.push_back(s.separator_side);
    }
    if (equations.current() != 0)
      result.largest_share = std::max(result.largest_share, s.current.maxCoeff() / equations.current());
    result.highest_surface = std::max(result.highest_surface, equations.surface().maxCoeff());
    if (equations.salt()) {
      double lowest = 0, highest = 0;
      equations.salt()->extremes(at.tail(equations.salt()->count()), lowest, highest);
      if (lowest < result.lowest_salt) {
        result.lowest_salt = lowest;
        result.time_of_lowest_salt = t;
      }
    }
  };
  look(0, ConstVectorView(y.data(), y.size()));
  if (step.duration() > 0) {
    Tolerances tolerances{2e-3, Vector::Constant(equations.size(), 3e-5)};
    if (const model::Salt* salt = equations.salt()) {  // as in Segment::absolute_tolerance, ten times
      tolerances.absolute.tail(salt->count()).setConstant(2e-4 * salt->mean() * std::sqrt(salt->length()));
    }
    Cvode& integrator = workspace_->integrator(equations.size());
    integrator.start(equations, 0, y, tolerances, step.duration() / 30, step.duration());
    for (Cvode::Event event = Cvode::Event::step; event != Cvode::Event::stop && !result.ended_early;) {
      event = integrator.advance();
      look(integrator.time(), integrator.state());
      if (event != Cvode::Event::root) continue;
      result.ended_early = integrator.roots_found()[0] != 0 ? Ended::negative_surface_full : Ended::salt_used_up;
    }
    y = integrator.state();
    result.duration = integrator.time();
    result.counts = integrator.counts();
  }
  result.end.means = y.head(K);
  result.end.amplitudes = Eigen::Map<const Eigen::MatrixXd>(y.data() + K, modes_, K);
  if (equations.salt()) result.end.salt = y.tail(equations.salt()->count());
  return result;
}

}  // namespace onegrain::solver
