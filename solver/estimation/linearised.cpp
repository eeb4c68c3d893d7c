#include "solver/estimation/linearised.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::solver {

using Eigen::MatrixXd;
using Eigen::VectorXd;

VectorXd linear_solution(const MatrixXd& A, const VectorXd& y) { return A.colPivHouseholderQr().solve(y); }

double cosine(const Evaluated& at, Eigen::Index m) {
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

FullStep full_step(const Evaluated& at, const LeastSquaresProblem& problem, const std::vector<Eigen::Index>& free) {
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

BoxStep box_step(const Evaluated& at, const LeastSquaresProblem& problem) {
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

}  // namespace onegrain::solver
