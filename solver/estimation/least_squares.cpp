#include "solver/estimation/least_squares.hpp"

#include <ceres/ceres.h>
#include <glog/logging.h>

#include <algorithm>
#include <cmath>
#include <exception>
#include <limits>
#include <mutex>
#include <vector>

#include "solver/estimation/evaluator.hpp"
#include "solver/estimation/linearised.hpp"

namespace onegrain::solver {
namespace {

using Eigen::VectorXd;

constexpr double promising = 1e-6;  // share of the sum of squares that a full step may still promise at the end
constexpr double tiny_step = 1e-7;  // relative: the end of a fit whose sum of squares goes to zero

/// Ceres logs through glog, which writes to stderr where nobody has set it up; one compiled by us says nothing.
void silence_logging() {
#ifndef MAX_LOG_LEVEL
  static std::once_flag once;
  std::call_once(once, [] { FLAGS_minloglevel = google::GLOG_FATAL; });
#endif
}

/// The problem over the parameters that are free, in units of their scale.
class Reduced final : public ceres::CostFunction, public ceres::IterationCallback {
 public:
  enum class Stop { none, thrown, gradient, bound_met };

  Reduced(const LeastSquaresProblem& problem, Evaluator& evaluator, const VectorXd& p, std::vector<Eigen::Index> free,
          double gradient_tolerance)
      : problem_(problem),
        evaluator_(evaluator),
        p_(p),
        gradient_tolerance_(gradient_tolerance),
        free_(std::move(free)) {
    pressed_.resize(free_.size());
    set_num_residuals(problem.residuals);
    mutable_parameter_block_sizes()->push_back(static_cast<int>(free_.size()));
  }

  VectorXd scaled(const VectorXd& full) const { return full(free_).cwiseQuotient(problem_.scale(free_)); }

  /// Exact at the bounds, which the division by the scale may miss by round-off.
  VectorXd unscaled(const double* x) const {
    VectorXd p = p_;
    for (std::size_t k = 0; k < free_.size(); ++k) {
      const Eigen::Index m = free_[k];
      const double lower = problem_.lower(m), upper = problem_.upper(m), s = problem_.scale(m);
      p(m) = x[k] <= lower / s   ? lower
             : x[k] >= upper / s ? upper
             : x[k] == p_(m) / s ? p_(m)
                                 : std::clamp(x[k] * s, lower, upper);
    }
    return p;
  }

  bool Evaluate(double const* const* x, double* residuals, double** jacobians) const override {
    if (evaluator_.thrown) return false;
    const bool with_jacobian = jacobians && jacobians[0];
    try {
      const Evaluated* answer = evaluator_.at(unscaled(x[0]), with_jacobian);
      if (!answer) return false;
      Eigen::Map<VectorXd>(residuals, answer->r.size()) = answer->r;
      if (with_jacobian) {
        using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
        Eigen::Map<RowMajor> to(jacobians[0], answer->r.size(), static_cast<Eigen::Index>(free_.size()));
        for (std::size_t k = 0; k < free_.size(); ++k) {
          to.col(static_cast<Eigen::Index>(k)) = answer->jacobian.col(free_[k]) * problem_.scale(free_[k]);
        }
      }
      return true;
    } catch (...) {
      evaluator_.thrown = std::current_exception();
      return false;
    }
  }

  ceres::CallbackReturnType operator()(const ceres::IterationSummary& summary) override {
    radius = summary.trust_region_radius;
    if (evaluator_.thrown) {
      stop = Stop::thrown;
      return ceres::SOLVER_ABORT;
    }
    if (!summary.step_is_successful) return ceres::SOLVER_CONTINUE;
    const Evaluated& here = evaluator_.accepted();
    bool flat = true;
    for (std::size_t k = 0; k < free_.size(); ++k) {
      const double c = cosine(here, free_[k]);
      if (pushed_outwards(here.p, free_[k], c)) {
        // A full step would take the parameter across its bound again and again; the trust region alone is slow to
        // learn that.
        if (++pressed_[k] >= 2) stop = Stop::bound_met;
      } else {
        pressed_[k] = 0;
        flat = flat && std::abs(c) <= gradient_tolerance_;
      }
    }
    if (stop == Stop::bound_met) return ceres::SOLVER_TERMINATE_SUCCESSFULLY;
    if (flat) stop = Stop::gradient;
    return flat ? ceres::SOLVER_TERMINATE_SUCCESSFULLY : ceres::SOLVER_CONTINUE;
  }

  bool pushed_outwards(const VectorXd& p, Eigen::Index m, double gradient) const {
    return (p(m) <= problem_.lower(m) && gradient >= 0) || (p(m) >= problem_.upper(m) && gradient <= 0);
  }
  const std::vector<Eigen::Index>& free() const { return free_; }

