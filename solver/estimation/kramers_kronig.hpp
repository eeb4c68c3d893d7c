#pragma once

#include <complex>
#include <vector>

/// Whether a spectrum can be that of a linear cell that does not change while it is measured: then its real and
/// imaginary parts determine each other (relations of Kramers and Kronig).
namespace onegrain::solver {

struct KramersKronig {
  int elements = 0;                             ///< resistors with a capacitor beside each, in a row
  double series = 0;                            ///< resistance in front of them [ohm]
  double inductance = 0;                        ///< in a row with them [H]
  std::vector<std::complex<double>> residuals;  ///< (measured - fitted) / |measured|
  double noise = 0;          ///< of the points that pass, standard deviation of either part over |Z| [1]
  double limit = 0;          ///< what a point may miss by, either part over |Z| [1]
  std::vector<bool> passes;  ///< point by point

  int failing() const;
};

/// A chain  Z = R_0 + i w L + 1 / (i w C) + sum_k R_k / (1 + i w tau_k),  tau_k evenly in the logarithm over the
/// measured range, every part of which keeps the relations, is fitted to all points at once, linear in R_0, L, 1/C and
/// R_k, each point weighed with 1/|Z|. As many elements are taken as bring no more swings of sign than data do. What
/// the chain then misses by more than 1 % of |Z| (common practice) and five times the noise does not keep them. A few
/// points that fail are left out of the fit, so that they do not bend it beside themselves.
///
/// Source: B. A. Boukamp, J. Electrochem. Soc. 142, 1885 (1995); the number of elements: M. Schonleber, D. Klotz, E.
/// Ivers-Tiffee, Electrochim. Acta 131, 20 (2014), mu <= 0.85 (both from memory).
/// Two elements to a decade are taken in any case.
/// @param frequency  > 0 [Hz], at least 5
/// @throws std::invalid_argument  fewer points, other lengths, a number that is not finite or a Z of 0
KramersKronig kramers_kronig(const std::vector<double>& frequency, const std::vector<std::complex<double>>& impedance);

}  // namespace onegrain::solver
