// What a step has to say of one of its moments: points, the state that goes on from there, profiles.

#include "solver/step/layers.hpp"
#include "solver/step/segment.hpp"

namespace onegrain::solver {

Point Segment::point(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  Point p;
  p.time = t;
  p.charge = h.q;
  p.current = h.i;
  p.positive_surface = h.x_p;
  p.negative_surface = h.x_n;
  p.positive_mean = model_->positive_mean(h.q);
  p.negative_mean = negative_.grain ? model_->negative_mean(h.q) : 0;
  p.temperature = h.T;
  p.lowest_salt = p.highest_salt = model_->cell().electrolyte.concentration;
  if (model_->salt()) model_->salt()->extremes(h.salt, p.lowest_salt, p.highest_salt);
  p.terminal = terminal(h);
  return p;
}

State Segment::state(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  State s;
  s.charge = h.q;
  s.temperature = h.T;
  s.current = h.i;
  s.run_start = run_start_;
  positive_.amplitudes(t, y, a_);
  s.positive = positive_.grain->modes().polynomials(a_);
  if (negative_.grain) {
    negative_.amplitudes(t, y, a_);
    s.negative = negative_.grain->modes().polynomials(a_);
  }
  if (salt_.count > 0) salt_.amplitudes(t, y, s.salt);
  for (Jump jump : jumps_) {
    jump.age += t;
    if (!resolved(*positive_.grain, jump.positive_diffusivity, jump.age) ||
        (negative_.grain && !resolved(*negative_.grain, jump.negative_diffusivity, jump.age))) {
      s.jumps.push_back(jump);
    }
  }
  return s;
}

Eigen::VectorXd Segment::positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  positive_.amplitudes(t, y, a_);
  return (positive_.grain->modes().values(rho) * a_).array() + model_->positive_mean(charge(t, y));
}

Eigen::VectorXd Segment::negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  negative_.amplitudes(t, y, a_);
  return (negative_.grain->modes().values(rho) * a_).array() + model_->negative_mean(charge(t, y));
}

Eigen::VectorXd Segment::salt_profile(double t, ConstVectorView y, const Eigen::ArrayXd& x) const {
  if (!model_->salt()) return Eigen::VectorXd::Constant(x.size(), model_->cell().electrolyte.concentration);
  salt_.amplitudes(t, y, a_);
  return model_->salt()->profile(a_, x);
}

Eigen::VectorXd Segment::salt_amplitudes(double t, ConstVectorView y) const {
  if (!model_->salt()) return {};
  salt_.amplitudes(t, y, a_);
  return a_;
}

}  // namespace onegrain::solver
