#include <algorithm>
#include <limits>

#include "solver/estimation/fit.hpp"

// What a further test would tell.
namespace onegrain::solver {

Eigen::VectorXd standard_errors_with(const CellFit& problem, const FitResult& result, const CellFit& further,
                                     const Eigen::VectorXd& further_z) {
  Eigen::VectorXd residuals;
  Eigen::MatrixXd slopes;
  const double unknown = std::numeric_limits<double>::infinity();
  LeastSquaresProblem now = problem.weighted(result.deviation);
  LeastSquaresResult all;
  all.parameters = result.z;
  if (!now.evaluate(result.z, all.residuals, &all.jacobian) || !further.voltages(further_z, residuals, &slopes)) {
    return Eigen::VectorXd::Constant(problem.size(), unknown);
  }
  double deviation = 0;
  for (const double d : result.deviation) deviation = std::max(deviation, d);
  const Eigen::Index before = all.jacobian.rows();
  Eigen::MatrixXd more = Eigen::MatrixXd::Zero(slopes.rows(), problem.size());
  for (std::size_t j = 0; j < further.given().free.size(); ++j) {
    for (std::size_t k = 0; k < problem.given().free.size(); ++k) {
      if (problem.given().free[k].name == further.given().free[j].name)
        more.col(static_cast<Eigen::Index>(k)) = slopes.col(static_cast<Eigen::Index>(j)) / deviation;
    }
  }
  auto first_of = [](const CellFit& fit, const std::string& name) -> Eigen::Index {
    auto k = static_cast<Eigen::Index>(fit.given().free.size());
    for (const FreePotential& p : fit.given().potentials) {
      if (p.name == name) return k;
      k += p.coefficients();
    }
    return -1;
  };
  for (const FreePotential& p : problem.given().potentials) {
    const Eigen::Index from = first_of(further, p.name);
    if (from >= 0)
      more.middleCols(first_of(problem, p.name), p.coefficients()) =
          slopes.middleCols(from, p.coefficients()) / deviation;
  }
  all.jacobian.conservativeResize(before + more.rows(), Eigen::NoChange);
  all.jacobian.bottomRows(more.rows()) = more;
  all.residuals.conservativeResize(before + more.rows());
  all.residuals.tail(more.rows()).setZero();
  return linearised(all, result.degrees_of_freedom).standard_error;
}

}  // namespace onegrain::solver
