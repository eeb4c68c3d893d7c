// Derivatives of the grains with respect to their own three parameters, integrated beside them.

#include "solver/step/even.hpp"
#include "solver/step/layers.hpp"

namespace onegrain::solver {

std::vector<Vector> EvenSegment::starting_sensitivities() const {
  std::vector<Vector> s(static_cast<std::size_t>(sensitivity_count()), Vector::Zero(size()));
  for (std::size_t k = 0; k < s.size(); ++k) {
    const auto column = static_cast<Eigen::Index>(k);
    s[k].segment(positive_.offset, positive_.count) = positive_slopes0_.col(column);
    if (negative_.grain) s[k].segment(negative_.offset, negative_.count) = negative_slopes0_.col(column);
  }
  return s;
}

Evaluation EvenSegment::sensitivity_rates(double t, ConstVectorView y, const std::vector<ConstVectorView>& s,
                                          std::vector<VectorView>& sdot) {
  const double q = charge(t, y), T = temperature(t, y), i = given_current_ ? given_current_->at(t) : current0_;
  for (VectorView& rates : sdot) rates.setZero();
  for (const ClosedForm* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    const model::Grain& grain = *modal->grain;
    const Eigen::Index n = modal->count;
    modal->amplitudes(t, y, a_);
    Eigen::VectorXd diffusion = -modal->mu * a_.array();  // da/dt less what the current brings
    const bool plain = grain.decoupled() && isothermal();
    Eigen::MatrixXd by_amplitudes;
    Eigen::VectorXd by_mean = Eigen::VectorXd::Zero(n);
    if (!plain) {
      const double mean = mean_of(*modal, q);
      by_amplitudes.resize(n, n);
      Eigen::VectorXd by_temperature(n);
      work_.resize(n);
      grain.remainder(mean, a_, T, modal->D0, work_);
      grain.remainder_jacobian(mean, a_, T, modal->D0, by_amplitudes, by_mean, by_temperature);
      diffusion += work_;
    }
    for (std::size_t k = 0; k < s.size(); ++k) {
      const auto slopes = s[k].segment(modal->offset, n);
      auto rates = sdot[k].segment(modal->offset, n);
      rates.array() = -modal->mu * slopes.array();
      if (!plain) rates += by_amplitudes * slopes;
    }
    sdot[0].segment(modal->offset, n) -= diffusion;
    sdot[1].segment(modal->offset, n) += by_mean * mean_by_capacity(*modal, q) - (modal->drive * i).matrix();
    sdot[2].segment(modal->offset, n) += by_mean;
  }
  return Evaluation::ok;
}

double EvenSegment::mean_by_capacity(const ClosedForm& modal, double q) const {
  return &modal == &positive_ ? (q - run_start_) / model_->positive_capacity()
                              : -(q - run_start_) / model_->negative_capacity();
}

SurfaceSlopes EvenSegment::surface_slopes(double t, ConstVectorView y, const std::vector<Vector>& s) const {
  const double q = charge(t, y);
  SurfaceSlopes result;
  for (const ClosedForm* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    const model::Grain& grain = *modal->grain;
    Eigen::Vector3d& slopes = modal == &positive_ ? result.positive : result.negative;
    for (std::size_t k = 0; k < s.size(); ++k) {
      slopes[static_cast<Eigen::Index>(k)] =
          grain.modes().surface().matrix().dot(s[k].segment(modal->offset, modal->count));
    }
    slopes[1] += mean_by_capacity(*modal, q);
    slopes[2] += 1;
    for (const Jump& jump : jumps_) {  // -(R j / D) missing(D t / R^2), with R j / D = diffusion time i / 3 Q
      const double D = modal == &positive_ ? jump.positive_diffusivity : jump.negative_diffusivity;
      const double layer = -modal->outflow_per_current * jump.current * missing_layer(grain, D, jump.age + t);
      if (layer == 0) continue;
      constexpr double h = 1e-4;
      const double slower =
          -modal->outflow_per_current * jump.current * missing_layer(grain, D * (1 - h), jump.age + t);
      slopes[0] += (slower - layer) / h;
      slopes[1] -= layer;
    }
  }
  return result;
}

void EvenSegment::add_slopes(State& state, const std::vector<Vector>& s) const {
  const auto in_polynomials = [&](const ClosedForm& modal) {
    Eigen::MatrixXd slopes(modal.count, grain_parameters);
    for (std::size_t k = 0; k < s.size(); ++k) {
      slopes.col(static_cast<Eigen::Index>(k)) =
          modal.grain->modes().polynomials(s[k].segment(modal.offset, modal.count));
    }
    return slopes;
  };
  state.positive_slopes = in_polynomials(positive_);
  if (negative_.grain) state.negative_slopes = in_polynomials(negative_);
}

}  // namespace onegrain::solver
