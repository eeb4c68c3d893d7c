#pragma once

#include <Eigen/Dense>
#include <vector>

namespace onegrain::solver {

/// A Jacobian of blocks that are coupled only through a few border unknowns, and the solution of I - gamma J with it.
///
///     J = [ S   R ]      S: border x border      R: border x blocks
///         [ C   B ]      C: blocks x border      B = diag(B_1, B_2, ...), each diagonal or full
///
/// Unknowns are ordered border first. The last `algebraic` border unknowns are not integrated: their rows of S and R
/// are the gradient of a constraint that stays zero, and they do not appear in the vectors given to solve().
/// Cost: one factorisation per full block, and of one border x border matrix (the Schur complement). A block that says
/// which border unknowns it is coupled to costs no more than these.
class Bordered {
 public:
  Bordered(const std::vector<int>& block_sizes, int border, int algebraic);

  struct Block {
    int offset, size;
    bool diagonal = true;
    Eigen::ArrayXd diagonal_values;  ///< where diagonal
    Eigen::MatrixXd values;          ///< where not
    /// The border unknowns that this block feels (columns of C that are not zero), and those that feel it (rows of R);
    /// all of them unless fewer are named.
    std::vector<int> feels, felt_by;
  };
  std::vector<Block>& blocks() { return blocks_; }
  Eigen::MatrixXd& corner() { return corner_; }  ///< S
  using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  RowMajor& rows() { return rows_; }               ///< R
  Eigen::MatrixXd& columns() { return columns_; }  ///< C
  void set_zero();

  /// Factors I - gamma J. False if singular.
  bool factor(double gamma);
  /// b <- (I - gamma J)^-1 b;  b holds the integrated border unknowns, then the blocks.
  void solve(Eigen::Ref<Eigen::VectorXd> b);

 private:
  void solve_block(std::size_t k, Eigen::Ref<Eigen::VectorXd> part);

  int integrated_, algebraic_;
  double gamma_ = 0;
  std::vector<Block> blocks_;
  RowMajor rows_;
  Eigen::MatrixXd corner_, columns_, through_blocks_, schur_;
  std::vector<Eigen::ArrayXd> inverse_diagonals_;
  std::vector<Eigen::PartialPivLU<Eigen::MatrixXd>> factors_;
  Eigen::PartialPivLU<Eigen::MatrixXd> schur_factor_;
  Eigen::VectorXd border_, solution_, scratch_;
};

}  // namespace onegrain::solver
