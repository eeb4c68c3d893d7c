#include "app/study/plausible.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "model/decompositions.hpp"

namespace onegrain::app::study {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double one_sided_95 = 1.644853626951473;  // of the normal distribution
constexpr double tolerance = 1e-2;                  // of a ceiling
constexpr int later_block = 1024;
constexpr int checked = 2 * scramblings;  // cells that are resolved whatever they survive
constexpr double least_near = 0.01, near_at_first = 0.05, most_near = 0.5, nearby = 1.5;
constexpr std::size_t enough_ratios = 256;
constexpr double related = 0.3;  // in ln(current): cells whose ratio tells of one another

double log_of(double current, double least) { return std::log(std::max(current, least)); }

/// Slopes of ln i over cells, by least squares; those of one at a time where they are too few.
Eigen::VectorXd slopes_over(const std::vector<double>& currents, const std::vector<Eigen::VectorXd>& deviations,
                            const OneByOne& one_by_one, double least) {
  const Eigen::VectorXd single = one_by_one.slopes();
  const Eigen::Index unknown = single.size(), count = static_cast<Eigen::Index>(currents.size());
  if (count < 3 * unknown + 10) return single;
  Eigen::MatrixXd A(count, unknown + 1);
  Eigen::VectorXd y(count);
  for (Eigen::Index r = 0; r < count; ++r) {
    const auto k = static_cast<std::size_t>(r);
    A(r, 0) = 1;
    A.row(r).tail(unknown) = deviations[k].transpose();
    y[r] = log_of(currents[k], least);
  }
  return model::least_squares_solution(A, y).tail(unknown);
}

/// Which unknown costs most: what the spread would be without each of them.
/// @param all  the variance of ln i
std::vector<UnknownCost> costs_of(const std::vector<Unknown>& unknown, const Eigen::VectorXd& slope, double all,
                                  double confident) {
  std::vector<UnknownCost> costs;
  for (std::size_t k = 0; k < unknown.size(); ++k) {
    const double one = slope[static_cast<Eigen::Index>(k)];
    const double without = std::sqrt(std::max(0.0, all - one * one));
    costs.push_back(
        {unknown[k].path, unknown[k].written, one, confident * std::exp(one_sided_95 * (std::sqrt(all) - without))});
  }
  std::stable_sort(costs.begin(), costs.end(),
                   [](const UnknownCost& a, const UnknownCost& b) { return std::abs(a.slope) > std::abs(b.slope); });
  return costs;
}

}  // namespace

OneByOne::OneByOne(const UncertainCell& cell, CeilingSearch& search, double even, double least)
    : sides_(Eigen::MatrixXd::Zero(cell.count(), 2)) {
  search.on_all_threads(2 * static_cast<int>(sides_.rows()), [&](int task, int thread) {
    const Eigen::Index k = task / 2, side = task % 2;
    Eigen::VectorXd z = Eigen::VectorXd::Zero(sides_.rows());
    z[k] = side == 0 ? 1 : -1;
    const Searched s =
        search.of([&] { return cell.cell(z); }, thread, std::max(even, least), tolerance, solver::Description::even);
    if (s.found()) sides_(k, side) = log_of(s.current, least) - log_of(even, least);
  });
  dearest_first_.resize(static_cast<std::size_t>(sides_.rows()));
  std::iota(dearest_first_.begin(), dearest_first_.end(), 0);
  const Eigen::VectorXd largest = sides_.cwiseAbs().rowwise().maxCoeff();
  std::stable_sort(dearest_first_.begin(), dearest_first_.end(),
                   [&](Eigen::Index a, Eigen::Index b) { return largest[a] > largest[b]; });
}

Eigen::VectorXd OneByOne::deviations(std::uint64_t seed, int cell) const {
  const Eigen::VectorXd drawn = plausible_deviations(seed, cell, sides_.rows());
  Eigen::VectorXd z(drawn.size());
  for (Eigen::Index d = 0; d < drawn.size(); ++d) z[dearest_first_[static_cast<std::size_t>(d)]] = drawn[d];
  return z;
}

double OneByOne::guess(const Eigen::VectorXd& z) const {
  double sum = 0;
  for (Eigen::Index k = 0; k < sides_.rows(); ++k) sum += std::abs(z[k]) * sides_(k, z[k] > 0 ? 0 : 1);
  return std::exp(std::clamp(sum, -3.0, 3.0));
}

