#include "solver/estimation/uncertainty.hpp"

#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <limits>
#include <map>
#include <optional>
#include <stdexcept>

#include "model/decompositions.hpp"
#include "solver/estimation/quantiles.hpp"

namespace onegrain::solver {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double round_off = std::numeric_limits<double>::epsilon();
constexpr double no_share = 1e-7;  // a flat direction is known to about the square root of round-off

double quantile_of(double confidence, double degrees_of_freedom) {
  if (!(confidence > 0 && confidence < 1)) throw std::invalid_argument("uncertainty: confidence outside 0..1");
  return student_quantile((1 + confidence) / 2, degrees_of_freedom);
}

/// Reduces columns to echelon form, so that each has a row of its own and as many zeros as that brings.
MatrixXd with_few_entries(MatrixXd columns) {
  const Index count = columns.cols();
  Eigen::Array<bool, Eigen::Dynamic, 1> used = Eigen::Array<bool, Eigen::Dynamic, 1>::Constant(columns.rows(), false);
  for (Index k = 0; k < count; ++k) {
    Index row = 0;
    double largest = -1;
    for (Index m = 0; m < columns.rows(); ++m) {
      if (!used(m) && std::abs(columns(m, k)) > largest) largest = std::abs(columns(row = m, k));
    }
    used(row) = true;
    columns.col(k) /= columns(row, k);
    for (Index other = 0; other < count; ++other) {
      if (other != k) columns.col(other) -= columns(row, other) * columns.col(k);
    }
  }
  columns = (columns.array().abs() < no_share).select(0.0, columns);
  columns.colwise().normalize();
  return columns;
}

/// J with columns of unit length and their singular values and right singular vectors.
struct Factors {
  VectorXd lengths;     // of the columns; 1 for a zero column
  VectorXd singular;    // descending, one per parameter
  MatrixXd directions;  // of lengths * dp
  Index rank = 0;
};

Factors factors_of(const MatrixXd& J, double jacobian_error) {
  const Index n = J.cols();
  Factors f;
  f.lengths = J.colwise().stableNorm();
  f.lengths = (f.lengths.array() > 0).select(f.lengths, 1.0);
  const model::RightSingular svd = model::right_singular(J * f.lengths.cwiseInverse().asDiagonal());
  f.singular = svd.values;
  f.directions = svd.vectors;
  const double floor = f.singular(0) * std::max(std::sqrt(static_cast<double>(n)) * jacobian_error,
                                                static_cast<double>(std::max(n, J.rows())) * round_off);
  while (f.rank < n && f.singular(f.rank) > floor) ++f.rank;
  return f;
}

void check(const LeastSquaresResult& result) {
  if (result.parameters.size() == 0 || result.jacobian.cols() != result.parameters.size() ||
      result.jacobian.rows() == 0) {
    throw std::invalid_argument("uncertainty: the Jacobian does not fit the parameters");
  }
  if (!result.jacobian.allFinite()) throw std::invalid_argument("uncertainty: the Jacobian is not finite");
}

/// What a change of each parameter is measured with.
VectorXd scale_of(const VectorXd& given, const VectorXd& estimate) {
  if (given.size() == 0) return (estimate.array() != 0).select(estimate.cwiseAbs(), 1.0);
  if (given.size() != estimate.size() || !(given.array() > 0).all()) {
    throw std::invalid_argument("uncertainty: scales are positive, one for each parameter");
  }
  return given;
}

std::vector<Direction> untold_directions(const MatrixXd& J, const Factors& f, const VectorXd& scale, double useful) {
  const Index n = J.cols(), flat = n - f.rank;
  std::vector<Direction> untold;
  MatrixXd rest = MatrixXd::Identity(n, n);  // basis of what is not flat, in units of scale
  if (flat > 0) {
    MatrixXd W = f.lengths.cwiseProduct(scale).cwiseInverse().asDiagonal() * f.directions.rightCols(flat);
    W.colwise().normalize();
    const MatrixXd Q = model::orthonormal_basis(W);
    rest = Q.rightCols(f.rank).eval();
    const MatrixXd sparse = with_few_entries(W);
    for (Index k = 0; k < flat; ++k) untold.push_back({sparse.col(k), infinite});
  }
  if (f.rank == 0) return untold;
  const MatrixXd told = J * scale.asDiagonal() * rest;
  const model::RightSingular svd =
      model::right_singular(told);  // at least as many rows as columns, since its rank is that of J
  for (Index k = f.rank - 1; k >= 0; --k) {
    if (svd.values(k) * useful < 1) untold.push_back({rest * svd.vectors.col(k), 1 / svd.values(k)});
  }
  return untold;
}

}  // namespace

