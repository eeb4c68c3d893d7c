#pragma once

#include <Eigen/Dense>

namespace onegrain::model {

struct Gauss {
  Eigen::ArrayXd nodes, weights;
};

/// Gauss-Legendre points of [-1, 1], ascending, by the eigenvalues of the recurrence: exact for polynomials up to
/// degree 2 count - 1. Source: Golub and Welsch, Math. Comp. 23 (1969) 221.
Gauss gauss_legendre(int count);

}  // namespace onegrain::model
