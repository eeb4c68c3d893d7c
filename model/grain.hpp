#pragma once

#include <Eigen/Dense>

#include "model/curve.hpp"

/// Diffusion of lithium inside a spherical grain,
///
///     dx/dt = (1 / r^2) d/dr ( r^2 D(x) dx/dr ),    D dx/dr (R) = -outflow,    dx/dr (0) = 0,
///
/// outflow = j / c_max [m/s], positive out of the grain. With rho = r / R the stoichiometry is written as
///
///     x(rho, t) = mean(t) + sum_n a_n(t) Phi_n(rho)
///
/// where Phi_n are the eigenmodes of Galerkin's method with even polynomials in rho: the exact solution of the weak
/// form in that space. For constant D the amplitudes decouple,
///
///     da_n/dt = -(D / R^2) Lambda_n a_n - 3 (outflow / R) Phi_n(1),      dmean/dt = -3 outflow / R,
///
/// and for smooth profiles the error falls faster than any power of the number of modes. The mean obeys its own
/// equation whatever D is, so lithium is conserved to round-off.
/// Sources: Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 6, for the equation; Canuto et al., Spectral
/// Methods: Fundamentals in Single Domains (2006), ch. 2-3, for Galerkin's method with Jacobi polynomials.
namespace onegrain::model {

/// The dimensionless modes for a given number of them; computed once per number and shared.
class GrainModes {
 public:
  /// Modes besides the mean, 2..200. Safe to call from several threads.
  static const GrainModes& of(int count);

  int count() const { return static_cast<int>(decay_.size()); }
  const Eigen::ArrayXd& decay() const { return decay_; }      ///< Lambda_n, ascending; the first tends to 20.19
  const Eigen::ArrayXd& surface() const { return surface_; }  ///< Phi_n(1)

  /// Gauss points in rho, and weights for integrals over the grain: sum weight f(rho) = 3 int rho^2 f drho.
  const Eigen::ArrayXd& nodes() const { return nodes_; }
  const Eigen::ArrayXd& weights() const { return weights_; }
  const Eigen::MatrixXd& value_at_nodes() const { return value_; }  ///< Phi_n(rho_q), nodes x modes
  const Eigen::MatrixXd& slope_at_nodes() const { return slope_; }  ///< dPhi_n/drho (rho_q), nodes x modes

  /// Phi_n at any rho in [0, 1], one row per rho.
  Eigen::MatrixXd values(const Eigen::Ref<const Eigen::ArrayXd>& rho) const;

  /// Coefficients of the profile in the orthonormal even polynomials, lowest degree first, and back: what to carry
  /// from one number of modes to another. Coefficients beyond count() are dropped, missing ones are 0.
  Eigen::VectorXd polynomials(const Eigen::Ref<const Eigen::VectorXd>& a) const { return vectors_ * a; }
  Eigen::VectorXd amplitudes(const Eigen::Ref<const Eigen::VectorXd>& polynomials) const;

  /// tau beyond which missing_step_response stays below 1e-9.
  double resolved_after() const { return resolved_after_; }

  /// What the last two polynomials of the space contribute to the surface value, as weights on the amplitudes:
  /// two rows. The size of rows * a tells how well the space resolves the profile a.
  const Eigen::Matrix<double, 2, Eigen::Dynamic>& tail() const { return tail_; }

  /// Surface response to a unit step of flux by these modes, (x_surface - x_0) D / (-outflow R), at tau = D t / R^2.
  double step_response(double tau) const;

 private:
  explicit GrainModes(int count);
  Eigen::ArrayXd decay_, surface_, nodes_, weights_;
  Eigen::MatrixXd value_, slope_, vectors_;
  double resolved_after_ = 0;
  Eigen::Matrix<double, 2, Eigen::Dynamic> tail_;
};

/// The exact surface response to a unit step of flux,
///
///     (x_surface - x_0) D / (-outflow R) = 3 tau + 1/5 - 2 sum_n exp(-l_n^2 tau) / l_n^2,     tan l_n = l_n > 0,
///
/// at tau = D t / R^2 >= 0; below tau = 0.05 by its short-time form exp(tau) (1 + erf sqrt(tau)) - 1.
/// Accurate to 1e-9. Source: Crank (1975) eq. 6.45; Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 9.4.
double exact_step_response(double tau);

/// exact_step_response minus that of the modes: what a mode sum misses just after a jump of the current.
/// Falls below 1e-10 once the modes resolve the layer sqrt(tau) under the surface.
double missing_step_response(const GrainModes& modes, double tau);

/// One grain: modes with a radius and a diffusivity.
class Grain {
 public:
  Grain(const GrainModes& modes, double radius, Property diffusivity);

  int count() const { return modes_->count(); }
  const GrainModes& modes() const { return *modes_; }
  double radius() const { return radius_; }
  double diffusivity(double x, double T) const { return diffusivity_(x, T); }
  /// True where D does not depend on x, so that the modes decouple.
  bool decoupled() const { return decoupled_; }

  /// da_n/dt per unit of outflow: -3 Phi_n(1) / R   [m^-1].
  const Eigen::ArrayXd& drive() const { return drive_; }

  double surface_stoichiometry(double mean, const Eigen::Ref<const Eigen::VectorXd>& a) const {
    return mean + modes_->surface().matrix().dot(a);
  }

  /// What the modes miss of da/dt when D is not the constant D0:
  ///
  ///     remainder_n = -(1 / R^2) sum_q w_q (D(x_q, T) - D0) dx/drho_q dPhi_n/drho_q          [s^-1]
  ///
  /// so that da/dt = -(D0/R^2) Lambda a + drive outflow + remainder. Sizes are asserted.
  void remainder(double mean, const Eigen::Ref<const Eigen::VectorXd>& a, double T, double D0,
                 Eigen::Ref<Eigen::VectorXd> result) const;

  /// Derivatives of the remainder: with respect to the amplitudes (count x count), the mean and the temperature.
  void remainder_jacobian(double mean, const Eigen::Ref<const Eigen::VectorXd>& a, double T, double D0,
                          Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::Ref<Eigen::VectorXd> by_mean,
                          Eigen::Ref<Eigen::VectorXd> by_temperature) const;

 private:
  const GrainModes* modes_;
  double radius_;
  Property diffusivity_;
  bool decoupled_;
  Eigen::ArrayXd drive_;
};

}  // namespace onegrain::model
