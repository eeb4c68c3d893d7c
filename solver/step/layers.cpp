#include "solver/step/layers.hpp"

#include <algorithm>

namespace onegrain::solver {

double missing_layer(const model::Grain& grain, double D, double age) {
  const double tau = D * age / (grain.radius() * grain.radius());
  return tau < grain.modes().resolved_after() ? grain.radius() / D * model::missing_step_response(grain.modes(), tau)
                                              : 0;
}

bool resolved(const model::Grain& grain, double D, double age) {
  return D * age >= grain.modes().resolved_after() * grain.radius() * grain.radius();
}

namespace {

/// What a state made with `held` modes lacks for grains with another number of them. Of the layer of a recent jump it
/// holds what its own modes resolve, and a missing_layer() of the new ones will be added: what lies between, in
/// polynomials, is this. `slower`: every diffusivity is that much smaller.
Eigen::VectorXd carried_layers(const model::Grain& grain, int held, const std::vector<Jump>& jumps,
                               double Jump::*diffusivity, double outflow_per_current, double slower = 0) {
  Eigen::VectorXd result = Eigen::VectorXd::Zero(std::max(held, grain.count()));
  if (held < 2 || held == grain.count()) return result;
  const model::GrainModes& before = model::GrainModes::of(held);
  for (const Jump& jump : jumps) {
    const double D = jump.*diffusivity * (1 - slower), R = grain.radius(), tau = D * jump.age / (R * R);
    if (tau >= std::max(before.resolved_after(), grain.modes().resolved_after())) continue;
    const double scale = -outflow_per_current * jump.current * R / D;
    result.head(grain.count()) += scale * grain.modes().step_polynomials(tau);
    result.head(held) -= scale * before.step_polynomials(tau);
  }
  return result;
}

}  // namespace

Eigen::VectorXd filling_for(const model::Grain& grain, const Eigen::VectorXd& polynomials,
                            const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current) {
  const auto held = static_cast<int>(polynomials.size());
  if (held < 2 || held == grain.count()) return polynomials;
  Eigen::VectorXd result = carried_layers(grain, held, jumps, diffusivity, outflow_per_current);
  result.head(held) += polynomials;
  return result;
}

Eigen::MatrixXd slopes_for(const model::Grain& grain, const Eigen::MatrixXd& polynomials,
                           const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current) {
  Eigen::MatrixXd slopes = Eigen::MatrixXd::Zero(grain.count(), grain_parameters);
  if (polynomials.cols() == 0) return slopes;
  const auto held = static_cast<int>(polynomials.rows());
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(std::max(held, grain.count()), grain_parameters);
  all.topRows(held) = polynomials;
  if (held != grain.count()) {
    constexpr double h = 1e-4;
    const Eigen::VectorXd layers = carried_layers(grain, held, jumps, diffusivity, outflow_per_current);
    all.col(0) += (carried_layers(grain, held, jumps, diffusivity, outflow_per_current, h) - layers) / h;
    all.col(1) -= layers;
  }
  for (Eigen::Index k = 0; k < all.cols(); ++k) slopes.col(k) = grain.modes().amplitudes(all.col(k));
  return slopes;
}

}  // namespace onegrain::solver
