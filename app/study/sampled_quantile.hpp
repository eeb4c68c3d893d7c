#pragma once

#include <vector>

/// What a share of all cells survives, and how far a number of plausible cells can tell it.
namespace onegrain::app::study {

struct SampledQuantile {
  double value = 0;          ///< of the cells taken
  double low = 0, high = 0;  ///< its 95 % interval: where it would lie had every cell been taken

  /// Half of the interval over the value; infinite where the value is 0 and the interval is not.
  double half_width() const;
};

/// What a share of ordered values lies below: between two of them on the straight line, value number k standing for the
/// share (k + 1/2) / n.
/// @param ascending  one at least; infinite ones last
double quantile_of(const std::vector<double>& ascending, double share);

/// The value that a share of the cells stays below.
/// @param values  of cell 0, 1, ...: the cells of plausible_deviations(), >= 0, at least 2; infinite: above all others
/// @param share   0 < share < 1
///
/// The counts below a value in the groups of cells that know nothing of each other (`scramblings`; fewer cells: each
/// its own group) tell the standard error of the share below it; the interval of the share, with Student's factor for
/// as many groups, is read back through the ordered values, `low` rounded down to a cell and `high` up. The error is
/// taken as no less than a quarter of that of as many random cells, lest groups that agree by chance say there is none.
/// Method: sectioning, as S. Asmussen, P. W. Glynn, Stochastic Simulation (Springer 2007), III.5.
SampledQuantile sampled_quantile(const std::vector<double>& values, double share);

/// What share of all cells survives where `kept` of `counted` random ones do, at 97.5 % confidence from below: the
/// lower end of the interval of C. J. Clopper, E. S. Pearson, Biometrika 26, 404 (1934).
double least_share(int kept, int counted);

}  // namespace onegrain::app::study
