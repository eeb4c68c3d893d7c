#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "app/answer/fit_words.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"

// What `fit` and `balance` show of their estimates: values, how they hang together, what else would tell them.
namespace onegrain::app::answer {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double narrow = 2;  // estimates whose interval spans less than this factor share a chart of their own
constexpr double off_the_chart = 1e3;  // of the sheet's value: beyond every use, and drawn as going on

/// An end beyond the range that was searched is no number that was found: the interval is open there.
bool open_above(const study::Estimation& estimation, std::size_t k) {
  const solver::ProfileInterval& p = estimation.result.estimates[k].profile;
  return p.upper_open || !(p.upper < estimation.free()[k].upper);
}
bool open_below(const study::Estimation& estimation, std::size_t k) {
  const solver::ProfileInterval& p = estimation.result.estimates[k].profile;
  const solver::FreeParameter& free = estimation.free()[k];
  return p.lower_open || (free.logarithmic && !(p.lower > free.lower));
}

ErrorBar interval_of(const study::Estimation& estimation, std::size_t k) {
  const solver::ProfileInterval& p = estimation.result.estimates[k].profile;
  return ErrorBar::interval(open_below(estimation, k) ? -infinite : std::max(p.lower, estimation.free()[k].lower),
                            open_above(estimation, k) ? infinite : p.upper);
}

Table parameters_table(const study::Estimation& estimation) {
  Table table{"fit.parameters",
              "Estimates, with the interval that holds the value with 95 %",
              {{"label", "quantity", {}, off_screen},
               {"name", "called", {}},
               {"unit", "", {}, summary},
               {"before", "sheet", {}},
               {"estimate", "", {}, summary},
               {"", "estimate", {}, read},
               {"lower", "", {}, summary},
               {"upper", "", {}, summary},
               {"lower_open", "", {}, summary},
               {"upper_open", "", {}, summary},
               {"linear_lower", "", {}, summary},
               {"linear_upper", "", {}, summary},
               {"logarithmic", "", {}, summary},
               {"share_known_before", "known before", measure<params::Fraction>(nullptr, 2), off_screen},
               {"at_bound", "", {}, summary},
               {"told", "", {}, summary},
               {"remark", "remark", {}}},
              {}};
  for (std::size_t k = 0; k < estimation.free().size(); ++k) {
    const solver::Estimate& e = estimation.result.estimates[k];
    const solver::FreeParameter& p = estimation.free()[k];
    const Measure m = measure_of(estimation, k);
    const bool plain = m.kind->dimension.none();
    table.rows.add({label_of(estimation, k), e.name, std::string(plain ? "" : m.shown_unit()), Amount{p.nominal, m},
                    Amount{e.value, m}, Amount{e.value, m, interval_of(estimation, k)},
                    Amount{std::max(e.profile.lower, p.lower), m}, Amount{std::min(e.profile.upper, p.upper), m},
                    open_below(estimation, k), open_above(estimation, k),
                    Amount{std::max(e.linearised.lower, p.lower), m}, Amount{std::min(e.linearised.upper, p.upper), m},
                    p.logarithmic, e.prior_share, e.at_bound, study::is_told(estimation, k), remark(estimation, k)});
  }
  return table;
}

/// An estimate as a bar over the value of the sheet.
struct Bar {
  Intervals::Row row;
  bool tight, linear;
};

std::vector<Bar> bars(const study::Estimation& estimation) {
  std::vector<Bar> list;
  for (std::size_t k = 0; k < estimation.free().size(); ++k) {
    const solver::Estimate& e = estimation.result.estimates[k];
    const solver::FreeParameter& p = estimation.free()[k];
    if (!(p.nominal > 0 && e.value > 0) || p.quantity == solver::FreeQuantity::start) continue;
    const ErrorBar known = interval_of(estimation, k);
    const bool tight = known.low > 0 && known.high < narrow * known.low, linear = !p.logarithmic && !tight;
    const auto over = [&](double value) {
      const double ratio = value / p.nominal;
      if (linear) return std::abs(ratio) < off_the_chart ? ratio : std::copysign(infinite, ratio);
      return ratio < 1 / off_the_chart ? -infinite : ratio > off_the_chart ? infinite : ratio;
    };
    Intervals::Row row{e.name,
                       text_of(Amount{e.value, measure_of(estimation, k), known}),
                       std::nullopt,
                       over(known.low),
                       over(known.high),
                       std::pair{over(std::max(e.linearised.lower, p.lower)), over(e.linearised.upper)},
                       !study::is_told(estimation, k)};
    if (std::isfinite(over(e.value))) row.value = over(e.value);
    list.push_back({std::move(row), tight, linear});
  }
  return list;
}

std::vector<Block> interval_charts(const study::Estimation& estimation) {
  const std::vector<Bar> all = bars(estimation);
  struct Group {
    const char* title;
    bool tight, linear;
  };
  std::vector<Intervals> charts;
  for (const Group& group : {Group{"Told closely", true, false}, Group{"Told less closely", false, false},
                             Group{"Told less closely, linear scale", false, true}}) {
    Intervals chart{group.title, "", {}, {{1, "as in the sheet"}}};
    chart.axis = {group.linear ? "Times the value of the sheet" : "Times the value of the sheet, logarithmic",
                  measure<params::Number>(nullptr, 3)};
    chart.axis.logarithmic = !group.linear;
    for (const Bar& bar : all) {
      if (bar.tight != group.tight || bar.linear != group.linear) continue;
      chart.description += fmt::format("{}{}: {}", chart.description.empty() ? "" : "; ", bar.row.name, bar.row.words);
      chart.rows.push_back(bar.row);
    }
    if (!chart.rows.empty()) charts.push_back(std::move(chart));
  }
  if (charts.size() == 1) charts.front().title.clear();
  return {charts.begin(), charts.end()};
}

std::string told_words(const study::Estimation& estimation) {
  std::size_t told = 0;
  const std::size_t all = estimation.free().size();
  for (std::size_t k = 0; k < all; ++k) told += study::is_told(estimation, k) ? 1 : 0;
  if (told == all) return "The curves tell each of these values better than by order of magnitude.";
  if (told == 0) return "The curves tell none of these values better than by order of magnitude.";
  return fmt::format(
      "The curves tell {} of {} values better than by order of magnitude; the others stand with open dots.", told, all);
}

}  // namespace

