#include "app/study/staircase_share.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <new>
#include <numeric>

#include "app/study/ensemble.hpp"
#include "solver/estimation/low_discrepancy.hpp"

namespace onegrain::app::study {

namespace {

constexpr int fresh_cells = 1000;
constexpr double first_factor = 1.4, next_factor = 0.98, last_factor = 0.05;
constexpr double clear =
    0.15;  // of a slack: some 7 % of a current, twice what an even reaction has been seen to be off

/// The least slack on the way; below 0 where a limit is broken, a step is not completed or nothing can be calculated.
double least_slack(const Subject& subject, const solver::Staircase& steps, const Subject& nominal, double factor,
                   const CeilingAsked& asked, solver::Workspace& workspace, solver::Description description) {
  solver::ChargeStudy study(subject.cell, subject.window, asked.soc, asked.limits, workspace, description);
  const double plates = nominal.cell.plate_area / subject.cell.plate_area;  // a cycler knows mA and mAh
  const double nominal_whole = std::abs(nominal.window.capacity);
  solver::State state = study.start();
  double from = asked.soc.from, least = std::numeric_limits<double>::infinity();
  for (const solver::StaircaseStep& step : steps.steps) {
    const double to = from + (step.to - step.from) * nominal_whole * plates / study.whole();
    const solver::JudgedCharge charge = study.judge(factor * step.current * plates, from, to, state);
    least = std::min(least, charge.slack);
    if (!charge.completed) return std::min(least, -1.0);
    if (least < -clear) return least;
    state = charge.end;
    from = to;
  }
  return least;
}

}  // namespace

bool survives(const CellMaker& make, const solver::Staircase& steps, const Subject& nominal, double factor,
              CeilingSearch& search, int thread) {
  try {
    const Subject subject(make());
    const auto slack = [&](solver::Description description) {
      return least_slack(subject, steps, nominal, factor, search.asked(), search.workspace(thread), description);
    };
    const double even = slack(solver::Description::even);
    if (std::abs(even) > clear) return even > 0;
    return slack(solver::Description::uneven) >= 0;
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception&) {  // no such cell, or not calculated: as CeilingSearch::of()
    return false;
  }
}

namespace {

/// As counted_steps(), from `highest` down.
std::optional<CountedSteps> counted_below(const UncertainCell& cells, const solver::Staircase& steps,
                                          const Subject& nominal, double highest, CeilingSearch& search) {
  const std::uint64_t other_seed = solver::mixed_bits(~search.asked().seed);
  std::vector<int> failing(fresh_cells);
  std::iota(failing.begin(), failing.end(), 0);
  for (double factor = highest; factor >= last_factor; factor *= next_factor) {
    // a cell that survives some steps survives slower ones
    std::vector<char> kept(failing.size(), 0);
    search.on_all_threads(CeilingWork::staircase, static_cast<int>(failing.size()), [&](int n, int thread) {
      const auto k = static_cast<std::size_t>(n);
      kept[k] = survives([&] { return cells.cell(plausible_deviations(other_seed, failing[k], cells.count())); }, steps,
                         nominal, factor, search, thread);
    });
    std::vector<int> still;
    for (std::size_t k = 0; k < failing.size(); ++k)
      if (!kept[k]) still.push_back(failing[k]);
    failing = still;
    const int survivors = fresh_cells - static_cast<int>(failing.size());
    if (least_share(survivors, fresh_cells) >= confident_share) return CountedSteps{factor, fresh_cells, survivors};
  }
  return std::nullopt;
}

}  // namespace

std::optional<CountedSteps> counted_steps(const UncertainCell& cells, const solver::Staircase& steps,
                                          const Subject& nominal, double highest, CeilingSearch& search) {
  for (double from = first_factor;; from *= first_factor) {
    const double begun = std::min(highest, from);
    const std::optional<CountedSteps> counted = counted_below(cells, steps, nominal, begun, search);
    if (!counted || counted->factor < begun || begun == highest) return counted;  // else more would have been kept
  }
}

}  // namespace onegrain::app::study
