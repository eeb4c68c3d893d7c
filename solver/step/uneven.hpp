#pragma once

#include <limits>
#include <memory>
#include <vector>

#include "solver/ode/bordered.hpp"
#include "solver/step/depth_layer.hpp"
#include "solver/step/segment.hpp"

namespace onegrain::solver {

/// The equations of one step where the reaction is resolved over the depth of both layers (half cell: of the working
/// electrode): at the points of model::LayerPoints stands a grain with its own share of the current,
///
///     dx_k/dt = s_k / Q,    sum_k w_k s_k = i into the layer,
///
/// and the salt that this spread makes; the local currents s_k and the potential at the separator side are algebraic,
/// those of model::solve_layer, so that lithium is conserved to round-off. The grains are treated as in EvenSegment,
/// with the local currents in place of the one: a closed form at what flows when the step starts, and CVODE for the
/// rest. In a hold the current of the cell is one more algebraic unknown.
///
/// With good conductors every point draws the same current and this is EvenSegment.
///
/// Of a powder with several classes of grains one of each stands at every point: their local currents are as many
/// unknowns more, and at LayerPoints::even() this is the even reaction of such powders.
class UnevenSegment final : public Segment {
 public:
  /// @param points  over the depth of each layer; they must outlive this
  UnevenSegment(std::shared_ptr<const model::SingleParticle> model, const model::LayerPoints& points,
                const State& start, const model::Step& step);

  int size() const override { return blocks_at_ + block_sizes_; }
  Evaluation rate(double t, ConstVectorView y, VectorView ydot) override;
  Evaluation linearise(double t, ConstVectorView y) override;
  bool factor(double gamma) override { return jacobian_.factor(gamma); }
  void solve(VectorView b) override { jacobian_.solve(b); }
  bool tightens() const override { return true; }
  void tighten(ConstVectorView y, VectorView allowed) override;

  model::Reaction reaction() const override {
    return depth_->is_even() ? model::Reaction::even : model::Reaction::uneven;
  }
  Vector absolute_tolerance() const override;
  State state(double t, ConstVectorView y) const override;
  Eigen::VectorXd positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const override;
  Eigen::VectorXd negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const override;
  Eigen::MatrixXd grains_over_depth(double t, ConstVectorView y, bool of_positive, const Eigen::ArrayXd& rho,
                                    const Eigen::ArrayXd& places) const override;
  OverDepth over_depth(double t, ConstVectorView y, bool of_positive, const Eigen::ArrayXd& places) const override;
  Eigen::VectorXd salt_amplitudes(double t, ConstVectorView y) const override;
  double truncation(double t, ConstVectorView y) const override;
  double unseen_layer(double t, ConstVectorView y) const override;
  double time_to_resolve(double t, ConstVectorView y) const override;
  double depth_error(double t, ConstVectorView y) const override;

 private:
  Here here(double t, ConstVectorView y) const override;
  Here look(double t, ConstVectorView y) const;
  model::Ionic between_layers(const Here& h) const;
  model::Terminal terminal(const Here& h) const override;
  void begin(const State& start);
  void lay_out();
  /// Spreads the current over the layers as `here` has looked at them last.
  /// @throws IntegrationFailure where that has no solution
  void spread(double i, double T) const;
  double held_current(const Here& h, double guess) const;
  /// What crosses the nodes of the salt at the current i [A/m2].
  Eigen::VectorXd crossing(double i) const;
  void linearise_layer(std::size_t which, double t, ConstVectorView y, const Here& h);
  void linearise_salt(const Here& h);
  /// The constraint (held quantity = its value) as the last border row of the Jacobian.
  void linearise_hold(const Here& h);

  const model::LayerPoints* depth_;
  mutable std::vector<DepthLayer> layers_;  ///< positive, and negative in a full cell
  Eigen::VectorXd salt0_;
  int salt_at_ = 0, salt_count_ = 0;  ///< of its amplitudes, less their start, in y
  int blocks_at_ = 0, block_sizes_ = 0;
  double run_start_;
  std::vector<double> jump_ages_;
  Eigen::VectorXd crossing_between_;  ///< of the nodes between the layers, per current
  mutable double spread_for_;         ///< the current that the layers are solved for; NaN: for none
  Bordered jacobian_;
  mutable double looked_at_time_ = std::numeric_limits<double>::quiet_NaN();
  mutable Vector looked_at_;  ///< what `here` was asked for last, and its answer
  mutable Here seen_;
  mutable Eigen::VectorXd a_, work_;
};

}  // namespace onegrain::solver
