#pragma once

#include <Eigen/Dense>
#include <limits>
#include <optional>

#include "solver/estimation/least_squares.hpp"

namespace onegrain::solver {

/// A least-squares problem at one point.
struct Evaluated {
  Eigen::VectorXd p, r;
  Eigen::MatrixXd jacobian;  ///< where it was asked for
  double sum = std::numeric_limits<double>::infinity();
};

/// The problem with bounds and scale for every parameter.
/// @throws std::invalid_argument where sizes or bounds contradict each other or a number is not finite
LeastSquaresProblem completed(const LeastSquaresProblem& given, const Eigen::VectorXd& start);

/// @return nothing where `evaluate` has no answer or one that is not finite
/// @throws std::invalid_argument where residuals or Jacobian come in another size than announced; what `evaluate`
/// throws
std::optional<Evaluated> evaluated(const LeastSquaresProblem& problem, const Eigen::VectorXd& p, bool with_jacobian);

}  // namespace onegrain::solver
