#pragma once

#include <functional>
#include <vector>

#include "model/curve.hpp"
#include "solver/estimation/pulses.hpp"

/// The voltage during and after one pulse as a function of theta, and sums of squares against it. Symbols: pulses.hpp.
namespace onegrain::solver {

double mean_of(const std::vector<double>& values);  ///< of at least one

/// delta(t): how far the surface has moved, in units of what the pulse moves the mean.
double surface_shift(double theta, double t, double duration);

/// E(delta) through the potentials at rest: straight lines, or cubic pieces with slopes that keep them monotone
/// (harmonic means, as Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 300 (1984)).
model::Curve potential_of_shift(const PulseRows& rows, bool straight = false);

/// Where f is least between two arguments: a scan, then golden section to 1e-7. NaN at either end.
double minimum_between(const std::function<double(double)>& f, double lower, double upper, int steps);

/// The points that are fitted, and the potential that they are held against.
struct Transient {
  struct Point {
    double time, voltage;
  };
  double duration;
  model::Curve potential;
  std::vector<Point> pulse, relaxation;  ///< time since the start of the pulse

  /// Rows averaged over intervals even in sqrt(t) during the pulse and in ln(t) after it.
  static Transient of(const PulseRows& rows);

  double model_voltage(double theta, double t) const { return potential(surface_shift(theta, t, duration)); }

  /// Residuals without resistance; in the pulse their mean is what the resistance takes.
  std::vector<double> residuals(const std::vector<Point>& points, double theta) const;
  double resistive(double theta) const { return pulse.empty() ? 0 : mean_of(residuals(pulse, theta)); }

  double sum_of_squares(double theta, bool with_pulse, bool with_relaxation) const;

  /// The same where E = E(0) + (E(1) - E(0)) (delta + k delta (delta - 1)), with the k that fits best: linear in k and
  /// in what the resistance takes.
  double sum_with_bend(double theta, double before, double change, bool with_pulse, bool with_relaxation) const;

  /// Where the sum of squares is least. NaN at the ends of the range.
  double best_theta(bool with_pulse, bool with_relaxation) const;
  /// The same near a theta: how ln theta moves when a potential does. NaN beyond a factor 4.
  double moved_from(double theta, bool with_pulse, bool with_relaxation) const;

  /// Standard uncertainty of ln theta from the residuals at theta.
  double row_uncertainty(double theta, bool with_pulse, bool with_relaxation) const;
};

}  // namespace onegrain::solver
