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

// The definition, (A diag(w) B)_ij = sum_k A_ik w_k B_kj, in whole numbers, which are exact. Below and above the size
// from which Eigen multiplies in blocks.
TEST_CASE("products of whole matrices are the sums that define them", "[model][decompositions]") {
  const int rows = GENERATE(1, 3, 30), inner = GENERATE(2, 33), columns = GENERATE(1, 5, 31);
  CAPTURE(rows, inner, columns);
  const auto number = [](Eigen::Index i, Eigen::Index j) { return static_cast<double>((7 * i + 3 * j) % 11 - 5); };
  const auto filled = [&](int of_rows, int of_columns) {
    return Eigen::MatrixXd(Eigen::MatrixXd::NullaryExpr(of_rows, of_columns, number));
  };
  const Eigen::MatrixXd A = filled(rows, inner), B = filled(inner, columns), C = filled(rows, columns);
  const Eigen::VectorXd w = filled(inner, 1), by_row = filled(rows, 1);
  const Eigen::MatrixXd plain = model::product(A, B), weighted = model::product(A, w, B),
                        square = model::weighted_square(A, by_row);
  Eigen::MatrixXd transposed = Eigen::MatrixXd::Constant(inner, columns, 1e9);
  model::transposed_product(A, C, transposed);
  REQUIRE((plain.rows() == rows && plain.cols() == columns && square.rows() == inner && square.cols() == inner));
  for (int i = 0; i < rows; ++i) {
    for (int j = 0; j < columns; ++j) {
      double sum = 0, weighted_sum = 0;
      for (int k = 0; k < inner; ++k) {
        sum += A(i, k) * B(k, j);
        weighted_sum += A(i, k) * w[k] * B(k, j);
      }
      CHECK(plain(i, j) == sum);
      CHECK(weighted(i, j) == weighted_sum);
    }
  }
  for (int i = 0; i < inner; ++i) {
    double with_itself = 0, with_first = 0;
    for (int k = 0; k < rows; ++k) {
      with_itself += A(k, i) * by_row[k] * A(k, 0);
      with_first += A(k, i) * C(k, 0);
    }
    CHECK(square(i, 0) == with_itself);
    CHECK(transposed(i, 0) == with_first);
  }
}
