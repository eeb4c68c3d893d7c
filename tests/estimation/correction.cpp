// The spline that corrects a potential.

#include "tests/estimation/fit_cells.hpp"

using namespace fit_test;

TEST_CASE("the pieces of a potential's correction add up to one", "[estimation][fit][spline]") {
  // A partition of unity, and at the knots 1/6, 4/6, 1/6: C. de Boor, A Practical Guide to Splines (1978), ch. IX-X.
  for (const int pieces : {1, 2, 7, 24}) {
    const FreePotential p{"U", false, pieces, 0.15, 0.95};
    const double h = (p.upper - p.lower) / pieces;
    for (const double x : {-0.3, 0.0, 0.15, 0.1501, 0.3, 0.55, 0.77, 0.9499, 0.95, 1.0, 1.4}) {
      CAPTURE(pieces, x);
      const Eigen::RowVectorXd b = correction_basis(p, x);
      REQUIRE(b.size() == pieces + 3);
      CHECK_THAT(b.sum(), WithinAbs(1, 1e-14));
      CHECK((b.array() != 0).count() <= 4);
      if (x >= p.lower && x <= p.upper) CHECK(b.minCoeff() >= 0);
    }
    for (int j = 0; j < pieces; ++j) {
      const Eigen::RowVectorXd b = correction_basis(p, p.lower + h * j + 1e-15);
      CHECK_THAT(b[j], WithinAbs(1.0 / 6, 1e-9));
      CHECK_THAT(b[j + 1], WithinAbs(4.0 / 6, 1e-9));
      CHECK_THAT(b[j + 2], WithinAbs(1.0 / 6, 1e-9));
    }
  }
}

TEST_CASE("a potential's correction is its basis times its coefficients, and straight beyond",
          "[estimation][fit][spline]") {
  const FreePotential p{"U", true, 9, 0.1, 0.8};
  VectorXd c(12);
  for (Eigen::Index k = 0; k < 12; ++k) c[k] = 0.01 * std::sin(1.7 * static_cast<double>(k) + 0.3);
  const model::Curve curve = potential_correction(p, c);
  for (double x = -0.2; x < 1.2; x += 0.0173) {
    CAPTURE(x);
    CHECK_THAT(curve(x), WithinAbs(correction_basis(p, x).dot(c), 1e-14));
    CHECK_THAT(curve.at(x).slope, WithinAbs((curve(x + 1e-5) - curve(x - 1e-5)) / 2e-5, 1e-6));
    if (x < p.lower) CHECK_THAT(curve(x), WithinAbs(curve(p.lower) + curve.at(p.lower).slope * (x - p.lower), 1e-14));
    if (x > p.upper) CHECK_THAT(curve(x), WithinAbs(curve(p.upper) + curve.at(p.upper).slope * (x - p.upper), 1e-14));
  }
  // Splines of this order hold straight lines: coefficients at the centres of their pieces (Marsden's identity, de
  // Boor, ch. IX).
  const double h = 0.7 / 9;
  for (Eigen::Index k = 0; k < 12; ++k) c[k] = 2 - 3 * (p.lower + h * static_cast<double>(k - 1));
  for (const double x : {-0.2, 0.1, 0.234, 0.5, 0.799, 1.1})
    CHECK_THAT(potential_correction(p, c)(x), WithinAbs(2 - 3 * x, 1e-13));
}
