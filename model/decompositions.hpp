#pragma once

#include <Eigen/Core>

/// Eigenvalues and eigenvectors of symmetric matrices, and products of whole matrices, in one place: a compiler takes
/// five or two seconds for each file that asks Eigen itself.
namespace onegrain::model {

/// A v_k = lambda_k v_k, eigenvalues ascending.
struct EigenPairs {
  Eigen::VectorXd values;
  Eigen::MatrixXd vectors;  ///< v_k in column k
};

/// @param matrix  symmetric; its lower triangle is read. Vectors are of length one.
EigenPairs eigenpairs(const Eigen::MatrixXd& matrix);

/// A v = lambda M v with v^T M v = 1.
/// @param mass  symmetric and positive definite
EigenPairs eigenpairs(const Eigen::MatrixXd& matrix, const Eigen::MatrixXd& mass);

/// Of a symmetric tridiagonal matrix.
/// @param beside  the entries beside the diagonal, one fewer
EigenPairs eigenpairs_of_tridiagonal(const Eigen::VectorXd& diagonal, const Eigen::VectorXd& beside);

/// A B.
Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B);
/// A diag(w) B.
Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::VectorXd& w, const Eigen::MatrixXd& B);
/// A^T diag(w) A.
Eigen::MatrixXd weighted_square(const Eigen::MatrixXd& A, const Eigen::VectorXd& w);
/// result = A^T B. Of its size already, and neither A nor B.
void transposed_product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B, Eigen::Ref<Eigen::MatrixXd> result);

}  // namespace onegrain::model
