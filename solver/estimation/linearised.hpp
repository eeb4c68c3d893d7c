#pragma once

#include <Eigen/Dense>
#include <limits>
#include <vector>

#include "solver/estimation/least_squares.hpp"

/// What a least-squares problem looks like from one point, r + J d: the steps that would end a fit if it were so
/// everywhere. Every problem here is complete: bounds and scale have the size of the parameters.
namespace onegrain::solver {

/// One entry for each parameter.
using Mask = std::vector<bool>;

/// A problem at one point.
struct Evaluated {
  Eigen::VectorXd p, r;
  Eigen::MatrixXd jacobian;  ///< where it was asked for
  double sum = std::numeric_limits<double>::infinity();
};

/// The x of least |A x - y|, for columns of one scale; no fewer rows than columns.
Eigen::VectorXd linear_solution(const Eigen::MatrixXd& A, const Eigen::VectorXd& y);

/// Cosine between the residuals and column m; 0 where either is zero.
double cosine(const Evaluated& at, Eigen::Index m);

/// The parameters that are neither held nor fixed by bounds that are equal.
std::vector<Eigen::Index> unheld(const LeastSquaresProblem& problem, const Mask& held);

/// The step that would end the fit if the residuals were linear.
struct FullStep {
  Eigen::VectorXd step;  ///< over all parameters
  double share =
      0;  ///< promised, of the sum of squares: squared cosine between the residuals and the plane of the columns
  double length = 0;  ///< over that of the parameters, both scaled
};
/// @param free  the parameters that may move; bounds are not looked at
FullStep full_step(const Evaluated& at, const LeastSquaresProblem& problem, const std::vector<Eigen::Index>& free);

/// The full step within the bounds:  min |r + J d|^2 + small |d|^2,  lower <= p + d <= upper,  columns at unit length.
/// By active sets: P. Stark and R. Parker, Comput. Stat. 10, 129 (1995), started at d = 0 so that every iterate is
/// inside.
struct BoxStep {
  Eigen::VectorXd step;
  Mask at_bound;       ///< where p is at a bound and stays there
  double promise = 0;  ///< by how much |r + J d|^2 is below |r|^2
};
/// @param at  inside the bounds
BoxStep box_step(const Evaluated& at, const LeastSquaresProblem& problem);

}  // namespace onegrain::solver
