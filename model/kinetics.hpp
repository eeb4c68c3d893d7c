#pragma once

#include "model/cell.hpp"

/// Charge transfer at a surface: the Butler-Volmer equation and its exchange current density.
namespace onegrain::model {

/// A surface overpotential and how it moves with its arguments.
struct Overpotential {
  double value;           ///< eta [V]
  double by_current;      ///< d eta / d i_s [V m2/A], > 0
  double by_exchange;     ///< d eta / d i0 [V m2/A]
  double by_temperature;  ///< d eta / dT at constant i0 [V/K]
};

/// Solves the Butler-Volmer equation for the overpotential,
///
///     i_s = i0 [ exp(aa F eta / RT) - exp(-ac F eta / RT) ]
///
/// @param i_s  current density out of the surface into the electrolyte (anodic, delithiation > 0)   [A/m2 of surface]
/// @param i0   exchange current density, > 0                                                        [A/m2]
/// @param T    temperature, > 0                                                                     [K]
/// @param aa, ac  transfer coefficients, > 0; with both 1/2 the closed form eta = (2RT/F) asinh(i_s / 2 i0)
///
/// Limits: eta -> RT/((aa+ac) F) i_s/i0 as i_s -> 0; eta -> RT/(aa F) ln(i_s/i0) for large i_s > 0.
/// Accurate to 1e-13 relative in i_s. Source: Bard and Faulkner, Electrochemical Methods, 2nd ed. (2001), ch. 3.
Overpotential butler_volmer(double i_s, double i0, double T, double aa, double ac);

/// Exchange current density of a host and its derivative with respect to the surface stoichiometry,
///
///     i0 = i0_ref(T) (c / 1 mol/L)^aa (2 (1 - x))^aa (2 x)^ac
///
/// @param x  surface stoichiometry; held within 1e-6 of 0 and 1, where the derivative is 0
/// @param c  salt concentration at the surface, held above 1e-3 mol/m3                              [mol/m3]
struct ExchangeCurrent {
  double value;             ///< [A/m2]
  double by_stoichiometry;  ///< [A/m2]
  double by_concentration;  ///< [A m/mol]
  double by_temperature;    ///< [A m^-2 K^-1]
};
ExchangeCurrent exchange_current_density(const Host& host, double x, double c, double T);

/// The same for lithium metal, i0 = i0_ref(T) (c / 1 mol/L)^aa.
ExchangeCurrent exchange_current_density(const LithiumMetal& lithium, double c, double T);

}  // namespace onegrain::model
