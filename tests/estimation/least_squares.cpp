// Bounds, exceptions and points without an answer, on problems with known solutions.

#include "solver/estimation/least_squares.hpp"

#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <limits>
#include <random>
#include <thread>

#include "tests/catch.hpp"

using namespace onegrain::solver;
using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

LeastSquaresProblem linear(const MatrixXd& A, const VectorXd& b) {
  LeastSquaresProblem problem;
  problem.residuals = static_cast<int>(b.size());
  problem.evaluate = [A, b](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    r = A * p - b;
    if (J) *J = A;
    return true;
  };
  return problem;
}

/// 10 (x2 - x1^2), 1 - x1: Rosenbrock's valley.
LeastSquaresProblem rosenbrock() {
  LeastSquaresProblem problem;
  problem.residuals = 2;
  problem.evaluate = [](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    r << 10 * (p(1) - p(0) * p(0)), 1 - p(0);
    if (J) *J << -20 * p(0), 10, -1, 0;
    return true;
  };
  return problem;
}

/// ln p - 1 with an answer for p > least alone.
LeastSquaresProblem logarithm(double least) {
  LeastSquaresProblem problem;
  problem.residuals = 1;
  problem.evaluate = [least](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    if (!(p(0) > least)) return false;
    r(0) = std::log(p(0)) - 1;
    if (J) (*J)(0, 0) = 1 / p(0);
    return true;
  };
  return problem;
}

/// The solution of min |A p - b| in a box, by trying every way in which parameters lie at a bound: exact, for few of
/// them.
VectorXd in_a_box(const MatrixXd& A, const VectorXd& b, const VectorXd& lower, const VectorXd& upper) {
  const Eigen::Index n = A.cols();
  double lowest = infinite;
  VectorXd best;
  int ways = 1;
  for (Eigen::Index m = 0; m < n; ++m) ways *= 3;
  for (int way = 0; way < ways; ++way) {
    VectorXd p = VectorXd::Zero(n);
    std::vector<Eigen::Index> free;
    for (Eigen::Index m = 0, left = way; m < n; ++m, left /= 3) {
      if (left % 3 == 0) free.push_back(m);
      if (left % 3 == 1) p(m) = lower(m);
      if (left % 3 == 2) p(m) = upper(m);
    }
    if (!free.empty()) p(free) = MatrixXd(A(Eigen::all, free)).colPivHouseholderQr().solve(b - A * p);
    const bool inside = (p.array() >= lower.array()).all() && (p.array() <= upper.array()).all();
    const double sum = (A * p - b).squaredNorm();
    if (inside && sum < lowest) {
      lowest = sum;
      best = p;
    }
  }
  return best;
}

}  // namespace

TEST_CASE("a linear fit in a box ends where trying all its faces does", "[estimation][least_squares]") {
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  const auto any = [&](Eigen::Index rows, Eigen::Index columns) {
    return MatrixXd(MatrixXd::NullaryExpr(rows, columns, [&] { return normal(random); }));
  };
  // Columns that share a common part make a full step point far out of the box.
  for (const double common : {0.0, 3.0, 30.0, 300.0}) {
    for (int trial = 0; trial < 25; ++trial) {
      CAPTURE(common, trial);
      const Eigen::Index n = 5;
      const MatrixXd A = any(12, n) + common * any(12, 1) * VectorXd::Ones(n).transpose();
      const VectorXd b = 3 * any(12, 1);
      LeastSquaresProblem problem = linear(A, b);
      problem.lower = VectorXd::Constant(n, -0.3);
      problem.upper = VectorXd::Constant(n, 0.2);
      const LeastSquaresProblem free = problem;
      problem.evaluate = [&](const VectorXd& p, VectorXd& r, MatrixXd* J) {
        CHECK(((p.array() >= problem.lower.array()).all() && (p.array() <= problem.upper.array()).all()));
        return free.evaluate(p, r, J);
      };
      const LeastSquaresResult fit = least_squares(problem, VectorXd::Zero(n));
      const VectorXd exact = in_a_box(A, b, problem.lower, problem.upper);
      CAPTURE(fit.ended_by, fit.iterations, fit.parameters.transpose(), exact.transpose());
      CHECK(fit.converged);
      CHECK_THAT(fit.sum_of_squares, WithinRel((A * exact - b).squaredNorm(), 1e-11));
      CHECK((fit.parameters - exact).cwiseAbs().maxCoeff() < 1e-6);
      CHECK(fit.iterations < 60);
    }
  }
}

