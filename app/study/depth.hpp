#pragma once

#include <optional>

#include "solver/step/simulator.hpp"

/// What the depth of a coating makes of a step: grains that stand at different fillings, a reaction that runs ahead.
namespace onegrain::app::study {

/// Of one electrode over one step.
struct DepthSpread {
  double lead = 0;         ///< mean stoichiometry of the grains at the separator less that at the foil, at the end [1]
  double widest = 0;       ///< the same where it is largest, with its sign
  double widest_time = 0;  ///< since the start of the step [s]
  double peak = 1;         ///< largest local current over its mean, at any depth, while a current worth the name flows
  double peak_place = 1;   ///< where that is: 0 at the foil, 1 at the separator
  double peak_time = 0;    ///< and when, since the start of the step [s]
  double lowest_peak = 1;  ///< smallest local current over its mean; below 0 some grains go the other way
};

/// Of the positive (half cell: the working electrode) and of the negative.
struct DepthSpreads {
  DepthSpread positive;
  std::optional<DepthSpread> negative;
};

/// Nothing where the reaction was taken as even, and of a step without duration or current.
/// Moments at which less flows than a tenth of the most are left out of the peaks: what grains exchange among each
/// other would be held against next to nothing.
std::optional<DepthSpreads> spread_over_depth(const solver::StepSolution& step);

}  // namespace onegrain::app::study
