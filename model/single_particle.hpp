#pragma once

#include <optional>
#include <vector>

#include "model/cell.hpp"
#include "model/grain.hpp"
#include "model/salt.hpp"

/// The single-particle model: every grain of a layer behaves like one, and carries the same share of the current.
namespace onegrain::model {

/// The terminal voltage taken apart, for one current and one pair of surface stoichiometries,
///
///     V = U_p(x_p) + eta_p - U_n(x_n) - eta_n + electrolyte + concentration + electronic + contact        [V]
///
/// In a half cell U_n = 0 and eta_n is the overpotential of the lithium metal. Overpotentials and potentials in the
/// electrolyte are averages over each layer.
///
/// The potential of an electrode at its separator side, against a lithium reference there, adds what separates that
/// place from the average: `separator_side` is that of the negative (half cell: of the working electrode),
///
///     E = U_n + eta_n - (i resistance_n + concentration_n) + i L_n / (6 sigma_n)
///
/// Lithium can plate on graphite where it falls below 0 V.
struct Terminal {
  double voltage;
  double positive_potential, negative_potential;          ///< U at the grain surface against lithium
  double positive_overpotential, negative_overpotential;  ///< eta; positive where lithium leaves the electrode
  double electrolyte, electronic, contact;                ///< ohmic drops, of the sign of the current
  double concentration;                                   ///< from uneven salt
  double separator_side;                                  ///< see above

  double by_current;                                  ///< dV/di [ohm m2], > 0
  double by_positive_surface, by_negative_surface;    ///< dV/dx at the surfaces
  double by_positive_salt, by_negative_salt;          ///< dV/dc through the exchange currents [V m3/mol]
  double by_positive_exchange, by_negative_exchange;  ///< dV/d(ln i0) [V]; half cell: of the lithium
  double positive_area_share, negative_area_share;    ///< dV/d(ln aL), through the current per grain surface [V]
  double separator_side_by_current;                   ///< dE/di [ohm m2], < 0 in a full cell, > 0 in a half cell
  double separator_side_by_surface;                   ///< dE/dx at the surface of that electrode
  double separator_side_by_salt;                      ///< dE/dc through its exchange current
};

/// Two resolutions of the electrolyte.
enum class ElectrolyteModel {
  uniform,  ///< salt stays at its starting concentration; ohmic drop only
  resolved  ///< salt diffuses through the pores, see Salt
};

/// Two descriptions of how the reaction spreads over the depth of a porous layer.
enum class Reaction {
  even,   ///< the same share of the current at every depth: one grain stands for all
  uneven  ///< resolved at points over the depth, see model/layer.hpp
};

/// A cell made ready to compute with: grains with their modes, the fluxes per unit of current, the resistances.
/// Immutable, so that one may serve several threads.
class SingleParticle {
 public:
  /// @param modes        for each grain, besides the mean; see GrainModes
  /// @param salt_degree  of the polynomials for the salt in each layer; 0: ElectrolyteModel::uniform
  SingleParticle(const Cell& cell, int positive_modes, int negative_modes, int salt_degree = 0);

  const Cell& cell() const { return cell_; }
  const Grain& positive() const { return positive_; }
  /// The negative grain; a half cell has none.
  const Grain* negative() const { return negative_ ? &*negative_ : nullptr; }
  /// The grains of the classes of an electrode, in their order; empty where all of them are alike.
  const std::vector<Grain>& classes(bool of_positive) const { return of_positive ? classes_p_ : classes_n_; }

  /// Salt in the pores; none where the electrolyte is taken as uniform.
  const Salt* salt() const { return salt_ ? &*salt_ : nullptr; }

  /// Mean stoichiometries after the charge q [C/m2] has passed since `cell.inventory`:
  /// x_p = x_p0 - q / Q_p,  x_n = x_n0 + q / Q_n. Lithium is conserved by construction.
  double positive_mean(double q) const { return cell_.inventory.positive - q / positive_capacity_; }
  double negative_mean(double q) const { return cell_.inventory.negative + q / negative_capacity_; }
  double positive_capacity() const { return positive_capacity_; }
  double negative_capacity() const { return negative_capacity_; }

  /// Outflow from a grain (j / c_max, m/s) per unit of current density: + for the positive, - for the negative.
  double positive_outflow() const { return positive_outflow_; }
  double negative_outflow() const { return negative_outflow_; }

  /// @param i      current density, positive on charge [A/m2]
  /// @param ionic  what the electrolyte adds at this moment
  Terminal terminal(double x_p, double x_n, double i, double T, const Ionic& ionic) const;
  /// The same with salt at its starting concentration.
  Terminal terminal(double x_p, double x_n, double i, double T) const { return terminal(x_p, x_n, i, T, uniform(T)); }

  /// The current at which the terminal voltage is V: Newton's method from `guess`; V rises with i.
  double current_at_voltage(double x_p, double x_n, double V, double T, double guess, const Ionic& ionic) const;
  double current_at_voltage(double x_p, double x_n, double V, double T, double guess) const {
    return current_at_voltage(x_p, x_n, V, T, guess, uniform(T));
  }
  /// The current at which the potential at the separator side is E; E falls (half cell: rises) with i.
  double current_at_separator_side(double x_p, double x_n, double E, double T, double guess, const Ionic& ionic) const;

  /// Ionic of salt at its starting concentration.
  Ionic uniform(double T) const { return T == cell_.temperature ? uniform_ : uniform_ionic(cell_, T); }

  /// Ohmic resistance of separator and pores, with reaction spread evenly over each layer [ohm m2]:
  ///     L_n / (3 kappa_n) + L_s / kappa_s + L_p / (3 kappa_p),   kappa_k = kappa(c) eps_k / tau_k.
  /// The thirds are the average potential over a layer; see S. G. Marquis et al., J. Electrochem. Soc. 166, A3693
  /// (2019).
  double electrolyte_resistance(double T) const { return uniform(T).resistance(); }
  /// L_n / (3 sigma_n) + L_p / (3 sigma_p), of the layers whose conductivity is given [ohm m2].
  double electronic_resistance() const { return electronic_resistance_; }

 private:
  Cell cell_;
  Grain positive_;
  std::optional<Grain> negative_;
  std::vector<Grain> classes_p_, classes_n_;
  std::optional<Salt> salt_;
  Ionic uniform_;
  double positive_capacity_, negative_capacity_, positive_outflow_, negative_outflow_;
  double electronic_resistance_;
};

}  // namespace onegrain::model
