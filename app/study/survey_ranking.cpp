#include "app/study/survey_ranking.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace onegrain::app::study {

namespace {

constexpr int most_shown = 2000;
constexpr double infinite = std::numeric_limits<double>::infinity();

double counted_by(const Surveyed& told, Per per) {
  return per == Per::volume ? told.thickness : per == Per::mass ? told.mass : 1.0;
}

/// Keeps what nothing beats in both; x is better where larger.
void add_to_front(std::vector<Against>& front, const Against& one) {
  if (!(std::isfinite(one.x) && std::isfinite(one.y))) return;
  for (const Against& other : front)
    if (other.x >= one.x && other.y >= one.y) return;
  front.erase(
      std::remove_if(front.begin(), front.end(), [&](const Against& o) { return o.x <= one.x && o.y <= one.y; }),
      front.end());
  front.push_back(one);
}

void in_order(std::vector<Against>& front) {
  std::sort(front.begin(), front.end(), [](const Against& a, const Against& b) { return a.x < b.x; });
}

std::optional<Map> empty_map(const Designs& designs, std::size_t questions) {
  if (!designs.on_a_grid()) return std::nullopt;
  std::vector<std::size_t> axes;
  for (std::size_t n = 0; n < designs.varied().size(); ++n)
    if (designs.places()[n] >= 3) axes.push_back(n);
  if (axes.size() < 2) return std::nullopt;
  Map map{axes[0], axes[1], {}, {}, {}};
  const auto places = [&](std::size_t n) {
    std::vector<double> at;
    const Varied& varied = designs.varied()[n];
    const int count = designs.places()[n];
    for (int k = 0; k < count; ++k)
      at.push_back(varied.listed.empty() ? varied.at(static_cast<double>(k) / (count - 1))
                                         : varied.listed[static_cast<std::size_t>(k)]);
    return at;
  };
  map.x = places(map.across);
  map.y = places(map.up);
  map.values.assign(questions, Eigen::MatrixXd::Constant(static_cast<Eigen::Index>(map.y.size()),
                                                         static_cast<Eigen::Index>(map.x.size()), unknown));
  return map;
}

/// The place of a design on the grid along one of the values.
Eigen::Index place_of(const Designs& designs, int number, std::size_t varied) {
  for (std::size_t n = designs.varied().size(); n-- > varied + 1;) number /= designs.places()[n];
  return number % designs.places()[varied];
}

}  // namespace

double Question::value(const Surveyed& told) const {
  if (discharge >= told.discharges.size()) return unknown;
  return told.discharges[discharge].energy / counted_by(told, per);
}

Ranking rank(const Designs& designs, const std::function<void(const std::function<void(const Surveyed&)>&)>& each,
             std::size_t discharges, std::size_t slowest, bool full_cell, double within) {
  Ranking ranking;
  const std::vector<Per> pers =
      full_cell ? std::vector<Per>{Per::volume, Per::mass, Per::area} : std::vector<Per>{Per::area};
  for (std::size_t r = 0; r < discharges; ++r)
    for (const Per per : pers) ranking.best.push_back({{r, per}, -1, -infinite, {}, {}});
  ranking.map = empty_map(designs, ranking.best.size());
  const int stride = std::max(1, designs.count() / most_shown);
  const auto qualifies = [&](const Surveyed& told) {
    return told.left_out.empty() && (!told.charge || told.charge->duration <= within);
  };
  each([&](const Surveyed& told) {
    ++ranking.count;
    if (!told.left_out.empty()) {
      if (ranking.left_out++ == 0) ranking.left_out_because = told.left_out;
      return;
    }
    const bool all_trusted =
        std::all_of(told.discharges.begin(), told.discharges.end(), [](const DischargeTold& d) { return d.trusted; });
    ranking.doubtful += all_trusted ? 0 : 1;
    if (!qualifies(told)) {
      ++ranking.too_slow;
      return;
    }
    if (told.number % stride == 0) ranking.shown.push_back(told);
    for (std::size_t q = 0; q < ranking.best.size(); ++q) {
      Best& best = ranking.best[q];
      const double value = best.question.value(told);
      if (value > best.value && told.discharges[best.question.discharge].trusted) {
        best.number = told.number;
        best.value = value;
        best.told = told;
      }
      if (!ranking.map) continue;
      double& there = ranking.map->values[q](place_of(designs, told.number, ranking.map->up),
                                             place_of(designs, told.number, ranking.map->across));
      if (!(there >= value) && std::isfinite(value) && told.discharges[best.question.discharge].trusted) there = value;
    }
    const double size = counted_by(told, pers.front());
    for (const DischargeTold& d : told.discharges) {
      const Against one{told.number, d.mean_power() / size, d.energy / size};
      if (d.trusted) add_to_front(ranking.energy_and_power, one);
      if (told.number % stride == 0) ranking.cloud.push_back(one);
    }
    if (told.charge)
      add_to_front(ranking.energy_and_charge,
                   {told.number, -told.charge->duration, told.discharges[slowest].energy / size});
  });
  for (Against& one : ranking.energy_and_charge) one.x = -one.x;
  in_order(ranking.energy_and_power);
  in_order(ranking.energy_and_charge);
  for (Best& best : ranking.best) best.as_good.assign(designs.varied().size(), {infinite, -infinite});
  each([&](const Surveyed& told) {
    if (!qualifies(told)) return;
    const std::vector<double> values = designs.values(told.number);
    for (Best& best : ranking.best) {
      if (best.number < 0 || !(best.question.value(told) >= (1 - as_good) * best.value) ||
          !told.discharges[best.question.discharge].trusted)
        continue;
      for (std::size_t n = 0; n < values.size(); ++n) {
        best.as_good[n].first = std::min(best.as_good[n].first, values[n]);
        best.as_good[n].second = std::max(best.as_good[n].second, values[n]);
      }
    }
  });
  return ranking;
}

}  // namespace onegrain::app::study
