#include "solver/estimation/evaluated.hpp"

#include <cmath>
#include <stdexcept>
#include <string>
#include <utility>

namespace onegrain::solver {

using Eigen::VectorXd;

LeastSquaresProblem completed(const LeastSquaresProblem& given, const VectorXd& start) {
  LeastSquaresProblem problem = given;
  const Eigen::Index n = start.size();
  const double infinite = std::numeric_limits<double>::infinity();
  if (problem.lower.size() == 0) problem.lower = VectorXd::Constant(n, -infinite);
  if (problem.upper.size() == 0) problem.upper = VectorXd::Constant(n, infinite);
  if (problem.scale.size() == 0) problem.scale = VectorXd::Ones(n);
  if (problem.residuals <= 0 || n == 0) throw std::invalid_argument("least squares: no residuals or no parameters");
  if (!problem.evaluate) throw std::invalid_argument("least squares: nothing to evaluate");
  if (problem.lower.size() != n || problem.upper.size() != n || problem.scale.size() != n) {
    throw std::invalid_argument("least squares: bounds or scale of another size than the start");
  }
  for (Eigen::Index m = 0; m < n; ++m) {
    if (!(problem.lower(m) <= problem.upper(m)) || problem.lower(m) == infinite || problem.upper(m) == -infinite) {
      throw std::invalid_argument("least squares: the lower bound of parameter " + std::to_string(m) +
                                  " is above the upper one");
    }
    if (!(problem.scale(m) > 0 && std::isfinite(problem.scale(m)))) {
      throw std::invalid_argument("least squares: the scale of parameter " + std::to_string(m) + " is not positive");
    }
    if (!std::isfinite(start(m))) {
      throw std::invalid_argument("least squares: the start of parameter " + std::to_string(m) + " is not finite");
    }
  }
  return problem;
}

std::optional<Evaluated> evaluated(const LeastSquaresProblem& problem, const VectorXd& p, bool with_jacobian) {
  Evaluated answer{p, VectorXd(problem.residuals)};
  if (with_jacobian) answer.jacobian.resize(problem.residuals, p.size());
  if (!problem.evaluate(p, answer.r, with_jacobian ? &answer.jacobian : nullptr)) return std::nullopt;
  if (answer.r.size() != problem.residuals ||
      (with_jacobian && (answer.jacobian.rows() != problem.residuals || answer.jacobian.cols() != p.size()))) {
    throw std::invalid_argument("least squares: residuals or Jacobian of another size than announced");
  }
  answer.sum = answer.r.squaredNorm();
  const bool finite = std::isfinite(answer.sum) && (!with_jacobian || std::isfinite(answer.jacobian.squaredNorm()));
  return finite ? std::optional(std::move(answer)) : std::nullopt;
}

}  // namespace onegrain::solver
