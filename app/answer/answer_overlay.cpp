#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/answers.hpp"
#include "app/answer/curves_words.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/overlay_words.hpp"
#include "app/answer/plating_words.hpp"
#include "app/answer/record_examination.hpp"
#include "app/answer/words.hpp"
#include "solver/step/losses.hpp"

namespace onegrain::app::answer {

using study::OverlaidRun;
using study::OverlaidStep;
using study::Overlay;
using study::StepAt;

namespace {

constexpr double described = 0.05;  // of the capacity: a model further off than this explains no loss of this cell

double smoothing_of(const std::string& text) {
  std::string number = text;
  number.erase(std::remove(number.begin(), number.end(), ' '), number.end());
  if (!number.empty() && number.back() == '%') number.pop_back();
  const auto in_percent = params::parse_number(number);
  if (!in_percent || !(*in_percent >= 0.05 && *in_percent <= 20))
    throw CommandLineError("--smoothing '" + text + "': write a share of the range from 0.05 % to 20 %, such as '1 %'");
  return *in_percent / 100;
}

std::string mAh(double coulombs) { return digits(coulombs / 3.6, 4) + " mAh"; }
std::string in_percent(double share) { return digits(100 * share, 2) + " %"; }
std::string mV(double volts) { return millivolts(volts) + " mV"; }
/// Nothing reads a temperature finer than that.
std::string kelvins(double kelvin) { return digits(std::max(kelvin, 0.01), 2); }
std::string ohms(double ohm) { return std::abs(ohm) < 1 ? digits(1e3 * ohm, 3) + " mohm" : digits(ohm, 3) + " ohm"; }

/// The fastest charge or discharge that the model reaches says most.
std::optional<StepAt> fastest(const Overlay& overlay) {
  std::optional<StepAt> fast;
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& step = overlay.at(place);
    if (step.is_sweep() && step.distance.rows > 0 && (!fast || step.c_rate > overlay.at(*fast).c_rate)) fast = place;
  }
  return fast;
}

std::string against_resistance(const Overlay& overlay, const StepNames& names, const OverlaidStep& step) {
  const study::Yardstick* yardstick = overlay.yardstick(step.discharges());
  if (!yardstick || !step.resistance_rms || !(yardstick->resistance > 0)) return "";
  const double model = *step.model_rms_there, line = *step.resistance_rms;
  const char* verdict = std::max(model, line) < step.resolution ? ": both lie within what the recorder resolves"
                        : line > 1.1 * model                    ? ": the model knows more"
                        : line < 0.9 * model                    ? ": the model knows less than that"
                                                                : ": as good as the model";
  return fmt::format(
      " From 2 to 95 % of its capacity the model is {} off; the {} less one resistance of {}, which needs no model{}, "
      "is {} off{}.",
      mV(model), names.plain(yardstick->slow), ohms(yardstick->resistance),
      step.resistance_fitted_here ? " but was fitted to this very step" : "", mV(line), verdict);
}

std::string headline_of(const Overlay& overlay) {
  const auto place = fastest(overlay);
  if (!place) return "No charge or discharge could be followed.";
  const StepNames names(overlay);
  const OverlaidStep& fast = overlay.at(*place);
  const std::string name = names.plain(*place), rms = mV(fast.distance.rms),
                    worst = mV(std::abs(fast.distance.largest));
  const double reached = static_cast<double>(fast.distance.rows) / static_cast<double>(fast.time.size());
  std::string text = fast.model_ended_by ? fmt::format(
                                               "The model ends before the {} does; over the {} of its rows that it "
                                               "reaches it is {} rms off, {} at worst.",
                                               name, in_percent(reached), rms, worst)
                                         : fmt::format("The {} is met within {} rms, {} at worst.", name, rms, worst);
  text += against_resistance(overlay, names, fast);
  if (fast.between_cells_rms) {
    text += fmt::format(" The cells differ among each other by {}{}.", mV(*fast.between_cells_rms),
                        fast.distance.rms < *fast.between_cells_rms ? ": the model is as close as another cell" : "");
  }
  if (fast.model_capacity && fast.recorded.ended_by == params::StepEnd::voltage)
    text += fmt::format(" Capacity to {} V: {} measured, {} predicted.", digits(fast.recorded.last_voltage, 3),
                        mAh(fast.capacity), mAh(*fast.model_capacity));
  if (fast.temperature_distance && fast.temperature_distance->rows > 0)
    text += fmt::format(" Its temperature is met within {} K rms, {} K at worst.",
                        kelvins(fast.temperature_distance->rms), kelvins(std::abs(fast.temperature_distance->largest)));
  return text;
}

/// "70 % to diffusion in the negative grains, 25 % to ..."
template <class Value>
std::string largest_shares(const solver::LossBudget& budget, const model::Cell& cell, double total, Value value) {
  std::vector<solver::LossShare> shares = budget.shares;
  std::sort(shares.begin(), shares.end(), [&](const auto& a, const auto& b) { return value(a) > value(b); });
  if (value(shares.front()) > 1.005 * total)
    return fmt::format("more than all to {}, since another one gives some back",
                       name_of(shares.front().loss, cell.is_full_cell()));
  std::string words;
  for (std::size_t k = 0; k < shares.size() && k < 4; ++k) {
    const double share = value(shares[k]) / total;
    if (share < 0.05) break;
    words +=
        fmt::format("{}{:.0f} % to {}", k == 0 ? "" : ", ", 100 * share, name_of(shares[k].loss, cell.is_full_cell()));
  }
  return words.empty() ? "none to any one loss" : words;
}

std::string why_of_model(const Job& job, const study::WhyLess& why, const OverlaidStep& fast) {
  const solver::LossBudget& budget = why.budget;
  std::string text = fmt::format(" The model at {} degC, {}, says why:", digits(why.temperature - 273.15, 3),
                                 fast.temperature ? "the mean that was measured" : "the temperature of the sheet");
  if (budget.missing_capacity > 1e-3 * budget.ideal_capacity) {
    text += fmt::format(" of the {} of capacity that it misses there, {};",
                        in_percent(budget.missing_capacity / budget.ideal_capacity),
                        largest_shares(budget, job.cell, budget.missing_capacity,
                                       [](const solver::LossShare& s) { return s.capacity; }));
  } else {
    text += " next to no capacity is missing;";
  }
  if (budget.missing_energy > 1e-3 * budget.ideal_energy) {
    text += fmt::format(
        " of the {} of energy, {}.", in_percent(budget.missing_energy / budget.ideal_energy),
        largest_shares(budget, job.cell, budget.missing_energy, [](const solver::LossShare& s) { return s.energy; }));
  } else {
    text += " next to no energy either.";
  }
  return text;
}

/// Why less came at the fast rate; empty where there is nothing to compare.
std::string why_words(const Job& job, const Overlay& overlay) {
  if (!overlay.why) return "";
  const study::WhyLess& why = *overlay.why;
  const StepNames names(overlay);
  const OverlaidStep &fast = overlay.at(why.fast), &slow = overlay.at(why.slow);
  const double missing = (slow.capacity - fast.capacity) / slow.capacity,
               energy = 1 - why.fast_energy / fast.capacity / (why.slow_energy / slow.capacity);
  const auto less = [](double share) { return in_percent(std::abs(share)) + (share >= 0 ? " less" : " more"); };
  std::string text =
      fmt::format("At {} the cell gave {}, {} than at {} ({}), and {} energy per charge.", names.rate(why.fast),
                  mAh(fast.capacity), less(missing), names.rate(why.slow), mAh(slow.capacity), less(energy));
  const bool compared = fast.model_capacity && fast.recorded.ended_by == params::StepEnd::voltage;
  if (compared && std::abs(*fast.model_capacity - fast.capacity) > described * fast.capacity) {
    return text + fmt::format(
                      " The model gives {} there: it does not describe this cell at that rate, and where it loses "
                      "capacity says nothing of where the cell does. \u201conegrain fit\u201d finds values that do.",
                      mAh(*fast.model_capacity));
  }
  if (missing < 0 && energy < 0)
    return text +
           " Both are more than at the slow rate, which no loss explains; look at temperature and starting state.";
  text += why_of_model(job, why, fast);
  if (!why.budget.trusted) text += " This rate lies beyond what the model can be relied on for.";
  return text + fmt::format(" \u201conegrain losses SHEET --rate {}\u201d shows what at the bench would win most back.",
                            names.rate(why.fast));
}

void add_warnings(Answer& said, const Job& job, const Overlay& overlay) {
  const StepNames names(overlay);
  PlatingTold plating(job);
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& step = overlay.at(place);
    const std::string file = overlay.runs[place.run].recording.name();
    const std::string what = fmt::format("{}, step {}, {}", file, step.number + 1, names.plain(place));
    if (step.model_ended_by)
      said.warnings.push_back(
          fmt::format("{}: the model ends before the measurement ({}); {} of {} rows are not compared.", what,
                      solver::name_of(*step.model_ended_by, job.cell.is_full_cell()),
                      step.time.size() - step.distance.rows, step.time.size()));
    if (!step.trust.trusted())
      said.doubts.push_back(fmt::format("{}: not to be relied on: {}", what, untrusted(step.trust)));
    if (step.plating)
      plating.add(fmt::format("step {} of {}", step.number + 1, file),
                  fmt::format("{}, by the model of this sheet", what), *step.plating);
  }
  plating.tell(said);
  for (const study::Yardstick& y : overlay.yardsticks) {
    if (y.resistance > 0) continue;
    take(said.findings,
         Finding{"no_resistance",
                 fmt::format("the {} does not lie on the side of the {} where a resistance would put it: no resistance "
                             "is below zero. Check that both began in the same state and at the same temperature.",
                             names.full(y.fitted), names.full(y.slow))});
  }
}

