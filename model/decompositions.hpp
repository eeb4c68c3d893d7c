#pragma once

#include <Eigen/Core>
#include <optional>

/// Decompositions and products of whole matrices in one place: a compiler takes five or two seconds for each file that
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

/// A B.
Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B);
/// A diag(w) B.
Eigen::MatrixXd product(const Eigen::MatrixXd& A, const Eigen::VectorXd& w, const Eigen::MatrixXd& B);
/// A^T diag(w) A.
Eigen::MatrixXd weighted_square(const Eigen::MatrixXd& A, const Eigen::VectorXd& w);
/// result = A^T B. Of its size already, and neither A nor B.
void transposed_product(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B, Eigen::Ref<Eigen::MatrixXd> result);

/// A = Q R with orthogonal Q.
struct Triangle {
  Eigen::MatrixXd R;      ///< min(rows, columns) x columns
  Eigen::VectorXd along;  ///< that many first elements of Q^T y
};
Triangle triangle(const Eigen::MatrixXd& A, const Eigen::VectorXd& y);
/// Orthonormal columns, as many as A has rows; the first ones span the columns of A.
Eigen::MatrixXd orthonormal_basis(const Eigen::MatrixXd& A);
/// The x of least |A x - y|; no fewer rows than columns.
/// @param flat  what is flatter than this share of the longest column gets no x; 0: round-off
Eigen::VectorXd least_squares_solution(const Eigen::MatrixXd& A, const Eigen::VectorXd& y, double flat = 0);

/// Singular values, descending, and right singular vectors, one for each column of A.
struct RightSingular {
  Eigen::VectorXd values;
  Eigen::MatrixXd vectors;  ///< in columns
};
RightSingular right_singular(const Eigen::MatrixXd& A);

/// The lower triangle L of A = L L^T; nothing where A is not positive definite.
/// @param A  symmetric; its lower triangle is read
std::optional<Eigen::MatrixXd> cholesky(const Eigen::MatrixXd& A);
/// A^-1 B for a symmetric, positive definite A.
Eigen::MatrixXd definite_solution(const Eigen::MatrixXd& A, const Eigen::MatrixXd& B);

}  // namespace onegrain::model
