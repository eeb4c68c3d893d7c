#pragma once

#include <Eigen/Dense>
#include <vector>

namespace onegrain::solver {

/// Jumps of the local currents at the points over the depth of a layer, > 0 into the grains.
struct LocalJumps {
  Eigen::VectorXd current;      ///< after minus before [A/m2 of plate]; empty: the same at every depth
  Eigen::VectorXd diffusivity;  ///< at the grain surfaces, then [m2/s]
};

/// A recent jump of the current: its layer under the grain surfaces may still be thinner than the modes resolve.
struct Jump {
  double age;      ///< [s]
  double current;  ///< after minus before [A/m2]
  double positive_diffusivity, negative_diffusivity;
  LocalJumps positive, negative;
};

/// How a layer is filled over its depth, where that is resolved: at the points of model::LayerPoints. Empty: alike at
/// every depth.
struct DepthFilling {
  Eigen::VectorXd means;    ///< mean stoichiometries of the grains
  Eigen::MatrixXd uneven;   ///< their uneven filling as in State, one column per point; no rows: evenly filled
  Eigen::VectorXd current;  ///< local, flowing just before [A/m2 of plate], > 0 into the grains
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
  DepthFilling positive_depth, negative_depth;  ///< `positive` and `negative` are the means over the depth of these
  Eigen::VectorXd salt;    ///< uneven salt: amplitudes of its modes [mol/m3 scaled as in model::Salt]; empty: even
  double temperature = 0;  ///< [K]
  double current = 0;      ///< flowing just before [A/m2]
  std::vector<Jump> jumps;
  UnresolvedLayer unresolved;
  double run_start = 0;  ///< charge at the start of the run that sensitivities belong to [C/m2]
  /// Derivatives of `positive` and `negative`, one column per grain parameter; empty: zero.
  Eigen::MatrixXd positive_slopes, negative_slopes;
};

}  // namespace onegrain::solver