/// What the comparison with one resistance tells, over all steps.
std::string yardstick_words(const Overlay& overlay) {
  const StepNames names(overlay);
  std::string words, better, worse;
  for (const study::Yardstick& y : overlay.yardsticks) {
    if (y.resistance > 0)
      words += fmt::format(
          "The yardstick needs no model: the measured {}, shifted by one resistance of {} that was fitted to the {}. ",
          names.full(y.slow), ohms(y.resistance), names.full(y.fitted));
    for (const StepAt place : sweeps_drawn(overlay, y.discharge)) {
      const OverlaidStep& step = overlay.at(place);
      if (!step.resistance_rms || step.resistance_fitted_here || !(y.resistance > 0)) continue;
      std::string& list = *step.model_rms_there < *step.resistance_rms ? better : worse;
      list += (list.empty() ? "" : "; ") + names.full(place);
    }
  }
  if (words.empty()) return "";
  words += "Both are compared from 2 to 95 % of the capacity; less is better.";
  if (!better.empty()) words += " The model knows more than one resistance of the " + better + ".";
  if (!worse.empty()) words += " It knows no more than one resistance of the " + worse + ".";
  return words;
}

Section compared_section(const Job& job, const Overlay& overlay) {
  Section section{"Measured and calculated", {}, Section::Beside::none, read};
  section.blocks.push_back(
      Paragraph{std::string("The model was driven by ") +
                    (overlay.recognised ? "the protocol that was recognised in the record, each step to its own end"
                                        : "the current that was measured, moment by moment") +
                    ". Below each plot: calculated minus measured.",
                page});
  for (const bool discharge : {true, false}) {
    const std::vector<Block> plots = sweep_plots(job, overlay, discharge);
    section.blocks.insert(section.blocks.end(), plots.begin(), plots.end());
  }
  for (const OverlaidRun& run : overlay.runs) {
    const Recording& r = run.recording;
    const std::string beyond =
        run.rows_not_reached > 0 ? fmt::format(", {} lie beyond the end of the model", run.rows_not_reached) : "";
    section.blocks.push_back(Paragraph{fmt::format("{}: {}; {} of {} rows compared{}; {}{}.", r.file, start_words(r),
                                                   r.rows.size() - run.rows_not_reached, r.measured.rows_read, beyond,
                                                   temperature_words(r), mended_words(r)),
                                       terminal});
    section.blocks.push_back(terminal_steps(run));
  }
  section.blocks.push_back(
      Paragraph{"Differences are calculated minus measured, weighted with time; what a jump of the current does within "
                "a second is not compared."});
  return section;
}

