#include "model/gauss.hpp"

#include <cmath>

#include "model/decompositions.hpp"

namespace onegrain::model {

Gauss gauss_legendre(int count) {
  Eigen::VectorXd diagonal = Eigen::VectorXd::Zero(count), beside(count - 1);
  for (int k = 1; k < count; ++k) beside[k - 1] = k / std::sqrt(4.0 * k * k - 1);
  const EigenPairs pairs = eigenpairs_of_tridiagonal(diagonal, beside);
  return {pairs.values.array(), 2 * pairs.vectors.row(0).transpose().array().square()};
}

}  // namespace onegrain::model