TEST_CASE("Rosenbrock's valley with bounds ends at the solutions of Hock and Schittkowski",
          "[estimation][least_squares]") {
  // W. Hock and K. Schittkowski, Test Examples for Nonlinear Programming Codes (1981), problems 1 and 2 (from memory;
  // the second one's solution is a root of the cubic that is left once x2 = 1.5). Both start at (-2, 1); the latter
  // outside.
  LeastSquaresProblem problem = rosenbrock();
  const VectorXd start = Eigen::Vector2d(-2, 1);
  problem.upper = VectorXd::Constant(2, infinite);
  problem.lower = Eigen::Vector2d(-infinite, -1.5);
  const LeastSquaresResult first = least_squares(problem, start);
  CHECK(first.converged);
  CHECK((first.parameters - Eigen::Vector2d(1, 1)).norm() < 1e-8);

  problem.lower(1) = 1.5;
  const LeastSquaresResult second = least_squares(problem, start);
  CHECK(second.converged);
  CHECK(second.parameters(1) == 1.5);
  // At x2 = 1.5 the slope over x1 vanishes where 400 x^3 - 598 x - 2 = 0: the lowest point is the largest root,
  // 2 a cos(arccos(1 / b) / 3) with a = sqrt(598 / 1200), b = 400 a^3; a shallower valley lies at the smallest.
  const double a = std::sqrt(598.0 / 1200), b = 400 * a * a * a;
  const double lowest = 2 * a * std::cos(std::acos(1 / b) / 3),
               shallow = 2 * a * std::cos((std::acos(1 / b) + 2 * M_PI) / 3);
  CAPTURE(second.parameters(0), lowest, shallow);
  CHECK(std::min(std::abs(second.parameters(0) - lowest), std::abs(second.parameters(0) - shallow)) < 1e-8);
  const LeastSquaresResult right = least_squares(problem, Eigen::Vector2d(1, 2));
  CHECK_THAT(right.parameters(0), WithinAbs(lowest, 1e-8));
  CHECK_THAT(right.sum_of_squares, WithinAbs(0.0504261879, 1e-9));
}

TEST_CASE("a parameter with equal bounds stays, and the others are fitted", "[estimation][least_squares]") {
  LeastSquaresProblem problem = rosenbrock();
  problem.lower = Eigen::Vector2d(0.5, -infinite);
  problem.upper = Eigen::Vector2d(0.5, infinite);
  const LeastSquaresResult fit = least_squares(problem, Eigen::Vector2d(3, 3));
  CHECK(fit.converged);
  CHECK(fit.parameters(0) == 0.5);
  CHECK_THAT(fit.parameters(1), WithinAbs(0.25, 1e-12));
  problem.lower(1) = problem.upper(1) = 7;
  const LeastSquaresResult still = least_squares(problem, Eigen::Vector2d(3, 3));
  CHECK(still.converged);
  CHECK(still.parameters == Eigen::Vector2d(0.5, 7));
  CHECK(still.evaluations == 1);
}

TEST_CASE("residuals and Jacobian of the result belong to its parameters", "[estimation][least_squares]") {
  const LeastSquaresResult fit = least_squares(rosenbrock(), Eigen::Vector2d(-1.2, 1));
  VectorXd r(2);
  MatrixXd J(2, 2);
  rosenbrock().evaluate(fit.parameters, r, &J);
  CHECK(fit.residuals == r);
  CHECK(fit.jacobian == J);
  CHECK(fit.sum_of_squares == r.squaredNorm());
}

TEST_CASE("the solution does not depend on the unit of a parameter", "[estimation][least_squares]") {
  for (const double unit : {1e-12, 1.0, 1e9}) {
    const LeastSquaresProblem plain = rosenbrock();
    LeastSquaresProblem problem = plain;
    problem.scale = Eigen::Vector2d(unit, 1);
    problem.evaluate = [&](const VectorXd& p, VectorXd& r, MatrixXd* J) {
      plain.evaluate(Eigen::Vector2d(p(0) / unit, p(1)), r, J);
      if (J) J->col(0) /= unit;
      return true;
    };
    const LeastSquaresResult fit = least_squares(problem, Eigen::Vector2d(-1.2 * unit, 1));
    CAPTURE(unit);
    CHECK(fit.converged);
    CHECK_THAT(fit.parameters(0) / unit, WithinAbs(1, 1e-9));
  }
}

TEST_CASE("where there is no answer the step is shortened", "[estimation][least_squares]") {
  // From 10 a full step leads to 10 - 10 (ln 10 - 1) < 0.
  int refused = 0;
  LeastSquaresProblem problem = logarithm(0);
  const LeastSquaresProblem plain = problem;
  problem.evaluate = [&](const VectorXd& p, VectorXd& r, MatrixXd* J) {
    const bool answer = plain.evaluate(p, r, J);
    if (!answer) ++refused;
    return answer;
  };
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Constant(1, 10));
  CHECK(refused > 0);
  CHECK(fit.converged);
  CHECK_THAT(fit.parameters(0), WithinRel(std::exp(1.0), 1e-9));
}

TEST_CASE("a minimum beyond the last answer is not claimed", "[estimation][least_squares]") {
  const LeastSquaresResult fit = least_squares(logarithm(4), VectorXd::Constant(1, 10));
  CHECK_FALSE(fit.converged);
  CHECK(fit.ended_by == "beyond here there is no answer");
  CHECK(fit.parameters(0) > 4);
  CHECK(fit.parameters(0) < 4.1);
}