void add_blocks(Answer& said, Section section, const std::vector<Block>& blocks) {
  if (blocks.empty()) return;
  section.blocks.insert(section.blocks.end(), blocks.begin(), blocks.end());
  said.sections.push_back(std::move(section));
}

Section numbers_section(const Overlay& overlay) {
  return {"The comparison in numbers",
          {page_steps(overlay), yardstick_table(overlay), records_table(recordings_of(overlay))}};
}

/// What the summary alone holds, at "overlay".
Section summary_section(const Job& job, const Overlay& overlay) {
  const StepNames names(overlay);
  Section section{"", {}, Section::Beside::none, summary};
  section.blocks.push_back(
      Facts{"overlay", {{"driven_by", std::string(overlay.recognised ? "recognised protocol" : "measured current")}}});
  Listed runs{"overlay.runs", {}};
  const auto alone = [](const char* key, double value, const Measure& m) {
    Figure figure{key, "", value, m};
    figure.alone = true;
    return figure;
  };
  const auto count = [&](const char* key, std::size_t n) { return alone(key, static_cast<double>(n), counted()); };
  for (const OverlaidRun& run : overlay.runs) {
    const Recording& r = run.recording;
    runs.members.push_back(
        {Facts{"", {{"file", r.file}, {"start", start_words(r)}, {"temperature_measured", r.has_temperature}}},
         Figures{
             "",
             "",
             {alone("start_state_of_charge",
                    r.beginning.unrecorded_taken ? r.state_of_charge_in_first_row(job) : r.beginning.state_of_charge,
                    Measure{}),
              alone("start_spread", r.beginning.spread, Measure{}), count("rows_read", r.measured.rows_read),
              count("rows_left_out", r.measured.doubts.left_out()),
              count("rows_compared", r.rows.size() - run.rows_not_reached),
              count("rows_beyond_the_model", run.rows_not_reached)}},
         summary_steps(run)});
  }
  section.blocks.push_back(std::move(runs));
  // keys from before units were derived: "ohm", "capacity_percent"
  section.blocks.push_back(Figures{"overlay.smoothing",
                                   "",
                                   {alone("voltage", overlay.voltage_width, measure<params::Voltage>("mV")),
                                    alone("capacity_percent", 100 * overlay.capacity_share, Measure{})}});
  if (!overlay.yardsticks.empty() && overlay.yardsticks.front().resistance > 0) {
    const study::Yardstick& y = overlay.yardsticks.front();
    section.blocks.push_back(Figures{"overlay.resistance", "", {alone("ohm", y.resistance, Measure{})}});
    section.blocks.push_back(
        Facts{"overlay.resistance", {{"slow", names.plain(y.slow)}, {"fitted_to", names.plain(y.fitted)}}});
  }
  return section;
}

