#pragma once

#include <Eigen/Dense>
#include <vector>

#include "model/cell.hpp"

/// How the reaction spreads over a porous layer: what the single-particle model takes as even.
///
/// xi = 0 at the foil, 1 at the separator; lithium goes into the grains where i > 0. Of the current i, the share w(xi)
/// crosses xi in the pores, w(0) = 0, w(1) = 1, the rest in the solid. With the potential of the solid against a
/// lithium reference in the pores beside it, Phi = phi_s - phi_e, Ohm's laws for solid and pores are
///
///     dPhi/dxi = L i (1 - w) / sigma - L i w / kappa_eff(c) - (2RT/F) (1 - t+) chi dln c/dxi
///
/// and at every xi charge transfer holds, Phi = U(x_s) + eta(-s / (a L), i0(x_s, c)), where s(xi) = i dw/dxi is the
/// local current per plate area. s is a polynomial through its values at Gauss-Radau points, one of them at the
/// separator, where plating begins; charge transfer is asked at the points, and Ohm's laws in their weak form, tested
/// with the same polynomials: sum_k w_k s_k (drop s)_k = int R w^2 dxi >= 0, so that a current has one way to spread,
/// whatever the salt does.
/// Sources: J. Newman, N. P. Balsara, Electrochemical Systems, 4th ed. (2021), ch. 22; the points: Hildebrand,
/// Introduction to Numerical Analysis, 2nd ed. (1974), ch. 8.
namespace onegrain::model {

/// Points and integrals on [0, 1] that do not depend on the cell.
class LayerPoints {
 public:
  static constexpr int most = 20;
  /// Made once per count and shared. Safe to call from several threads.
  static const LayerPoints& of(int count);
  /// One point that stands for an even reaction: weak forms with it are means over the depth.
  static const LayerPoints& even();
  bool is_even() const { return even_; }
  /// @param count  of points, 1..most; exact for polynomials s of degree count - 1
  explicit LayerPoints(int count);

  int count() const { return static_cast<int>(xi_.size()); }
  const Eigen::ArrayXd& xi() const { return xi_; }            ///< ascending, the last is 1
  const Eigen::ArrayXd& weights() const { return weights_; }  ///< sum 1

  /// Points between which the salt is looked at, more of them than points, and there: w per s, dimensions samples x
  /// count.
  const Eigen::ArrayXd& samples() const { return samples_; }
  const Eigen::MatrixXd& share_at_samples() const { return share_; }
  /// The same at any places in [0, 1].
  Eigen::MatrixXd share_at(const Eigen::Ref<const Eigen::ArrayXd>& places) const;
  /// The polynomials through the points, at any places: places x count.
  Eigen::MatrixXd values_at(const Eigen::Ref<const Eigen::ArrayXd>& places) const;
  /// From values at other points to values at these, dimensions count x other.count(): the polynomial through them, or,
  /// where these are fewer, the one of least squares. Keeps the mean over the depth.
  Eigen::MatrixXd taken_from(const LayerPoints& other) const;
  /// Weights for integrals over the depth of what is known at the samples.
  const Eigen::ArrayXd& sample_weights() const { return sample_weights_; }
  /// Row k: weights that make of g at the samples its integral from xi_k to 1, in the weak sense,
  /// (1/w_k) int l_k(xi) int_xi^1 g = (1/w_k) int g int_0^xi l_k,  l_k being the point's own polynomial.
  const Eigen::MatrixXd& integral_to_separator() const { return integral_; }

 private:
  Eigen::ArrayXd xi_, weights_, samples_, sample_weights_;
  Eigen::MatrixXd share_, integral_;
  bool even_ = false;
};

/// Ohm's laws for one distribution of salt: Phi_k = Phi_separator + (drop s)_k - i solid_k + salt_k.
struct LayerDrop {
  Eigen::MatrixXd drop;       ///< [ohm m2]
  Eigen::VectorXd solid;      ///< [ohm m2]
  Eigen::VectorXd diffusion;  ///< [V]
};

/// @param salt   concentration at the samples [mol/m3]
/// @param slope  dc/dxi there [mol/m3]
LayerDrop layer_drop(const LayerPoints& points, const Electrode& layer, const Electrolyte& electrolyte,
                     const Eigen::VectorXd& salt, const Eigen::VectorXd& slope, double T);

/// Derivative of (drop current)_k + diffusion_k with respect to unknowns b of the salt, for fixed local currents: one
/// row per point, one column per unknown [V per unit of b]. Arguments as above.
/// @param by_unknown        d salt / d b at the samples, samples x unknowns
/// @param slope_by_unknown  d slope / d b there
Eigen::MatrixXd layer_drop_by_salt(const LayerPoints& points, const Electrode& layer, const Electrolyte& electrolyte,
                                   const Eigen::VectorXd& salt, const Eigen::VectorXd& slope,
                                   const Eigen::VectorXd& current, double T, const Eigen::MatrixXd& by_unknown,
                                   const Eigen::MatrixXd& slope_by_unknown);

/// The local currents and the potential at the separator side for which charge transfer holds at every point.
struct LayerState {
  Eigen::VectorXd current;             ///< s at the points [A/m2 of plate]; their weighted mean is i
  double separator_side = 0;           ///< Phi(1) [V]
  Eigen::VectorXd equilibrium;         ///< U at the points [V]
  Eigen::VectorXd by_current;          ///< d eta / d s at the points [ohm m2], < 0
  Eigen::VectorXd by_surface;          ///< d (U + eta) / d x_s at the points [V]
  Eigen::VectorXd by_salt;             ///< d eta / d c at the points, through the exchange current [V m3/mol]
  Eigen::VectorXd by_total;            ///< d s / d i at the points [1]
  double separator_side_by_total = 0;  ///< d Phi(1) / d i [ohm m2], < 0
  /// Of several classes of grains, class c at point k at place k C + c, as the three derivatives above then are:
  Eigen::VectorXd class_current;  ///< [A/m2 of plate]; the sum over the classes of a point is `current` there
  Eigen::VectorXd response;       ///< d Phi / d x_s at a given current of the point [V]
};

/// Solves by Newton's method from the currents that `state` holds (of the right size: from an even spread otherwise).
/// @param surface  stoichiometry at the grain surfaces of the points
/// @param salt     at the points [mol/m3]
/// @param i        current, > 0 into the grains [A/m2]
/// @return false where Newton's method finds nothing
bool solve_layer(const LayerPoints& points, const Electrode& layer, const LayerDrop& drop,
                 const Eigen::VectorXd& surface, const Eigen::VectorXd& salt, double i, double T, LayerState& state);

/// A class of grains of a layer.
struct LayerClass {
  const Host* host;
  double roughness;  ///< grain surface per plate area [1]
  double share;      ///< of the capacity of the layer [1]
};

/// The same for several classes of grains that share the potential of the solid at every point: for each of them
/// Phi = U(x_s) + eta(-s / (a L), i0(x_s, c)), and their currents add up to that of the point. `equilibrium` is the
/// mean of the potentials by capacity.
/// @param surface  of class c at point k at place k C + c
bool solve_layer(const LayerPoints& points, const std::vector<LayerClass>& classes, const LayerDrop& drop,
                 const Eigen::VectorXd& surface, const Eigen::VectorXd& salt, double i, double T, LayerState& state);

}  // namespace onegrain::model