TEST_CASE("numbers that are not finite count as no answer", "[estimation][least_squares]") {
  LeastSquaresProblem problem = logarithm(-infinite);  // the logarithm of a negative number
  const LeastSquaresResult fit = least_squares(problem, VectorXd::Constant(1, 10));
  CHECK_THAT(fit.parameters(0), WithinRel(std::exp(1.0), 1e-9));
  CHECK_THROWS_AS(least_squares(problem, VectorXd::Constant(1, -1)), NoAnswer);
  CHECK_THROWS_WITH(least_squares(logarithm(4), VectorXd::Constant(1, 3)), "least squares: the start has no answer");
}

TEST_CASE("what the evaluation throws comes out unchanged, from wherever it is thrown", "[estimation][least_squares]") {
  struct Interrupted {
    int call;
  };
  const int all = least_squares(rosenbrock(), Eigen::Vector2d(-1.2, 1)).evaluations;
  REQUIRE(all > 10);
  for (int nth = 1; nth <= all; ++nth) {
    LeastSquaresProblem problem = rosenbrock();
    const LeastSquaresProblem plain = problem;
    int calls = 0;
    problem.evaluate = [&](const VectorXd& p, VectorXd& r, MatrixXd* J) {
      if (++calls == nth) throw Interrupted{nth};
      return plain.evaluate(p, r, J);
    };
    int caught = 0;
    try {
      least_squares(problem, Eigen::Vector2d(-1.2, 1));
    } catch (const Interrupted& interrupted) {
      caught = interrupted.call;
    }
    CHECK(caught == nth);
    CHECK(calls == nth);  // no call after it
  }
}

TEST_CASE("contradictions in a problem are refused", "[estimation][least_squares]") {
  const VectorXd start = Eigen::Vector2d(-1.2, 1);
  const auto with = [&](auto change) {
    LeastSquaresProblem problem = rosenbrock();
    change(problem);
    return problem;
  };
  CHECK_THROWS_AS(least_squares(with([](auto& p) { p.residuals = 0; }), start), std::invalid_argument);
  CHECK_THROWS_AS(least_squares(with([](auto& p) { p.evaluate = nullptr; }), start), std::invalid_argument);
  CHECK_THROWS_AS(least_squares(with([](auto& p) { p.lower = VectorXd::Zero(3); }), start), std::invalid_argument);
  CHECK_THROWS_AS(least_squares(with([](auto& p) { p.scale = Eigen::Vector2d(1, 0); }), start), std::invalid_argument);
  CHECK_THROWS_AS(least_squares(with([](auto& p) { p.upper = Eigen::Vector2d(1, std::nan("")); }), start),
                  std::invalid_argument);
  CHECK_THROWS_AS(least_squares(rosenbrock(), Eigen::Vector2d(infinite, 1)), std::invalid_argument);
  CHECK_THROWS_WITH(least_squares(with([](auto& p) {
                                    p.lower = Eigen::Vector2d(0, 2);
                                    p.upper = Eigen::Vector2d(1, 1);
                                  }),
                                  start),
                    "least squares: the lower bound of parameter 1 is above the upper one");
  CHECK_THROWS_AS(least_squares(with([](auto& p) {
                                  p.evaluate = [](const VectorXd&, VectorXd& r, MatrixXd*) {
                                    r = VectorXd::Zero(3);
                                    return true;
                                  };
                                }),
                                start),
                  std::invalid_argument);
}

TEST_CASE("a fit prints nothing, whatever happens to it", "[estimation][least_squares]") {
  std::FILE* file = std::tmpfile();
  REQUIRE(file);
  std::fflush(nullptr);
  const int out = dup(1), err = dup(2);
  dup2(fileno(file), 1);
  dup2(fileno(file), 2);
  least_squares(rosenbrock(), Eigen::Vector2d(-1.2, 1), {.most_iterations = 3});
  least_squares(logarithm(4), VectorXd::Constant(1, 10));
  LeastSquaresProblem huge = linear(1e150 * MatrixXd::Identity(2, 2), VectorXd::Constant(2, 1e150));
  least_squares(huge, VectorXd::Zero(2));
  std::fflush(nullptr);
  dup2(out, 1);
  dup2(err, 2);
  close(out);
  close(err);
  std::fseek(file, 0, SEEK_END);
  CHECK(std::ftell(file) == 0);
  std::fclose(file);
}

TEST_CASE("fits in several threads at once do not meet", "[estimation][least_squares]") {
  const LeastSquaresResult alone = least_squares(rosenbrock(), Eigen::Vector2d(-1.2, 1));
  std::vector<LeastSquaresResult> together(8);
  std::vector<std::thread> threads;
  for (LeastSquaresResult& result : together) {
    threads.emplace_back([&result] {
      for (int k = 0; k < 20; ++k) result = least_squares(rosenbrock(), Eigen::Vector2d(-1.2, 1));
    });
  }
  for (std::thread& thread : threads) thread.join();
  for (const LeastSquaresResult& result : together) {
    CHECK(result.parameters == alone.parameters);
    CHECK(result.evaluations == alone.evaluations);
  }
}
