#pragma once

/// Quantiles of distributions, in one place: a compiler takes three seconds for each file that asks Boost.Math itself.
namespace onegrain::solver {

/// The value that a standard normal variable stays below with `probability`, 0 < probability < 1; not checked.
double normal_quantile(double probability);

/// The value that a Student t variable stays below with `probability`, 0 < probability < 1.
/// @param degrees_of_freedom  > 0; infinite: the normal distribution
/// @throws std::invalid_argument outside these ranges
/// Accuracy: about 1e-14, by Boost.Math.
double student_quantile(double probability, double degrees_of_freedom);

/// The value that a variable of the beta distribution with a, b > 0 stays below with `probability`, 0 < probability <
/// 1; not checked. Accuracy as above.
double beta_quantile(double probability, double a, double b);

}  // namespace onegrain::solver
