#include "solver/step/closed_form.hpp"

#include <cmath>

namespace onegrain::solver {

namespace {
constexpr double decayed = 40;  // exp(-40) is below round-off of a stoichiometry
}  // namespace

void ClosedForm::take(const model::Grain& its_grain, double its_outflow_per_current, double x_surface, double T) {
  grain = &its_grain;
  count = its_grain.count();
  outflow_per_current = its_outflow_per_current;
  D0 = its_grain.diffusivity(x_surface, T);
  mu = D0 / (its_grain.radius() * its_grain.radius()) * its_grain.modes().decay();
  drive = outflow_per_current * its_grain.drive();
}

void ClosedForm::prepare(double current, const Eigen::VectorXd& start) {
  steady = drive * current / mu;
  transient = -steady;
  if (start.size() > 0) transient += start.array();
  if (!grain) return;
  const Eigen::ArrayXd& surface_values = grain->modes().surface();
  steady_surface = (surface_values * steady).sum();
  transient_surface = surface_values * transient;
}

void ClosedForm::amplitudes(double t, ConstVectorView y, Eigen::VectorXd& a) const {
  a = steady.matrix() + y.segment(offset, count);
  for (Eigen::Index n = 0; n < count && mu[n] * t < decayed; ++n) a[n] += transient[n] * std::exp(-mu[n] * t);
}

double ClosedForm::surface(double mean, double t, ConstVectorView y, bool closed) const {
  double x = mean + steady_surface;
  for (Eigen::Index n = 0; n < count && mu[n] * t < decayed; ++n) x += transient_surface[n] * std::exp(-mu[n] * t);
  if (!closed) x += grain->modes().surface().matrix().dot(y.segment(offset, count));
  return x;
}

}  // namespace onegrain::solver
