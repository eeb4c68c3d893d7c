// Linear algebra of blocks with a border, against Eigen's dense LU of the same matrix.

#include "solver/ode/bordered.hpp"

#include <random>

#include "tests/catch.hpp"

using onegrain::solver::Bordered;

namespace {
struct Shape {
  const char* name;
  std::vector<int> blocks;
  std::vector<bool> diagonal;
  int border, algebraic;
};

const Shape shapes[] = {
    {"one diagonal block", {7}, {true}, 1, 0},
    {"one full block", {7}, {false}, 1, 0},
    {"two blocks of a kind each", {12, 5}, {true, false}, 1, 0},
    {"two full blocks and a constraint", {9, 12}, {false, false}, 2, 1},
    {"diagonal blocks and a constraint", {12, 12}, {true, true}, 2, 1},
    {"three blocks, a wide border, two constraints", {4, 1, 6}, {false, true, false}, 5, 2},
    {"constraints alone in the border", {6}, {false}, 1, 1},
};

/// Fills a system with random numbers and returns its Jacobian, border first.
Eigen::MatrixXd fill(Bordered& system, const Shape& shape, std::mt19937& random) {
  std::uniform_real_distribution<double> number(-1, 1);
  const auto any = [&](Eigen::Index rows, Eigen::Index columns) {
    return Eigen::MatrixXd(Eigen::MatrixXd::NullaryExpr(rows, columns, [&] { return number(random); }));
  };
  Eigen::Index inner = 0;
  for (const int size : shape.blocks) inner += size;
  Eigen::MatrixXd J = Eigen::MatrixXd::Zero(shape.border + inner, shape.border + inner);
  J.topLeftCorner(shape.border, shape.border) = system.corner() = any(shape.border, shape.border);
  J.topRightCorner(shape.border, inner) = system.rows() = any(shape.border, inner);
  J.bottomLeftCorner(inner, shape.border) = system.columns() = any(inner, shape.border);
  for (std::size_t k = 0; k < shape.blocks.size(); ++k) {
    Bordered::Block& block = system.blocks()[k];
    block.diagonal = shape.diagonal[k];
    const Eigen::Index at = shape.border + block.offset;
    if (block.diagonal) {
      block.diagonal_values = any(block.size, 1).array();
      J.block(at, at, block.size, block.size) = block.diagonal_values.matrix().asDiagonal();
    } else {
      block.values = any(block.size, block.size);
      J.block(at, at, block.size, block.size) = block.values;
    }
  }
  return J;
}
}  // namespace

TEST_CASE("a bordered system has the solution of the dense one", "[solver][bordered]") {
  for (const Shape& shape : shapes) {
    for (unsigned seed = 1; seed <= 20; ++seed) {
      for (const double gamma : {1e-6, 0.3, 40.0}) {
        CAPTURE(shape.name, seed, gamma);
        std::mt19937 random(seed);
        Bordered system(shape.blocks, shape.border, shape.algebraic);
        const Eigen::MatrixXd J = fill(system, shape, random);
        // integrated rows I - gamma J; constraints: J as it is, with 0 on the right
        const Eigen::Index n = J.rows(), integrated = shape.border - shape.algebraic;
        Eigen::MatrixXd A = Eigen::MatrixXd::Identity(n, n) - gamma * J;
        A.middleRows(integrated, shape.algebraic) = J.middleRows(integrated, shape.algebraic);
        Eigen::VectorXd b(n - shape.algebraic), right = Eigen::VectorXd::Zero(n);
        for (Eigen::Index k = 0; k < b.size(); ++k) b[k] = std::uniform_real_distribution<double>(-1, 1)(random);
        right.head(integrated) = b.head(integrated);
        right.tail(n - shape.border) = b.tail(n - shape.border);
        const Eigen::VectorXd x = A.partialPivLu().solve(right);
        Eigen::VectorXd expected(b.size());
        expected << x.head(integrated), x.tail(n - shape.border);

        REQUIRE(system.factor(gamma));
        system.solve(b);
        // both lose digits by the condition of A, of its blocks, and the scale of the solution
        const double condition = 1 / A.partialPivLu().rcond();
        CHECK((b - expected).norm() < 1e-14 * condition * (1 + expected.norm()) * 100);
      }
    }
  }
}

TEST_CASE("a system factored for one step serves any number of right sides, and may be filled anew",
          "[solver][bordered]") {
  const Shape& shape = shapes[3];
  std::mt19937 random(5);
  Bordered system(shape.blocks, shape.border, shape.algebraic);
  fill(system, shape, random);
  REQUIRE(system.factor(0.1));
  const Eigen::VectorXd b = Eigen::VectorXd::LinSpaced(22, -1, 2);
  Eigen::VectorXd once = b, twice = b;
  system.solve(once);
  system.solve(twice);
  CHECK(once == twice);
  Eigen::VectorXd scaled = 3 * b;
  system.solve(scaled);
  CHECK((scaled - 3 * once).norm() < 1e-12 * scaled.norm());
  system.set_zero();
  system.corner()(1, 1) = 2;  // a constraint that says: the algebraic unknown is 0
  REQUIRE(system.factor(0.1));
  Eigen::VectorXd unchanged = b;
  system.solve(unchanged);
  CHECK(unchanged == b);  // I - gamma 0
}

TEST_CASE("a singular system is refused", "[solver][bordered]") {
  Bordered system({3}, 1, 0);
  system.set_zero();
  system.blocks()[0].diagonal_values[1] = 2;  // 1 - gamma 2 = 0
  CHECK_FALSE(system.factor(0.5));
  CHECK(system.factor(0.4));
  system.blocks()[0].diagonal_values.setZero();
  system.corner()(0, 0) = 2;
  CHECK_FALSE(system.factor(0.5));
  Bordered constrained({3}, 2, 1);
  constrained.set_zero();  // a constraint without any unknown
  CHECK_FALSE(constrained.factor(0.5));
}
