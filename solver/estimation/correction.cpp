#include <algorithm>

#include "solver/estimation/fit.hpp"

// The spline that corrects a potential.
namespace onegrain::solver {

model::Curve potential_correction(const FreePotential& potential, const Eigen::Ref<const Eigen::VectorXd>& c) {
  const double h = (potential.upper - potential.lower) / potential.pieces;
  std::vector<double> breaks;
  std::vector<std::vector<double>> pieces;
  for (int j = 0; j <= potential.pieces; ++j) breaks.push_back(potential.lower + h * j);
  for (int j = 0; j < potential.pieces; ++j) {  // uniform cubic B-splines in powers of (x - break)
    const double c0 = c[j], c1 = c[j + 1], c2 = c[j + 2], c3 = c[j + 3];
    pieces.push_back({(c0 + 4 * c1 + c2) / 6, (c2 - c0) / (2 * h), (c0 - 2 * c1 + c2) / (2 * h * h),
                      (c3 - 3 * c2 + 3 * c1 - c0) / (6 * h * h * h)});
  }
  return model::Curve::pieces(std::move(breaks), pieces, model::Curve::Beyond::tangent);
}

Eigen::RowVectorXd correction_basis(const FreePotential& potential, double x) {
  Eigen::RowVectorXd basis = Eigen::RowVectorXd::Zero(potential.coefficients());
  const double h = (potential.upper - potential.lower) / potential.pieces;
  const double wanted = (x - potential.lower) / h, at = std::clamp(wanted, 0.0, static_cast<double>(potential.pieces));
  const int j = std::min(static_cast<int>(at), potential.pieces - 1);
  const double u = at - j, v = 1 - u, beyond = wanted - at;
  basis.segment(j, 4) << v * v * v / 6, (3 * u * u * u - 6 * u * u + 4) / 6, (3 * v * v * v - 6 * v * v + 4) / 6,
      u * u * u / 6;
  if (beyond != 0) {  // along the tangent at the end
    Eigen::RowVector4d slope;
    slope << -v * v / 2, (3 * u * u - 4 * u) / 2, (-3 * v * v + 4 * v) / 2, u * u / 2;
    basis.segment(j, 4) += beyond * slope;
  }
  return basis;
}

}  // namespace onegrain::solver
