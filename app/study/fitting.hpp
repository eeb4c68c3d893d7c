#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "app/study/recorded.hpp"
#include "params/sheet/sheet.hpp"
#include "solver/estimation/fit.hpp"

/// Estimates from measured curves: from the words of the command line to a least-squares problem, and its solution.
namespace onegrain::app::study {

/// What is to be estimated, made ready.
struct Fitting {
  params::Sheet sheet;  ///< the job's, with values written out that it had by default
  solver::FitProblem problem;
  std::vector<const params::Kind*> kinds;  ///< of each free parameter
  /// Asked for, but not told by any voltage; the time of diffusion of that electrode is estimated in its place.
  struct Replaced {
    std::string asked, electrode;
  };
  std::vector<Replaced> replaced;
};

/// What `--free` may name, for help and messages.
std::vector<std::string> free_names(const params::Sheet& sheet);

/// The voltages of a record as a curve to be fitted.
solver::FitCurve fit_curve(const Recording& recording);

/// The start of each record that nothing in it tells, or tells to more than 1 % of the capacity only, is free too.
/// @param names  empty: diffusion times, exchange current densities, contact resistance, capacities and lithium
/// @throws CommandLineError naming what is not known or cannot be estimated
Fitting prepare_fit(const Job& job, const std::vector<Recording>& recordings, const std::vector<std::string>& names);

/// Another history of a record that meets the curves as well as the one that is told.
struct Alternative {
  std::unique_ptr<solver::CellFit> problem;
  solver::FitResult result;
};

/// Curves, what is sought from them, and, once search() was called, what was found.
struct Estimation {
  std::vector<Recording> recordings;
  Fitting fitting;
  std::unique_ptr<solver::CellFit> problem;
  solver::FitResult result;
  double plate_area;                      ///< [m2]
  std::size_t most_rows;                  ///< of each record
  std::optional<Alternative> other = {};  ///< the intervals of `result` hold its own too
  /// Of each curve: what the reaction resolved over the depth of the coatings adds to the voltages of the fitted cell,
  /// added already where the fit was asked to resolve it.
  std::vector<solver::ReactionCourse> reaction = {};

  const std::vector<solver::FreeParameter>& free() const { return fitting.problem.free; }
  const params::ElectrodeSheet& electrode(bool negative) const {
    return negative ? *fitting.sheet.negative : fitting.sheet.positive;
  }
  model::Cell fitted_cell() const { return problem->cell(result.z); }
};

/// Reads the data files of the request and sets the problem up.
/// @param curves_alone  nothing is known beforehand, whatever the spreads of the sheet, but for diffusion and kinetics
///                      (within a factor of 10 where the sheet gives no spread)
/// @throws as load_recording() and prepare_fit(); std::runtime_error where the salt of the cell is used up in a run
Estimation estimation(const Request& request, const Channels& channels, Job& job, const std::vector<std::string>& names,
                      bool curves_alone);

/// Least squares from the sheet and from the further starts that the request asks for.
/// @param progress  is told what is being done, and "" at the end
/// A start of a record that had to be estimated goes into its `beginning` and `start`. It is sought with the cell at
/// rest before the first row, and with the same current before it since full (a charge: since empty): what meets the
/// curves better is told; where both meet them alike (met_alike), the intervals hold what either leaves open.
/// @throws NotCompleted once the user has interrupted; std::runtime_error
/// where no start has an answer
void search(Estimation& estimation, const Request& request, bool profiles,
            const std::function<void(const std::string&)>& progress = {});

/// What a fit would give that moves nothing: to see before a long search that its files can be made.
solver::FitResult as_given(const Estimation& estimation);

}  // namespace onegrain::app::study
