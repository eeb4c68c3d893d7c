#pragma once

#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "params/sheet/bench.hpp"
#include "params/sheet/sheet.hpp"

/// The bench arithmetic the other way round: which coating to draw for what is wanted of the cell.
namespace onegrain::params {

/// What is wrong with what is wanted, a sentence.
struct WantedError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// "n_to_p = 1.10", "areal_capacity = 2.0 mAh/cm2 +- 0.1 mAh/cm2", "negative.porosity = 30 %".
struct Wanted {
  enum class What { n_to_p, areal_capacity, porosity };
  What what;
  std::string electrode;            ///< whose coating is drawn: "positive", "negative", "working"
  double value;                     ///< SI
  std::optional<double> tolerance;  ///< half-width that 95 % of all cells are to keep
};
/// N/P is met by the negative, an areal capacity (between the cut-offs) and a porosity by the positive (working)
/// electrode, unless one is named in front. @throws WantedError
Wanted parse_wanted(std::string_view text, const Sheet& sheet);

/// The coating that gives what is wanted. With the loading the thickness changes, so that the porosity stays; a
/// porosity is met by pressing the coating that is there.
struct DrawnCoating {
  std::optional<double> loading;  ///< dry coating [kg/m2]; absent for a `layer`
  std::optional<double> disc;     ///< of one disc of the cell, dry coating alone [kg]
  double thickness;               ///< after pressing [m]
  BenchFigure reached;            ///< what is wanted, with what the spreads of the sheet leave of it
  double by_one_per_cent;         ///< its change when the loading (or the thickness) is 1 % more
  /// How far the loading (for a porosity: the thickness) may be off, as a share of it with 95 %, so that what is wanted
  /// keeps its tolerance: what the other spreads leave of it. 0: they leave nothing.
  std::optional<double> allowed;
  double others = 0;                ///< half-width that the other spreads make of what is wanted
  std::vector<std::string> doubts;  ///< what Bench::doubts says of the cell as drawn, and not of the one before
};
/// @throws WantedError where no coating gives it
DrawnCoating coating_for(const Sheet& sheet, const Wanted& wanted);

}  // namespace onegrain::params