/// Measured and calculated side by side, as columns.
CurvesTable course_of(const Overlay& overlay) {
  const Measure volts = measure<params::Voltage>();
  CurvesTable course{{{"Test Time", measure<params::Time>("s")},
                      {"Voltage", volts},
                      {"Current", measure<params::Current>("A")},
                      {"Step", Measure{}},
                      {"Calculated Voltage", volts},
                      {"Run", Measure{}}},
                     {}};
  const bool warmth = std::any_of(overlay.runs.begin(), overlay.runs.end(), [](const OverlaidRun& run) {
    return !run.steps.empty() && run.steps.front().predicts_temperature();
  });
  if (warmth) {
    const Measure celsius = measure<params::Temperature>("degC");
    course.columns.insert(course.columns.end(),
                          {{"Surface Temperature", celsius}, {"Calculated Temperature", celsius}});
  }
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& s = overlay.at(place);
    for (std::size_t k = 0; k < s.time.size(); ++k) {
      Row row{s.time[k],    s.measured[k],
              s.current[k], static_cast<double>(s.number + 1),
              s.model[k],   static_cast<double>(place.run + 1)};
      if (warmth) {
        row.push_back(s.predicts_temperature() ? s.measured_temperature[k] : study::not_a_number);
        row.push_back(s.predicts_temperature() ? s.model_temperature[k] : study::not_a_number);
      }
      course.rows.add(row);
    }
  }
  return course;
}

