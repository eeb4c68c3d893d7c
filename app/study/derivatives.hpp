#pragma once

#include <vector>

/// dQ/dV and dV/dQ, where the stages of the electrodes show.
namespace onegrain::app::study {

/// Derivative of one quantity with respect to another by a kernel that conserves their sum,
///
///     dy/dx (x) = sum_k (y_{k+1} - y_k) K((x - x_k') / w) / sum_k |x_{k+1} - x_k| K((x - x_k') / w),   K(u) = 1 - |u|,
///     |u| < 1
///
/// with x_k' halfway between two rows: noise that goes up and down cancels, nothing has to be monotonic.
struct Derivative {
  std::vector<double> x, value;  ///< NaN where no row lies within w
};
/// @param width  w; half the base of the triangle
Derivative kernel_derivative(const std::vector<double>& x, const std::vector<double>& y, double width, int points);

/// Both derivatives of one charge or discharge, as magnitudes: positive where the voltage runs as its current drives
/// it.
struct Derivatives {
  Derivative charge_by_voltage;  ///< over V [C/V]
  Derivative voltage_by_charge;  ///< over C [V/C]
};
/// @param charge         passed since the start of the step, magnitude [C]
/// @param voltage        [V]; rows where it is NaN take no part
/// @param voltage_width  w of dQ/dV [V]
/// @param charge_width   w of dV/dQ [C]
Derivatives derivatives(const std::vector<double>& charge, const std::vector<double>& voltage, bool discharge,
                        double voltage_width, double charge_width);

}  // namespace onegrain::app::study
