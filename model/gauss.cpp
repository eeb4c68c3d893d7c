#include "model/gauss.hpp"

#include <cmath>

namespace onegrain::model {

Gauss gauss_legendre(int count) {
  Eigen::VectorXd diagonal = Eigen::VectorXd::Zero(count), beside(count - 1);
  for (int k = 1; k < count; ++k) beside[k - 1] = k / std::sqrt(4.0 * k * k - 1);
  Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver;
  solver.computeFromTridiagonal(diagonal, beside);
  return {solver.eigenvalues().array(), 2 * solver.eigenvectors().row(0).transpose().array().square()};
}

}  // namespace onegrain::model
