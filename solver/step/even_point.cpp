// What a step has to say of one of its moments: points, the state that goes on from there, profiles.

#include "solver/step/even.hpp"
#include "solver/step/layers.hpp"

namespace onegrain::solver {

State EvenSegment::state(double t, ConstVectorView y) const {
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

Eigen::VectorXd EvenSegment::positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  positive_.amplitudes(t, y, a_);
  return (positive_.grain->modes().values(rho) * a_).array() + model_->positive_mean(charge(t, y));
}

Eigen::VectorXd EvenSegment::negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  negative_.amplitudes(t, y, a_);
  return (negative_.grain->modes().values(rho) * a_).array() + model_->negative_mean(charge(t, y));
}

Segment::OverDepth EvenSegment::over_depth(double t, ConstVectorView y, bool of_positive,
                                           const Eigen::ArrayXd& places) const {
  const double q = charge(t, y);
  return {Eigen::ArrayXd::Constant(places.size(), of_positive ? model_->positive_mean(q) : model_->negative_mean(q)),
          Eigen::ArrayXd::Ones(places.size())};
}

Eigen::MatrixXd EvenSegment::grains_over_depth(double t, ConstVectorView y, bool of_positive, const Eigen::ArrayXd& rho,
                                               const Eigen::ArrayXd& places) const {
  const Eigen::VectorXd one = of_positive ? positive_profile(t, y, rho) : negative_profile(t, y, rho);
  return one.replicate(1, places.size());
}

Eigen::VectorXd EvenSegment::salt_amplitudes(double t, ConstVectorView y) const {
  if (!model_->salt()) return {};
  salt_.amplitudes(t, y, a_);
  return a_;
}

}  // namespace onegrain::solver
