// How much each measured voltage counts.

#include <cmath>

#include "tests/estimation/fit_cells.hpp"

using namespace fit_test;

TEST_CASE("a voltage counts less where it runs steeply with charge, and fully in a rest",
          "[estimation][fit][weights]") {
  // Effective variance, J. Orear, Am. J. Phys. 50, 912 (1982): s_V^2 + (dV/dq s_q)^2 with 2 mV and 0.1 % of the
  // capacity.
  std::vector<double> charge;
  VectorXd voltage(401);
  for (int k = 0; k <= 400; ++k) charge.push_back(-7.0 * k / 400);
  for (const double slope : {0.0, 2.0, -2.0, 40.0}) {
    for (int k = 0; k <= 400; ++k) voltage[k] = 3.5 + slope * k / 400;
    const VectorXd w = weights_by_slope(charge, voltage);
    CAPTURE(slope);
    for (const int k : {0, 1, 200, 399, 400}) CHECK_THAT(w[k], WithinRel(1 / std::hypot(1, slope / 2), 1e-10));
  }
  SECTION("a kink is felt within half a per cent of the charge only") {
    for (int k = 0; k <= 400; ++k) voltage[k] = k < 200 ? 3.5 : 3.5 - 40.0 * (k - 200) / 400;
    const VectorXd w = weights_by_slope(charge, voltage);
    CHECK_THAT(w[190], WithinAbs(1, 1e-12));
    CHECK_THAT(w[210], WithinRel(1 / std::hypot(1, 20), 1e-10));
  }
  SECTION("rest") {
    for (int k = 0; k <= 200; ++k) voltage[k] = 3.5 - 1.0 * k / 400;
    for (int k = 201; k <= 400; ++k) {
      charge[static_cast<std::size_t>(k)] = charge[200];
      voltage[k] = 3.05 + 0.05 * (1 - std::exp(-(k - 200) / 50.0));
    }
    const VectorXd w = weights_by_slope(charge, voltage);
    CHECK_THAT(w[100], WithinRel(1 / std::hypot(1, 0.25), 1e-10));  // 0.5 V over the charge that passed
    CHECK_THAT(w[350], WithinAbs(1, 1e-12));
  }
  SECTION("nothing but rest") {
    CHECK(weights_by_slope(std::vector<double>(401, 3.0), voltage).isOnes(0));
    CHECK(weights_by_slope({}, VectorXd()).size() == 0);
  }
}
