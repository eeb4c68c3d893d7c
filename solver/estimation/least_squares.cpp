#include "solver/estimation/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "solver/estimation/linearised.hpp"

namespace onegrain::solver {
namespace {

using Eigen::VectorXd;

constexpr double promising = 1e-6;   // share of the sum of squares that a full step may still promise at the end
constexpr double tiny_step = 1e-7;   // relative: the end of a fit whose sum of squares goes to zero
constexpr double kept_share = 1e-3;  // of what a step promised, for it to be taken
constexpr double fading = 0.5;  // of D where a column shrinks: what has ceased to matter is not sent off without end
constexpr double round_off = 1e-16;  // of the sum of squares
constexpr double least_damping = 1e-16, no_damping_helps = 1e32;

/// Levenberg-Marquardt in a box: every step is the exact minimum, within the bounds, of
///     |r + J d|^2 + damping |D d|^2,  D = diag(lengths of the columns of J),
/// so that units drop out and a parameter meets its bound, stays there or leaves it in one step. The damping follows
/// how well the last step kept its promise.
class Descent {
 public:
  Descent(const LeastSquaresProblem& problem, const VectorXd& start, const LeastSquaresOptions& options)
      : problem_(problem), options_(options) {
    std::optional<Evaluated> here = at(within(start), true);
    if (!here) throw NoAnswer("least squares: the start has no answer");
    reach_ = VectorXd::Zero(start.size());
    go_to(std::move(*here));
  }

  LeastSquaresResult run() {
    BoxStep full = full_step();
    while (!settled(full)) {
      if (result_.iterations >= options_.most_iterations) {
        result_.ended_by = std::to_string(result_.iterations) + " iterations";
        break;
      }
      if (!step_forward()) {
        end_without_a_step(full);
        break;
      }
      full = full_step();
    }
    if (result_.converged) polish(full);
    result_.parameters = here_.p;
    result_.residuals = here_.r;
    result_.jacobian = here_.jacobian;
    result_.sum_of_squares = here_.sum;
    return result_;
  }

 private:
  std::optional<Evaluated> at(const VectorXd& p, bool with_jacobian) {
    ++result_.evaluations;
    return evaluated(problem_, p, with_jacobian);
  }

  VectorXd within(const VectorXd& p) const { return p.cwiseMax(problem_.lower).cwiseMin(problem_.upper); }

  void go_to(Evaluated there) {
    here_ = std::move(there);
    reach_ = (fading * reach_).cwiseMax(here_.jacobian.colwise().norm().transpose());
  }

  BoxStep full_step() const { return box_step(here_, problem_, VectorXd::Zero(here_.p.size())); }

  /// Whether one of the tolerances is met here.
  bool settled(const BoxStep& full) {
    if (full.movable == 0)
      result_.ended_by = "no parameter is free";
    else if (full.steepest <= options_.gradient_tolerance)
      result_.ended_by = "the gradient vanishes";
    else if (full.promise <= options_.function_tolerance * here_.sum)
      result_.ended_by = "the sum of squares no longer changes";
    else if (full.length <= options_.parameter_tolerance)
      result_.ended_by = "the parameters no longer change";
    else
      return false;
    result_.converged = true;
    return true;
  }

  /// Goes to the next point with a lower sum of squares, with more and more damping where a step does not keep its
  /// promise.
  /// @return false where no damping leads on
  bool step_forward() {
    for (double growth = 2; damping_ < no_damping_helps; growth *= 2) {
      const BoxStep step = box_step(here_, problem_, std::sqrt(damping_) * reach_);
      const VectorXd to = within(here_.p + step.step);
      if (step.promise <= round_off * here_.sum || to == here_.p) return false;
      if (result_.iterations >= options_.most_iterations) return true;  // said by run()
      ++result_.iterations;
      std::optional<Evaluated> there = at(to, kept_promise_);  // after a good step the next one is likely to be taken
      const double kept = there ? (here_.sum - there->sum) / step.promise : 0;
      const bool lower = kept > kept_share;
      if (lower && !kept_promise_) there = at(to, true);
      obstacle_ = there ? Obstacle::none : lower ? Obstacle::no_derivatives : Obstacle::no_answer;
      kept_promise_ = there && kept > 0.5;
      if (there && lower) {
        go_to(std::move(*there));
        damping_ = std::max(damping_ * std::max(1.0 / 3, 1 - std::pow(2 * kept - 1, 3)), least_damping);
        return true;
      }
      damping_ *= growth;
    }
    return false;
  }

  void end_without_a_step(const BoxStep& full) {
    if (obstacle_ == Obstacle::no_answer) {
      result_.ended_by = "beyond here there is no answer";
    } else if (obstacle_ == Obstacle::no_derivatives) {
      result_.ended_by = "beyond here there are no derivatives";
    } else {
      result_.converged = full.promise <= promising * here_.sum || full.length <= tiny_step;
      result_.ended_by =
          result_.converged ? "steps have shrunk to nothing" : "stalled: a full step still promises less";
    }
  }

  /// Sums of squares agree to round-off while parameters still differ by its square root: the last digits come from the
  /// gradient.
  void polish(BoxStep full) {
    for (int k = 0; k < 8 && full.length > 0 && (k == 0 || full.promise > options_.function_tolerance * here_.sum);
         ++k) {
      std::optional<Evaluated> there = at(within(here_.p + full.step), true);
      if (!there || there->sum > here_.sum * (1 + 1e-12)) return;
      const BoxStep next = box_step(*there, problem_, VectorXd::Zero(here_.p.size()));
      if (next.promise > full.promise / 2) return;
      here_ = std::move(*there);
      full = next;
    }
  }

  enum class Obstacle { none, no_answer, no_derivatives };

  const LeastSquaresProblem& problem_;
  const LeastSquaresOptions& options_;
  Evaluated here_;
  VectorXd reach_;  // D
  double damping_ = 1e-2;
  bool kept_promise_ = false;
  Obstacle obstacle_ = Obstacle::none;  // met by the last step
  LeastSquaresResult result_;
};

}  // namespace

LeastSquaresResult least_squares(const LeastSquaresProblem& given, const VectorXd& start,
                                 const LeastSquaresOptions& options) {
  const LeastSquaresProblem problem = completed(given, start);
  return Descent(problem, start, options).run();
}

}  // namespace onegrain::solver
