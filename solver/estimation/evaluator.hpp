#pragma once

#include <exception>
#include <limits>

#include "solver/estimation/linearised.hpp"

namespace onegrain::solver {

/// The problem with bounds and scale for every parameter.
/// @throws std::invalid_argument where sizes or bounds contradict each other or a number is not finite
LeastSquaresProblem completed(const LeastSquaresProblem& given, const Eigen::VectorXd& start);

/// Calls `evaluate` and remembers what a search asks for twice, and the best of all it was told.
class Evaluator {
 public:
  explicit Evaluator(const LeastSquaresProblem& problem) : problem_(problem) {}

  /// The answer at p, or null where there is none; valid until the next call.
  /// @throws std::invalid_argument where residuals or Jacobian come in another size than announced
  const Evaluated* at(const Eigen::VectorXd& p, bool with_jacobian);

  /// Where a Jacobian was last asked for: what a search has accepted.
  const Evaluated& accepted() const { return full_; }

  Eigen::VectorXd best;            ///< of all answers
  Eigen::VectorXd differentiable;  ///< the last with a Jacobian
  double lowest = std::numeric_limits<double>::infinity();
  int evaluations = 0;
  bool refused = false;       ///< the last call had no answer
  std::exception_ptr thrown;  ///< kept by a caller that lets nothing pass, to be thrown again

 private:
  const LeastSquaresProblem& problem_;
  Evaluated full_, plain_;
};

}  // namespace onegrain::solver