  Stop stop = Stop::none;
  double radius = 0;

 private:
  const LeastSquaresProblem& problem_;
  Evaluator& evaluator_;
  VectorXd p_;
  double gradient_tolerance_;
  std::vector<Eigen::Index> free_;
  std::vector<int> pressed_;  // accepted points in a row at which the parameter was pushed against its bound
};

ceres::Solver::Options options_for(const LeastSquaresOptions& options, int iterations, double radius) {
  ceres::Solver::Options to;
  to.minimizer_type = ceres::TRUST_REGION;
  to.trust_region_strategy_type = ceres::LEVENBERG_MARQUARDT;
  to.linear_solver_type = ceres::DENSE_QR;
  to.dense_linear_algebra_library_type = ceres::EIGEN;
  to.num_threads = 1;
  to.logging_type = ceres::SILENT;
  to.max_num_iterations = iterations;
  to.function_tolerance = options.function_tolerance;
  to.gradient_tolerance = 0;  // Reduced looks at it, free of scale
  to.parameter_tolerance = options.parameter_tolerance;
  to.initial_trust_region_radius = radius;
  to.max_num_line_search_step_size_iterations = 0;  // a shorter step costs less by the trust region
  to.max_num_consecutive_invalid_steps = 20;
  return to;
}

std::string in_words(const ceres::Solver::Summary& summary, const LeastSquaresOptions& options) {
  switch (summary.termination_type) {
    case ceres::CONVERGENCE:
      if (summary.message.rfind("Function", 0) == 0) return "the sum of squares no longer changes";
      if (summary.message.rfind("Parameter", 0) == 0) return "the parameters no longer change";
      if (summary.message.rfind("Gradient", 0) == 0) return "the gradient vanishes";
      return "steps have shrunk to nothing";
    case ceres::NO_CONVERGENCE:
      return std::to_string(options.most_iterations) + " iterations";
    default:
      return "no step could be computed";
  }
}

/// One fit: turns of steps in the box of the bounds and of searches by Ceres over what is left free, until neither
/// promises more.
class Descent {
 public:
  Descent(const LeastSquaresProblem& problem, const VectorXd& start, const LeastSquaresOptions& options)
      : problem_(problem),
        options_(options),
        evaluator_(problem),
        held_(static_cast<std::size_t>(start.size()), false),
        worth_(std::max(options.function_tolerance, 1e-14)),
        function_tolerance_(options.function_tolerance) {
    if (!evaluator_.at(start.cwiseMax(problem.lower).cwiseMin(problem.upper), true)) {
      throw NoAnswer("least squares: the start has no answer");
    }
    end_ = evaluator_.accepted();
    for (Eigen::Index m = 0; m < start.size(); ++m) {
      bounded_ = bounded_ || (problem.lower(m) < problem.upper(m) &&
                              (std::isfinite(problem.lower(m)) || std::isfinite(problem.upper(m))));
    }
  }

  LeastSquaresResult run() {
    for (std::size_t round = 0;; ++round) {
      if (bounded_) step_in_the_box();
      Searched searched = search();
      take_the_best(searched);
      if (!searched.at_rest || !another_turn(searched.stop)) break;
      if (result_.iterations >= options_.most_iterations || round > 3 * held_.size() + 10) {
        result_.ended_by = std::to_string(result_.iterations) + " iterations";
        break;
      }
    }
    if (result_.converged) polish();
    result_.parameters = end_.p;
    result_.residuals = end_.r;
    result_.jacobian = end_.jacobian;
    result_.sum_of_squares = end_.sum;
    result_.evaluations = evaluator_.evaluations;
    return result_;
  }

 private:
  struct Searched {
    bool at_rest = true;
    Reduced::Stop stop = Reduced::Stop::none;
  };

  /// Steps within the bounds while they keep a quarter of what they promise; what stays at its bound is held.
  void step_in_the_box() {
    BoxStep box = box_step(end_, problem_);
    for (int k = 0; k < 10 && box.promise > worth_ * end_.sum; ++k) {
      const VectorXd to = (end_.p + box.step).cwiseMax(problem_.lower).cwiseMin(problem_.upper);
      const Evaluated* there = evaluator_.at(to, false);
      if (!there || there->sum > end_.sum - box.promise / 4 || !(there = evaluator_.at(to, true))) break;
      end_ = *there;
      ++result_.iterations;
      box = box_step(end_, problem_);
    }
    held_ = box.at_bound;
  }

