#include "solver/ode/bordered.hpp"

#include <cmath>
#include <numeric>

namespace onegrain::solver {

Bordered::Bordered(const std::vector<int>& block_sizes, int border, int algebraic)
    : integrated_(border - algebraic), algebraic_(algebraic), border_(border), solution_(border) {
  int offset = 0;
  for (const int size : block_sizes) {
    std::vector<int> all(static_cast<std::size_t>(border));
    std::iota(all.begin(), all.end(), 0);
    blocks_.push_back({offset, size, true, Eigen::ArrayXd::Zero(size), Eigen::MatrixXd::Zero(size, size), all, all});
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

void Bordered::solve_block(std::size_t k, Eigen::Ref<Eigen::VectorXd> part) {
  if (blocks_[k].diagonal) {
    part.array() *= inverse_diagonals_[k];
    return;
  }
  // written out, since PartialPivLU::solve takes its scratch from the heap
  const auto& row = factors_[k].permutationP().indices();
  auto moved = scratch_.head(blocks_[k].size);
  for (Eigen::Index m = 0; m < row.size(); ++m) moved[row[m]] = part[m];
  factors_[k].matrixLU().triangularView<Eigen::UnitLower>().solveInPlace(moved);
  factors_[k].matrixLU().triangularView<Eigen::Upper>().solveInPlace(moved);
  part = moved;
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
  schur_ = corner_;
  through_blocks_.resize(columns_.rows(), columns_.cols());
  for (std::size_t k = 0; k < blocks_.size(); ++k) {
    const Block& block = blocks_[k];
    for (const int column : block.feels) {
      auto through = through_blocks_.col(column).segment(block.offset, block.size);
      through = -gamma * columns_.col(column).segment(block.offset, block.size);
      solve_block(k, through);
      for (const int row : block.felt_by) {
        schur_(row, column) -= rows_.row(row).segment(block.offset, block.size).dot(through.transpose());
      }
    }
  }
  schur_.topRows(integrated_) *= -gamma;
  // through_blocks_ holds A^-1 (-gamma C); the Schur term of integrated rows is -(-gamma R) A^-1 (-gamma C)
  schur_.topLeftCorner(integrated_, integrated_).diagonal().array() += 1;
  schur_factor_.compute(schur_);
  return std::abs(schur_factor_.determinant()) > 0 && schur_.allFinite();
}

void Bordered::solve(Eigen::Ref<Eigen::VectorXd> b) {
  const Eigen::Index inner = rows_.cols();
  auto inside = b.tail(inner);
  border_.setZero();
  for (std::size_t k = 0; k < blocks_.size(); ++k) {
    auto part = inside.segment(blocks_[k].offset, blocks_[k].size);
    solve_block(k, part);
    for (const int row : blocks_[k].felt_by) {
      border_[row] += rows_.row(row).segment(blocks_[k].offset, blocks_[k].size).dot(part.transpose());
    }
  }
  border_.head(integrated_) = b.head(integrated_) + gamma_ * border_.head(integrated_);
  border_.tail(algebraic_) *= -1;
  solution_.noalias() = schur_factor_.solve(border_);
  b.head(integrated_) = solution_.head(integrated_);
  for (const Block& block : blocks_) {
    auto part = inside.segment(block.offset, block.size);
    for (const int column : block.feels) {
      part -= solution_[column] * through_blocks_.col(column).segment(block.offset, block.size);
    }
  }
}

}  // namespace onegrain::solver