PlausibleSearch::PlausibleSearch(const UncertainCell& uncertain, CeilingSearch& search, const OneByOne& one_by_one,
                                 double nominal, double least, int first)
    : uncertain_(uncertain),
      search_(search),
      one_by_one_(one_by_one),
      nominal_(nominal),
      least_(least),
      first_(static_cast<std::size_t>(first)),
      near_(near_at_first) {}

CellMaker PlausibleSearch::cell_of(int k) const {
  return [this, k] { return uncertain_.cell(one_by_one_.deviations(search_.asked().seed, k)); };
}

double PlausibleSearch::current(const Known& cell) const {
  return cell.resolved ? cell.searched.current : ratio_at(cell.even) * cell.even;
}

double PlausibleSearch::ratio_at(double even) const {
  double sum = 0, weights = 0;
  for (const auto& [log_even, log_ratio] : ratios_) {
    const double apart = (std::log(even) - log_even) / related;
    const double weight = std::exp(-0.5 * std::min(apart * apart, 100.0));  // far from all: the mean of all
    sum += weight * log_ratio;
    weights += weight;
  }
  return weights > 0 ? std::exp(sum / weights) : 1;
}

std::vector<double> PlausibleSearch::currents() const {
  std::vector<double> all;
  for (const Known& cell : cells_) all.push_back(cell.kept ? infinite : current(cell));
  return all;
}

SampledQuantile PlausibleSearch::confident() const { return sampled_quantile(currents(), 1 - confident_share); }

SampledQuantile PlausibleSearch::median() const {
  std::vector<double> first = currents();
  first.resize(std::min(first.size(), first_));
  return sampled_quantile(first, 0.5);
}

int PlausibleSearch::resolved() const {
  return static_cast<int>(std::count_if(cells_.begin(), cells_.end(), [](const Known& cell) { return cell.resolved; }));
}

int PlausibleSearch::unsolved() const {
  return static_cast<int>(
      std::count_if(cells_.begin(), cells_.end(), [](const Known& cell) { return !cell.searched.found(); }));
}

void PlausibleSearch::take(CeilingWork what, int most, double within, int done_before, int of_all) {
  while (taken() < most) {
    const int before = taken();
    const int next = before == 0            ? static_cast<int>(first_)
                     : before < later_block ? 2 * before
                                            : before + std::max(later_block, before / 4);
    look_at(before, std::min(next, most), what, done_before, of_all);
    resolve_near();
    const SampledQuantile now = confident();
    if (now.half_width() <= within) return;
  }
}

void PlausibleSearch::search_evenly(int k, int thread) {
  const Eigen::VectorXd z = one_by_one_.deviations(search_.asked().seed, k);
  Known& cell = cells_[static_cast<std::size_t>(k)];
  cell.searched = search_.of([&] { return uncertain_.cell(z); }, thread,
                             std::max(nominal_, least_) * one_by_one_.guess(z), tolerance, solver::Description::even);
  cell.even = cell.searched.current;
  cell.kept = false;
}

void PlausibleSearch::look_at(int from, int to, CeilingWork what, int done_before, int of_all) {
  // Far above the rate that is looked for nothing has to be known but that.
  const double high = from > 0 ? confident().high : 0;
  const double far = high > 0 && high < infinite ? high * std::exp(2 * near_) / ratio_at(high) : 0;
  cells_.resize(static_cast<std::size_t>(to));
  const auto work = [&](int n, int thread) {
    const int k = from + n;
    Known& cell = cells_[static_cast<std::size_t>(k)];
    if (far > 0 && search_.keeps(cell_of(k), thread, far, solver::Description::even)) {
      cell.kept = true;
      cell.even = far;
      cell.searched.outcome = Searched::Outcome::found;
    } else {
      search_evenly(k, thread);
    }
  };
  search_.on_all_threads(what, to - from, work, done_before + from, of_all);
}

void PlausibleSearch::correct() {
  const auto usable = [](const Known& cell) { return cell.resolved && cell.searched.current > 0 && cell.even > 0; };
  const auto log_ratio = [](const Known& cell) { return std::log(cell.searched.current / cell.even); };
  ratios_.clear();
  for (const Known& cell : cells_) {
    if (usable(cell)) ratios_.emplace_back(std::log(cell.even), log_ratio(cell));
    if (ratios_.size() == enough_ratios) break;
  }
  const SampledQuantile at = confident();
  double widest = 0;
  for (const Known& cell : cells_) {
    if (!usable(cell) || cell.searched.current > nearby * at.high || cell.searched.current < at.low / nearby) continue;
    widest = std::max(widest, std::abs(log_ratio(cell) - std::log(ratio_at(cell.even))));
  }
  near_ = std::clamp(2 * widest, least_near, most_near);
}

