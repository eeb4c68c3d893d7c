#pragma once

#include <Eigen/Core>

/// Eigenvalues and eigenvectors of symmetric matrices, in one place: a compiler takes five seconds for each file that
/// asks Eigen itself.
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

}  // namespace onegrain::model
