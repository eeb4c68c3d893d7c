#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/ceiling_words.hpp"
#include "app/answer/numbers.hpp"
#include "params/text/revision.hpp"

namespace onegrain::app::answer {

namespace {

Plot staircase_plot(const Job& job, const study::CeilingFound& found) {
  const study::StaircaseFound& s = *found.staircase;
  Plot plot;
  plot.x = {"State of charge", measure<params::Fraction>(nullptr, 3)};
  plot.y = {"Charge rate as multiples of 1C", measure<params::Number>(nullptr, 3), {0.0}};
  plot.names = Plot::Names::right;
  Series steps{"the steps", LineRole::predicted};
  steps.stepped = steps.filled = true;
  double highest = 0;
  for (const solver::StaircaseStep& step : s.staircase.steps) {
    const std::string number = std::to_string(plot.stages.size() + 1);
    const std::vector<std::string> told = {
        fmt::format("Step {}: {}, {}", number, rate_words(job, step.current), current_words(job, step.current)),
        fmt::format("from {} to {}, {}", percent(std::round(100 * step.from) / 100),
                    percent(std::round(100 * step.to) / 100), minutes_words(step.duration)),
        "limited by " + name_of(step.limited_by, job)};
    for (const double soc : {step.from, step.to}) {
      steps.x.push_back(soc);
      steps.y.push_back(job.c_rate(step.current));
      steps.told.push_back(told);
    }
    highest = std::max(highest, job.c_rate(step.current));
    plot.stages.push_back({step.from, step.to, rate_words(job, step.current)});
  }
  Series ride{"highest rate at each moment", LineRole::other};
  for (std::size_t k = 0; k < s.ride.soc.size(); ++k) {
    ride.x.push_back(s.ride.soc[k]);
    ride.y.push_back(s.share * job.c_rate(s.ride.current[k]));
    ride.told.push_back(
        {rate_words(job, s.share * s.ride.current[k]), "at " + percent(std::round(1000 * s.ride.soc[k]) / 1000)});
  }
  plot.series = {std::move(steps), std::move(ride)};
  plot.y.most = 1.3 * highest;  // a ride that starts very high would flatten the steps
  plot.levels.push_back({job.c_rate(found.recommended), "constant current, " + rate_words(job, found.recommended)});
  return plot;
}

Table steps_table(const Job& job, const solver::Staircase& staircase) {
  const Measure soc = measure<params::Fraction>(nullptr, 2);
  Table table{"ceiling.staircase.steps",
              "staircase: steps of constant current",
              {{"", "step", {}, read},
               {"from_soc", "from", soc},
               {"to_soc", "to", soc},
               {"c_rate", "rate", allowed_rate()},
               {"current", "current", measure<params::Current>(nullptr, 4, Rounding::down)},
               {"", "takes", lasting(), read},
               {"minutes", "", Measure{}, summary},
               {"limited_by", "limited by", {}},
               {"kept", "", {}, summary}},
              {},
              everywhere,
              read};
  for (const solver::StaircaseStep& s : staircase.steps) {
    table.rows.add({std::to_string(table.rows.size() + 1), s.from, s.to, job.c_rate(s.current),
                    s.current * job.plate_area(), s.duration, s.duration / 60, name_of(s.limited_by, job),
                    s.slack >= -1e-3});
  }
  return table;
}

/// What share of the plausible cells survives.
std::string counted_words(const study::CountedSteps& c) {
  const double share = static_cast<double>(c.kept) / c.counted;
  return fmt::format(
      "Of {} plausible cells drawn afresh {} keep every limit through these steps: {:.1f} % (binomial standard error "
      "{:.1f} %; at least {:.1f} % of all cells, at 97.5 % confidence).",
      c.counted, c.kept, std::floor(1000 * share) / 10, 100 * std::sqrt(share * (1 - share) / c.counted),
      std::floor(1000 * study::least_share(c.kept, c.counted)) / 10);
}

}  // namespace

Section staircase_section(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& found) {
  const study::StaircaseFound& s = *found.staircase;
  Section section{"Charging in steps", {}};
  const double takes = s.staircase.duration();
  const std::string held =
      std::isfinite(s.constant_voltage_time) ? minutes_words(s.constant_voltage_time) : "more than 100 h";
  std::string words = fmt::format(
      "Much is possible while the cell is empty and little when it is full; steps use that. These {} steps take {} "
      "from {} to {} state of charge, against {} at the constant rate and {} at constant current and then constant "
      "voltage.",
      s.staircase.steps.size(), minutes_words(takes), percent(asked.soc.from), percent(asked.soc.to),
      minutes_words(s.constant_current_time), held);
  if (takes < s.constant_current_time)
    words += fmt::format(" They save {} on the constant rate.", minutes_words(s.constant_current_time - takes));
  section.blocks.push_back(Paragraph{words});
  section.blocks.push_back(Paragraph{
      s.counted ? counted_words(*s.counted)
      : s.share < 1
          ? "The steps keep every limit of the cell as the sheet has it."
          : "Run one after the other, the steps keep every limit of the cell as the sheet has it; uncertainties "
            "are not counted."});
  section.blocks.push_back(Paragraph{
      s.counted
          ? fmt::format("staircase.yaml holds them as a protocol. The line rides the limits of the cell as the "
                        "sheet has it and the steps are cut from it; both are taken at {:.0f} % of what that cell "
                        "allows, lowered until the plausible cells survive as said.",
                        std::floor(100 * s.share))
          : "staircase.yaml holds them as a protocol. The steps are cut from the line.",
      page});
  const Measure pure;
  Figures figures{"ceiling.staircase", "", {}, summary};
  const auto add = [&](const char* key, double minutes) {
    figures.figures.push_back({key, "", minutes, pure});
    figures.figures.back().alone = true;
  };
  add("minutes", takes / 60);
  add("ride_minutes", s.ride.duration / 60);
  add("constant_current_minutes", s.constant_current_time / 60);
  add("constant_current_voltage_minutes", s.constant_voltage_time / 60);
  section.blocks.push_back(std::move(figures));
  if (s.counted) {
    Figures cells{"ceiling.staircase", "", {}, summary};
    cells.figures.push_back({"counted_cells", "", static_cast<double>(s.counted->counted), counted()});
    cells.figures.push_back({"kept_cells", "", static_cast<double>(s.counted->kept), counted()});
    cells.figures.push_back({"least_share", "", study::least_share(s.counted->kept, s.counted->counted), pure});
    for (Figure& figure : cells.figures) figure.alone = true;
    section.blocks.push_back(std::move(cells));
  }
  section.blocks.push_back(Facts{"ceiling.staircase", {{"complete", s.staircase.complete}}});
  Plot plot = staircase_plot(job, found);
  plot.description = words;
  section.blocks.push_back(std::move(plot));
  section.blocks.push_back(steps_table(job, s.staircase));
  return section;
}

std::string staircase_file(const Job& job, const study::CeilingAsked& asked, const study::StaircaseFound& found) {
  const solver::Staircase& staircase = found.staircase;
  const std::string made_for = fmt::format(
      "at {:.4g} degC, from rest at {} state of charge, {}", job.cell.temperature - 273.15, percent(asked.soc.from),
      found.counted ? percent(study::confident_share) + " confidence" : "uncertainties not counted");
  std::string text = fmt::format(
      "# A prediction guides a test, it does not authorise it.\n# Made {}. It holds at no other temperature and from "
      "no other state.\n",
      made_for);
  if (found.counted) text += "# " + counted_words(*found.counted) + "\n";
  text +=
      fmt::format("onegrain_protocol: 1\nname: {}\n",
                  params::quoted(fmt::format("staircase of constant currents for: {} ({})", job.sheet.name, made_for)));
  const bool rises = charges(job);
  text += fmt::format("made_for: {{temperature: {:.6g} degC, from_soc: {:.6g} %{}}}\nsteps:\n",
                      job.cell.temperature - 273.15, 100 * (rises ? asked.soc.from : 1 - asked.soc.from),
                      found.counted ? fmt::format(", confidence: {:.4g} %", 100 * study::confident_share) : "");
  const double whole = std::abs(job.bench.window.capacity);
  for (const solver::StaircaseStep& s : staircase.steps) {
    text += fmt::format(
        "  - {{drive: {{current: {:.4f} mA, sense: {}}}, until: {{capacity: {:.5f} mAh, voltage: {:.3f} V}}}}\n",
        std::floor(job.milliamperes(s.current) * 1e4) / 1e4, rises ? "charge" : "discharge",
        job.milliampere_hours((s.to - s.from) * whole), rises ? job.cell.upper_voltage : job.cell.lower_voltage);
  }
  return text;
}

}  // namespace onegrain::app::answer
