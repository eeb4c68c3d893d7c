#include "model/decompositions.hpp"

#include <Eigen/Eigenvalues>

namespace onegrain::model {

EigenPairs eigenpairs(const Eigen::MatrixXd& matrix) {
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(matrix);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

EigenPairs eigenpairs(const Eigen::MatrixXd& matrix, const Eigen::MatrixXd& mass) {
  const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(matrix, mass);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

EigenPairs eigenpairs_of_tridiagonal(const Eigen::VectorXd& diagonal, const Eigen::VectorXd& beside) {
  Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver;
  solver.computeFromTridiagonal(diagonal, beside);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B) { return A * B; }

Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::VectorXd& w, const Eigen::MatrixXd& B) {
  return A * w.asDiagonal() * B;
}

Eigen::MatrixXd weighted_square(const Eigen::MatrixXd& A, const Eigen::VectorXd& w) {
  return A.transpose() * w.asDiagonal() * A;
}

void transposed_product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B, Eigen::Ref<Eigen::MatrixXd> result) {
  result.noalias() = A.transpose() * B;
}

}  // namespace onegrain::model
