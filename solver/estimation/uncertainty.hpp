#pragma once

#include <Eigen/Dense>
#include <vector>

#include "solver/estimation/least_squares.hpp"

/// How far the estimates of a least-squares fit can be trusted.
///
/// Everything here takes residuals in units of their standard deviation, r_k = (measured - calculated)_k / s_k, so that
/// the covariance of the estimates is (J^T J)^-1. Where the standard deviation is learnt from the fit itself, divide
/// residuals and Jacobian by sqrt(sum of squares / degrees of freedom) first.
namespace onegrain::solver {

struct Interval {
  double lower = 0, upper = 0;  ///< in the unit of the parameter; may be infinite
};

/// A combination of parameters that the data tell little or nothing about. Moving along it,
///
///     p_m -> p_m + h scale_m weights_m,    |weights| = 1,
///
/// the residuals change so little that h is known to no better than `standard_error`.
struct Direction {
  Eigen::VectorXd weights;
  double standard_error = 0;  ///< of h; infinite where the residuals do not change at all
};

struct IdentifiabilityOptions {
  /// A change of each parameter that matters, > 0. Empty: its estimate, or 1 where that is 0.
  Eigen::VectorXd scale;
  /// A direction is told where h is known to better than this.
  double useful = 1;
  /// Share of a column of the Jacobian that is round-off or discretisation; what the data tell through less is noise.
  double jacobian_error = 1e-10;
};

struct Uncertainty {
  double quantile = 0;              ///< t of the intervals, at (1 + confidence) / 2
  Eigen::MatrixXd covariance;       ///< (J^T J)^-1; +-infinite between parameters that share a flat direction
  Eigen::VectorXd standard_error;   ///< square root of its diagonal; infinite where a flat direction has a share of it
  Eigen::MatrixXd correlation;      ///< in [-1, 1]; its limit where the covariance is infinite
  std::vector<Interval> intervals;  ///< p_m -+ t se_m
  std::vector<Direction> untold;    ///< the worst first
};

/// Uncertainty of the estimates from the model linearised at them:
///
///     C = (J^T J)^-1,   se_m = sqrt(C_mm),   interval p_m -+ t((1 + confidence) / 2, degrees_of_freedom) se_m.
///
/// By singular values of J with its columns brought to unit length, so that units play no part and J^T J is never
/// formed. Directions whose singular value is below sqrt(parameters) jacobian_error of the largest (or below round-off)
/// are flat: parameters with a share in one get an infinite standard error, the others the finite one that they have
/// for every value of those. Flat directions are returned with as few parameters each as elimination allows, e.g. "a
/// against b" and "c alone" rather than mixtures. Of the rest, those with a standard error above `useful` are returned
/// as well. Bounds play no part: an estimate at its bound has an interval that reaches across it.
///
/// @param result               residuals and jacobian in units of the standard deviation of the residuals
/// @param degrees_of_freedom   effective number of residuals less parameters, > 0
/// @param confidence           of each interval taken alone, in (0, 1)
/// @throws std::invalid_argument where sizes or ranges are violated or the Jacobian is not finite
/// Source: Bates and Watts, Nonlinear Regression Analysis and Its Applications (1988), sec. 2.3; flat directions:
/// Belsley, Kuh and Welsch, Regression Diagnostics (1980), ch. 3.
Uncertainty linearised(const LeastSquaresResult& result, double degrees_of_freedom, double confidence = 0.95,
                       const IdentifiabilityOptions& options = {});

struct ProfileOptions {
  /// Of the fits with the parameter fixed. Looser than for the fit itself: the sum of squares need only be known to a
  /// small part of t^2.
  LeastSquaresOptions refit = {.most_iterations = 100, .function_tolerance = 1e-8, .parameter_tolerance = 1e-7};
  int most_refits = 12;    ///< on each side
  double accuracy = 0.01;  ///< of each end, as a share of its distance from the estimate
};

struct ProfileInterval : Interval {
  /// The sum of squares has not risen by t^2 where the parameter meets its bound, the model has no answer any more, or
  /// the search has gone as far as it may (then the end is infinite).
  bool lower_open = false, upper_open = false;
  /// Empty, or parameters with a sum of squares lower by more than t^2 / 100 than that of the result: fit again from
  /// them. The interval is then no more than a guess.
  Eigen::VectorXd better;
  double better_sum_of_squares = 0;
  int refits = 0;
  int unsettled = 0;  ///< fits among them that have not converged: the interval may be too narrow
};

/// Profile-likelihood interval of one parameter: all its values x with
///
///     min over the other parameters of S(p | p_index = x)  <=  S(estimate) + t((1 + confidence) / 2,
///     degrees_of_freedom)^2
///
/// that hang together with the estimate. It follows the curvature that linearised() leaves out, and the bounds. Ends
/// are found by TOMS 748 on sqrt(S - S_min), which is nearly linear in x, each fit starting where its neighbours point
/// to.
///
/// @param problem  with residuals in units of their standard deviation
/// @param result   of least_squares(problem, ...)
/// @param index    of the parameter, from 0
/// @throws std::invalid_argument where sizes or ranges are violated; what problem.evaluate throws
/// Source: Bates and Watts (1988), sec. 6.1; Venzon and Moolgavkar, Appl. Statist. 37, 87 (1988); bracket: Alefeld,
/// Potra and Shi, ACM Trans. Math. Softw. 21, 327 (1995).
ProfileInterval profile_interval(const LeastSquaresProblem& problem, const LeastSquaresResult& result, int index,
                                 double degrees_of_freedom, double confidence = 0.95,
                                 const ProfileOptions& options = {});

/// Integrated autocorrelation time of evenly sampled residuals whose expectation is zero, in samples:
///
///     tau = 1 + 2 sum_{k=1}^{M} rho_k,    rho_k = sum_i r_i r_{i+k} / sum_i r_i^2,
///
/// with M the smallest window that is at least 5 tau(M) / 2. n residuals weigh as much as n / tau independent ones.
/// 1 for white noise, (1 + phi) / (1 - phi) for r_{i+1} = phi r_i + noise, n for a constant.
///
/// @return within [1, n]: neighbours that cancel are not credited. 1 where all residuals are zero or there is none
/// Accuracy: its relative standard deviation is about sqrt(2 (2 M + 1) / n); the window cuts off less than 1 % of an
/// exponential decay. Cost: n M.
/// Source: A. Sokal, Monte Carlo Methods in Statistical Mechanics: Foundations and New Algorithms (lecture notes,
/// 1996), sec. 3, whose tau_int is half of tau.
double correlation_time(const Eigen::Ref<const Eigen::VectorXd>& residuals);

}  // namespace onegrain::solver