Uncertainty linearised(const LeastSquaresResult& result, double degrees_of_freedom, double confidence,
                       const IdentifiabilityOptions& options) {
  check(result);
  if (!(options.useful > 0) || !(options.jacobian_error >= 0)) {
    throw std::invalid_argument(
        "uncertainty: a useful standard error is positive, an error of the Jacobian not negative");
  }
  const Index n = result.parameters.size();
  Uncertainty u;
  u.quantile = quantile_of(confidence, degrees_of_freedom);
  const VectorXd scale = scale_of(options.scale, result.parameters);
  const Factors f = factors_of(result.jacobian, options.jacobian_error);

  // C = V S^-2 V^T over what is told, plus an infinite multiple of N N^T over the flat directions.
  const MatrixXd root = f.lengths.cwiseInverse().asDiagonal() * f.directions.leftCols(f.rank) *
                        f.singular.head(f.rank).cwiseInverse().asDiagonal();
  u.covariance = root * root.transpose();
  MatrixXd N = f.directions.rightCols(n - f.rank);
  N = (N.array().abs() < no_share).select(0.0, N);
  const MatrixXd shared = N * N.transpose();
  u.standard_error.resize(n);
  for (Index m = 0; m < n; ++m) u.standard_error(m) = shared(m, m) > 0 ? infinite : root.row(m).norm();
  u.correlation = MatrixXd::Identity(n, n);
  for (Index i = 0; i < n; ++i) {
    for (Index j = 0; j < n; ++j) {
      const bool both_finite = std::isfinite(u.standard_error(i)) && std::isfinite(u.standard_error(j));
      if (i != j && both_finite) {
        u.correlation(i, j) = std::clamp(u.covariance(i, j) / (u.standard_error(i) * u.standard_error(j)), -1.0, 1.0);
      } else if (i != j && shared(i, i) > 0 && shared(j, j) > 0) {
        const double limit = shared(i, j) / std::sqrt(shared(i, i) * shared(j, j));
        u.correlation(i, j) = std::abs(limit) < no_share ? 0.0 : std::clamp(limit, -1.0, 1.0);
      }
    }
  }
  for (Index i = 0; i < n; ++i) {
    for (Index j = 0; j < n; ++j) {
      if (shared(i, i) > 0 && shared(j, j) > 0 && u.correlation(i, j) != 0)
        u.covariance(i, j) = std::copysign(infinite, u.correlation(i, j));
    }
    const double half = u.quantile * u.standard_error(i);
    u.intervals.push_back({result.parameters(i) - half, result.parameters(i) + half});
  }
  u.untold = untold_directions(result.jacobian, f, scale, options.useful);
  return u;
}

namespace {

/// One side of a profile: how far sqrt(S - S_min) has risen against the distance from the estimate.
class Side {
 public:
  Side(const LeastSquaresProblem& problem, const LeastSquaresResult& result, Index index, const VectorXd& slope,
       double t, const ProfileOptions& options, ProfileInterval& interval)
      : problem_(problem),
        result_(result),
        index_(index),
        slope_(slope),
        t_(t),
        options_(options),
        interval_(interval) {
    solved_.emplace(0.0, Solved{result.parameters});
  }

