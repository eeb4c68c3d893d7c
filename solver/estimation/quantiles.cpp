#include "solver/estimation/quantiles.hpp"

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <stdexcept>

namespace onegrain::solver {

double normal_quantile(double probability) { return boost::math::quantile(boost::math::normal(), probability); }

double student_quantile(double probability, double degrees_of_freedom) {
  if (!(probability > 0 && probability < 1) || !(degrees_of_freedom > 0)) {
    throw std::invalid_argument(
        "Student quantile: a probability in 0..1 and more than 0 degrees of freedom are needed");
  }
  if (std::isinf(degrees_of_freedom)) return normal_quantile(probability);
  return boost::math::quantile(boost::math::students_t(degrees_of_freedom), probability);
}

double beta_quantile(double probability, double a, double b) {
  return boost::math::quantile(boost::math::beta_distribution<>(a, b), probability);
}

}  // namespace onegrain::solver
