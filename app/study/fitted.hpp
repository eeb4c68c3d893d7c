#pragma once

#include <functional>
#include <vector>

#include "app/study/fitting.hpp"

/// What follows from estimates.
namespace onegrain::app::study {

/// True where the data alone know the value well enough to be useful: within a factor of 2 either way.
bool is_told(const Estimation& estimation, std::size_t index);

/// A number that follows from the estimates, with its interval at the confidence of the fit by linear propagation; of
/// both histories where another one meets the curves alike.
struct Derived {
  double value, lower, upper;
};
Derived derived(const Estimation& estimation, const std::function<double(const model::Cell&)>& quantity);

/// One curve with what the fitted cell gives in its place, row by row.
struct FittedCurve {
  std::vector<double> time;                       ///< since the run began [s]
  std::vector<double> charge;                     ///< passed since then, charging positive [C]
  std::vector<double> measured, model, residual;  ///< residual: model - measured [V]
};
std::vector<FittedCurve> fitted_curves(const Estimation& estimation);

/// Root mean square of what the best straight line leaves of y over x; of the mean where x does not vary.
double rms_about_line(const std::vector<double>& x, const std::vector<double>& y);

/// What each curve is to be held against.
struct CurveScale {
  double noise;  ///< of the measurement from row to row, from the median of its second differences [V]
  double line;   ///< rms of the best straight line of voltage over charge, over the rows that are compared [V]
};
std::vector<CurveScale> curve_scales(const Estimation& estimation);

/// What was added to a potential, with its standard deviation.
struct Correction {
  std::string name;
  std::vector<double> stoichiometry, correction, deviation;  ///< [1], [V], [V]
};
std::vector<Correction> corrections(const Estimation& estimation);

/// A test that could be made, and what it would tell.
struct FurtherTest {
  enum class Kind {
    discharge,  ///< from full, at `c_rate`
    pulse,      ///< of ten minutes at 1C from half charge, then an hour of rest
    half_cell   ///< one electrode against lithium, at C/20 and 1C
  } kind;
  double c_rate = 0;
  bool negative = false;
  std::vector<double> narrower{};  ///< of each free parameter: interval now over interval then, >= 1
};
/// By the sensitivities of the fitted model. Tests that this cell cannot do are left out.
std::vector<FurtherTest> further_tests(const Job& job, const Estimation& estimation);

}  // namespace onegrain::app::study
