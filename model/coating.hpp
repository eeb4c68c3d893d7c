#pragma once

namespace onegrain::model {

/// What lies on a foil per plate area, and how thick it is: the arithmetic of a coating, wherever its numbers come
/// from.
struct Coating {
  double active_volume;  ///< host, whether it takes part or not [m3/m2]
  double other_volume;   ///< carbon and binder [m3/m2]
  double thickness;      ///< [m]

  double active_fraction() const { return active_volume / thickness; }  ///< [1]
  double other_fraction() const { return other_volume / thickness; }    ///< [1]
  /// 1 - all solids; below 0 where the numbers contradict each other [1]
  double porosity() const { return 1 - active_fraction() - other_fraction(); }

  /// `factor` times as much of everything, pressed alike: a thicker coating of the same make.
  Coating thicker(double factor) const { return {factor * active_volume, factor * other_volume, factor * thickness}; }
  /// The same solids pressed to another porosity in (0, 1): the thickness follows.
  Coating pressed(double porosity) const {
    return {active_volume, other_volume, (active_volume + other_volume) / (1 - porosity)};
  }
};

/// porosity^-1/2, where nobody states another (D. A. G. Bruggeman, Ann. Phys. 416, 636 (1935)) [1]. Where there are no
/// pores the number means nothing.
double usual_tortuosity(double porosity);

}  // namespace onegrain::model
