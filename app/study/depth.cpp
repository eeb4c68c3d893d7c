#include "app/study/depth.hpp"

#include <algorithm>
#include <cmath>

#include "solver/step/curves.hpp"

namespace onegrain::app::study {

namespace {

/// One moment more.
void see(DepthSpread& spread, const solver::Segment::OverDepth& over, const Eigen::ArrayXd& places, double t,
         bool current_flows) {
  spread.lead = over.filling[places.size() - 1] - over.filling[0];
  if (std::abs(spread.lead) > std::abs(spread.widest)) {
    spread.widest = spread.lead;
    spread.widest_time = t;
  }
  if (!current_flows) return;
  Eigen::Index where = 0;
  const double highest = over.reaction.maxCoeff(&where);
  if (highest > spread.peak) {
    spread.peak = highest;
    spread.peak_place = places[where];
    spread.peak_time = t;
  }
  spread.lowest_peak = std::min(spread.lowest_peak, over.reaction.minCoeff());
}

}  // namespace

std::optional<DepthSpreads> spread_over_depth(const solver::StepSolution& step) {
  constexpr double worth_the_name = 0.1;  // of the largest current
  if (step.reaction() == model::Reaction::even || !(step.duration() > 0)) return std::nullopt;
  const Eigen::ArrayXd places = Eigen::ArrayXd::LinSpaced(21, 0, 1);
  const std::vector<double> moments = solver::moments(step, 41, true);
  std::vector<double> currents;
  for (const double t : moments) currents.push_back(std::abs(step.at(t).current));
  const double most = *std::max_element(currents.begin(), currents.end());
  if (!(most > 0)) return std::nullopt;
  DepthSpreads spreads;
  if (step.model().cell().is_full_cell()) spreads.negative.emplace();
  for (std::size_t k = 0; k < moments.size(); ++k) {
    const double t = moments[k];
    const bool flows = currents[k] >= worth_the_name * most;
    see(spreads.positive, step.over_depth(t, true, places), places, t, flows);
    if (spreads.negative) see(*spreads.negative, step.over_depth(t, false, places), places, t, flows);
  }
  return spreads;
}

}  // namespace onegrain::app::study