/// Until every cell is resolved that may lie on either side of the value, or of the lower end, which is recommended.
void PlausibleSearch::resolve_near() {
  for (;;) {
    const SampledQuantile at = confident();
    const double from = at.low * std::exp(-near_), to = at.value * std::exp(near_);
    std::vector<int> some;
    for (int k = 0; k < taken(); ++k) {
      const Known& cell = cells_[static_cast<std::size_t>(k)];
      if (cell.resolved || !cell.searched.found() || !(cell.even > 0)) continue;
      const double i = current(cell);
      if (k < checked || (i <= to && (cell.kept || i >= from))) some.push_back(k);
    }
    if (some.empty()) return;
    search_.on_all_threads(static_cast<int>(some.size()), [&](int n, int thread) {
      const int k = some[static_cast<std::size_t>(n)];
      Known& cell = cells_[static_cast<std::size_t>(k)];
      if (cell.kept) search_evenly(k, thread);
      if (!(cell.searched.found() && cell.even > 0)) return;
      if (k >= checked && current(cell) > to) return;
      cell.searched = search_.of(cell_of(k), thread, {current(cell), true, cell.searched.slope}, tolerance);
      cell.resolved = true;
    });
    correct();
  }
}

PlausibleCells PlausibleSearch::tell() const {
  PlausibleCells found{};
  found.count = taken();
  found.resolved = resolved();
  found.confident = confident();
  found.median = median();
  const std::size_t first = std::min(first_, cells_.size());
  std::vector<double> solved;
  std::vector<Eigen::VectorXd> deviations;
  std::vector<int> stopped(solver::limit_count, 0);
  int weakest = 0;
  const double each = 1.0 / static_cast<double>(cells_.size());
  std::vector<double> kept;
  for (std::size_t k = 0; k < cells_.size(); ++k) {
    const Known& cell = cells_[k];
    const double i = current(cell);
    if (!cell.searched.found() && found.unsolved++ == 0) found.unsolved_because = cell.searched.because;
    if (cell.kept)
      kept.push_back(i);
    else
      found.cells.push_back({i, each});
    if (cell.searched.found() && !cell.kept && i <= found.confident.high) {
      ++stopped[static_cast<std::size_t>(cell.searched.limited_by)];
      ++weakest;
    }
    if (k < first && cell.searched.found()) {
      solved.push_back(i);
      deviations.push_back(one_by_one_.deviations(search_.asked().seed, static_cast<int>(k)));
    }
  }
  if (weakest > 0) {
    const auto most = std::max_element(stopped.begin(), stopped.end());
    found.limited_by = static_cast<solver::Limit>(most - stopped.begin());
    found.limited_share = static_cast<double>(*most) / weakest;
  }
  // A cell of which only a rate is known that it keeps is shared out over those of the first that keep it.
  const auto ends = static_cast<std::ptrdiff_t>(std::count_if(
      cells_.begin(), cells_.begin() + static_cast<std::ptrdiff_t>(first), [](const Known& c) { return !c.kept; }));
  std::sort(kept.begin(), kept.end());
  for (std::size_t k = 0; k < kept.size();) {
    std::size_t same = k;
    while (same < kept.size() && kept[same] == kept[k]) ++same;
    std::vector<std::size_t> above;
    for (std::ptrdiff_t n = 0; n < ends; ++n)
      if (found.cells[static_cast<std::size_t>(n)].current >= kept[k]) above.push_back(static_cast<std::size_t>(n));
    const double share = each * static_cast<double>(same - k);
    if (above.empty()) found.cells.push_back({kept[k], share});
    for (const std::size_t n : above) found.cells[n].share += share / static_cast<double>(above.size());
    k = same;
  }
  std::sort(found.cells.begin(), found.cells.end(),
            [](const PlausibleCell& a, const PlausibleCell& b) { return a.current < b.current; });
  const Eigen::VectorXd slopes = slopes_over(solved, deviations, one_by_one_, least_);
  found.costs =
      costs_of(uncertain_.unknowns(), uncertain_.by_unknown(slopes), slopes.squaredNorm(), found.confident.low);
  return found;
}

}  // namespace onegrain::app::study
