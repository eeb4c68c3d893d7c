#pragma once

#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/answer/results.hpp"
#include "app/study/recorded.hpp"
#include "params/text/revision.hpp"
#include "solver/estimation/fit.hpp"

/// Estimates from measured curves: from the words of the command line to a least-squares problem and back to a sheet.
namespace onegrain::app {

/// What is to be estimated, made ready.
struct Fitting {
  params::Sheet sheet;  ///< the job's, with values written out that it had by default
  solver::FitProblem problem;
  std::vector<std::string> notes;   ///< what was asked for and done otherwise, as sentences
  std::vector<std::string> units;   ///< of each free parameter, for show()
  std::vector<std::string> labels;  ///< of each, in words
};

/// What `--free` may name, for help and messages.
std::vector<std::string> free_names(const params::Sheet& sheet);

/// @param names  empty: diffusion times, exchange current densities, contact resistance, capacities and lithium
/// @throws CommandLineError naming what is not known or cannot be estimated
Fitting prepare_fit(const Job& job, const std::vector<Recording>& recordings, const std::vector<std::string>& names);

/// Starting points drawn from what the sheet leaves uncertain.
std::vector<Eigen::VectorXd> fit_starts(const Fitting& fitting, int count);

/// "12.3 ohm.cm2" in the unit of a free parameter.
std::string show_estimate(const Fitting& fitting, std::size_t index, double si, int digits = 3);
double in_estimate_unit(const Fitting& fitting, std::size_t index, double si);

/// The files that a fit leaves: the sheet with the estimates and the cards that it needs, all beside each other.
/// @param folder  where they go, see NewSheet
std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const Fitting& fitting,
                                                              const solver::CellFit& fit,
                                                              const solver::FitResult& result,
                                                              const std::vector<Recording>& recordings,
                                                              const std::string& folder);
/// What a fit would give that moves nothing: to see before a long search that its files can be made.
solver::FitResult as_given(const Fitting& fitting, const solver::CellFit& fit);

/// A test that could be made, and what it would tell.
struct FurtherTest {
  std::string test;              ///< "a discharge at C/20 from full"
  std::vector<double> narrower;  ///< of each free parameter: interval now over interval then, >= 1
};
std::vector<FurtherTest> further_tests(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                                       const solver::FitResult& result);

/// True where the data alone know the value well enough to be useful: within a factor of 2 either way.
bool is_told(const Fitting& fitting, const solver::FitResult& result, std::size_t index);
/// What is to be said of an estimate; empty: nothing.
std::string remark(const Fitting& fitting, const solver::FitResult& result, std::size_t index);

/// A number that follows from the estimates, with its interval at the confidence of the fit by linear propagation.
struct Derived {
  double value, lower, upper;
};
Derived derived(const solver::CellFit& fit, const solver::FitResult& result,
                const std::function<double(const model::Cell&)>& quantity);

/// "positive.diffusion_time against positive.capacity"
std::string direction_text(const solver::Direction& direction, const Fitting& fitting);

nlohmann::json fit_json(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                        const solver::FitResult& result, const std::vector<Recording>& recordings,
                        const std::vector<FurtherTest>& tests);

}  // namespace onegrain::app