/// At the top of the page: how far off, and the capacity beside the predicted one.
Figures at_the_top(const Overlay& overlay) {
  Figures figures{"", "", {}, nowhere};
  const auto place = fastest(overlay);
  if (!place) return figures;
  const StepNames names(overlay);
  const OverlaidStep& fast = overlay.at(*place);
  const std::string name = names.plain(*place);
  Figure off{"", "", fast.distance.rms, measure<params::Voltage>("mV", 3)};
  off.at_the_top = "Off the measured " + name;
  off.note = "rms" + std::string(fast.model_ended_by ? ", as far as the model reaches" : "");
  figures.figures.push_back(off);
  if (fast.model_capacity && fast.recorded.ended_by == params::StepEnd::voltage) {
    Figure capacity{"", "", *fast.model_capacity, measure<params::Charge>()};
    capacity.at_the_top = "Predicted for the " + name;
    capacity.note = mAh(fast.capacity) + " measured";
    figures.figures.push_back(capacity);
  }
  return figures;
}

}  // namespace

Answer overlay(const Request& request, const Channels& channels, Job& job) {
  const Overlay overlay = study::make_overlay(request, channels, job, smoothing_of(request.smoothing));
  Answer said;
  said.headline = headline_of(overlay);
  said.findings = examined(job, recordings_of(overlay));
  for (const OverlaidRun& run : overlay.runs) examine(job, run, said.findings);
  add_warnings(said, job, overlay);
  said.sections.push_back(compared_section(job, overlay));
  said.sections.front().blocks.push_back(at_the_top(overlay));
  const std::string why = why_words(job, overlay);
  Section because{"Why the fast rate gives less", {Facts{"overlay", {{"why", why}}}}};
  if (!why.empty()) because.blocks.push_back(Paragraph{why});
  said.sections.push_back(std::move(because));
  const std::string yardstick = yardstick_words(overlay);
  if (!yardstick.empty()) {
    Section section{
        "Does the model know more than one resistance?", {Paragraph{yardstick, page}}, Section::Beside::two, page};
    const std::vector<Block> plots = yardstick_plots(overlay);
    section.blocks.insert(section.blocks.end(), plots.begin(), plots.end());
    said.sections.push_back(std::move(section));
  }
  add_blocks(said, {"The whole record against time", {}, Section::Beside::none, page}, record_plots(job, overlay));
  add_blocks(said, {"The temperature of the cell", {}, Section::Beside::none, read}, temperature_blocks(overlay));
  const std::string smoothed = fmt::format(
      "A peak of dQ/dV is a plateau of the voltage; a peak of dV/dQ the step between two plateaus. Peaks at other "
      "places than measured: the balance of the electrodes or their potentials differ. Peaks at the right place but of "
      "another height or width: kinetics or mixed grains. Both lines are smoothed alike, by a triangle of {} and of {} "
      "of the capacity to either side.",
      mV(overlay.voltage_width), in_percent(overlay.capacity_share));
  add_blocks(
      said,
      {"Derivatives, where the stages of the electrodes show", {Paragraph{smoothed, page}}, Section::Beside::two, page},
      derivative_plots(overlay));
  said.sections.push_back(numbers_section(overlay));
  said.sections.push_back(summary_section(job, overlay));
  state_the_model(said, job);
  if (!request.out.empty()) said.curves = course_of(overlay);
  return said;
}

}  // namespace onegrain::app::answer
