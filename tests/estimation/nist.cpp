// Nonlinear regression against the certified values of NIST; see tests/data/nist/README.md.

#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "solver/estimation/uncertainty.hpp"
#include "tests/catch.hpp"
#include "tests/estimation/nist_sets.hpp"

using namespace onegrain;
using Eigen::VectorXd;
using tests::NistSet;

namespace {

const char* const names[] = {"Misra1a", "Chwirut2", "Chwirut1", "Lanczos3", "Gauss1", "Gauss2",   "DanWood",
                             "Misra1b", "Kirby2",   "Hahn1",    "Nelson",   "MGH17",  "Lanczos1", "Lanczos2",
                             "Gauss3",  "Misra1c",  "Misra1d",  "Roszman1", "ENSO",   "MGH09",    "Thurber",
                             "BoxBOD",  "Rat42",    "MGH10",    "Eckerle4", "Rat43",  "Bennett5"};

/// Correct digits: NIST's log relative error of the worst entry, at most the 11 that are certified.
double digits(const VectorXd& found, const VectorXd& certified) {
  double worst = 11;
  for (Eigen::Index m = 0; m < found.size(); ++m) {
    const double error = std::abs(found(m) - certified(m)) / std::abs(certified(m));
    worst = std::min(worst, error > 0 ? -std::log10(error) : 11.0);
  }
  return worst;
}
double digits(double found, double certified) {
  return digits(VectorXd::Constant(1, found), VectorXd::Constant(1, certified));
}

/// The copy of Roszman1 has lost the exponent of b1 (it reads 1.20196866396E-0). b1 is the mean of what the three other
/// certified values leave over, as the model is linear in it.
void mend(NistSet& set) {
  if (set.name != "Roszman1") return;
  double sum = 0;
  for (Eigen::Index k = 0; k < set.data.rows(); ++k) {
    const double x = set.data(k, 1);
    sum +=
        set.data(k, 0) + set.certified(1) * x + std::atan(set.certified(2) / (x - set.certified(3))) / std::numbers::pi;
  }
  set.certified(0) = sum / static_cast<double>(set.data.rows());
}

struct Run {
  solver::LeastSquaresResult fit;
  double parameters, deviations, sum;  // correct digits
};

Run run(const NistSet& set, int start, const solver::LeastSquaresOptions& options) {
  solver::LeastSquaresProblem problem = tests::nist_problem(set);
  problem.scale = set.starts[start].cwiseAbs();
  Run run{solver::least_squares(problem, set.starts[start], options)};
  const auto freedom = static_cast<double>(set.data.rows() - set.certified.size());
  solver::LeastSquaresResult unit = run.fit;
  unit.jacobian /= std::sqrt(unit.sum_of_squares / freedom);
  run.parameters = digits(run.fit.parameters, set.certified);
  run.deviations = digits(solver::linearised(unit, freedom).standard_error, set.standard_deviation);
  run.sum = digits(run.fit.sum_of_squares, set.sum_of_squares);
  return run;
}

}  // namespace

TEST_CASE("every set of NIST is read whole", "[estimation][nist]") {
  std::map<std::string, int> difficulties;
  for (const char* name : names) {
    CAPTURE(name);
    NistSet set(name);
    mend(set);
    ++difficulties[set.difficulty];
    // The file's own numbers agree: sum of squares of its residuals, standard deviation, degrees of freedom. Lanczos1
    // leaves residuals of 1e-13 at parameters certified to 1e-11. The head of Rat43 says 9 degrees of freedom for 15 -
    // 4, and its standard deviation is that for 11.
    VectorXd r(set.data.rows());
    REQUIRE(tests::nist_problem(set).evaluate(set.certified, r, nullptr));
    if (set.name != "Lanczos1") CHECK_THAT(r.squaredNorm(), WithinRel(set.sum_of_squares, 1e-6));
    const int freedom = static_cast<int>(set.data.rows() - set.certified.size());
    if (set.name != "Rat43") CHECK(set.degrees_of_freedom == freedom);
    CHECK_THAT(set.residual_standard_deviation, WithinRel(std::sqrt(set.sum_of_squares / freedom), 1e-9));
  }
  // NIST's own overview, https://www.itl.nist.gov/div898/strd/nls/nls_main.shtml (from memory): 8 lower, 11 average, 8
  // higher.
  CHECK(difficulties == std::map<std::string, int>{{"lower", 8}, {"average", 11}, {"higher", 8}});
}

TEST_CASE("the Jacobians of the models are their derivatives", "[estimation][nist]") {
  for (const char* name : names) {
    NistSet set(name);
    mend(set);
    const solver::LeastSquaresProblem problem = tests::nist_problem(set);
    const Eigen::Index n = set.certified.size();
    VectorXd r(problem.residuals), above(problem.residuals), below(problem.residuals);
    Eigen::MatrixXd J(problem.residuals, n);
    problem.evaluate(set.certified, r, &J);
    for (Eigen::Index m = 0; m < n; ++m) {
      CAPTURE(name, m);
      const double h = 1e-5 * std::abs(set.certified(m));
      VectorXd b = set.certified;
      b(m) += h;
      problem.evaluate(b, above, nullptr);
      b(m) -= 2 * h;
      problem.evaluate(b, below, nullptr);
      const VectorXd differenced = (above - below) / (2 * h);
      CHECK((differenced - J.col(m)).norm() < 1e-4 * J.col(m).norm());
    }
  }
}

