#pragma once

#include <Eigen/Dense>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"

/// The cells that the spreads of a sheet allow, and what they survive.
namespace onegrain::app::study {

/// First guesses for plausible cells: the ceiling of cells with one unknown moved by a standard deviation.
class OneByOne {
 public:
  /// @param nominal  ceiling of the sheet as it is [A/m2]
  /// @param least    currents below it count as this one [A/m2]
  OneByOne(const params::Sheet& sheet, CeilingSearch& search, double nominal, double least);

  /// The ceiling of a cell over that of the sheet as it is, were the unknowns independent.
  double guess(const Eigen::VectorXd& deviations) const;
  /// d ln(current) per standard deviation of each unknown, from both sides; 0 where there is no such cell.
  Eigen::VectorXd slopes() const { return 0.5 * (sides_.col(0) - sides_.col(1)); }

 private:
  Eigen::MatrixXd sides_;  // ln(i / nominal) for +1 and -1 standard deviations
};

/// @param nominal, least  as of OneByOne
PlausibleCells plausible_cells(const params::Sheet& sheet, CeilingSearch& search, const OneByOne& one_by_one,
                               double nominal, double least);

/// The ceilings of a few of them at one temperature, ascending [A/m2]; 0 for those that could not be solved.
struct ColdAndHot {
  std::vector<std::vector<double>> currents;  ///< for each sheet
  int unsolved = 0;
};
/// @param sheets  the same cell at several temperatures
/// @param nominal  its ceiling at each of them [A/m2]
ColdAndHot cold_and_hot_cells(const std::vector<params::Sheet>& sheets, CeilingSearch& search,
                              const OneByOne& one_by_one, const std::vector<double>& nominal, double least, int each);

}  // namespace onegrain::app::study
