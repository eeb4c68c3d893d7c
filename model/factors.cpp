#include <Eigen/Dense>
#include <algorithm>

#include "model/decompositions.hpp"

// Matrices of a few columns, a few times a fit.
namespace onegrain::model {

using Eigen::MatrixXd;
using Eigen::VectorXd;

Triangle triangle(const MatrixXd& A, const VectorXd& y) {
  const Eigen::Index rows = std::min(A.rows(), A.cols());
  const Eigen::HouseholderQR<MatrixXd> qr(A);
  VectorXd along = y;
  along.applyOnTheLeft(qr.householderQ().adjoint());
  return {qr.matrixQR().topRows(rows).triangularView<Eigen::Upper>(), along.head(rows)};
}

MatrixXd orthonormal_basis(const MatrixXd& A) { return Eigen::HouseholderQR<MatrixXd>(A).householderQ(); }

VectorXd least_squares_solution(const MatrixXd& A, const VectorXd& y, double flat) {
  Eigen::ColPivHouseholderQR<MatrixXd> qr(A);
  if (flat > 0) qr.setThreshold(flat);
  return qr.solve(y);
}

RightSingular right_singular(const MatrixXd& A) {
  MatrixXd R = MatrixXd::Zero(A.cols(), A.cols());
  R.topRows(std::min(A.rows(), A.cols())) = triangle(A, VectorXd::Zero(A.rows())).R;
  const Eigen::JacobiSVD<MatrixXd, Eigen::NoQRPreconditioner> svd(R, Eigen::ComputeFullV);
  return {svd.singularValues(), svd.matrixV()};
}

std::optional<MatrixXd> cholesky(const MatrixXd& A) {
  const Eigen::LLT<MatrixXd> factors(A);
  if (factors.info() != Eigen::Success) return std::nullopt;
  return MatrixXd(factors.matrixL());
}

MatrixXd definite_solution(const MatrixXd& A, const MatrixXd& B) { return A.llt().solve(B); }

}  // namespace onegrain::model
