#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "app/answer/answers.hpp"
#include "app/answer/ceiling_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/command/progress.hpp"

// `ceiling`: how fast the cell may be charged, with confidence, and what limits it.

namespace onegrain::app::answer {

namespace {

const char* called(study::CeilingWork work) {
  switch (work) {
    case study::CeilingWork::temperatures:
      return "temperatures";
    case study::CeilingWork::cold_and_hot_cells:
      return "plausible cells, cold and hot";
    case study::CeilingWork::plausible_cells:
      return "plausible cells";
    case study::CeilingWork::staircase:
      return "plausible cells on the staircase";
  }
  return "";
}

/// What is said to be measured next: the first of the dearest, where knowing it would change the rate at all.
const study::UnknownCost* worth_measuring(const study::CeilingFound& f) {
  if (!f.plausible || f.plausible->costs.empty()) return nullptr;
  const study::UnknownCost& first = f.plausible->costs.front();
  return first.current_if_known > 1.005 * f.recommended ? &first : nullptr;
}

/// The slowest rate that was looked at.
std::string slowest_words(const Job& job, const study::CeilingFound& f) {
  const double rate = job.c_rate(f.charge.current);
  return std::abs(200 * rate - 1) < 0.005 ? "C/200" : digits(rate, 2) + "C";
}

/// A rate at which nobody charges: what is known of the cell does not allow more, or the cell does not.
std::optional<Finding> no_usual_rate(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f) {
  constexpr double slow = 1.0 / 30;  // C
  if (!(f.recommended > 0) || job.c_rate(f.recommended) >= slow) return std::nullopt;
  std::string text = fmt::format(
      "no usual rate is allowed: the highest that can be recommended is {}, {} from {} to {}",
      rate_words(job, f.recommended), duration(f.charge.duration), percent(asked.soc.from), percent(asked.soc.to));
  text +=
      f.nominal.current > 10 * f.recommended
          ? fmt::format("; that is how little is known of this cell rather than what it can (as the sheet has it: {}).",
                        rate_words(job, f.nominal.current))
          : ".";
  return Finding{"no_usual_rate", text};
}

std::string refusal(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f) {
  return fmt::format(
      "Do not {} this cell from {} to {} at any rate looked at: even {} breaks a limit ({}) in {}.",
      charges(job) ? "charge" : "lithiate", percent(asked.soc.from), percent(asked.soc.to), slowest_words(job, f),
      name_of(f.limited_by, job),
      !f.plausible ? std::string("the cell as the sheet has it")
      : f.plausible->confident.value > 0
          ? fmt::format("up to 5 % of the plausible cells, as far as {} of them tell", f.plausible->count)
          : "more than 5 % of the plausible cells");
}

std::string leave(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f) {
  std::string text = fmt::format("{} from {} to {} at no more than {}, {}: ", charges(job) ? "Charge" : "Lithiate",
                                 percent(asked.soc.from), percent(asked.soc.to), rate_words(job, f.recommended),
                                 current_words(job, f.recommended));
  text += f.plausible ? percent(study::confident_share) +
                            " of the cells that your uncertainties allow keep every limit at that rate"
                      : "the cell as the sheet has it keeps every limit at that rate, uncertainties not counted";
  text += "; it takes " + minutes_words(f.charge.duration) + ".";
  if (f.nominal.unlimited) {
    text += " No limit was met up to 50C.";
  } else {
    const solver::Margin* tight = f.charge.margin(f.limited_by);
    text += " What stops a faster charge is " + name_of(f.limited_by, job);
    if (tight) text += fmt::format(", worst at {:.0f} % state of charge", 100 * tight->soc);
    if (f.plausible && f.plausible->limited_share < 0.95)
      text += fmt::format(" (in {:.0f} % of the cells that survive least)", 100 * f.plausible->limited_share);
    text += ".";
  }
  if (const study::UnknownCost* cost = worth_measuring(f)) {
    text += fmt::format(" To be allowed more, measure the {}: known exactly, it would raise the rate to {}.",
                        words_of_path(job, cost->path), rate_words(job, cost->current_if_known));
  }
  return text;
}

/// The numbers of the summary under "ceiling", those to act on also at the top of the page.
Figures figures_of(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f) {
  Figures block{"ceiling", "", {}, summary};
  const auto add = [&](const char* key, double value, Measure measure = {}) -> Figure& {
    block.figures.push_back({key, "", value, measure});
    block.figures.back().alone = true;
    return block.figures.back();
  };
  const bool moves = f.recommended > 0;
  Figure& rate = add("c_rate", job.c_rate(f.recommended), allowed_rate());
  rate.at_the_top = "Highest charge rate";
  rate.note = !moves ? "" : f.plausible ? "kept by 95 % of the plausible cells" : "uncertainties not counted";
  Figure& current =
      add("current", f.recommended * job.plate_area(), measure<params::Current>(nullptr, 3, Rounding::down));
  if (moves) current.at_the_top = "Current at that rate";
  if (moves) {
    Figure& takes = add("", f.charge.duration, lasting());
    takes.at_the_top = "It takes";
    takes.note = fmt::format("from {} to {} state of charge", percent(asked.soc.from), percent(asked.soc.to));
  }
  add("minutes", moves ? f.charge.duration / 60 : NAN);
  add("from_soc", asked.soc.from);
  add("to_soc", asked.soc.to);
  add("margin", asked.limits.plating_margin, measure<params::Voltage>());
  add("confidence", f.plausible ? study::confident_share : NAN);
  add("nominal_c_rate", job.c_rate(f.nominal.current));
  add("median_c_rate", job.c_rate(f.plausible ? f.plausible->median.value : f.nominal.current));
  add("median_half_width", f.plausible ? f.plausible->median.half_width() : NAN);
  add("estimated_c_rate", f.plausible ? job.c_rate(f.plausible->confident.value) : NAN);
  add("upper_c_rate", f.plausible ? job.c_rate(f.plausible->confident.high) : NAN);
  add("half_width", f.plausible ? f.plausible->confident.half_width() : NAN);
  add("even_c_rate", job.c_rate(f.even_current));
  add("plain_c_rate", job.c_rate(f.plain_current));
  add("samples", f.plausible ? f.plausible->count : 0, counted());
  add("unsolved", f.plausible ? f.plausible->unsolved : 0, counted());
  add("limited_share", f.plausible ? f.plausible->limited_share : 1);
  return block;
}

Facts facts_of(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f,
               const std::string& no_staircase) {
  Facts facts{"ceiling", {{"limited_by", f.nominal.unlimited ? "nothing up to 50C" : name_of(f.limited_by, job)}}};
  if (const solver::Margin* tight = f.charge.margin(f.limited_by)) {
    facts.facts.push_back(
        {"where", fmt::format("{}, at {:.0f} % state of charge", quantity_name(tight->limit, job), 100 * tight->soc)});
  }
  facts.facts.push_back({"seed", asked.seed});
  if (f.plausible && f.plausible->unsolved > 0)
    facts.facts.push_back({"unsolved_because", f.plausible->unsolved_because});
  const std::string remark = temperature_remark(job);
  if (!remark.empty()) facts.facts.push_back({"temperature_remark", remark});
  if (!no_staircase.empty()) facts.facts.push_back({"no_staircase_because", no_staircase});
  return facts;
}

Section rates_section(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& f) {
  Section section{"Highest charge rate", {}};
  Table table{"",
              "",
              {{"", "highest charge rate", {}, read},
               {"", "rate", allowed_rate(), read},
               {"", "current", measure<params::Current>(nullptr, 3, Rounding::down), read}},
              {},
              read};
  const auto row = [&](const std::string& name, double i) {
    table.rows.add({name, job.c_rate(i), i * job.plate_area()});
  };
  if (f.plausible) {
    row("that at least " + percent(study::confident_share) + " of the plausible cells survive: the recommendation",
        f.recommended);
    row("that half of them survive", f.plausible->median.value);
  }
  row("of the cell as the sheet has it", f.nominal.current);
  row("had the reaction been taken as even across the coatings", f.even_current);
  row("what a plain single-particle model would have said", f.plain_current);
  section.blocks.push_back(std::move(table));
  std::string sure = "Uncertainties are not counted: the sheet and its cards state none, or no samples were asked for.";
  if (f.plausible) {
    const study::PlausibleCells& p = *f.plausible;
    sure = sampling_words(job, asked, p);
    if (p.unsolved > 0)
      section.blocks.push_back(Paragraph{
          fmt::format("{} of {} plausible cells could not be solved and count as surviving no rate; the first: {}",
                      p.unsolved, p.count, p.unsolved_because)});
  }
  section.blocks.push_back(Paragraph{sure});
  return section;
}

/// On the page drawn, on the screen the first of them, in the summary all.
Section unknowns_section(const Job& job, const study::CeilingFound& f) {
  constexpr std::size_t printed = 8;
  Section section{"What to measure next", {}};
  const auto columns = [](const std::string& title, const char* key, Places places) {
    return Table{key,
                 title,
                 {{"path", "", {}, summary},
                  {"text", "value", {}},
                  {"written", "now", {}},
                  {"slope", "", Measure{}, summary},
                  {"c_rate_if_known", "rate", allowed_rate()},
                  {"gain_percent", "gain, %", measure<params::Number>(nullptr, 2, Rounding::down)}},
                 {},
                 places,
                 terminal};
  };
  Table shown = columns("what to measure next: the rate if one value were known exactly", "", terminal);
  Table all = columns("", "ceiling.unknowns", summary);
  if (f.plausible) {
    for (const study::UnknownCost& c : f.plausible->costs) {
      if (std::abs(c.slope) < 1e-3) continue;
      const Row row{c.path,
                    words_of_path(job, c.path),
                    c.written,
                    c.slope,
                    job.c_rate(c.current_if_known),
                    f.recommended > 0 ? 100 * (c.current_if_known / f.recommended - 1) : 0};
      if (all.rows.size() < printed) shown.rows.add(row);
      all.rows.add(row);
    }
    Bars bars = unknown_bars(job, f);
    if (!bars.bars.empty()) {
      std::string words = fmt::format(
          "How far the rate could rise from {}, at the same confidence, if one quantity were known exactly.",
          rate_words(job, f.recommended));
      if (all.rows.size() > bars.bars.size())
        words += fmt::format(" {} further quantities gain less; they stand in summary.json.",
                             all.rows.size() - bars.bars.size());
      section.blocks.push_back(Paragraph{words, page});
      section.blocks.push_back(std::move(bars));
    }
  }
  if (shown.rows.size() > 0) section.blocks.push_back(std::move(shown));
  section.blocks.push_back(std::move(all));
  return section;
}

Section temperature_section(const Job& job, const study::CeilingFound& f) {
  Section section{"Against temperature", {}};
  Table table{"ceiling.temperatures",
              empties(job) ? "over temperature"
                           : "over temperature (common practice: never charge below 0 degC, reduce below 10 degC)",
              {{"", "temperature", measure<params::Temperature>(), read},
               {"temperature", "", measure<params::Temperature>(), summary},
               {"c_rate", "as the sheet has it", allowed_rate()},
               {"", "with confidence", allowed_rate(), read},
               {"c_rate_confident", "", allowed_rate(), summary},
               {"half_width", "", Measure{}, summary},
               {"limited_by", "limited by", {}}},
              {},
              everywhere,
              read};
  bool any = false;
  for (const study::CeilingAtTemperature& t : f.temperatures) {
    TableCell confident;
    if (f.plausible) confident = job.c_rate(t.confident_current);
    table.rows.add({fmt::format("{:.4g}", t.temperature - 273.15), t.temperature, job.c_rate(t.current),
                    std::move(confident), job.c_rate(t.confident_current), t.sampled ? t.sampled->half_width() : NAN,
                    name_of(t.limited_by, job)});
    any = any || t.current > 0;
  }
  if (table.rows.size() == 0) table.places = summary;
  if (any) {
    if (!empties(job))
      section.blocks.push_back(Paragraph{
          "What is calculated inside a hatched band gives no leave to charge there: the band's own rule goes first.",
          page});
    section.blocks.push_back(temperature_plot(job, f));
  }
  section.blocks.push_back(std::move(table));
  if (f.plausible && f.cold_and_hot_cells > 0) section.blocks.push_back(Paragraph{over_temperature_words(f)});
  if (f.cold_and_hot_unsolved > 0)
    section.blocks.push_back(
        Paragraph{fmt::format("Of the {} plausible cells behind the rates with confidence {} could not be solved and "
                              "count as surviving no rate.",
                              f.cold_and_hot_cells, f.cold_and_hot_unsolved)});
  return section;
}

/// Why there is no staircase where one was asked for; empty where there is one.
std::string no_staircase(const study::CeilingAsked& asked, const study::CeilingFound& f) {
  if (!asked.staircase) return "";
  switch (f.no_staircase) {
    case study::NoStaircase::no_rate:
      return "no rate is recommended that its steps could be scaled to";
    case study::NoStaircase::charge_without_end:
      return "one of its charges could not be calculated: " + f.no_staircase_because;
    case study::NoStaircase::no_first_step:
      return "not even the slowest charge keeps every limit in its first step";
    case study::NoStaircase::too_uncertain:
      return "even at a twentieth of its currents too few of the plausible cells are seen to keep every limit";
    case study::NoStaircase::none:
      break;
  }
  return "";
}

void state_what_it_rests_on(Answer& said, const Job& job, const study::CeilingAsked& asked) {
  const solver::Accuracy used = solver::charge_accuracy(model::Reaction::uneven);
  said.assumptions.push_back(
      "A rate counts as kept where every limit is kept at every moment of a charge at constant current that starts at "
      "rest.");
  said.assumptions.push_back(
      job.cell.is_full_cell()
          ? "Electrolyte: salt diffuses through negative, separator and positive; the reaction is resolved over the "
            "depth of both coatings."
          : "Electrolyte: salt diffuses through separator and coating; the reaction is resolved over the depth of the "
            "coating.");
  if (asked.samples > 0)
    said.assumptions.push_back(
        "Plausible cells: each value with a spread is drawn by itself, from a normal distribution or, where the spread "
        "is a factor, a log-normal one, and together where the knowledge of the sheet says how; other values that hang "
        "together in truth are drawn as if they did not. The draws are points of Sobol's sequence under independent "
        "scramblings, whose differences tell the sampling error. Cells that come near to the recommended rate, and "
        "some "
        "of the others, are given a ceiling with the reaction resolved; the rest one with the reaction even, "
        "corrected by the ratio of the two at such a rate.");
  said.assumptions.push_back(fmt::format(
      "Numerics: even polynomials inside each grain, as many as keep an estimate of their error below {:g} mV (at "
      "least {}); CVODE with a relative tolerance of {:g} on what has no closed form. The rate is approached from "
      "below, within 0.02 % for the cell as the sheet has it, 0.1 % at other temperatures, 1 % for a plausible cell.",
      1e3 * used.truncation, used.fewest_modes, used.relative_tolerance));
}

}  // namespace

Answer ceiling(const Request& request, const Channels& channels, Job& job) {
  const study::CeilingAsked asked = ceiling_asked(request, job);
  study::CeilingFound found;
  {
    Progress progress(channels);
    found = study::find_ceiling(
        job, asked, [&](study::CeilingWork work, int done, int of) { progress.bar(called(work), done, of); });
  }
  const bool moves = found.recommended > 0;
  Answer said;
  said.recommends = true;
  said.headline = moves ? leave(job, asked, found) : refusal(job, asked, found);
  take(said.findings, no_usual_rate(job, asked, found));
  const std::string remark = temperature_remark(job), no_steps = no_staircase(asked, found);
  if (!remark.empty()) said.headline += " " + remark;
  for (const study::TemperatureLeftOut& t : found.left_out)
    said.warnings.push_back(
        fmt::format("The highest rate at {:.0f} degC could not be calculated: {}.", t.temperature - 273.15, t.because));
  if (!no_steps.empty()) said.warnings.push_back("There is no staircase: " + no_steps + ".");
  if (found.staircase && !found.staircase->staircase.complete)
    said.warnings.push_back(fmt::format(
        "The staircase ends at {} state of charge: from there on not even the slowest charge keeps every limit.",
        percent(found.staircase->staircase.steps.back().to)));

  Section rates = rates_section(job, asked, found);
  rates.blocks.push_back(figures_of(job, asked, found));
  rates.blocks.push_back(facts_of(job, asked, found, no_steps));
  said.sections.push_back(std::move(rates));
  said.sections.push_back(path_section(job, asked, found));
  said.sections.push_back({"What is left of each limit", {margins_table(job, found.charge, moves)}});
  if (found.plausible && found.plausible->cells.back().current > 0) {
    Plot plot = survival_plot(job, found);
    said.sections.push_back({"How sure this is", {Paragraph{plot.description}, std::move(plot)}, {}, page});
  }
  said.sections.push_back(unknowns_section(job, found));
  said.sections.push_back(temperature_section(job, found));
  if (found.staircase) {
    said.sections.push_back(staircase_section(job, asked, found));
    said.more_files.emplace_back("staircase.yaml", staircase_file(job, asked, *found.staircase));
  }
  state_what_it_rests_on(said, job, asked);
  return said;
}

}  // namespace onegrain::app::answer
