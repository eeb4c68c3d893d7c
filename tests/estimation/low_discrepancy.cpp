#include "solver/estimation/low_discrepancy.hpp"

#include <array>
#include <cmath>
#include <numeric>
#include <set>

#include "solver/estimation/quantiles.hpp"
#include "tests/catch.hpp"

// Sobol's sequence and its scrambling.

using namespace onegrain;

TEST_CASE("Sobol's sequence begins as published", "[low_discrepancy]") {
  // The first ten points in three dimensions that S. Joe and F. Y. Kuo print as the output of their program for
  // new-joe-kuo-6 ("Notes on generating Sobol' sequences", 2008), from memory; the first two columns are those of
  // P. Bratley, B. L. Fox, ACM TOMS 14, 88 (1988).
  constexpr std::array<std::array<double, 3>, 10> published{{{0, 0, 0},
                                                             {0.5, 0.5, 0.5},
                                                             {0.75, 0.25, 0.25},
                                                             {0.25, 0.75, 0.75},
                                                             {0.375, 0.375, 0.625},
                                                             {0.875, 0.875, 0.125},
                                                             {0.625, 0.125, 0.875},
                                                             {0.125, 0.625, 0.375},
                                                             {0.1875, 0.3125, 0.9375},
                                                             {0.6875, 0.8125, 0.4375}}};
  for (std::uint32_t k = 0; k < published.size(); ++k) {
    const auto point = solver::sobol_point(k, 3);
    for (std::size_t d = 0; d < 3; ++d) CHECK(point[d] * 0x1p-32 == published[k][d]);
  }
  CHECK_THROWS_AS(solver::sobol_point(0, 0), std::invalid_argument);
  CHECK_THROWS_AS(solver::sobol_point(5, 3668), std::invalid_argument);
  CHECK(solver::sobol_point(5, 3667).size() == 3667);
}

TEST_CASE("however scrambled, 2^m points have one in each 2^m-th of every axis and each quarter of a plane its share",
          "[low_discrepancy]") {
  // Nets of base 2 stay nets under nested scrambling: A. B. Owen (1995). The first two axes are a (0, m, 2)-net.
  constexpr int m = 8, count = 1 << m;
  for (const std::uint64_t key : {1u, 2u, 77u}) {
    std::array<std::set<int>, 30> seen;
    std::array<std::set<int>, m + 1> boxes;
    for (std::uint32_t k = 0; k < count; ++k) {
      const Eigen::VectorXd x = solver::scrambled_sobol_point(key, k, 30);
      CHECK((x.minCoeff() > 0 && x.maxCoeff() < 1));
      for (Eigen::Index d = 0; d < 30; ++d) seen[static_cast<std::size_t>(d)].insert(static_cast<int>(x[d] * count));
      for (int a = 0; a <= m; ++a)  // boxes of 2^-a by 2^-(m - a)
        boxes[static_cast<std::size_t>(a)].insert(
            static_cast<int>(std::ldexp(std::floor(std::ldexp(x[0], a)), m - a) + std::floor(std::ldexp(x[1], m - a))));
    }
    for (const auto& axis : seen) CHECK(axis.size() == count);
    for (const auto& shape : boxes) CHECK(shape.size() == count);
  }
}

TEST_CASE("a scrambled point is uniform over the keys, and keys know nothing of one another", "[low_discrepancy]") {
  // Mean 1/2, variance 1/12 of the uniform distribution; no correlation between keys nor between coordinates.
  constexpr int keys = 4000;
  for (const std::uint32_t index : {0u, 1u, 6u}) {
    Eigen::MatrixXd x(keys, 4);
    for (int k = 0; k < keys; ++k)
      x.row(k) = solver::scrambled_sobol_point(static_cast<std::uint64_t>(k), index, 4).transpose();
    const double error = 1 / std::sqrt(12.0 * keys);
    for (Eigen::Index d = 0; d < 4; ++d) {
      CHECK(std::abs(x.col(d).mean() - 0.5) < 4 * error);
      const Eigen::ArrayXd c = x.col(d).array() - 0.5;
      CHECK(c.square().mean() == Approx(1 / 12.0).margin(4 * std::sqrt(1 / 180.0 / keys)));
      CHECK(std::abs((c.head(keys - 1) * c.tail(keys - 1)).mean()) < 4 / 12.0 / std::sqrt(keys));
      if (d > 0) CHECK(std::abs((c * (x.col(0).array() - 0.5)).mean()) < 4 / 12.0 / std::sqrt(keys));
    }
  }
}

TEST_CASE("integrals with known answers are met far closer than by random points", "[low_discrepancy]") {
  // prod (1 + (x_d - 1/2) / 2) over ten dimensions is 1, with variance (1 + 1/48)^10 - 1; random points of this number
  // would be off by its root over sqrt(n). Nested scrambling in smooth functions: Owen, Ann. Stat. 25, 1541 (1997).
  constexpr int count = 1024, keys = 20;
  double square = 0;
  for (std::uint64_t key = 0; key < keys; ++key) {
    double sum = 0;
    for (std::uint32_t k = 0; k < count; ++k)
      sum += (1 + 0.5 * (solver::scrambled_sobol_point(key, k, 10).array() - 0.5)).prod();
    square += std::pow(sum / count - 1, 2) / keys;
  }
  const double random = std::sqrt((std::pow(1 + 1 / 48.0, 10) - 1) / count);
  CHECK(std::sqrt(square) < random / 20);
}
