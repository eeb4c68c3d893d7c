#pragma once

#include <optional>
#include <stdexcept>
#include <vector>

#include "model/cell.hpp"

/// The full porous-electrode calculation, as a reference for the single-particle models: slow, plain, checked by
/// refining its grid. Used by benchmarks and by the program that makes reference tables; never by the product.
///
/// x runs from the collector of the negative (0) through the separator to the collector of the positive. Charge
/// (i > 0) drives the current towards smaller x:  i_e + i_s = -i  everywhere. In the pores and the solid of a layer
///
///     eps dc/dt = -d/dx ( -D_eff dc/dx + t+ i_e / F ) + a i_n / F          salt
///     i_e = -kappa_eff dphi_e/dx + 2 kappa_eff (R T / F) (1 - t+) chi dln c/dx    phi_e: against a lithium reference
///     i_s = -sigma dphi_s/dx
///     di_e/dx = a i_n = -di_s/dx                                           charge
///     phi_s - phi_e - U(x_s, T) = eta(i_n, i0(c, x_s, T), T)               Butler-Volmer, as in model/kinetics.hpp
///
/// and at every x a grain obeys the diffusion equation of model/grain.hpp with outflow i_n / (F c_max). Transport is
/// bulk * eps / tau; i_n is the current density out of the grains [A/m2 of surface], positive where lithium leaves.
/// No salt passes the collectors. In a half cell lithium metal stands at x = 0: the whole current there is carried by
/// lithium ions and drives its Butler-Volmer reaction. Isothermal; the solvent does not move; no double layer.
/// Sources: M. Doyle, T. F. Fuller, J. Newman, J. Electrochem. Soc. 140, 1526 (1993); J. Newman, N. P. Balsara,
/// Electrochemical Systems, 4th ed. (2021), ch. 22.
namespace onegrain::benchmarks {

/// How finely x and the grains are divided. Finite volumes, second order in the width of the cells; within an electrode
/// they shrink smoothly towards the separator, where the reaction crowds.
struct Grid {
  int negative = 40, separator = 20, positive = 40;
  int modes = 20;        ///< in every grain, besides the mean
  double grading = 0.5;  ///< 0: cells of a layer alike; 0.5: at the separator a third as wide as at the collector

  Grid refined(int factor) const;
};

/// What one calculation does: a constant current, and when it ends.
struct Load {
  double current;                 ///< i [A/m2], > 0 charges; not 0
  model::Stoichiometries start;   ///< grains evenly filled, salt at rest
  std::optional<double> voltage;  ///< ends where the terminal voltage meets this [V]
  double charge;                  ///< ends after this charge at the latest, absolute [C/m2]
  std::vector<double> times;      ///< ascending; where points are wanted [s]. Empty: after every step of the integrator
};

struct Point {
  double time;     ///< [s]
  double charge;   ///< since the start, absolute [C/m2]
  double voltage;  ///< at the terminals, contact resistance included [V]
  /// phi_s - phi_e at the separator side of the negative: against lithium, which may plate at or below 0 [V].
  /// Half cell: of the working electrode.
  double separator_side_potential;
  double lowest_salt, highest_salt;  ///< over the whole cell [mol/m3]
  double salt;                       ///< in the pores, per plate area [mol/m2]; constant
  /// Largest local i_n over its mean in the layer, 1 where the reaction is even. A half cell has no negative: 1.
  double negative_unevenness, positive_unevenness;
};

struct Run {
  std::vector<Point> points;  ///< the start (t = 0+), the times asked for, the end
  bool met_voltage = false;   ///< else it ended by the charge
  long steps = 0, factorisations = 0;
};

struct CalculationFailure : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Integrates with IDA (variable-order BDF, analytic Jacobian).
/// @param tolerance  relative, of the integrator; at 1e-6 the voltage is good to about 1 uV on a given grid
/// @throws CalculationFailure with IDA's reason and the time, for instance where the salt is used up
Run porous_electrode(const model::Cell& cell, const Load& load, const Grid& grid, double tolerance = 1e-6);

/// The lowest separator_side_potential of a run [V].
double lowest_separator_side_potential(const Run& run);

/// The largest constant current that keeps separator_side_potential above `margin` from `start` until `charge` has
/// passed [A/m2]; the cut-off voltages are ignored. Bracketed secant, 1e-6 relative.
/// @param guess  first trial, of the sign sought [A/m2]: > 0 charges a cell; < 0 lithiates a half cell
double plating_onset_current(const model::Cell& cell, model::Stoichiometries start, double charge, const Grid& grid,
                             double guess, double margin = 0);

/// Limit of a second-order sequence at grid widths h and h/2: fine + (fine - coarse) / 3.
inline double richardson(double coarse, double fine) { return fine + (fine - coarse) / 3; }

}  // namespace onegrain::benchmarks
