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

}  // namespace onegrain::model
