#include "solver/estimation/least_squares.hpp"

#include <ceres/ceres.h>
#include <glog/logging.h>

#include <algorithm>
#include <cmath>
#include <exception>
#include <limits>
#include <mutex>
#include <vector>

namespace onegrain::solver {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using Mask = std::vector<bool>;

constexpr double promising = 1e-6;  // share of the sum of squares that a full step may still promise at the end
constexpr double tiny_step = 1e-7;  // relative: the end of a fit whose sum of squares goes to zero

/// Ceres logs through glog, which writes to stderr where nobody has set it up.
void silence_logging() {
  static std::once_flag once;
  std::call_once(once, [] { FLAGS_minloglevel = google::GLOG_FATAL; });
}

/// Calls `evaluate`, remembers what Ceres asks for twice, and lets nothing be thrown through Ceres.
class Evaluator {
 public:
  struct Answer {
    VectorXd p, r;
    MatrixXd jacobian;
    double sum = std::numeric_limits<double>::infinity();
  };

  explicit Evaluator(const LeastSquaresProblem& problem) : problem_(problem) {}

  /// The answer at p, or null where there is none.
  const Answer* at(const VectorXd& p, bool with_jacobian) {
    const Answer* kept = known(full_, p) ? &full_ : !with_jacobian && known(plain_, p) ? &plain_ : nullptr;
    if (kept) {
      refused = false;
      return kept;
    }
    Answer& answer = with_jacobian ? full_ : plain_;
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

  /// Where Ceres last asked for a Jacobian: what it has accepted.
  const Answer& accepted() const { return full_; }

  VectorXd best;            ///< of all answers
  VectorXd differentiable;  ///< the last with a Jacobian
  double lowest = std::numeric_limits<double>::infinity();
  int evaluations = 0;
  bool refused = false;  ///< the last call had no answer
  std::exception_ptr thrown;

 private:
  static bool known(const Answer& answer, const VectorXd& p) { return answer.p.size() == p.size() && answer.p == p; }

  const LeastSquaresProblem& problem_;
  Answer full_, plain_;
};

/// Cosine between the residuals and column m; 0 where either is zero.
double cosine(const Evaluator::Answer& at, Eigen::Index m) {
  const double lengths = std::sqrt(at.sum) * at.jacobian.col(m).norm();
  return lengths > 0 ? at.jacobian.col(m).dot(at.r) / lengths : 0.0;
}

std::vector<Eigen::Index> unheld(const LeastSquaresProblem& problem, const Mask& held) {
  std::vector<Eigen::Index> free;
  for (Eigen::Index m = 0; m < problem.scale.size(); ++m) {
    if (!held[static_cast<std::size_t>(m)] && problem.lower(m) < problem.upper(m)) free.push_back(m);
  }
  return free;
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
      const Evaluator::Answer* answer = evaluator_.at(unscaled(x[0]), with_jacobian);
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
    const Evaluator::Answer& here = evaluator_.accepted();
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

/// The step that would end the fit if the residuals were linear.
struct FullStep {
  VectorXd step;  // over all parameters
  double share =
      0;  // promised, of the sum of squares: squared cosine between the residuals and the plane of the columns
  double length = 0;  // over that of the parameters, both scaled
};
FullStep full_step(const Evaluator::Answer& at, const LeastSquaresProblem& problem,
                   const std::vector<Eigen::Index>& free) {
  FullStep full{VectorXd::Zero(at.p.size())};
  if (free.empty() || !(at.sum > 0)) return full;
  MatrixXd J = at.jacobian(Eigen::all, free);
  VectorXd lengths = J.colwise().norm();
  lengths = (lengths.array() > 0).select(lengths, 1.0);
  J = J * lengths.cwiseInverse().asDiagonal();
  Eigen::ColPivHouseholderQR<MatrixXd> qr(J);
  qr.setThreshold(1e-12);  // what is flatter than this is round-off
  const VectorXd along = qr.householderQ().adjoint() * at.r;
  full.step(free) = -qr.solve(at.r).cwiseQuotient(lengths);
  full.share = along.head(qr.rank()).squaredNorm() / at.sum;
  const double from = at.p.cwiseQuotient(problem.scale).norm(), by = full.step.cwiseQuotient(problem.scale).norm();
  full.length = from > 0 ? by / from : by;
  return full;
}

/// The full step within the bounds:  min |r + J d|^2 + small |d|^2,  lower <= p + d <= upper,  columns at unit length.
/// By active sets: P. Stark and R. Parker, Comput. Stat. 10, 129 (1995), started at d = 0 so that every iterate is
/// inside.
struct BoxStep {
  VectorXd step;
  Mask at_bound;       // where p is at a bound and stays there
  double promise = 0;  // by how much |r + J d|^2 is below |r|^2
};
BoxStep box_step(const Evaluator::Answer& at, const LeastSquaresProblem& problem) {
  constexpr double small = 1e-8;  // keeps flat directions still
  const Eigen::Index n = at.p.size();
  VectorXd lengths = at.jacobian.colwise().norm();
  lengths = (lengths.array() > 0).select(lengths, 1.0);
  const MatrixXd unit = at.jacobian * lengths.cwiseInverse().asDiagonal();
  MatrixXd G = unit.transpose() * unit;
  G.diagonal().array() += small;
  const VectorXd g = unit.transpose() * at.r;
  const VectorXd lower = (problem.lower - at.p).cwiseProduct(lengths),
                 upper = (problem.upper - at.p).cwiseProduct(lengths);
  const auto outwards = [&](Eigen::Index m, double slope, const VectorXd& d) {
    return (d(m) <= lower(m) && slope >= 0) || (d(m) >= upper(m) && slope <= 0);
  };
  VectorXd d = VectorXd::Zero(n);
  Mask active(static_cast<std::size_t>(n));
  for (Eigen::Index m = 0; m < n; ++m) {
    active[static_cast<std::size_t>(m)] = problem.lower(m) >= problem.upper(m) || outwards(m, g(m), d);
  }
  for (Eigen::Index turn = 0; turn < 20 * n + 20; ++turn) {
    std::vector<Eigen::Index> free;
    for (Eigen::Index m = 0; m < n; ++m) {
      if (!active[static_cast<std::size_t>(m)]) free.push_back(m);
    }
    VectorXd slope = g + G * d;
    if (!free.empty()) {
      const VectorXd towards = MatrixXd(G(free, free)).ldlt().solve(-slope(free));
      double share = 1;
      Eigen::Index first = -1;
      bool first_is_low = false;
      for (std::size_t k = 0; k < free.size(); ++k) {
        const Eigen::Index m = free[k];
        const double by = towards(static_cast<Eigen::Index>(k)), room = by < 0 ? lower(m) - d(m) : upper(m) - d(m);
        if (by != 0 && room / by < share) {
          share = std::max(room / by, 0.0);
          first = m;
          first_is_low = by < 0;
        }
      }
      d(free) += share * towards;
      if (first >= 0) {
        d(first) = first_is_low ? lower(first) : upper(first);
        active[static_cast<std::size_t>(first)] = true;
        continue;
      }
      slope = g + G * d;
    }
    Eigen::Index worst = -1;
    for (Eigen::Index m = 0; m < n; ++m) {
      if (active[static_cast<std::size_t>(m)] && problem.lower(m) < problem.upper(m) && !outwards(m, slope(m), d) &&
          (worst < 0 || std::abs(slope(m)) > std::abs(slope(worst)))) {
        worst = m;
      }
    }
    if (worst < 0 || std::abs(slope(worst)) <= 1e-14 * std::sqrt(at.sum)) break;
    active[static_cast<std::size_t>(worst)] = false;
  }
  BoxStep box{d.cwiseQuotient(lengths), Mask(active.size())};
  for (Eigen::Index m = 0; m < n; ++m) {
    const auto k = static_cast<std::size_t>(m);
    if (active[k]) box.step(m) = d(m) <= lower(m) ? problem.lower(m) - at.p(m) : problem.upper(m) - at.p(m);
    box.at_bound[k] = active[k] && d(m) == 0;
  }
  box.promise = at.sum - (at.r + unit * d).squaredNorm();
  return box;
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

}  // namespace

LeastSquaresResult least_squares(const LeastSquaresProblem& given, const VectorXd& start,
                                 const LeastSquaresOptions& options) {
  silence_logging();
  const LeastSquaresProblem problem = completed(given, start);
  Evaluator evaluator(problem);
  VectorXd p = start.cwiseMax(problem.lower).cwiseMin(problem.upper);
  if (!evaluator.at(p, true)) throw NoAnswer("least squares: the start has no answer");

  LeastSquaresResult result;
  const auto n = static_cast<std::size_t>(p.size());
  Mask held(n, false);
  double radius = 1e4, function_tolerance = options.function_tolerance;
  const double worth = std::max(options.function_tolerance, 1e-14);  // what a step promises to be taken, of the sum
  bool bounded = false;
  for (Eigen::Index m = 0; m < p.size(); ++m) {
    bounded = bounded || (problem.lower(m) < problem.upper(m) &&
                          (std::isfinite(problem.lower(m)) || std::isfinite(problem.upper(m))));
  }
  Evaluator::Answer end = evaluator.accepted();
  for (std::size_t round = 0;; ++round) {
    if (bounded) {
      BoxStep box = box_step(end, problem);
      for (int k = 0; k < 10 && box.promise > worth * end.sum; ++k) {
        const VectorXd to = (end.p + box.step).cwiseMax(problem.lower).cwiseMin(problem.upper);
        const Evaluator::Answer* there = evaluator.at(to, false);
        if (!there || there->sum > end.sum - box.promise / 4 || !(there = evaluator.at(to, true))) break;
        end = *there;
        ++result.iterations;
        box = box_step(end, problem);
      }
      held = box.at_bound;
      p = end.p;
    }
    Reduced reduced(problem, evaluator, p, unheld(problem, held), options.gradient_tolerance);
    bool at_rest = true;
    result.ended_by = "no parameter is free";
    if (!reduced.free().empty()) {
      ceres::Problem::Options ownership;
      ownership.cost_function_ownership = ceres::DO_NOT_TAKE_OWNERSHIP;
      ceres::Problem block(ownership);
      VectorXd x = reduced.scaled(p);
      block.AddResidualBlock(&reduced, nullptr, x.data());
      for (int k = 0; k < static_cast<int>(reduced.free().size()); ++k) {
        const Eigen::Index m = reduced.free()[static_cast<std::size_t>(k)];
        const double lower = problem.lower(m) / problem.scale(m), upper = problem.upper(m) / problem.scale(m);
        if (std::isfinite(lower)) block.SetParameterLowerBound(x.data(), k, lower);
        if (std::isfinite(upper)) block.SetParameterUpperBound(x.data(), k, upper);
      }
      ceres::Solver::Options settings =
          options_for(options, std::max(options.most_iterations - result.iterations, 0), radius);
      settings.function_tolerance = function_tolerance;
      settings.callbacks.push_back(&reduced);
      ceres::Solver::Summary summary;
      evaluator.refused = false;
      ceres::Solve(settings, &block, &summary);
      if (evaluator.thrown) std::rethrow_exception(evaluator.thrown);
      result.iterations += std::max(static_cast<int>(summary.iterations.size()) - 1, 0);
      radius = reduced.radius;
      at_rest = summary.termination_type == ceres::CONVERGENCE || reduced.stop == Reduced::Stop::gradient ||
                reduced.stop == Reduced::Stop::bound_met;
      result.ended_by = reduced.stop == Reduced::Stop::gradient ? "the gradient vanishes" : in_words(summary, options);
      if (evaluator.refused && at_rest) {
        at_rest = false;
        result.ended_by = "beyond here there is no answer";
      }
    }
    const Evaluator::Answer* here = evaluator.at(p = evaluator.best, true);  // Ceres drops the last step it has tried
    if (!here) {
      here = evaluator.at(p = evaluator.differentiable, true);
      if (!here) throw NoAnswer("least squares: one point has an answer the first time only");
      at_rest = false;
      result.ended_by = "beyond here there are no derivatives";
    }
    end = *here;
    if (!at_rest) break;

    bool changed = false;
    Mask pressed = held;
    if (bounded) {
      const BoxStep box = box_step(end, problem);
      pressed = box.at_bound;
      changed = (pressed != held || reduced.stop == Reduced::Stop::bound_met) && box.promise > worth * end.sum;
    }
    if (changed) radius = std::max(radius, 1.0);
    const FullStep left = full_step(end, problem, unheld(problem, pressed));
    result.converged = !changed && (left.share <= promising || left.length <= tiny_step);
    if (!changed && !result.converged && function_tolerance > 0) {
      function_tolerance = 0;  // small steps are taken for the end where the trust region has shrunk
      changed = true;
    }
    held = pressed;
    if (!changed) {
      if (!result.converged) result.ended_by = "stalled: a full step still promises less";
      break;
    }
    if (result.iterations >= options.most_iterations || round > 3 * n + 10) {
      result.ended_by = std::to_string(result.iterations) + " iterations";
      break;
    }
  }

  // Sums of squares agree to round-off while parameters still differ by its square root: the last digits come from the
  // gradient.
  for (int k = 0; k < 8 && result.converged; ++k) {
    const std::vector<Eigen::Index> free = unheld(problem, held);
    const FullStep full = full_step(end, problem, free);
    const VectorXd to = end.p + full.step;
    if (full.share <= options.function_tolerance || (to.array() < problem.lower.array()).any() ||
        (to.array() > problem.upper.array()).any())
      break;
    const Evaluator::Answer* there = evaluator.at(to, true);
    if (!there || there->sum > end.sum * (1 + 1e-12) || full_step(*there, problem, free).share > full.share / 2) break;
    end = *there;
  }
  result.parameters = end.p;
  result.residuals = end.r;
  result.jacobian = end.jacobian;
  result.sum_of_squares = end.sum;
  result.evaluations = evaluator.evaluations;
  return result;
}

}  // namespace onegrain::solver
