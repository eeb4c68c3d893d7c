#pragma once

#include <Eigen/Dense>

#include "solver/estimation/evaluated.hpp"

/// What a least-squares problem looks like from one point, r + J d: the step that would end a fit if it were so
/// everywhere. Every problem here is complete: bounds and scale have the size of the parameters.
namespace onegrain::solver {

/// What a step from one point leads to if the residuals are linear.
struct BoxStep {
  Eigen::VectorXd step;  ///< over all parameters; p + step is inside the bounds but for round-off
  double promise = 0;    ///< by how much |r + J step|^2 is below |r|^2
  double length = 0;     ///< of the step over that of the parameters, both over `scale`
  double steepest =
      0;  ///< largest cosine between the residuals and a column, of the parameters that have room to follow it
  int movable = 0;  ///< parameters whose bounds are not equal
};
/// The step within the bounds:  min |r + J d|^2 + |damping d|^2 (each element times its own),  lower <= p + d <= upper.
/// Exact: by orthogonal transformations and active sets. Without damping it is the full step, which moves nothing along
/// what is flat.
/// @param at  inside the bounds, with its Jacobian
BoxStep box_step(const Evaluated& at, const LeastSquaresProblem& problem, const Eigen::VectorXd& damping);

}  // namespace onegrain::solver
