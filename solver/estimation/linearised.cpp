#include "solver/estimation/linearised.hpp"

#include <algorithm>
#include <cmath>

#include "model/decompositions.hpp"

namespace onegrain::solver {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double flat = 1e-12;  // what is flatter than this, columns at unit length, is round-off

/// min |y + A d|^2  over  lower <= d <= upper, which hold 0. By active sets: P. Stark and R. Parker, Comput. Stat. 10,
/// 129 (1995), started at d = 0 so that every iterate is inside.
class LeastInBox {
 public:
  LeastInBox(const MatrixXd& A, const VectorXd& y, const VectorXd& lower, const VectorXd& upper)
      : A_(A),
        y_(y),
        lower_(lower),
        upper_(upper),
        d_(VectorXd::Zero(A.cols())),
        active_(static_cast<std::size_t>(A.cols())) {
    const VectorXd slope = A_.transpose() * y_;
    for (Index m = 0; m < A_.cols(); ++m) held(m) = fixed(m) || outwards(m, slope(m));
  }

  VectorXd solved() {
    for (Index turn = 0; turn < 20 * A_.cols() + 20; ++turn) {
      if (move_to_a_bound()) continue;
      const Index m = most_eager();
      if (m < 0) break;
      held(m) = false;
    }
    return d_;
  }

 private:
  std::vector<bool>::reference held(Index m) { return active_[static_cast<std::size_t>(m)]; }
  bool fixed(Index m) const { return lower_(m) >= upper_(m); }
  bool outwards(Index m, double slope) const {
    return (d_(m) <= lower_(m) && slope >= 0) || (d_(m) >= upper_(m) && slope <= 0);
  }

  /// Moves what is not held to its minimum, or until the first meets a bound. @return whether one has met its bound
  bool move_to_a_bound() {
    std::vector<Index> free;
    for (Index m = 0; m < A_.cols(); ++m) {
      if (!held(m)) free.push_back(m);
    }
    if (free.empty()) return false;
    const VectorXd towards = model::least_squares_solution(A_(Eigen::all, free), -(y_ + A_ * d_), flat);
    double share = 1;
    Index first = -1;
    bool first_is_low = false;
    for (std::size_t k = 0; k < free.size(); ++k) {
      const Index m = free[k];
      const double by = towards(static_cast<Index>(k)), room = by < 0 ? lower_(m) - d_(m) : upper_(m) - d_(m);
      if (by != 0 && room / by < share) {
        share = std::max(room / by, 0.0);
        first = m;
        first_is_low = by < 0;
      }
    }
    d_(free) += share * towards;
    if (first < 0) return false;
    d_(first) = first_is_low ? lower_(first) : upper_(first);
    held(first) = true;
    return true;
  }

  /// Of those held at a bound, the one that the slope drives inwards most; -1 where none is.
  Index most_eager() {
    const VectorXd slope = A_.transpose() * (y_ + A_ * d_);
    Index most = -1;
    for (Index m = 0; m < A_.cols(); ++m) {
      const bool eager = held(m) && !fixed(m) && !outwards(m, slope(m)) && std::abs(slope(m)) > 1e-14 * y_.norm();
      if (eager && (most < 0 || std::abs(slope(m)) > std::abs(slope(most)))) most = m;
    }
    return most;
  }

  const MatrixXd& A_;
  const VectorXd &y_, &lower_, &upper_;
  VectorXd d_;
  std::vector<bool> active_;
};

}  // namespace

BoxStep box_step(const Evaluated& at, const LeastSquaresProblem& problem, const VectorXd& damping) {
  const Index n = at.p.size(), rows = std::min(at.r.size(), n);
  VectorXd lengths = (at.jacobian.colwise().squaredNorm().transpose().array() + damping.array().square()).sqrt();
  lengths = (lengths.array() > 0).select(lengths, 1.0);
  const MatrixXd unit = at.jacobian * lengths.cwiseInverse().asDiagonal();
  const VectorXd lower = (problem.lower - at.p).cwiseProduct(lengths),
                 upper = (problem.upper - at.p).cwiseProduct(lengths);

  BoxStep box;
  const VectorXd slope = unit.transpose() * at.r;
  for (Index m = 0; m < n; ++m) {
    if (problem.lower(m) >= problem.upper(m)) continue;
    ++box.movable;
    const bool pressed = (lower(m) >= 0 && slope(m) >= 0) || (upper(m) <= 0 && slope(m) <= 0);
    const double along = unit.col(m).norm() * std::sqrt(at.sum);
    if (!pressed && along > 0) box.steepest = std::max(box.steepest, std::abs(slope(m)) / along);
  }

  // A triangle does for the many rows: |r + J d|^2 is |q + R d|^2 and what no step changes.
  const auto [R, q] = model::triangle(unit, at.r);
  MatrixXd A = MatrixXd::Zero(rows + n, n);
  A.topRows(rows) = R;
  A.bottomRows(n).diagonal() = damping.cwiseQuotient(lengths);
  VectorXd y = VectorXd::Zero(rows + n);
  y.head(rows) = q;
  const VectorXd d = LeastInBox(A, y, lower, upper).solved();

  box.step = d.cwiseQuotient(lengths);
  for (Index m = 0; m < n; ++m) {  // to the very bound, which the division may miss by round-off
    if (d(m) <= lower(m)) box.step(m) = problem.lower(m) - at.p(m);
    if (d(m) >= upper(m)) box.step(m) = problem.upper(m) - at.p(m);
  }
  const VectorXd along = A.topRows(rows) * d;
  box.promise = -along.dot(2 * q + along);
  const double from = at.p.cwiseQuotient(problem.scale).norm(), by = box.step.cwiseQuotient(problem.scale).norm();
  box.length = from > 0 ? by / from : by;
  return box;
}

}  // namespace onegrain::solver
