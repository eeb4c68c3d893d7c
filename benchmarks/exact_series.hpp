#pragma once

#include <vector>

#include "model/single_particle.hpp"

/// The floor under the cost of a voltage curve: constant diffusivities, constant current, grains that start evenly
/// filled. Then the surface of either grain is known for any moment,
///
///     x(t) = x_0 - (outflow R / D) S(D t / R^2),    S(tau) = 3 tau + 1/5 - 2 sum_n exp(-l_n^2 tau) / l_n^2,
///
/// tan l_n = l_n > 0, and what is left is the voltage of 100 pairs of surfaces and the moment of the cut-off.
/// Source: J. Crank, The Mathematics of Diffusion, 2nd ed. (1975), eq. 6.45; for small tau Carslaw and Jaeger,
/// Conduction of Heat in Solids, 2nd ed. (1959), 9.4: S = exp(tau) (1 + erf sqrt(tau)) - 1.
namespace onegrain::benchmarks {

struct VoltageCurve {
  std::vector<double> times;     ///< [s]
  std::vector<double> voltages;  ///< [V]
};

/// Voltages at `points` even moments after the start, the last of them at the cut-off.
///
/// Written to be quick: exponentials by recurrence along the even moments, no more terms than 1e-8 asks for, the
/// cut-off by Newton's method. Voltages are those of SingleParticle::terminal, accurate to 1e-3 mV for ordinary cells.
/// @param cell     constant diffusivities; starts at `cell.inventory`
/// @param current  < 0: a discharge, to the lower voltage of the cell [A/m2]
/// @param result   overwritten
void exact_discharge(const model::SingleParticle& cell, double current, int points, VoltageCurve& result);

/// Voltage at one moment, with every term that counts in double precision: what errors are measured against.
double exact_voltage(const model::SingleParticle& cell, double current, double t);

/// Moment of the cut-off from exact_voltage, by bisection [s].
double exact_cut_off(const model::SingleParticle& cell, double current);

}  // namespace onegrain::benchmarks
