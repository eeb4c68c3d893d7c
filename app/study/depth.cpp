#include "app/study/depth.hpp"

#include <algorithm>
#include <cmath>

#include "solver/step/curves.hpp"

namespace onegrain::app::study {

std::optional<DepthSpread> spread_over_depth(const solver::StepSolution& step, bool of_positive) {
  constexpr double worth_the_name = 0.1;  // of the largest current
  if (step.reaction() == model::Reaction::even || !(step.duration() > 0)) return std::nullopt;
  const Eigen::ArrayXd places = Eigen::ArrayXd::LinSpaced(21, 0, 1);
  const std::vector<double> moments = solver::moments(step, 61, true);
  std::vector<double> currents;
  for (const double t : moments) currents.push_back(std::abs(step.at(t).current));
  const double most = *std::max_element(currents.begin(), currents.end());
  if (!(most > 0)) return std::nullopt;
  DepthSpread spread;
  for (std::size_t k = 0; k < moments.size(); ++k) {
    const solver::Segment::OverDepth over = step.over_depth(moments[k], of_positive, places);
    spread.lead = over.filling[places.size() - 1] - over.filling[0];
    if (std::abs(spread.lead) > std::abs(spread.widest)) {
      spread.widest = spread.lead;
      spread.widest_time = moments[k];
    }
    if (currents[k] < worth_the_name * most) continue;
    Eigen::Index where = 0;
    const double highest = over.reaction.maxCoeff(&where);
    if (highest > spread.peak) {
      spread.peak = highest;
      spread.peak_place = places[where];
      spread.peak_time = moments[k];
    }
    spread.lowest_peak = std::min(spread.lowest_peak, over.reaction.minCoeff());
  }
  return spread;
}

}  // namespace onegrain::app::study