Section estimates_section(const study::Estimation& estimation, bool profiles) {
  Section section{"The estimates", {Paragraph{told_words(estimation), page}}};
  const std::vector<std::string> remarks = notes(estimation);
  if (!remarks.empty()) section.blocks.push_back(Bullets{"", remarks});
  section.blocks.push_back(Facts{"fit", {{"notes", remarks}}});
  section.blocks.push_back(parameters_table(estimation));
  section.blocks.push_back(
      Paragraph{std::string("Diffusion times and exchange current densities are those at 25 degC and half filling. "
                            "Intervals count points that repeat their neighbours once: a model that is not quite right "
                            "leaves residuals that hang together.") +
                (profiles ? "" : " The intervals are those of the linearised model.")});
  section.blocks.push_back(
      Paragraph{"Known before: how much of what is now known the sheet's own spread brings.", page});
  const std::vector<Block> charts = interval_charts(estimation);
  section.blocks.insert(section.blocks.end(), charts.begin(), charts.end());
  if (!charts.empty())
    section.blocks.push_back(Paragraph{
        "Dot: the estimate, open where the curves tell only its order of magnitude. Bar: 95 % interval; an arrow where "
        "it goes on. Thin line below: the interval if the model were linear. Upright line: the sheet.",
        page});
  return section;
}

Section correlation_section(const study::Estimation& estimation) {
  const std::vector<solver::Estimate>& estimates = estimation.result.estimates;
  const auto tied = [&](std::size_t a, std::size_t b) {
    return estimation.result.uncertainty.correlation(static_cast<Eigen::Index>(a), static_cast<Eigen::Index>(b));
  };
  Table machine{
      "fit.correlation", "", {{"name", "", {}, summary}, {"correlations", "", Measure{}, summary}}, {}, summary};
  Table shown{"", "Correlation of the estimates", {{"", "", {}, page}}, {}, page};
  std::vector<std::string> pairs;
  for (std::size_t a = 0; a < estimates.size(); ++a) {
    std::vector<double> row;
    for (std::size_t b = 0; b < estimates.size(); ++b) row.push_back(tied(a, b));
    machine.rows.add({estimates[a].name, row});
    if (a + 1 < estimates.size()) shown.columns.push_back({"", fmt::format("{}.", a + 1), {}, page});
    Row cells = {fmt::format("{}. {}", a + 1, estimates[a].name)};
    for (std::size_t b = 0; b + 1 < estimates.size(); ++b)
      cells.push_back(b < a ? TableCell(fmt::format("{:+.2f}", row[b])) : TableCell());
    shown.rows.add(cells);
    for (std::size_t b = 0; b < a; ++b)
      if (std::abs(row[b]) > 0.9)
        pairs.push_back(fmt::format("{} and {} ({:+.2f})", estimates[b].name, estimates[a].name, row[b]));
  }
  Section section{"Which estimates hang together", {}};
  if (estimates.size() > 1) {
    std::string words = "Near +1 or -1, the curves tell a combination of two values and not each of them.";
    for (std::size_t k = 0; k < pairs.size(); ++k) words += (k == 0 ? " So it is for " : "; ") + pairs[k];
    section.blocks.push_back(
        Paragraph{words + (pairs.empty() ? " No two are tied that closely here." : "."), pairs.empty() ? page : read});
    section.blocks.push_back(std::move(shown));
  }
  section.blocks.push_back(std::move(machine));
  return section;
}

Section further_section(const study::Estimation& estimation, const std::vector<study::FurtherTest>& tests) {
  std::vector<std::string> untold;
  for (const solver::Direction& d : estimation.result.untold) untold.push_back(direction_words(d, estimation));
  const std::vector<std::string> next = advice(estimation, tests);
  Section section{"What these curves do not tell, and what would", {}};
  if (!untold.empty()) section.blocks.push_back(Bullets{"Not told by the curves alone", untold});
  if (!next.empty())
    section.blocks.push_back(Bullets{"What to measure next, by the sensitivities of this very model", next});
  section.blocks.push_back(Facts{"fit", {{"untold", untold}, {"advice", next}}});
  Table machine{"fit.further_tests",
                "",
                {{"test", "", {}, summary}, {"name", "", {}, summary}, {"narrower", "", Measure{}, summary}},
                {},
                summary};
  Table shown{"", "How many times narrower each interval would become", {{"", "estimate", {}, page}}, {}, page};
  for (const study::FurtherTest& test : tests)
    shown.columns.push_back({"", name_of(test, estimation), measure<params::Number>(nullptr, 2), page});
  for (std::size_t k = 0; k < estimation.free().size() && !tests.empty(); ++k) {
    Row row = {estimation.free()[k].name};
    for (const study::FurtherTest& test : tests) {
      row.emplace_back(test.narrower[k]);
      machine.rows.add({name_of(test, estimation), estimation.free()[k].name, test.narrower[k]});
    }
    shown.rows.add(row);
  }
  section.blocks.push_back(std::move(shown));
  section.blocks.push_back(std::move(machine));
  return section;
}

}  // namespace onegrain::app::answer
