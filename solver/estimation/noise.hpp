#pragma once

#include <vector>

#include "solver/estimation/fit.hpp"

namespace onegrain::solver {

/// What the residuals of a fit tell of the noise: standard deviation over all curves, how many residuals count as
/// independent, and of each curve how far residuals hang together and with which deviation it is to be weighted.
struct Noise {
  double standard_deviation = 0, independent = 0;
  std::vector<double> correlation, deviation;
};

/// @param difference  calculated minus measured, of all curves [V]
/// @param parameters  number of numbers that were free
Noise noise_of(const FitProblem& problem, const Eigen::VectorXd& difference, Eigen::Index parameters);

}  // namespace onegrain::solver
