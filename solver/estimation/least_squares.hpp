#pragma once

#include <Eigen/Dense>
#include <functional>
#include <stdexcept>
#include <string>

/// Bounded nonlinear least squares: minimise  S(p) = sum_k r_k(p)^2  over  lower <= p <= upper.
/// Levenberg-Marquardt, every step of it the exact solution of the damped linear problem in the box of the bounds
/// (linearised.hpp): a trust region alone lets correlated parameters creep along the faces.
namespace onegrain::solver {

struct LeastSquaresProblem {
  int residuals = 0;
  /// Residuals at p and, where asked for, their Jacobian dr_k/dp_m (residuals x parameters); both come in their size.
  /// @return false where p has no answer: the step that led there is shortened
  std::function<bool(const Eigen::VectorXd& p, Eigen::VectorXd& r, Eigen::MatrixXd* jacobian)> evaluate;
  /// Bounds; may be infinite, and equal where a parameter is fixed. Empty: none.
  Eigen::VectorXd lower, upper;
  /// What a change of each parameter is measured with, > 0. Empty: all 1.
  Eigen::VectorXd scale;
};

struct LeastSquaresOptions {
  int most_iterations = 200;
  double function_tolerance = 1e-12;   ///< relative change of the sum of squares
  double gradient_tolerance = 1e-14;   ///< largest cosine between the residuals and a column of the Jacobian
  double parameter_tolerance = 1e-10;  ///< length of a step over that of the parameters, both over `scale`
};

struct LeastSquaresResult {
  Eigen::VectorXd parameters;
  Eigen::VectorXd residuals;
  Eigen::MatrixXd jacobian;  ///< at the parameters
  double sum_of_squares = 0;
  /// A tolerance was met, and either the steps have become tiny or a full step promises less than 1e-6 of the sum.
  bool converged = false;
  std::string ended_by;  ///< in words
  int iterations = 0, evaluations = 0;
};

/// `evaluate` returned false, or numbers that are not finite, at the start.
struct NoAnswer : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// One thread; prints nothing; may be called from several threads at once.
/// @param start  inside the bounds (moved inside where it is not)
/// @return the best parameters met, whether or not it has converged
/// @throws std::invalid_argument where sizes or bounds contradict each other or a number is not finite; anything that
///         `evaluate` throws; NoAnswer where `start` has no answer
/// Accuracy: at a minimum with residuals the error is a small share of the last step, so a small share of
/// sqrt(function_tolerance) standard errors times the square root of the number of residuals.
/// Source: J. More, The Levenberg-Marquardt Algorithm: Implementation and Theory, Lecture Notes in Mathematics 630
/// (1978).
LeastSquaresResult least_squares(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                 const LeastSquaresOptions& options = {});

}  // namespace onegrain::solver