TEST_CASE("parameters, standard deviations and sum of squares are NIST's, from both its starts", "[estimation][nist]") {
  solver::LeastSquaresOptions options;
  options.most_iterations = 20000;  // MGH10 needs 5,500 from its first start, along a bent canyon
  options.function_tolerance = 1e-24;
  options.parameter_tolerance = 1e-14;
  for (const char* name : names) {
    NistSet set(name);
    mend(set);
    for (int start = 0; start < 2; ++start) {
      CAPTURE(name, start);
      const Run found = run(set, start, options);
      CAPTURE(found.parameters, found.deviations, found.sum, found.fit.iterations, found.fit.ended_by);
      if (set.name == "BoxBOD" && start == 0) {
        // The one start of 54 that leads elsewhere: b2 goes to infinity, where b1 (1 - exp(-b2 x)) is the constant b1
        // at every x >= 1 and the sum of squares is that about the mean, and no slope leads back.
        CHECK_FALSE(found.fit.converged);
        const double mean = set.data.col(0).mean();
        CHECK_THAT(found.fit.sum_of_squares, WithinRel((set.data.col(0).array() - mean).square().sum(), 1e-9));
        CHECK_THAT(found.fit.parameters(0), WithinRel(mean, 1e-6));
        continue;
      }
      CHECK(found.fit.converged);
      // 11 digits are certified. The sets are ill-conditioned (ENSO, Thurber, MGH09), so that a gradient with round-off
      // leaves 8.
      // Sums of three exponentials (Lanczos) are the worst: compilers differ between 6.4 and 10
      // digits, at sums of squares that agree to more than 10.
      const double expected = set.name.rfind("Lanczos", 0) == 0 ? 6 : 7.5;
      CHECK(found.parameters >= expected);
      if (set.name == "Lanczos1") {
        // Residuals of 1e-13 beside values of 2.5: round-off of 4e-16 is up to 1 % of them.
        CHECK(found.deviations >= 2);
        CHECK(found.sum >= 2);
      } else {
        CHECK(found.deviations >= expected);
        CHECK(found.sum >= 9);
      }
    }
  }
}

TEST_CASE("a fit that says it has converged is at NIST's values", "[estimation][nist]") {
  // With the tolerances and the 200 iterations that are set unless asked otherwise. ENSO and MGH09 have the fewest
  // digits.
  const std::set<std::string> far_starts = {"MGH17 0", "BoxBOD 0", "MGH10 0", "Bennett5 0", "Bennett5 1"};
  std::set<std::string> not_converged;
  for (const char* name : names) {
    NistSet set(name);
    mend(set);
    for (int start = 0; start < 2; ++start) {
      const Run found = run(set, start, {});
      CAPTURE(name, start, found.parameters, found.fit.ended_by);
      if (found.fit.converged) {
        CHECK(found.parameters >= 4.5);
      } else {
        not_converged.insert(set.name + " " + std::to_string(start));
      }
    }
  }
  CHECK(not_converged == far_starts);
}

TEST_CASE("a bound short of the certified value is where a parameter ends", "[estimation][nist]") {
  // Minimal over the others there: the same as a fit with that parameter fixed.
  for (const char* name :
       {"Misra1a", "Chwirut2", "Gauss1", "Kirby2", "Hahn1", "MGH17", "Thurber", "Rat43", "MGH09", "Eckerle4"}) {
    const NistSet set(name);
    for (Eigen::Index m = 0; m < set.certified.size(); ++m) {
      for (const double side : {-1.0, 1.0}) {
        CAPTURE(name, m, side);
        solver::LeastSquaresProblem problem = tests::nist_problem(set);
        problem.scale = set.certified.cwiseAbs();
        const VectorXd away = VectorXd::Constant(set.certified.size(), std::numeric_limits<double>::infinity());
        problem.lower = -away;
        problem.upper = away;
        const double bound = set.certified(m) + side * 0.7 * set.standard_deviation(m);
        (side < 0 ? problem.upper : problem.lower)(m) = bound;
        // From NIST's nearer start; that of Hahn1 leads to another minimum across a pole with b7 held below its
        // certified value.
        const bool pole = set.name == "Hahn1" && m == 6 && side < 0;
        const solver::LeastSquaresResult fit = solver::least_squares(problem, pole ? set.certified : set.starts[1]);
        problem.lower(m) = problem.upper(m) = bound;
        const solver::LeastSquaresResult fixed = solver::least_squares(problem, set.certified);
        CAPTURE(fit.parameters.transpose(), fixed.parameters.transpose(), fit.ended_by, fixed.ended_by, fit.iterations,
                fit.evaluations);
        CHECK(fixed.converged);
        CHECK(fit.converged);
        CHECK(fit.parameters(m) == bound);
        CHECK_THAT(fit.sum_of_squares, WithinRel(fixed.sum_of_squares, 1e-6));
      }
    }
  }
}
