#pragma once

#include <memory>
#include <vector>

#include "solver/ode/bordered.hpp"
#include "solver/step/closed_form.hpp"
#include "solver/step/segment.hpp"

namespace onegrain::solver {

/// The equations of one step where the reaction is even over each layer: one grain stands for all of a layer. Written
/// for what is left after the closed-form part.
///
/// With the diffusivities frozen at D0, their values at the grain surfaces when the step starts, and the current at
/// i0, its value then, the amplitudes have the closed form
///
///     A_n(t) = A_n(oo) + (a_n(0) - A_n(oo)) exp(-mu_n t),    mu_n = D0 Lambda_n / R^2,
///
/// and CVODE integrates the rest y = a - A, which starts at zero and stays smooth where a itself would start like the
/// square root of time: dy/dt = -mu y + drive (outflow(t) - outflow_0) + remainder (see Grain). For constant
/// diffusivity and current y stays zero and the answer is exact in time. The salt of a resolved electrolyte is treated
/// in the same way. Unknowns: charge, temperature where the cell has a heat balance, then the amplitudes of positive
/// and negative grains and of the salt. In a hold the current is an algebraic unknown, solved inside the right-hand
/// side.
///
/// With sensitivities, the derivatives of a (of which A, taken at the given parameters, is no function) obey
///     ds/dt = J s + df/dp,   one right-hand side for both grains at once: neither feels the other's parameters where
///     the
/// current is given. They are integrated for given currents only.
class EvenSegment final : public Segment {
 public:
  /// @param sensitivities  integrate them too; only where the step is driven by a current and has no heat balance
  EvenSegment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step,
              bool sensitivities = false);

  int size() const override { return integrated_ + positive_.count + negative_.count + salt_.count; }
  Evaluation rate(double t, ConstVectorView y, VectorView ydot) override;
  Evaluation linearise(double t, ConstVectorView y) override;
  bool factor(double gamma) override { return jacobian_.factor(gamma); }
  void solve(VectorView b) override { jacobian_.solve(b); }
  int sensitivity_count() const override { return sensitivities_ ? grain_parameters : 0; }
  Evaluation sensitivity_rates(double t, ConstVectorView y, const std::vector<ConstVectorView>& s,
                               std::vector<VectorView>& sdot) override;
  std::vector<Vector> starting_sensitivities() const override;
  SurfaceSlopes surface_slopes(double t, ConstVectorView y, const std::vector<Vector>& s) const override;
  void add_slopes(State& state, const std::vector<Vector>& s) const override;

  model::Reaction reaction() const override { return model::Reaction::even; }
  bool closed_form() const override { return closed_form_; }
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

 private:
  Here stands_at(const State& start);
  void prepare_modes(const Here& now);
  void prepare_sensitivities(const State& start);
  void prepare_jacobian();
  /// The constraint (held quantity = its value) as the last border row of the Jacobian.
  void linearise_hold(const Here& h);
  double mean_of(const ClosedForm& modal, double q) const;
  double mean_by_capacity(const ClosedForm& modal, double q) const;  ///< d mean / d ln Q
  /// Surface stoichiometries at (t, y), with the layers of recent jumps.
  void surfaces(double t, ConstVectorView y, double& x_p, double& x_n) const;
  Here here(double t, ConstVectorView y) const override;
  double held_current(const Here& h, double guess) const;
  model::Terminal terminal(const Here& h) const override { return model_->terminal(h.x_p, h.x_n, h.i, h.T, ionic(h)); }
  const model::Ionic& ionic(const Here& h) const;

  ClosedForm positive_, negative_, salt_;
  double transference0_ = 0;
  bool sensitivities_;
  double run_start_;
  Eigen::VectorXd filling_p_, filling_n_;                // uneven filling at the start, in polynomials
  Eigen::MatrixXd positive_slopes0_, negative_slopes0_;  // amplitudes x grain parameters
  std::vector<Jump> jumps_;
  bool closed_form_ = false;
  Bordered jacobian_;
  mutable Eigen::VectorXd a_, work_;
};

}  // namespace onegrain::solver
