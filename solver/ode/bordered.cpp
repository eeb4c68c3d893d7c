#include "solver/ode/bordered.hpp"

#include <cmath>

namespace onegrain::solver {

Bordered::Bordered(const std::vector<int>& block_sizes, int border, int algebraic)
    : integrated_(border - algebraic), algebraic_(algebraic), border_(border), solution_(border) {
  int offset = 0;
  for (const int size : block_sizes) {
    blocks_.push_back({offset, size, true, Eigen::ArrayXd::Zero(size), Eigen::MatrixXd::Zero(size, size)});
    offset += size;
  }
  scratch_.resize(offset);
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

void Bordered::solve_blocks(Eigen::Ref<Eigen::VectorXd> b) {
  for (std::size_t k = 0; k < blocks_.size(); ++k) {
    auto part = b.segment(blocks_[k].offset, blocks_[k].size);
    if (blocks_[k].diagonal) {
      part.array() *= inverse_diagonals_[k];
      continue;
    }
    // written out, since PartialPivLU::solve takes its scratch from the heap
    const auto& row = factors_[k].permutationP().indices();
    auto moved = scratch_.head(blocks_[k].size);
    for (Eigen::Index m = 0; m < row.size(); ++m) moved[row[m]] = part[m];
    factors_[k].matrixLU().triangularView<Eigen::UnitLower>().solveInPlace(moved);
    factors_[k].matrixLU().triangularView<Eigen::Upper>().solveInPlace(moved);
    part = moved;
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
  for (Eigen::Index column = 0; column < through_blocks_.cols(); ++column) solve_blocks(through_blocks_.col(column));
  schur_ = corner_;
  schur_.noalias() -= rows_ * through_blocks_;
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
  border_.noalias() = rows_ * blocks;
  border_.head(integrated_) = b.head(integrated_) + gamma_ * border_.head(integrated_);
  border_.tail(algebraic_) *= -1;
  solution_.noalias() = schur_factor_.solve(border_);
  b.head(integrated_) = solution_.head(integrated_);
  blocks.noalias() -= through_blocks_ * solution_;
}

}  // namespace onegrain::solver
