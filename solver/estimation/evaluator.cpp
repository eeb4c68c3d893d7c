#include "solver/estimation/evaluator.hpp"

#include <cmath>
#include <stdexcept>
#include <string>

namespace onegrain::solver {
namespace {

using Eigen::VectorXd;

bool known(const Evaluated& answer, const VectorXd& p) { return answer.p.size() == p.size() && answer.p == p; }

}  // namespace

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

const Evaluated* Evaluator::at(const VectorXd& p, bool with_jacobian) {
  const Evaluated* kept = known(full_, p) ? &full_ : !with_jacobian && known(plain_, p) ? &plain_ : nullptr;
  if (kept) {
    refused = false;
    return kept;
  }
  Evaluated& answer = with_jacobian ? full_ : plain_;
  answer.p.resize(0);
  answer.r.resize(problem_.residuals);
  if (with_jacobian) answer.jacobian.resize(problem_.residuals, p.size());
  ++evaluations;
  refused = !problem_.evaluate(p, answer.r, with_jacobian ? &answer.jacobian : nullptr);
  if (!refused) {
    if (answer.r.size() != problem_.residuals ||
        (with_jacobian && (answer.jacobian.rows() != problem_.residuals || answer.jacobian.cols() != p.size()))) {
      throw std::invalid_argument("least squares: residuals or Jacobian of another size than announced");
    }
    refused = !answer.r.allFinite() || !std::isfinite(answer.r.squaredNorm()) ||
              (with_jacobian && !(answer.jacobian.allFinite() && std::isfinite(answer.jacobian.squaredNorm())));
  }
  if (refused) return nullptr;
  answer.sum = answer.r.squaredNorm();
  answer.p = p;
  if (answer.sum < lowest) {
    lowest = answer.sum;
    best = p;
  }
  if (with_jacobian) differentiable = p;
  return &answer;
}

}  // namespace onegrain::solver
