#pragma once

#include <Eigen/Dense>
#include <vector>

#include "model/cell.hpp"

/// Diffusion of salt through the pores of negative, separator and positive, in one dimension x from the negative's foil
/// (half cell: from the lithium) to the positive's foil, with the reaction spread evenly over each layer:
///
///     eps dc/dt = -dN/dx,    N = -(eps/tau) D(c) dc/dx - (1 - t+(c)) i_e / F,    N = 0 at both ends,
///     i_e = -i w(x),         w = x/L_n | 1 | (L - x)/L_p
///
/// N is the flux of salt less that of the anion-free reaction; i > 0 charges. The lithium of a half cell is an end at
/// which w = 1: there N = 0 says that no anion crosses. In the weak form nothing else is needed, and salt is conserved
/// to round-off because a constant is a test function.
///
/// c(x, t) = mean + sum_n b_n(t) Psi_n(x), with the eigenmodes of Galerkin's method in continuous, layer-wise
/// polynomials,
///
///     db_n/dt = -D0 lambda_n b_n + (1 - t0) h_n i + remainder,
///
/// where the remainder holds what D(c) and t+(c) differ from D0 and t0. Constants, steady state: exact (parabolas).
/// Source of the equations: S. G. Marquis et al., J. Electrochem. Soc. 166, A3693 (2019); Newman and Balsara,
/// Electrochemical Systems, 4th ed. (2021), ch. 12 and 22.
namespace onegrain::model {

/// What the electrolyte tells the terminals, for a given distribution of salt and per unit of nothing:
/// potential drop over layer k, weighted for layer averages, is  i resistance_k + concentration_k,
///
///     resistance_k    = int_k w^2 / kappa_eff dx                                        [ohm m2]
///     concentration_k = (2RT/F) int_k w (1 - t+) chi dln c/dx dx                        [V]
///
/// and `salt_k` is the concentration at which the exchange current is the mean of that over the layer,
/// mean(c^aa)^(1/aa); at lithium metal, the concentration there [mol/m3].
struct Ionic {
  struct Layer {
    double resistance = 0, concentration = 0;
  };
  Layer negative, separator, positive;
  double negative_salt = 0, positive_salt = 0;

  double resistance() const { return negative.resistance + separator.resistance + positive.resistance; }
  double concentration() const { return negative.concentration + separator.concentration + positive.concentration; }
};

class Salt {
 public:
  /// @param degree  of the polynomials in each layer, 2..40
  Salt(const Cell& cell, int degree);

  /// The salt that has so many modes.
  static Salt of_count(const Cell& cell, int count);

  int count() const { return static_cast<int>(decay_.size()); }  ///< modes besides the mean
  const Eigen::ArrayXd& decay() const { return decay_; }         ///< lambda_n, ascending [m^-2]
  /// h_n: db_n/dt per current and per (1 - t0)   [mol^.5 m^-... in the scaling of the modes]
  const Eigen::ArrayXd& drive() const { return drive_; }
  double mean() const { return mean_; }      ///< [mol/m3], by pore volume
  double length() const { return length_; }  ///< of all layers [m]
  /// True where neither D nor t+ depends on c.
  bool decoupled() const { return decoupled_; }

  double diffusivity(double c, double T) const { return electrolyte_.diffusivity(c, T); }
  double transference_number(double c, double T) const { return electrolyte_.transference_number(c, T); }

  /// remainder_n = -int (D(c) - D0)(eps/tau) Psi_n' c' dx - (i/F) int (t+(c) - t0) w Psi_n' dx
  void remainder(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T, double D0, double t0,
                 Eigen::Ref<Eigen::VectorXd> result) const;
  void remainder_jacobian(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T, double D0, double t0,
                          Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::Ref<Eigen::VectorXd> by_current,
                          Eigen::Ref<Eigen::VectorXd> by_temperature) const;

