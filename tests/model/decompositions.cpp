#include "model/decompositions.hpp"

#include <cmath>
#include <numbers>

#include "tests/catch.hpp"

using namespace onegrain;

// Eigenvalues and eigenvectors of the second difference with fixed ends: lambda_k = 2 - 2 cos(k pi / (n + 1)), v_k(j) =
// sin(j k pi / (n + 1)); with the linear element's mass [1 4 1]/6 the generalised ones are lambda_k / (1 - lambda_k /
// 6). G. Strang and G. Fix, An Analysis of the Finite Element Method (1973), ch. 6; from memory.
TEST_CASE("a string of beads swings in sines, by every way of asking for its modes", "[model][decompositions]") {
  const int n = GENERATE(1, 2, 7, 40);
  CAPTURE(n);
  const Eigen::VectorXd diagonal = Eigen::VectorXd::Constant(n, 2), beside = Eigen::VectorXd::Constant(n - 1, -1);
  Eigen::MatrixXd stiffness = Eigen::MatrixXd::Zero(n, n);
  stiffness.diagonal() = diagonal;
  if (n > 1) stiffness.diagonal(1) = stiffness.diagonal(-1) = beside;
  const Eigen::MatrixXd mass = Eigen::MatrixXd::Identity(n, n) - stiffness / 6;

  const model::EigenPairs whole = model::eigenpairs(stiffness),
                          banded = model::eigenpairs_of_tridiagonal(diagonal, beside),
                          with_mass = model::eigenpairs(stiffness, mass);
  for (int k = 0; k < n; ++k) {
    const double angle = (k + 1) * std::numbers::pi / (n + 1), expected = 2 - 2 * std::cos(angle);
    CAPTURE(k);
    CHECK_THAT(whole.values[k], WithinAbs(expected, 1e-13));
    CHECK_THAT(banded.values[k], WithinAbs(expected, 1e-13));
    CHECK_THAT(with_mass.values[k], WithinAbs(expected / (1 - expected / 6), 1e-12));
    Eigen::VectorXd sine(n);
    for (int j = 0; j < n; ++j) sine[j] = std::sin((j + 1) * angle);
    sine.normalize();
    CHECK_THAT(std::abs(sine.dot(whole.vectors.col(k))), WithinAbs(1, 1e-12));
    CHECK_THAT(std::abs(sine.dot(banded.vectors.col(k))), WithinAbs(1, 1e-12));
    CHECK_THAT(with_mass.vectors.col(k).dot(mass * with_mass.vectors.col(k)), WithinAbs(1, 1e-12));
  }
}
