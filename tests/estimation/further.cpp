// What a further test would tell.

#include <cmath>

#include "tests/estimation/fit_cells.hpp"

using namespace fit_test;

TEST_CASE("the same test once more divides standard errors by the square root of two", "[estimation][fit][further]") {
  Cell cell = half_cell();
  cell.contact_resistance = 5e-4;
  FitProblem problem{cell, model::ElectrolyteModel::uniform, {}, {}, {}};
  std::mt19937 engine(3);
  for (const double rate : {0.5, 2.0}) {
    FitCurve curve{"discharge", pulse(-rate * one_c, 900 / rate, 300, 100), {}, {}};
    curve.voltage = with_noise(simulated(cell, curve.run, curve.start, problem.electrolyte), 1e-3, engine);
    problem.curves.push_back(curve);
  }
  problem.free = {free_in(cell, "tp", Q::diffusion_time), free_in(cell, "ip", Q::exchange_current_density),
                  free_in(cell, "r", Q::contact_resistance)};
  const CellFit cell_fit(problem);
  FitResult result = fit(cell_fit, {.profiles = false});
  result.deviation.assign(2, result.deviation[0]);  // the further test counts with one deviation
  FitProblem none = problem;
  none.curves.clear();
  const VectorXd before = standard_errors_with(cell_fit, result, CellFit(none), result.z);
  const VectorXd after = standard_errors_with(cell_fit, result, cell_fit, result.z);
  for (Eigen::Index k = 0; k < 3; ++k) CHECK_THAT(after[k], WithinRel(before[k] / std::sqrt(2.0), 1e-6));

  SECTION("parameters are matched by name") {
    FitProblem turned = problem;
    std::swap(turned.free[0], turned.free[2]);
    VectorXd z = result.z;
    std::swap(z[0], z[2]);
    const VectorXd same = standard_errors_with(cell_fit, result, CellFit(turned), z);
    for (Eigen::Index k = 0; k < 3; ++k) CHECK_THAT(same[k], WithinRel(after[k], 1e-9));
  }
  SECTION("a test of one parameter alone adds what it tells to what is known") {
    // 1 / se^2 grows by |dV/dz / deviation|^2: the information of independent measurements adds, e.g. Bates and Watts
    // (1988), ch. 2.
    FitProblem alone = problem;
    alone.free = {problem.free[0]};
    const CellFit further(alone);
    const VectorXd z = result.z.head(1);
    VectorXd difference;
    MatrixXd slopes;
    REQUIRE(further.voltages(z, difference, &slopes));
    const double told = slopes.squaredNorm() / std::pow(result.deviation[0], 2);
    CHECK_THAT(standard_errors_with(cell_fit, result, further, z)[0],
               WithinRel(1 / std::sqrt(std::pow(before[0], -2) + told), 1e-6));
  }
}