  /// sqrt(S - S_min) at the signed distance h from the estimate; infinite where there is no answer.
  double risen(double h) {
    LeastSquaresProblem fixed = problem_;
    const double x = result_.parameters(index_) + h;
    fixed.lower(index_) = fixed.upper(index_) = x;
    ++refits;
    std::optional<LeastSquaresResult> fit = attempt(fixed, start(h));
    if (!fit || !fit->converged) {
      const std::optional<LeastSquaresResult> again = attempt(fixed, from_inside(h));
      if (again && (!fit || again->sum_of_squares < fit->sum_of_squares)) fit = again;
    }
    if (!fit) return infinite;
    if (!fit->converged) ++interval_.unsettled;
    const double rise = fit->sum_of_squares - result_.sum_of_squares;
    if (rise < -0.01 * t_ * t_ &&
        !(interval_.better.size() > 0 && interval_.better_sum_of_squares <= fit->sum_of_squares)) {
      interval_.better = fit->parameters;
      interval_.better_sum_of_squares = fit->sum_of_squares;
    }
    const double risen = std::sqrt(std::max(rise, 0.0));
    solved_[h] = {fit->parameters, fit->converged && risen < 2.5 * t_};
    return risen;
  }

  int refits = 0;

 private:
  struct Solved {
    VectorXd p;
    bool trusted = true;  // a minimum, and not far outside, where another valley may begin
  };

  std::optional<LeastSquaresResult> attempt(const LeastSquaresProblem& fixed, const VectorXd& from) const {
    try {
      return least_squares(fixed, from, options_.refit);
    } catch (const NoAnswer&) {
      return std::nullopt;
    }
  }

  /// The nearest solution, moved along the line through it and the one next to it.
  VectorXd start(double h) const {
    const auto nearest_but = [&](const std::pair<const double, Solved>* left_out) {
      const std::pair<const double, Solved>* found = nullptr;
      for (const auto& at : solved_) {
        if (&at == left_out || !at.second.trusted) continue;
        if (!found || std::abs(at.first - h) < std::abs(found->first - h)) found = &at;
      }
      return found;
    };
    const auto* nearest = nearest_but(nullptr);
    const auto* next = nearest_but(nearest);
    const VectorXd along =
        next ? VectorXd((next->second.p - nearest->second.p) / (next->first - nearest->first)) : slope_;
    VectorXd p = nearest->second.p + (h - nearest->first) * along;
    p(index_) = result_.parameters(index_) + h;
    return p;
  }

  /// The nearest solution on the side of the estimate.
  VectorXd from_inside(double h) const {
    const Solved* found = &solved_.at(0.0);
    double reached = 0;
    for (const auto& [distance, solved] : solved_) {
      if (solved.trusted && std::abs(distance) < std::abs(h) && std::abs(distance) > reached) {
        found = &solved;
        reached = std::abs(distance);
      }
    }
    VectorXd p = found->p;
    p(index_) = result_.parameters(index_) + h;
    return p;
  }

  const LeastSquaresProblem& problem_;
  const LeastSquaresResult& result_;
  Index index_;
  VectorXd slope_;
  double t_;
  const ProfileOptions& options_;
  ProfileInterval& interval_;
  std::map<double, Solved> solved_;
};

struct End {
  double distance = 0;  // signed
  bool open = false;
};

/// Where risen() reaches t on the side of `sign`.
End find_end(Side& side, double sign, double first, double to_bound, double t, const ProfileOptions& options,
             const ProfileInterval& interval) {
  if (!(to_bound > 0)) return {0, true};
  double inside = 0, risen_inside = 0;  // the farthest distance with too small a rise
  double outside = std::min(first, to_bound), risen = 0;
  for (;;) {
    risen = side.risen(sign * outside);
    if (interval.better.size() > 0) return {sign * outside, true};
    if (risen >= t || std::abs(risen - t) <= options.accuracy * t / 2) break;
    inside = outside;
    risen_inside = risen;
    if (outside >= to_bound) return {sign * to_bound, true};
    if (side.refits >= options.most_refits) return {sign * to_bound, true};
    const double factor = risen > 0 ? std::clamp(1.1 * t / risen, 1.2, 5.0) : 5.0;
    outside = std::min(outside * factor, to_bound);
    if (side.refits >= 3 && std::isfinite(to_bound)) outside = to_bound;
  }
  if (std::abs(risen - t) <= options.accuracy * t / 2) {
    // One step along the chord takes the rest of the error away.
    return {sign * (inside + (outside - inside) * (t - risen_inside) / (risen - risen_inside)), false};
  }
  bool edge = !std::isfinite(risen);
  const auto above = [&](double h) {
    const double r = side.risen(sign * h);
    if (!std::isfinite(r)) {
      edge = true;
      return t;
    }
    edge = edge && r < t;
    return std::abs(r - t) <= options.accuracy * t / 4 ? 0.0 : r - t;
  };
  const auto narrow = [&](double a, double b) { return b - a <= options.accuracy * a; };
  auto most = static_cast<std::uintmax_t>(std::max(options.most_refits - side.refits, 3));
  const auto [a, b] =
      boost::math::tools::toms748_solve(above, inside, outside, risen_inside - t, edge ? t : risen - t, narrow, most);
  return {sign * (a + b) / 2, edge};
}

}  // namespace

