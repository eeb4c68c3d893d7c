#include "app/study/plausible.hpp"

#include <algorithm>
#include <cmath>

#include "solver/estimation/linearised.hpp"

namespace onegrain::app::study {

namespace {

constexpr double one_sided_95 = 1.644853626951473;  // of the normal distribution

double log_of(double current, double least) { return std::log(std::max(current, least)); }

/// What stops most of the weakest cells, up to twice the share given up.
void what_stops_the_weakest(const std::vector<Searched>& cells, double up_to, PlausibleCells& found) {
  std::vector<int> stopped(solver::limit_count, 0);
  int weakest = 0;
  for (const Searched& s : cells) {
    if (!s.found() || s.current > up_to) continue;
    ++stopped[static_cast<std::size_t>(s.limited_by)];
    ++weakest;
  }
  if (weakest == 0) return;
  const auto most = std::max_element(stopped.begin(), stopped.end());
  found.limited_by = static_cast<solver::Limit>(most - stopped.begin());
  found.limited_share = static_cast<double>(*most) / weakest;
}

/// Slopes of ln i over the cells that were solved, by least squares; those of one at a time where they are too few.
Eigen::VectorXd slopes_over(const std::vector<Searched>& cells, const Eigen::MatrixXd& deviations,
                            const OneByOne& one_by_one, double least) {
  const Eigen::Index unknown = deviations.cols();
  std::vector<std::size_t> solved;
  for (std::size_t k = 0; k < cells.size(); ++k)
    if (cells[k].found()) solved.push_back(k);
  if (static_cast<Eigen::Index>(solved.size()) < 3 * unknown + 10) return one_by_one.slopes();
  Eigen::MatrixXd A(static_cast<Eigen::Index>(solved.size()), unknown + 1);
  Eigen::VectorXd y(A.rows());
  for (Eigen::Index r = 0; r < A.rows(); ++r) {
    const std::size_t k = solved[static_cast<std::size_t>(r)];
    A(r, 0) = 1;
    A.row(r).tail(unknown) = deviations.row(static_cast<Eigen::Index>(k));
    y[r] = log_of(cells[k].current, least);
  }
  return solver::linear_solution(A, y).tail(unknown);
}

/// Which unknown costs most: what the spread would be without each of them.
std::vector<UnknownCost> costs_of(const std::vector<Unknown>& unknown, const Eigen::VectorXd& slope, double confident) {
  std::vector<UnknownCost> costs;
  const double all = slope.squaredNorm();
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

OneByOne::OneByOne(const params::Sheet& sheet, CeilingSearch& search, double nominal, double least)
    : sides_(Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(unknowns(sheet).size()), 2)) {
  search.on_all_threads(2 * static_cast<int>(sides_.rows()), [&](int task, int thread) {
    const Eigen::Index k = task / 2, side = task % 2;
    Eigen::VectorXd z = Eigen::VectorXd::Zero(sides_.rows());
    z[k] = side == 0 ? 1 : -1;
    const Searched s = search.of(moved(sheet, z), thread, std::max(nominal, least), 1e-2);
    if (s.found()) sides_(k, side) = log_of(s.current, least) - log_of(nominal, least);
  });
}

double OneByOne::guess(const Eigen::VectorXd& z) const {
  double sum = 0;
  for (Eigen::Index k = 0; k < sides_.rows(); ++k) sum += std::abs(z[k]) * sides_(k, z[k] > 0 ? 0 : 1);
  return std::exp(std::clamp(sum, -3.0, 3.0));
}

PlausibleCells plausible_cells(const params::Sheet& sheet, CeilingSearch& search, const OneByOne& one_by_one,
                               double nominal, double least) {
  const std::vector<Unknown> unknown = unknowns(sheet);
  const auto count = static_cast<Eigen::Index>(unknown.size());
  std::vector<Searched> cells(static_cast<std::size_t>(search.asked().samples));
  Eigen::MatrixXd deviations(search.asked().samples, count);
  search.on_all_threads(CeilingWork::plausible_cells, search.asked().samples, [&](int k, int thread) {
    const Eigen::VectorXd z = plausible_deviations(search.asked().seed, k, count);
    deviations.row(k) = z.transpose();
    cells[static_cast<std::size_t>(k)] =
        search.of(moved(sheet, z), thread, std::max(nominal, least) * one_by_one.guess(z), 1e-2);
  });

  PlausibleCells found{};
  for (const Searched& s : cells) {
    found.currents.push_back(s.current);
    if (!s.found() && found.unsolved++ == 0) found.unsolved_because = s.because;
  }
  std::sort(found.currents.begin(), found.currents.end());
  const auto quantile = [&](double share) {
    return found.currents[std::min(found.currents.size() - 1,
                                   static_cast<std::size_t>(share * static_cast<double>(found.currents.size())))];
  };
  found.confident = quantile(1 - confident_share);
  found.median = quantile(0.5);
  what_stops_the_weakest(cells, quantile(2 * (1 - confident_share)), found);
  found.costs = costs_of(unknown, slopes_over(cells, deviations, one_by_one, least), found.confident);
  return found;
}

ColdAndHot cold_and_hot_cells(const std::vector<params::Sheet>& sheets, CeilingSearch& search,
                              const OneByOne& one_by_one, const std::vector<double>& nominal, double least, int each) {
  ColdAndHot found;
  std::vector<std::vector<char>> solved(sheets.size(), std::vector<char>(static_cast<std::size_t>(each), 0));
  found.currents.assign(sheets.size(), std::vector<double>(static_cast<std::size_t>(each), 0.0));
  const auto count = static_cast<Eigen::Index>(unknowns(sheets.front()).size());
  search.on_all_threads(
      CeilingWork::cold_and_hot_cells, each * static_cast<int>(sheets.size()), [&](int task, int thread) {
        const auto which = static_cast<std::size_t>(task / each);
        const auto k = static_cast<std::size_t>(task % each);
        const Eigen::VectorXd z = plausible_deviations(search.asked().seed, task % each, count);
        const Searched s =
            search.of(moved(sheets[which], z), thread, std::max(nominal[which], least) * one_by_one.guess(z), 1e-2);
        found.currents[which][k] = s.current;
        solved[which][k] = s.found();
      });
  for (std::vector<double>& currents : found.currents) std::sort(currents.begin(), currents.end());
  for (const std::vector<char>& some : solved)
    found.unsolved += static_cast<int>(std::count(some.begin(), some.end(), 0));
  return found;
}

}  // namespace onegrain::app::study
