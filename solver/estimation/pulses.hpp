#pragma once

#include <utility>
#include <vector>

/// Titration by pulses (GITT): diffusion inside the grains from the voltage during and after a current pulse.
///
/// A grain at rest takes up or gives off lithium at constant flux for t_p. With theta = D t_p / R^2 and
/// h = model::exact_step_response the stoichiometry at its surface has moved, in units of what the whole pulse moves
/// the mean, by
///
///     delta(t) = [ h(theta t / t_p) - h(theta (t - t_p) / t_p) ] / (3 theta),      h(tau < 0) = 0,
///
/// and the terminals show V(t) = E(delta) + i R0 during the pulse, E(delta) after it, where E(0) and E(1) are the
/// potentials at rest before and after. Where E is straight, V - E(0) = i R0 + dE_s delta.
/// Holds for spheres of one size whose D does not change within the pulse. Source of h: Crank, The Mathematics of
/// Diffusion, 2nd ed. (1975), eq. 6.45.
namespace onegrain::solver {

/// Rest-to-rest change over change in the pulse without its resistance,
///
///     dE_s / dE_t = 3 theta / ( h(theta) - h(start theta) ),
///
/// rising from 0 to 1 / (1 - start).
/// @param theta  D t_p / R^2 > 0
/// @param start  share of the pulse at which dE_t begins to count, 0 <= start < 1
double sphere_ratio(double theta, double start = 0);

/// The theta at which sphere_ratio is `ratio`; 1e-9 relative. NaN unless 0 < ratio < 1 / (1 - start); NaN too where
/// theta would lie above 100 or below 1e-12.
double sphere_theta(double ratio, double start = 0);

/// The same by the square-root law of a pulse that is short against R^2/D,
///
///     theta = 4 / (9 pi) (dE_s / dE_t)^2.
///
/// Source: Weppner and Huggins, J. Electrochem. Soc. 124, 1569 (1977), with n V_M / S = R / 3 of a sphere.
double square_root_theta(double ratio);

/// Where a voltage at rest is, and how sure that is.
struct RestingPotential {
  double potential;    ///< mean over the last twentieth of the rest, at most 25 rows [V]
  double uncertainty;  ///< standard, from noise and resolution [V]
  double drift;        ///< what the second half of the rest moved: as much again may be to come [V]
};
/// @param time, voltage  of the rest, at least one row; time since any moment, not falling [s], [V]
/// @param resolution     step of the recorder [V]
RestingPotential rest_end(const std::vector<double>& time, const std::vector<double>& voltage, double resolution);

/// Step of the recorder: a low quantile (5 %) of the differences between rows that follow each other and are not equal
/// [V]; 0 for fewer than two different rows.
double recorder_resolution(const std::vector<double>& voltage);

/// A pulse as it was recorded. Currents in A or A/m2; resistances are then in ohm or ohm m2.
struct PulseRows {
  double current = 0;                           ///< not 0; positive charges
  double duration = 0;                          ///< t_p > 0 [s]
  std::vector<double> time, voltage;            ///< during the pulse, time since its start [s], [V]; may be empty
  std::vector<double> rest_time, rest_voltage;  ///< after it, time since its end; may be empty
  double before = 0, after = 0;                 ///< potentials at rest, E(0) and E(1) [V]
  double change_uncertainty = 0;                ///< of after - before from rests that are not complete, standard [V]
  double rest_uncertainty = 0;                  ///< of each potential at rest from noise and resolution, standard [V]
  /// Other potentials at rest: (charge since the start of this pulse) / (charge of this pulse), ascending, and E.
  std::vector<std::pair<double, double>> other_rests;
  double fit_from = 1;  ///< rows earlier than this after either switch are left out: double layer, salt [s]
};

/// What the whole transient says.
struct PulseFit {
  bool found = false;     ///< false: too few rows, or no minimum for theta within 1e-8 .. 1000
  double theta = 0;       ///< of pulse and relaxation together
  double resistance = 0;  ///< R0: what follows the current at once, by the time `fit_from` [ohm or ohm m2]
  double half_width =
      0;  ///< of the 95 % interval of ln theta: all that follows and 0.03 for what is left out, in quadrature
  double from_rows = 0;                          ///< its part from scatter and misfit of the rows
  double from_rests = 0;                         ///< its part from the uncertainty of the potentials at rest
  double from_bend = 0;                          ///< its part from a potential that may bend where no rest tells of it
  double from_shape = 0;                         ///< half the difference between pulse and relaxation, where both tell
  double pulse_theta = 0, relaxation_theta = 0;  ///< of either alone; NaN where it has too few rows or no minimum
  double misfit = 0;                             ///< root mean square over averaged rows [V]
};

/// Fits theta and R0 by least squares.
///
/// Rows are averaged over up to 40 intervals, evenly spaced in sqrt(t) during the pulse and in ln(t) after it (up to
/// 3 t_p), so that the result does not depend on how densely the recorder wrote. E(delta) is a monotone cubic through
/// all potentials at rest that are given, straight beyond. `from_rows` counts rows that err alike only once (by the
/// correlation of neighbours). `from_bend` holds half of what straight lines between the rests change. Where the
/// surface went more than a quarter of a pulse beyond the last rest that is given, it holds also what theta moves if E
/// may be the parabola through E(0) and E(1) that fits best.
/// @throws std::invalid_argument unless duration > 0, current != 0, and after != before
PulseFit fit_pulse(const PulseRows& rows);

/// The voltage of that fit, at times since the start of the pulse [s]; after t_p without the resistance [V].
std::vector<double> fitted_voltage(const PulseRows& rows, const PulseFit& fit, const std::vector<double>& time);

}  // namespace onegrain::solver
