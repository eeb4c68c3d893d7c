#pragma once

#include <Eigen/Dense>
#include <utility>
#include <vector>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/uncertain_cell.hpp"

/// The cells that the spreads of a sheet allow, and what they survive.
namespace onegrain::app::study {

/// First guesses for plausible cells: the ceiling of cells with one unknown moved by a standard deviation, the reaction
/// taken as even.
class OneByOne {
 public:
  /// @param even   ceiling of the sheet as it is, the reaction taken as even [A/m2]
  /// @param least  currents below it count as this one [A/m2]
  OneByOne(const UncertainCell& cell, CeilingSearch& search, double even, double least);

  /// The ceiling of a cell over that of the sheet as it is, were the unknowns independent.
  double guess(const Eigen::VectorXd& deviations) const;
  /// d ln(current) per standard deviation of each unknown, from both sides; 0 where there is no such cell.
  Eigen::VectorXd slopes() const { return 0.5 * (sides_.col(0) - sides_.col(1)); }
  /// The deviations of a plausible cell. The first coordinates of Sobol's sequence, which fill planes most evenly, go
  /// to the unknowns of which the rate depends most: at -10 degC that divides the variance by two to five.
  Eigen::VectorXd deviations(std::uint64_t seed, int cell) const;

 private:
  Eigen::MatrixXd sides_;  // ln(i / even) for +1 and -1 standard deviations
  std::vector<Eigen::Index> dearest_first_;
};

/// The plausible cells of a sheet, each known as well as the share that survives needs it. The first of them are given
/// their ceiling with the reaction taken as even, which costs a seventh; of later ones it is first asked whether they
/// keep every limit well above the rate that is looked for, which most do. Where a cell comes near to that rate its
/// ceiling is searched for with the reaction resolved, and so it is for some of the first, whatever they survive: the
/// ratio of the two, which goes slowly with the rate, corrects the others, and how much it varies from cell to cell
/// decides what is near. At the slow rates of the weakest cells the reaction is nearly even: 0.3 % in the demo.
class PlausibleSearch {
 public:
  /// @param nominal, least  as of OneByOne; the resolved ceiling of the sheet as it is [A/m2]
  /// @param first           so many cells are given their own ceiling: the median is theirs
  PlausibleSearch(const UncertainCell& uncertain, CeilingSearch& search, const OneByOne& one_by_one, double nominal,
                  double least, int first);

  /// Takes cells in fixed blocks until the half-width for `confident_share` is below `within`, or `most` are taken.
  void take(CeilingWork what, int most, double within, int done_before = 0, int of_all = 0);

  /// What `confident_share` of them survive [A/m2]
  SampledQuantile confident() const;
  /// What half of the first of them survive [A/m2]
  SampledQuantile median() const;
  int taken() const { return static_cast<int>(cells_.size()); }
  int resolved() const;
  int unsolved() const;

  /// All that is known of them.
  PlausibleCells tell() const;

 private:
  struct Known {
    Searched searched;  // with the reaction even, or resolved
    double even = 0;    // ceiling with the reaction even, or a rate that is kept [A/m2]
    bool kept = false;  // the ceiling lies above `even`
    bool resolved = false;
  };

  void look_at(int from, int to, CeilingWork what, int done_before, int of_all);
  void search_evenly(int k, int thread);
  void resolve_near();
  void correct();
  double ratio_at(double even) const;
  CellMaker cell_of(int k) const;
  double current(const Known& cell) const;
  std::vector<double> currents() const;

  const UncertainCell& uncertain_;
  CeilingSearch& search_;
  const OneByOne& one_by_one_;
  double nominal_, least_;
  std::size_t first_;
  std::vector<Known> cells_;
  std::vector<std::pair<double, double>> ratios_;  // of the resolved cells: ln even, ln(resolved / even)
  double near_;  // how far the logarithm of a resolved ceiling may lie from what is expected of it
};

}  // namespace onegrain::app::study
