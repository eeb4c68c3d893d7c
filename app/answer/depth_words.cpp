#include "app/answer/depth_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"

namespace onegrain::app::answer {

namespace {

constexpr double least_lead_told = 5e-4;  // of the sites: less rounds to no tenth of a point

std::string points(double lead) { return digits(100 * std::abs(lead), 2); }

const char* place_of(double place) {
  return place > 0.99 ? "at the separator" : place < 0.01 ? "at the foil" : "inside the coating";
}

/// "come to be up to 12 points fuller at the separator than at the foil (after 62 % of its time)".
std::string lead_words(const study::DepthSpread& spread, double duration, bool with_places) {
  const char* places = with_places ? " at the separator than at the foil" : "";
  if (std::abs(spread.widest) < least_lead_told)
    return with_places ? "stay as full at the separator as at the foil" : "stay alike";
  const double share = spread.widest_time / duration;
  const std::string when = share > 0.995 ? "at its end" : fmt::format("after {:.0f} % of its time", 100 * share);
  return fmt::format("come to be up to {} points {}{} ({})", points(spread.widest),
                     spread.widest > 0 ? "fuller" : "emptier", places, when);
}

}  // namespace

DepthTold::DepthTold(const solver::StepSolution& step) : duration(step.duration()) {
  const std::optional<study::DepthSpreads> spreads = study::spread_over_depth(step);
  if (!spreads) return;
  positive = spreads->positive;
  negative = spreads->negative;
}

double DepthTold::lead() const {
  return std::max(positive ? std::abs(positive->widest) : 0, negative ? std::abs(negative->widest) : 0);
}

std::string depth_words(const Job& job, const DepthTold& depth, const std::string& name) {
  if (!depth.positive) return "";
  const bool full = job.cell.is_full_cell();
  std::string text =
      fmt::format("In {}{} the grains of the {} {}", name.starts_with("step") ? "" : "the ", name,
                  full ? "positive" : "working electrode", lead_words(*depth.positive, depth.duration, true));
  if (depth.negative)
    text += fmt::format(", those of the negative {}", lead_words(*depth.negative, depth.duration, false));
  const bool in_negative = depth.negative && depth.negative->peak > depth.positive->peak;
  const study::DepthSpread& worst = in_negative ? *depth.negative : *depth.positive;
  text += fmt::format(". The reaction is at its most uneven {} times its mean, {}{}.", digits(worst.peak, 3),
                      full ? (in_negative ? "in the negative " : "in the positive ") : "", place_of(worst.peak_place));
  if (std::min(depth.positive->lowest_peak, depth.negative ? depth.negative->lowest_peak : 1) < -0.01)
    text += " For a while some grains go the other way: others drive them.";
  return text;
}

Plot depth_profile(const Job& job, const solver::StepSolution& step, const std::string& name, bool positive) {
  const Eigen::ArrayXd places = Eigen::ArrayXd::LinSpaced(41, 0, 1);
  const bool full = job.cell.is_full_cell();
  const double thickness = (positive ? job.cell.positive : *job.cell.negative).thickness;
  Plot plot;
  plot.title = std::string(full ? (positive ? "Positive" : "Negative") : "Working electrode") + " coating, " + name;
  plot.x = {"Foil 0 to separator 1", measure<params::Number>(nullptr, 2), {0.0}};
  plot.y = {"Mean stoichiometry of the grains", measure<params::Number>(nullptr, 3)};
  plot.names = Plot::Names::right;
  plot.low = true;
  static const std::vector<std::pair<const char*, double>> shown = {
      {"start", 0.0}, {"early", 0.05}, {"one third", 1.0 / 3}, {"two thirds", 2.0 / 3}, {"end", 1.0}};
  plot.description = "Mean stoichiometry of the grains from the foil to the separator.";
  for (const auto& [label, share] : shown) {
    const solver::Segment::OverDepth over = step.over_depth(share * step.duration(), positive, places);
    Series line{label, LineRole::in_time, static_cast<int>(plot.series.size())};
    line.x.assign(places.begin(), places.end());
    line.y.assign(over.filling.begin(), over.filling.end());
    Series::Also depth{"from the foil", measure<params::Length>("um", 3), {}},
        reaction{"reaction, times its mean", measure<params::Number>(nullptr, 3), {}};
    for (Eigen::Index k = 0; k < places.size(); ++k) {
      depth.values.push_back(places[k] * thickness);
      reaction.values.push_back(over.reaction[k]);
    }
    line.also = {std::move(depth), std::move(reaction)};
    plot.description += fmt::format(" {}: {} at the foil, {} at the separator.", label, digits(line.y.front(), 3),
                                    digits(line.y.back(), 3));
    plot.series.push_back(std::move(line));
  }
  return plot;
}

void share_scale(std::vector<Plot>& plots) {
  std::vector<double> ends;
  for (const Plot& plot : plots)
    for (const Series& line : plot.series) {
      const auto [low, high] = std::minmax_element(line.y.begin(), line.y.end());
      ends.insert(ends.end(), {*low, *high});
    }
  for (Plot& plot : plots)
    plot.y.include = {*std::min_element(ends.begin(), ends.end()), *std::max_element(ends.begin(), ends.end())};
}

void add_depth_section(Answer& said, const Job& job, const std::vector<ShownStep>& shown) {
  Section section{"Over the depth of the coatings", {}, Section::Beside::two, read};
  if (!job.cell.is_full_cell()) section.title = "Over the depth of the coating";
  const ShownStep* worst = nullptr;
  double most = -1;
  for (const ShownStep& s : shown) {
    const DepthTold depth(*s.step);
    if (!depth.positive || !(depth.lead() > most)) continue;
    most = depth.lead();
    worst = &s;
  }
  if (!worst) return;
  section.blocks.push_back(Paragraph{depth_words(job, DepthTold(*worst->step), worst->name)});
  section.blocks.push_back(
      Paragraph{"How full the grains are from the foil to the separator. A flat line: all take the same part. The side "
                "where the current finds the easier way runs ahead; a thinner coating, or one with more pores, is more "
                "even.",
                page});
  for (const bool positive : {true, false}) {
    if (!positive && !job.cell.is_full_cell()) continue;
    std::vector<Plot> plots;
    for (const ShownStep& s : shown) plots.push_back(depth_profile(job, *s.step, s.name, positive));
    share_scale(plots);
    section.blocks.insert(section.blocks.end(), plots.begin(), plots.end());
  }
  said.sections.push_back(std::move(section));
}

Section grains_section(const Job& job) {
  std::string words =
      "How full the lithium sites are from the centre of a grain to its surface. A flat line: lithium had time to "
      "spread. A steep one: the surface runs ahead of the centre, and the cut-off comes before the grain is used up.";
  if (job.reaction == model::Reaction::uneven) words += " Each line is the mean over the depth of the coating.";
  return {"Inside the grains", {Paragraph{words}}, Section::Beside::two, page};
}

std::vector<TableColumn> depth_columns(const Job& job) {
  if (job.reaction == model::Reaction::even) return {};
  const std::vector<std::string> electrodes =
      job.cell.is_full_cell() ? std::vector<std::string>{"positive", "negative"} : std::vector<std::string>{"working"};
  std::vector<TableColumn> columns;
  for (const std::string& electrode : electrodes)
    for (const char* what : {"_separator_less_foil", "_separator_less_foil_widest", "_reaction_peak"})
      columns.push_back({electrode + what, "", Measure{}, summary});
  return columns;
}

void add_depth(Row& row, const Job& job, const DepthTold& depth) {
  if (job.reaction == model::Reaction::even) return;
  const auto add = [&](const std::optional<study::DepthSpread>& spread) {
    row.push_back(spread ? TableCell(spread->lead) : TableCell());
    row.push_back(spread ? TableCell(spread->widest) : TableCell());
    row.push_back(spread ? TableCell(spread->peak) : TableCell());
  };
  add(depth.positive);
  if (job.cell.is_full_cell()) add(depth.negative);
}

}  // namespace onegrain::app::answer