  /// Levenberg-Marquardt over what is not held.
  Searched search() {
    Reduced reduced(problem_, evaluator_, end_.p, unheld(problem_, held_), options_.gradient_tolerance);
    result_.ended_by = "no parameter is free";
    if (reduced.free().empty()) return {};
    ceres::Problem::Options ownership;
    ownership.cost_function_ownership = ceres::DO_NOT_TAKE_OWNERSHIP;
    ceres::Problem block(ownership);
    VectorXd x = reduced.scaled(end_.p);
    block.AddResidualBlock(&reduced, nullptr, x.data());
    for (int k = 0; k < static_cast<int>(reduced.free().size()); ++k) {
      const Eigen::Index m = reduced.free()[static_cast<std::size_t>(k)];
      const double lower = problem_.lower(m) / problem_.scale(m), upper = problem_.upper(m) / problem_.scale(m);
      if (std::isfinite(lower)) block.SetParameterLowerBound(x.data(), k, lower);
      if (std::isfinite(upper)) block.SetParameterUpperBound(x.data(), k, upper);
    }
    ceres::Solver::Options settings =
        options_for(options_, std::max(options_.most_iterations - result_.iterations, 0), radius_);
    settings.function_tolerance = function_tolerance_;
    settings.callbacks.push_back(&reduced);
    ceres::Solver::Summary summary;
    evaluator_.refused = false;
    ceres::Solve(settings, &block, &summary);
    if (evaluator_.thrown) std::rethrow_exception(evaluator_.thrown);
    result_.iterations += std::max(static_cast<int>(summary.iterations.size()) - 1, 0);
    radius_ = reduced.radius;
    Searched searched{summary.termination_type == ceres::CONVERGENCE || reduced.stop == Reduced::Stop::gradient ||
                          reduced.stop == Reduced::Stop::bound_met,
                      reduced.stop};
    result_.ended_by = reduced.stop == Reduced::Stop::gradient ? "the gradient vanishes" : in_words(summary, options_);
    if (evaluator_.refused && searched.at_rest) {
      searched.at_rest = false;
      result_.ended_by = "beyond here there is no answer";
    }
    return searched;
  }

  /// Ceres drops the last step it has tried; the best of all counts.
  void take_the_best(Searched& searched) {
    const Evaluated* here = evaluator_.at(VectorXd(evaluator_.best), true);
    if (!here) {
      here = evaluator_.at(VectorXd(evaluator_.differentiable), true);
      if (!here) throw NoAnswer("least squares: one point has an answer the first time only");
      searched.at_rest = false;
      result_.ended_by = "beyond here there are no derivatives";
    }
    end_ = *here;
  }

  /// Says whether the search has converged, or that there is more to be had.
  bool another_turn(Reduced::Stop stop) {
    bool changed = false;
    Mask pressed = held_;
    if (bounded_) {
      const BoxStep box = box_step(end_, problem_);
      pressed = box.at_bound;
      changed = (pressed != held_ || stop == Reduced::Stop::bound_met) && box.promise > worth_ * end_.sum;
    }
    if (changed) radius_ = std::max(radius_, 1.0);
    const FullStep left = full_step(end_, problem_, unheld(problem_, pressed));
    result_.converged = !changed && (left.share <= promising || left.length <= tiny_step);
    if (!changed && !result_.converged && function_tolerance_ > 0) {
      function_tolerance_ = 0;  // small steps are taken for the end where the trust region has shrunk
      changed = true;
    }
    held_ = pressed;
    if (!changed && !result_.converged) result_.ended_by = "stalled: a full step still promises less";
    return changed;
  }

  /// Sums of squares agree to round-off while parameters still differ by its square root: the last digits come from the
  /// gradient.
  void polish() {
    for (int k = 0; k < 8; ++k) {
      const std::vector<Eigen::Index> free = unheld(problem_, held_);
      const FullStep full = full_step(end_, problem_, free);
      const VectorXd to = end_.p + full.step;
      if (full.share <= options_.function_tolerance || (to.array() < problem_.lower.array()).any() ||
          (to.array() > problem_.upper.array()).any()) {
        return;
      }
      const Evaluated* there = evaluator_.at(to, true);
      if (!there || there->sum > end_.sum * (1 + 1e-12) || full_step(*there, problem_, free).share > full.share / 2) {
        return;
      }
      end_ = *there;
    }
  }

  const LeastSquaresProblem& problem_;
  const LeastSquaresOptions& options_;
  Evaluator evaluator_;
  Mask held_;
  double worth_;  // what a step promises to be taken, of the sum of squares
  double function_tolerance_, radius_ = 1e4;
  bool bounded_ = false;
  Evaluated end_;
  LeastSquaresResult result_;
};

}  // namespace

LeastSquaresResult least_squares(const LeastSquaresProblem& given, const VectorXd& start,
                                 const LeastSquaresOptions& options) {
  silence_logging();
  const LeastSquaresProblem problem = completed(given, start);
  return Descent(problem, start, options).run();
}

}  // namespace onegrain::solver
