#pragma once

#include "model/grain.hpp"
#include "solver/ode/cvode.hpp"

namespace onegrain::solver {

/// The closed-form part of one set of modes, those of a grain or of the salt, in a step that starts with the amplitudes
/// a(0) and goes on at the constant current i0: with the diffusivity frozen at D0,
///
///     A_n(t) = A_n(oo) + (a_n(0) - A_n(oo)) exp(-mu_n t),    mu_n = D0 Lambda_n / R^2.
struct ClosedForm {
  const model::Grain* grain = nullptr;  ///< null: no such grain, or the salt
  int count = 0, offset = 0;            ///< place of the rest, a - A, in y
  double D0 = 1, outflow_per_current = 0;
  Eigen::ArrayXd drive;                  ///< d(amplitude rate) / d(current)
  Eigen::ArrayXd mu, steady, transient;  ///< A = steady + transient exp(-mu t)
  double steady_surface = 0;             ///< grains: sum Phi_n(1) steady_n
  Eigen::ArrayXd transient_surface;      ///< grains: Phi_n(1) transient_n

  /// Takes a grain whose surface stands at `x_surface` when the step starts.
  void take(const model::Grain& its_grain, double its_outflow_per_current, double x_surface, double T);
  /// @param start  amplitudes a(0); empty: all 0
  void prepare(double current, const Eigen::VectorXd& start);
  void amplitudes(double t, ConstVectorView y, Eigen::VectorXd& a) const;
  /// Stoichiometry at the surface as far as the modes hold it.
  /// @param closed_form  y is zero
  double surface(double mean, double t, ConstVectorView y, bool closed_form) const;
};

}  // namespace onegrain::solver
