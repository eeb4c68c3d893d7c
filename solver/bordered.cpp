#include "solver/bordered.hpp"

#include <cmath>

namespace onegrain::solver {

Bordered::Bordered(const std::vector<int>& block_sizes, int border, int algebraic)
    : integrated_(border - algebraic), algebraic_(algebraic), border_(border) {
  int offset = 0;
  for (const int size : block_sizes) {
    blocks_.push_back({offset, size, true, Eigen::ArrayXd::Zero(size), Eigen::MatrixXd::Zero(size, size)});
    offset += size;
  }
  corner_.setZero(border, border);
  rows_.setZero(border, offset);
  columns_.setZero(offset, border);
  inverse_diagonals_.resize(blocks_.size());
  factors_.resize(blocks_.size());
}

void Bordered::set_zero() {
  corner_.setZero();
  rows_.setZero();
  columns_.setZero();
  for (Block& block : blocks_) {
    block.diagonal_values.setZero();
    block.values.setZero();
  }
}

void Bordered::solve_blocks(Eigen::Ref<Eigen::MatrixXd> b) const {
  for (std::size_t k = 0; k < blocks_.size(); ++k) {
    auto part = b.middleRows(blocks_[k].offset, blocks_[k].size);
    if (blocks_[k].diagonal) {
      part.array().colwise() *= inverse_diagonals_[k];
    } else {
      part = factors_[k].solve(part).eval();
    }
  }
}

bool Bordered::factor(double gamma) {
  gamma_ = gamma;
  for (std::size_t k = 0; k < blocks_.size(); ++k) {
    const Block& block = blocks_[k];
    if (block.diagonal) {
      inverse_diagonals_[k] = (1 - gamma * block.diagonal_values).inverse();
      if (!inverse_diagonals_[k].isFinite().all()) return false;
    } else {
      factors_[k].compute(Eigen::MatrixXd::Identity(block.size, block.size) - gamma * block.values);
    }
  }
  // Border: integrated rows I - gamma (S, R), algebraic rows (S, R) as they are.
  through_blocks_ = -gamma * columns_;
  solve_blocks(through_blocks_);
  schur_ = corner_ - rows_ * through_blocks_;
  schur_.topRows(integrated_) *= -gamma;
  // through_blocks_ holds A^-1 (-gamma C); the Schur term of integrated rows is -(-gamma R) A^-1 (-gamma C)
  schur_.topLeftCorner(integrated_, integrated_).diagonal().array() += 1;
  schur_factor_.compute(schur_);
  return std::abs(schur_factor_.determinant()) > 0 && schur_.allFinite();
}

void Bordered::solve(Eigen::Ref<Eigen::VectorXd> b) {
  const Eigen::Index inner = rows_.cols();
  auto blocks = b.tail(inner);
  solve_blocks(blocks);
  border_.setZero();
  border_.head(integrated_) = b.head(integrated_) + gamma_ * (rows_.topRows(integrated_) * blocks);
  border_.tail(algebraic_) = -(rows_.bottomRows(algebraic_) * blocks);
  const Eigen::VectorXd z = schur_factor_.solve(border_);
  b.head(integrated_) = z.head(integrated_);
  blocks -= through_blocks_ * z;
}

}  // namespace onegrain::solver
