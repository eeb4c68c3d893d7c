#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/ceiling_words.hpp"
#include "app/answer/numbers.hpp"

namespace onegrain::app::answer {

namespace {

const Axis& soc_axis() {
  static const Axis axis{"State of charge", measure<params::Fraction>(nullptr, 3)};
  return axis;
}

std::string rounded_millivolts(double volts, int significant) { return digits(1e3 * volts, significant) + " mV"; }

/// The potential of the electrode that takes lithium up, against what it must keep.
Plot potential_plot(const Job& job, double margin, const study::ChargePath& path) {
  Plot plot;
  plot.title = job.cell.is_full_cell() ? "The negative against lithium" : "The electrode against lithium";
  plot.x = soc_axis();
  plot.y = {"Potential at the separator side", measure<params::Voltage>("V", 3)};
  plot.names = Plot::Names::right;
  const auto line = [&](const char* label, LineRole role, const std::vector<double>& y) {
    Series s{label, role};
    s.x = path.soc;
    s.y = y;
    s.also.push_back({"cell", measure<params::Voltage>(), path.voltage});
    plot.series.push_back(std::move(s));
  };
  line("at the separator side", LineRole::predicted, path.separator_side);
  line("if the reaction were even", LineRole::other, path.even);
  double lowest = 0, highest = 0;
  for (const auto* some : {&path.separator_side, &path.even}) {
    lowest = std::min(lowest, *std::min_element(some->begin(), some->end()));
    highest = std::max(highest, *std::max_element(some->begin(), some->end()));
  }
  // an electrode far above lithium would leave no room for what matters
  plot.y.most = std::max(0.25, 2 * margin);
  plot.y.include = {std::min(-0.05, 1.2 * lowest), std::min(highest, *plot.y.most)};
  const double always = *std::min_element(path.separator_side.begin(), path.separator_side.end());
  if (always > *plot.y.most) {
    plot.y.most.reset();
    plot.y.include = {0.0};
  }
  plot.zones.push_back({-INFINITY, 0, true, "below 0 V lithium metal can plate"});
  if (margin > 0) {
    plot.zones.push_back({0, margin, false, ""});
    plot.levels.push_back({margin, "margin " + rounded_millivolts(margin, 2)});
  }
  return plot;
}

Plot terminal_plot(const Job& job, const study::ChargePath& path) {
  const bool rises = charges(job);
  const double cut_off = rises ? job.cell.upper_voltage : job.cell.lower_voltage;
  const auto [low, high] = std::minmax_element(path.voltage.begin(), path.voltage.end());
  Plot plot;
  plot.title = job.cell.is_full_cell() ? "Voltage of the cell" : "Voltage against lithium";
  plot.description =
      fmt::format("Voltage against state of charge, from {} V to {} V.", digits(*low, 4), digits(*high, 4));
  plot.x = soc_axis();
  plot.y = {"Voltage", measure<params::Voltage>()};
  plot.y.include = {rises ? *low : std::min(*low, cut_off - 0.05), rises ? cut_off + 0.08 : *high};
  plot.names = Plot::Names::none;
  plot.series = {{"", LineRole::predicted}};
  plot.series.front().x = path.soc;
  plot.series.front().y = path.voltage;
  plot.zones.push_back(
      {rises ? cut_off : -INFINITY, rises ? INFINITY : cut_off, true, fmt::format("cut-off {} V", digits(cut_off, 3))});
  return plot;
}

/// Rates that an axis has ticks at, whole decades first: C/10, 1C, then C/20, C/2, 2C, then C/50, C/5, 5C.
std::vector<std::pair<double, std::string>> rate_ticks() {
  std::vector<std::pair<double, std::string>> ticks;
  for (const int step : {1, 2, 5})
    for (const int decade : {1, 10, 100, 1000}) {
      const int count = step * decade;
      if (count > 1) ticks.push_back({1.0 / count, fmt::format("C/{}", count)});
      if (decade < 1000) ticks.push_back({count, fmt::format("{}C", count)});
    }
  return ticks;
}

std::string share_words(double share) {
  if (share == 0) return "none";
  return share < 0.01 ? "less than 1 %" : digits(std::floor(1000 * share + 1e-6) / 10, share >= 0.995 ? 3 : 2) + " %";
}

}  // namespace

Section path_section(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& found) {
  const bool full = job.cell.is_full_cell();
  const study::ChargePath& path = found.path;
  const bool moves = found.recommended > 0;
  Section section{moves ? "While it charges at " + rate_words(job, found.recommended) : "While it charges at C/200",
                  {},
                  Section::Beside::two,
                  page};
  if (empties(job)) {
    section.blocks.push_back(
        Paragraph{"An electrode that is emptied stays far above lithium: what counts is the voltage."});
    section.blocks.push_back(terminal_plot(job, path));
    return section;
  }
  const auto lowest = std::min_element(path.separator_side.begin(), path.separator_side.end());
  const double at = path.soc[static_cast<std::size_t>(lowest - path.separator_side.begin())];
  const double margin = asked.limits.plating_margin;
  const std::string words = fmt::format(
      "Below 0 V against lithium, metal can deposit on the {}, first at the side that faces the separator. Lowest "
      "there: {}, at {} state of charge{}.",
      full ? "negative" : "electrode", rounded_millivolts(*lowest, 3), percent(std::round(100 * at) / 100),
      margin > 0 ? "; " + rounded_millivolts(margin, 2) + " are to be kept" : "");
  section.blocks.push_back(Paragraph{words});
  Plot potential = potential_plot(job, margin, path);
  potential.description = words;
  section.blocks.push_back(std::move(potential));
  section.blocks.push_back(terminal_plot(job, path));
  return section;
}

Plot survival_plot(const Job& job, const study::CeilingFound& found) {
  const std::vector<study::PlausibleCell>& cells = found.plausible->cells;
  const auto share_kept = [&](double current) { return found.plausible->share_that_keeps(current); };
  Plot plot;
  plot.x = {"Charge rate as multiples of 1C", measure<params::Number>(nullptr, 3), {0.0}};
  plot.y = {"Share of the plausible cells that keep every limit", measure<params::Fraction>(nullptr, 3), {0.0, 1.0}};
  plot.names = Plot::Names::none;
  Series line{"", LineRole::predicted};
  line.stepped = line.filled = true;
  const auto add = [&](double current, double share) {
    line.x.push_back(job.c_rate(current));
    line.y.push_back(share);
    line.told.push_back({rate_words(job, current), fmt::format("kept by {} of the cells", share_words(share))});
  };
  add(0, 1);
  // evenly over the cells, which are more where more had to be known, the last among them
  const std::size_t shown = std::min<std::size_t>(400, cells.size());
  double left = 1;
  for (std::size_t k = 0, next = 0; k < shown; ++k) {
    const std::size_t at = shown == 1 ? 0 : k * (cells.size() - 1) / (shown - 1);
    while (next < cells.size() && cells[next].current <= cells[at].current) left -= cells[next++].share;
    add(cells[at].current, std::max(0.0, next == cells.size() ? 0.0 : left));
  }
  if (found.recommended > 0)
    plot.marks.push_back({job.c_rate(found.recommended), share_kept(found.recommended),
                          fmt::format("{}: kept by {}", rate_words(job, found.recommended),
                                      share_words(share_kept(found.recommended)))});
  const double median = found.plausible->median.value;
  if (median > 0) plot.marks.push_back({job.c_rate(median), 0.5, rate_words(job, median) + ": half of them"});
  plot.uprights.push_back(
      {job.c_rate(found.plain_current),
       {"what a plain single-particle model would have said: " + rate_words(job, found.plain_current),
        fmt::format("kept by {} of the cells", share_words(share_kept(found.plain_current)))}});
  // an answer far beyond all cells would squeeze the curve
  if (found.plain_current <= 2.2 * cells.back().current) plot.x.include.push_back(job.c_rate(found.plain_current));
  plot.description = fmt::format(
      "Each plausible cell has its own highest rate. The line shows how many of them still keep every limit at a rate. "
      "At the rate that a plain single-particle model would have called safe, {}, {} of them do.",
      rate_words(job, found.plain_current), share_words(share_kept(found.plain_current)));
  plot.series.push_back(std::move(line));
  return plot;
}

Bars unknown_bars(const Job& job, const study::CeilingFound& found) {
  constexpr std::size_t most = 10;
  Bars bars;
  for (const study::UnknownCost& cost : found.plausible->costs) {
    if (std::abs(cost.slope) < 1e-3 || bars.bars.size() == most) break;
    const double gain = found.recommended > 0 ? cost.current_if_known / found.recommended - 1 : 0;
    bars.bars.push_back(
        {words_of_path(job, cost.path), "now " + cost.written, std::max(0.0, gain),
         gain > 0 ? fmt::format("+{} %, to {}", digits(100 * gain, 2), rate_words(job, cost.current_if_known))
                  : "gains nothing"});
    bars.description += (bars.description.empty() ? "" : "; ") + bars.bars.back().name + ": " + bars.bars.back().words;
  }
  std::stable_sort(bars.bars.begin(), bars.bars.end(),
                   [](const Bars::Bar& a, const Bars::Bar& b) { return a.size > b.size; });
  return bars;
}

Plot temperature_plot(const Job& job, const study::CeilingFound& found) {
  Plot plot;
  plot.x = {"Temperature", measure<params::Temperature>(nullptr, 3), {}};
  plot.y = {"Highest charge rate, logarithmic", measure<params::Number>(nullptr, 3)};
  plot.y.logarithmic = true;
  plot.y.ticks = rate_ticks();
  plot.y.zero = "none";
  plot.names = Plot::Names::right;
  const auto line = [&](const char* label, LineRole role, double study::CeilingAtTemperature::*current) {
    Series s{label, role};
    s.marked = true;
    for (const study::CeilingAtTemperature& t : found.temperatures) {
      s.x.push_back(t.temperature);
      s.y.push_back(job.c_rate(t.*current));
      s.told.push_back(
          {text_of(t.temperature, measure<params::Temperature>(nullptr, 2)) + ": " + rate_words(job, t.*current), label,
           "limited by " + name_of(t.limited_by, job)});
    }
    plot.series.push_back(std::move(s));
  };
  line("the cell as the sheet has it", LineRole::other, &study::CeilingAtTemperature::current);
  if (found.plausible)
    line("kept with confidence", LineRole::predicted, &study::CeilingAtTemperature::confident_current);
  const double zero = 273.15;
  for (const double end : {found.temperatures.front().temperature - 4, found.temperatures.back().temperature + 4})
    plot.x.include.push_back(end);
  if (!empties(job))
    plot.bands = {{zero - 60, zero, true, "never charge below 0 degC (common practice)"},
                  {zero, zero + 10, false, "reduce: 20 to 50 % of the rate (common practice)"},
                  {zero + 45, zero + 60, false, "reduce the voltage (common practice)"}};
  plot.description = "Highest charge rate against temperature.";
  for (const Band& band : plot.bands) plot.description += " " + band.words + ";";
  plot.description.back() = '.';
  return plot;
}

}  // namespace onegrain::app::answer
