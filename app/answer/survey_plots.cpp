#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/survey_words.hpp"
#include "app/study/contours.hpp"

namespace onegrain::app::answer {

using study::Per, study::Ranking, study::Survey, study::Varied;

namespace {

inline constexpr params::Kind energy_per_volume{{-1, 1, -2}, "an energy per volume", "Wh/L"};
inline constexpr params::Kind energy_per_mass{{2, 0, -2}, "an energy per mass", "Wh/kg"};
inline constexpr params::Kind energy_per_area{{0, 1, -2}, "an energy per area", "mWh/cm2"};
inline constexpr params::Kind power_per_volume{{-1, 1, -3}, "a power per volume", "W/L"};
inline constexpr params::Kind power_per_mass{{2, 0, -3}, "a power per mass", "W/kg"};
inline constexpr params::Kind power_per_area{{0, 1, -3}, "a power per area", "mW/cm2"};

Measure measure_of(const Varied& varied) { return {varied.kind, nullptr, 3}; }

/// Decades and their doubles, of an axis that is spaced by factors.
void add_ticks(Axis& axis, double from, double to) {
  const Scale scale(axis.measure);
  axis.logarithmic = true;
  for (const double step : {1.0, 5.0, 2.0}) {
    for (double power = std::pow(10, std::floor(std::log10(scale(from)))); power <= scale(to); power *= 10) {
      const double shown = step * power, si = shown / scale.difference(1);
      if (si >= from * (1 - 1e-9) && si <= to * (1 + 1e-9)) axis.ticks.emplace_back(si, digits(shown, 3));
    }
  }
}

Axis axis_of(const Varied& varied) {
  Axis axis{title_of(varied.path), measure_of(varied)};
  if (varied.by_factors)
    add_ticks(axis, varied.from, varied.to);
  else
    axis.include = {varied.from, varied.to};
  return axis;
}

std::string question_title(const Survey& survey, const study::Question& q) {
  return fmt::format("{} at {}", name_of(q.per), survey.rates()[q.discharge].written);
}

/// Lines of equal energy over two values, and the best design.
Plot map_plot(const Survey& survey, const Ranking& ranking, std::size_t question) {
  const study::Map& map = *ranking.map;
  const study::Best& best = ranking.best[question];
  const Varied &across = survey.designs().varied()[map.across], &up = survey.designs().varied()[map.up];
  Plot plot;
  plot.title = question_title(survey, best.question);
  plot.x = axis_of(across);
  plot.y = axis_of(up);
  plot.names = Plot::Names::right;
  const Eigen::MatrixXd& values = map.values[question];
  const Measure measure = energy_measure(best.question.per);
  const Scale scale(measure);
  const Eigen::MatrixXd shown = values.unaryExpr([&](double v) { return scale(v); });
  int order = 0;
  for (const double level : study::round_levels(shown)) {
    const std::vector<study::Contour> lines = study::contours(map.x, map.y, shown, level);
    for (std::size_t n = 0; n < lines.size(); ++n) {
      Series line{n == 0 ? digits(level, 4) + " " + measure.shown_unit() : "", LineRole::in_order, order};
      line.x = lines[n].x;
      line.y = lines[n].y;
      line.told.assign(line.x.size(), {fmt::format("{} {}", digits(level, 4), measure.shown_unit())});
      plot.series.push_back(std::move(line));
    }
    ++order;
  }
  plot.description =
      fmt::format("Lines of equal {} over {} and {}.", plot.title, title_of(across.path), title_of(up.path));
  if (best.number < 0) return plot;
  const std::vector<double> at = survey.designs().values(best.number);
  plot.marks.push_back({at[map.across], at[map.up], text_of(best.value, measure)});
  plot.description += " The most, " + text_of(best.value, measure) + ", has " + values_words(survey, at) + ".";
  plot.note = std::string(survey.designs().varied().size() > 2 ? "Over all that is varied beside, the best. " : "") +
              (values.allFinite() ? "" : "No line where no design is to be relied on.");
  return plot;
}

/// Energy of every design that is shown, against one value: a line of a grid over one, else marks.
Plot against_plot(const Survey& survey, const Ranking& ranking, std::size_t varied, Per per) {
  const Varied& value = survey.designs().varied()[varied];
  const bool joined = survey.designs().varied().size() == 1;
  Plot plot;
  plot.title = name_of(per) + " against " + title_of(value.path);
  plot.description = plot.title + ", at each rate.";
  plot.x = axis_of(value);
  plot.y = {name_of(per), energy_measure(per)};
  plot.names = Plot::Names::right;
  for (std::size_t r = 0; r < survey.rates().size(); ++r) {
    Series line{survey.rates()[r].written, LineRole::in_order, static_cast<int>(r)};
    line.joined = joined;
    line.marked = true;
    std::vector<std::pair<double, double>> points;
    for (const study::Surveyed& told : ranking.shown) {
      const double y = study::Question{r, per}.value(told);
      if (std::isfinite(y)) points.emplace_back(survey.designs().values(told.number)[varied], y);
    }
    if (joined) std::sort(points.begin(), points.end());
    for (const auto& [x, y] : points) {
      line.x.push_back(x);
      line.y.push_back(y);
    }
    if (!line.x.empty()) plot.series.push_back(std::move(line));
  }
  return plot;
}

/// The designs under the pointer.
std::vector<std::vector<std::string>> designs_told(const Survey& survey, const std::vector<study::Against>& points) {
  std::vector<std::vector<std::string>> told;
  for (const study::Against& point : points) {
    std::vector<std::string> words{design_words(point.number)};
    const std::vector<double> values = survey.designs().values(point.number);
    for (std::size_t n = 0; n < values.size(); ++n)
      words.push_back(title_of(survey.designs().varied()[n].path) + " " +
                      params::show(values[n], *survey.designs().varied()[n].kind, 4));
    told.push_back(std::move(words));
  }
  return told;
}

Series points_of(const Survey& survey, const std::vector<study::Against>& points, const std::string& label,
                 LineRole role) {
  Series line{label, role};
  for (const study::Against& point : points) {
    line.x.push_back(point.x);
    line.y.push_back(point.y);
  }
  line.told = designs_told(survey, points);
  line.marked = true;
  return line;
}

void span_logarithmic(Axis& axis, const std::vector<study::Against>& points) {
  const auto [low, high] =
      std::minmax_element(points.begin(), points.end(), [](const auto& a, const auto& b) { return a.x < b.x; });
  add_ticks(axis, low->x, high->x);
  axis.include = {low->x, high->x};
}

}  // namespace

std::string name_of(Per per) {
  return per == Per::volume ? "energy per volume" : per == Per::mass ? "energy per mass" : "energy per area";
}
Measure energy_measure(Per per, int digits) {
  return {per == Per::volume ? &energy_per_volume
          : per == Per::mass ? &energy_per_mass
                             : &energy_per_area,
          nullptr, digits};
}
Measure power_measure(Per per, int digits) {
  return {per == Per::volume ? &power_per_volume
          : per == Per::mass ? &power_per_mass
                             : &power_per_area,
          nullptr, digits};
}

Section survey_maps(const Survey& survey, const Ranking& ranking) {
  Section section{"Which design gives the most", {}, Section::Beside::two, page};
  const Per per = ranking.best.front().question.per;
  if (ranking.map) {
    for (std::size_t q = 0; q < ranking.best.size(); ++q)
      if (ranking.best[q].question.per == per) section.blocks.push_back(map_plot(survey, ranking, q));
  } else if (!ranking.shown.empty()) {
    for (std::size_t n = 0; n < survey.designs().varied().size(); ++n)
      section.blocks.push_back(against_plot(survey, ranking, n, per));
  }
  return section;
}

Section survey_fronts(const Survey& survey, const Ranking& ranking) {
  Section section{"What speed costs", {}, Section::Beside::two, page};
  const Per per = ranking.best.front().question.per;
  if (!ranking.energy_and_power.empty()) {
    Plot plot;
    plot.title = "Energy against mean power";
    plot.description =
        "Energy against mean power of a discharge, for every design and rate; the line joins those that none has more "
        "of both.";
    plot.x = {"mean power, logarithmic", power_measure(per)};
    span_logarithmic(plot.x, ranking.cloud.empty() ? ranking.energy_and_power : ranking.cloud);
    plot.y = {name_of(per), energy_measure(per), {0.0}};
    Series cloud = points_of(survey, ranking.cloud, "designs at each rate", LineRole::other);
    cloud.joined = false;
    plot.series.push_back(std::move(cloud));
    plot.series.push_back(points_of(survey, ranking.energy_and_power, "none has more of both", LineRole::predicted));
    plot.names = Plot::Names::right;
    section.blocks.push_back(std::move(plot));
  }
  if (ranking.energy_and_charge.size() > 1) {
    Plot plot;
    plot.title = "Energy against the time of a charge";
    plot.description =
        "Energy at the slowest rate against the shortest charge that keeps every limit; no design charges faster and "
        "holds more.";
    plot.x = {"charge, at the rate that keeps every limit", measure<params::Time>()};
    plot.y = {name_of(per) + " at " + survey.rates()[survey.slowest()].written, energy_measure(per)};
    plot.series.push_back(
        points_of(survey, ranking.energy_and_charge, "none charges faster and holds more", LineRole::predicted));
    section.blocks.push_back(std::move(plot));
  }
  return section;
}

}  // namespace onegrain::app::answer
