#pragma once

#include <optional>
#include <span>
#include <vector>

#include "model/curve.hpp"

namespace onegrain::model {

/// Open-circuit potential of an insertion host against lithium metal,
///
///     U(x, T) = U(x) + (T - 298.15 K) dU/dT(x)                                     [V]
///
/// on the range where it is known. Beyond the range it follows the end tangent plus the logarithm that an ideal
/// solution of the remaining sites would give, (RT/F) ln(1 - x) towards full and -(RT/F) ln(x) towards empty, joined
/// with equal value and slope: a cell can then never be charged or discharged past a full or an empty grain. Closer
/// than 1e-6 to 0 or 1, and outside, the tangent is taken: any trial value of an integrator has a finite answer, and
/// one that is off by its tolerance is off by millivolts, not volts. A cut-off a volt beyond the last site is met
/// within 4e-5 of the capacity.
class OpenCircuitPotential {
 public:
  /// @param potential  U(x) at 298.15 K (or at several temperatures) on [curve.lower, curve.upper] within [0, 1]
  /// @param entropic   dU/dT(x)  [V/K]
  explicit OpenCircuitPotential(Property potential, Curve entropic = Curve::constant(0));

  Property::Value at(double x, double T) const;
  double operator()(double x, double T) const { return at(x, T).value; }
  /// dU/dT [V/K].
  double entropic_coefficient(double x, double T) const { return at(x, T).by_temperature; }

  /// The same potential with U(x) + addition(x); beyond its own range the addition goes on as its Curve says [V].
  OpenCircuitPotential plus(Curve addition) const;
  /// The same potential with its logarithms replaced by their tangents closer than `edge` to 0 or 1: a search that
  /// tries grains fuller than full meets volts then, not kilovolts.
  OpenCircuitPotential with_edge(double edge) const;

  /// All that it is made of, as Curve's; an addition is left out.
  void append_to(std::vector<double>& numbers) const;
  static OpenCircuitPotential taken_from(std::span<const double>& numbers);

  /// Where the potential is known rather than continued.
  double lower() const { return lower_; }
  double upper() const { return upper_; }

 private:
  Property potential_;
  Curve entropic_;
  std::optional<Curve> addition_;
  double lower_, upper_;
  double edge_;
};

}  // namespace onegrain::model