  /// The same equation for any share of the current in the pores, for a reaction that is not spread evenly:
  ///
  ///     db_n/dt = int [ -(eps/tau) D(c) c' + (1 - t+(c)) crossing / F ] Psi_n' dx
  ///
  /// @param crossing  current that crosses the nodes in the pores, > 0 towards the negative's foil; even: i share()
  /// [A/m2]
  void rate(const Eigen::Ref<const Eigen::VectorXd>& b, const Eigen::Ref<const Eigen::VectorXd>& crossing, double T,
            Eigen::Ref<Eigen::VectorXd> result) const;
  /// Its derivatives with respect to b, and to the crossing currents (modes x nodes).
  void rate_jacobian(const Eigen::Ref<const Eigen::VectorXd>& b, const Eigen::Ref<const Eigen::VectorXd>& crossing,
                     double T, Eigen::Ref<Eigen::MatrixXd> by_amplitudes, Eigen::MatrixXd& by_crossing) const;
  /// Quadrature nodes: their positions [m], and the share of an evenly spread current that crosses them, w.
  const Eigen::ArrayXd& nodes() const { return position_; }
  const Eigen::ArrayXd& share() const { return share_; }
  int nodes_per_part() const {
    return degree_ + 4;
  }  ///< the first belong to the negative of a full cell, the last to the positive

  /// What the terminals need; see Ionic.
  Ionic ionic(const Eigen::Ref<const Eigen::VectorXd>& b, double T) const;
  /// Of it only what lies between the layers: the separator, and in a half cell the salt at the lithium.
  Ionic ionic_between(const Eigen::Ref<const Eigen::VectorXd>& b, double T) const;
  /// Gradients with respect to b of:  (i resistance + concentration) of each layer, and the two salt numbers.
  struct Gradient {
    Eigen::VectorXd negative, separator, positive, negative_salt, positive_salt;
  };
  Gradient ionic_gradient(const Eigen::Ref<const Eigen::VectorXd>& b, double i, double T) const;

  /// Concentration at positions x [m], and its extremes over the quadrature points and ends [mol/m3].
  Eigen::VectorXd profile(const Eigen::Ref<const Eigen::VectorXd>& b, const Eigen::Ref<const Eigen::ArrayXd>& x) const;
  /// Rows that give c - mean, or its slope d c/dx, at positions x [m] when multiplied with b.
  Eigen::MatrixXd rows(const Eigen::Ref<const Eigen::ArrayXd>& x, bool slope) const;
  void extremes(const Eigen::Ref<const Eigen::VectorXd>& b, double& lowest, double& highest) const;
  /// The amplitudes, in these modes, of a profile that is given in those of another degree. A constant stays one.
  Eigen::VectorXd amplitudes_of(const Salt& other, const Eigen::Ref<const Eigen::VectorXd>& b) const;
  /// int eps c dx [mol/m2], by quadrature of the profile: what must not change.
  double content(const Eigen::Ref<const Eigen::VectorXd>& b) const;
  /// Largest amplitude of the highest polynomial of any layer [mol/m3]: how well the space resolves the profile.
  double tail(const Eigen::Ref<const Eigen::VectorXd>& b) const;

 private:
  struct Part {                                    // one layer
    double start, thickness, porosity, transport;  // transport = eps / tau
    int first_node, nodes;
  };
  Ionic ionic_of(std::size_t first_part, std::size_t last_part, const Eigen::Ref<const Eigen::VectorXd>& b,
                 double T) const;
  Eigen::RowVectorXd basis(const Part& part, std::size_t index, double xi, bool slope) const;

  Electrolyte electrolyte_;
  std::vector<Part> parts_;  // negative (full cell only), separator (half cell: in parts), positive
  int degree_;
  double mean_, length_ = 0;
  double negative_power_ = 0.5, positive_power_ = 0.5;
  bool half_cell_, decoupled_;
  Eigen::ArrayXd decay_, drive_;
  Eigen::ArrayXd position_, weight_, share_, transport_;  // per node: x [m], quadrature weight [m], w(x), eps/tau
  Eigen::MatrixXd value_, slope_;                         // Psi_n, Psi_n' at the nodes
  Eigen::MatrixXd vectors_;                               // modes in the C0 basis
  Eigen::MatrixXd tail_;                                  // rows: highest polynomial of each layer
  Eigen::RowVectorXd at_start_, at_end_;
};

/// The Ionic of salt that stays at its starting concentration.
Ionic uniform_ionic(const Cell& cell, double T);

}  // namespace onegrain::model
