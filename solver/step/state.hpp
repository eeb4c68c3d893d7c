#pragma once

#include <Eigen/Dense>
#include <vector>

namespace onegrain::solver {

/// A recent jump of the current: its layer under the grain surfaces may still be thinner than the modes resolve.
struct Jump {
  double age;      ///< [s]
  double current;  ///< after minus before [A/m2]
  double positive_diffusivity, negative_diffusivity;
};

/// What a grain's filling is differentiated with respect to: the logarithm of the diffusion time R^2/D, the logarithm
/// of the capacity Q at constant diffusion time, and the stoichiometry at the start of the run.
constexpr int grain_parameters = 3;

/// A layer of lithium under the grain surfaces that is thinner than the modes resolve, and not known in closed form:
/// that of a current which changes by itself, as in a hold.
struct UnresolvedLayer {
  double volts = 0;    ///< what it may cost (see Segment::truncation) [V]
  double seconds = 0;  ///< until the modes resolve it [s]
};

/// Everything that the future of a cell depends on.
struct State {
  double charge = 0;         ///< passed since `cell.inventory` [C/m2]
  Eigen::VectorXd positive;  ///< uneven filling of the grains: coefficients in orthonormal even polynomials
  Eigen::VectorXd negative;  ///<   (GrainModes::polynomials), any number of them; empty: evenly filled
  Eigen::VectorXd salt;      ///< uneven salt: amplitudes of its modes [mol/m3 scaled as in model::Salt]; empty: even
  double temperature = 0;    ///< [K]
  double current = 0;        ///< flowing just before [A/m2]
  std::vector<Jump> jumps;
  UnresolvedLayer unresolved;
  double run_start = 0;  ///< charge at the start of the run that sensitivities belong to [C/m2]
  /// Derivatives of `positive` and `negative`, one column per grain parameter; empty: zero.
  Eigen::MatrixXd positive_slopes, negative_slopes;
};

}  // namespace onegrain::solver