ProfileInterval profile_interval(const LeastSquaresProblem& problem, const LeastSquaresResult& result, int index,
                                 double degrees_of_freedom, double confidence, const ProfileOptions& options) {
  check(result);
  const Index n = result.parameters.size();
  if (index < 0 || index >= n) throw std::invalid_argument("profile interval: no such parameter");
  if (!(options.accuracy > 0 && options.accuracy < 1) || options.most_refits < 1) {
    throw std::invalid_argument("profile interval: an accuracy in 0..1 and at least one fit are needed");
  }
  const double t = quantile_of(confidence, degrees_of_freedom);
  LeastSquaresProblem bounded = problem;
  if (bounded.lower.size() == 0) bounded.lower = VectorXd::Constant(n, -infinite);
  if (bounded.upper.size() == 0) bounded.upper = VectorXd::Constant(n, infinite);

  const Factors f = factors_of(result.jacobian, 1e-10);
  const MatrixXd root = f.lengths.cwiseInverse().asDiagonal() * f.directions.leftCols(f.rank) *
                        f.singular.head(f.rank).cwiseInverse().asDiagonal();
  const double variance = root.row(index).squaredNorm();
  const bool flat = f.directions.rightCols(n - f.rank).row(index).norm() >= no_share;
  const VectorXd slope =
      variance > 0 && !flat ? VectorXd(root * root.row(index).transpose() / variance) : VectorXd::Zero(n);
  const double estimate = result.parameters(index);
  double first = t * std::sqrt(variance);
  if (flat || !(first > 0))
    first = problem.scale.size() > 0 ? problem.scale(index) : estimate != 0 ? std::abs(estimate) : 1.0;

  ProfileInterval interval;
  const double reach[2] = {estimate - bounded.lower(index), bounded.upper(index) - estimate};
  double ends[2];
  bool open[2];
  for (int k = 0; k < 2; ++k) {
    const double sign = k == 0 ? -1 : 1;
    Side side(bounded, result, index, slope, t, options, interval);
    const bool known_better = interval.better.size() > 0;
    const End end = known_better ? End{sign * std::min(first, reach[k]), true}
                                 : find_end(side, sign, first, reach[k], t, options, interval);
    ends[k] = estimate + end.distance;
    open[k] = end.open;
    interval.refits += side.refits;
  }
  interval.lower = open[0] && ends[0] <= bounded.lower(index) ? bounded.lower(index) : ends[0];
  interval.upper = open[1] && ends[1] >= bounded.upper(index) ? bounded.upper(index) : ends[1];
  interval.lower_open = open[0];
  interval.upper_open = open[1];
  return interval;
}

double correlation_time(const Eigen::Ref<const VectorXd>& residuals) {
  const Index n = residuals.size();
  const double power = residuals.squaredNorm();
  if (n < 2 || !(power > 0)) return 1;
  double tau = 1;
  for (Index k = 1; k < n; ++k) {
    tau += 2 * residuals.head(n - k).dot(residuals.tail(n - k)) / power;
    if (static_cast<double>(k) >= 2.5 * tau) break;
  }
  return std::clamp(tau, 1.0, static_cast<double>(n));
}

}  // namespace onegrain::solver
