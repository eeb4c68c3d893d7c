#pragma once

#include "model/cell.hpp"

namespace onegrain::model {

/// Largest tensile stresses that uneven filling raises in a sphere, elastic and free at its surface [Pa].
///
///     tangential at the surface:  sigma = Omega E c_max / (3 (1 - nu)) (x_mean - x_surface)
///     at the centre (all directions):  2 Omega E c_max / (9 (1 - nu)) (x_mean - x_centre)
///
/// Positive in tension: at the surface where lithium leaves, at the centre where it enters.
/// Sources: Y.-T. Cheng, M. W. Verbrugge, J. Power Sources 190, 453 (2009); J. Christensen, J. Newman, J. Solid State
/// Electrochem. 10, 293 (2006).
struct GrainStress {
  double surface, centre;

  double largest_tension() const { return surface > centre ? surface : centre; }
};

inline GrainStress grain_stress(const Stress& s, double maximum_concentration, double x_mean, double x_surface,
                                double x_centre) {
  const double scale = s.partial_molar_volume * s.youngs_modulus * maximum_concentration / (9 * (1 - s.poisson_ratio));
  return {3 * scale * (x_mean - x_surface), 2 * scale * (x_mean - x_centre)};
}

}  // namespace onegrain::model
