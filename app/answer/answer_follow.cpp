#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <ostream>

#include "app/answer/answers.hpp"
#include "app/answer/curves_table.hpp"
#include "app/answer/curves_words.hpp"
#include "app/answer/depth_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/plating_words.hpp"
#include "app/answer/thinned.hpp"
#include "app/answer/words.hpp"
#include "app/command/progress.hpp"
#include "params/sheet/protocol.hpp"

// `follow`: steps are told while they are run and not kept, so that a protocol of any length takes flat memory.

namespace onegrain::app::answer {

namespace {

constexpr std::size_t stages_drawn = 60;
constexpr double momentary = 0.01;  // s: no cycler ends a step within it
constexpr double tolerated = 5e-3;  // V beyond a cut-off that are not worth a word

/// Steps that were calculated for another temperature or another start promise nothing here.
std::optional<Finding> not_made_for(const Job& job, const model::Protocol& protocol, const Request& request) {
  constexpr double kelvins = 1, charge = 0.01;  // what hardly moves a limit
  if (!protocol.made_for) return std::nullopt;
  const model::MadeFor& made = *protocol.made_for;
  const double start = request.from_soc.value_or(solver::starts_with_charge(protocol, job.cell) ? 0.0 : 1.0);
  std::string off;
  if (std::abs(job.cell.temperature - made.temperature) > kelvins)
    off = fmt::format("{:.3g} degC, and this is {:.3g} degC", made.temperature - 273.15, job.cell.temperature - 273.15);
  if (std::abs(start - made.from_soc) > charge)
    off += fmt::format("{}a start from {:.3g} % state of charge, and this is from {:.3g} %",
                       off.empty() ? "" : ", and for ", 100 * made.from_soc, 100 * start);
  if (off.empty()) return std::nullopt;
  return Finding{"not_made_for", "these steps were made for " + off + ": what they promise holds there alone."};
}

/// "2:39:10", so that two short steps do not begin at the same moment; "0:00:00.25" where it needs that.
std::string clock(double seconds) {
  const auto whole = static_cast<long long>(seconds);
  const std::string text = fmt::format("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60);
  const double rest = seconds - static_cast<double>(whole);
  return rest < 0.005 || seconds > 1e6 ? text : text + fmt::format("{:.2f}", std::min(rest, 0.99)).substr(1);
}

Table steps_table() {
  const Measure volts = measure<params::Voltage>(), charge = measure<params::Charge>();
  return {"steps",
          "Steps, numbered as in the chart",
          {{"", "step", {}, read},
           {"step", "", counted(), summary},
           {"repetition", "", counted(), summary},
           {"label", "driven", {}},
           {"", "starts, h:min:s", {}, page},
           {"start", "", measure<params::Time>("s"), summary},
           {"duration", "lasts", lasting()},
           {"net_charge", "charge", charge},
           {"capacity", "", charge, summary},
           {"net_energy", "energy", {{&energy_kind}}},
           {"energy", "", {{&energy_kind}}, summary},
           {"first_voltage", "starts at", volts},
           {"last_voltage", "ends at", volts},
           {"last_current", "last current", measure<params::Current>(nullptr, 3)},
           {"ended_by", "ended by", {}}},
          {}};
}

Table passed_over_table() {
  return {"passed_over",
          "Steps that were passed over, their end being met already",
          {{"", "step", {}, read},
           {"step", "", counted(), summary},
           {"repetition", "", counted(), summary},
           {"label", "driven", {}},
           {"ended_by", "met already", {}}},
          {}};
}

/// Something that was met in some steps: told once for all steps of one label.
struct Met {
  int times = 0;
  std::string first, name;
  study::Plating plating{};
};

/// Listens to the run.
class Told {
 public:
  Told(const Request& request, const Job& job, const model::Protocol& protocol)
      : request_(request), job_(job), protocol_(protocol), watch_(job) {
    if (watch_.applies())
      for (TableColumn& column : lowest_columns(job)) steps_.columns.push_back(std::move(column));
    for (TableColumn& column : opinion_columns(job)) steps_.columns.push_back(std::move(column));
    for (TableColumn& column : depth_columns(job)) steps_.columns.push_back(std::move(column));
    if (!request.out.empty()) course_ = calculated_curves(job, protocol.repeat > 1);
  }

  void operator()(const solver::ProtocolStep& run) {
    if (run.passed_over()) return pass_over(run);
    const solver::StepSolution& s = run.solution;
    const double area = job_.plate_area();
    const solver::Point first = s.first(), last = s.last();
    const double charge = (last.charge - first.charge) * area, energy = s.duration() > 0 ? s.energy() * area : 0;
    const std::string& label = label_of(run);
    const std::string number = number_of(run);
    const std::optional<study::SeparatorSide> side = watch_.see(s);
    Row row{number,
            run.step + 1.0,
            run.repetition + 1.0,
            label,
            clock(run.start_time),
            run.start_time,
            s.duration(),
            charge,
            std::abs(charge),
            energy,
            std::abs(energy),
            first.terminal.voltage,
            last.terminal.voltage,
            last.current * area,
            ended_by(s)};
    if (watch_.applies()) add_lowest(row, job_, side);
    add_opinion(row, job_, watch_.opinion());
    const DepthTold depth(s);
    add_depth(row, job_, depth);
    if (depth.positive && depth.lead() > most_lead_) {  // of a protocol of any length one step is drawn
      most_lead_ = depth.lead();
      over_depth_ = Answer();
      add_depth_section(over_depth_, job_, {{"step " + number + " (" + label + ")", &s}});
    }
    steps_.rows.add(row);
    (charge > 0 ? charged_ : discharged_) += std::abs(charge);
    end_time_ = run.start_time + s.duration();
    last_voltage_ = last.terminal.voltage;
    last_run_ = fmt::format("step {}, {}, ended by {}", number, label, ended_by(s));
    if (stages_.size() <= stages_drawn) stages_.push_back({run.start_time, end_time_, number});
    const std::string what = "step " + number + ", " + label;
    if (const auto found = side ? watch_.judge(*side, s) : std::nullopt) {
      Met& met = plating_[run.step];
      if (met.times++ == 0 || found->lowest < met.plating.lowest) met = {met.times, what, "step " + number, *found};
    }
    for (const double volts : {first.terminal.voltage, last.terminal.voltage}) {
      const bool above = volts > job_.cell.upper_voltage + tolerated,
                 below = volts < job_.cell.lower_voltage - tolerated;
      if (!above && !below) continue;
      if (outside_[run.step].times++ == 0) {
        outside_[run.step].first = fmt::format("Step {} takes the cell to {} V, {} its cut-off of {} V.",
                                               number + ", " + label, digits(volts, 4), above ? "above" : "below",
                                               digits(above ? job_.cell.upper_voltage : job_.cell.lower_voltage, 4));
      }
      break;
    }
    if (s.ended_by() != solver::Ended::time && s.duration() < momentary && momentary_[run.step].times++ == 0)
      momentary_[run.step].first = "step " + number + ", " + label + ", ended by " + ended_by(s);
    const std::string why = doubt(what, study::trust_of(s, watch_.opinion()));
    if (!why.empty() && doubts_[run.step].times++ == 0) doubts_[run.step].first = why;
    const std::vector<double> moments = solver::moments(s, request_.points, true);
    for (const double t : moments) {
      const solver::Point p = s.at(t);
      voltage_.add(run.start_time + t, p.terminal.voltage);
      current_.add(run.start_time + t, p.current * area);
    }
    // numbered as in the tables: the step of the protocol, and the repetition where there are several
    if (course_)
      add_step(*course_, job_, s, moments, run.start_time, run.step + 1, side ? &*side : nullptr,
               protocol_.repeat > 1 ? std::optional<int>(run.repetition + 1) : std::nullopt);
  }

  Answer answer() && {
    if (last_run_.empty())
      throw NotCompleted("no step of the protocol can begin: " + passed_over_.begin()->second.first);
    Answer said;
    said.headline = fmt::format("The protocol takes {}; {} go into the cell and {} come out. It ends at {} V.",
                                duration(end_time_), amount(charged_), amount(discharged_), digits(last_voltage_, 4));
    for (const auto& [what, met] : passed_over_) said.warnings.push_back(again(met.first, met.times));
    for (const auto& [step, met] : outside_) said.warnings.push_back(again(met.first, met.times));
    std::vector<std::string> short_ones;
    for (const auto& [step, met] : momentary_) short_ones.push_back(met.first);
    take(said.findings, not_made_for(job_, protocol_, request_));
    take(said.findings, passed_nothing(short_ones));
    PlatingTold plating(job_);
    for (const auto& [step, met] : plating_)
      plating.add(met.times > 1 ? fmt::format("step {} ({} times)", step + 1, met.times) : met.name,
                  (job_.cell.is_full_cell() ? "Charging in " : "Lithiating in ") + met.first, met.plating);
    plating.tell(said);
    for (const auto& [step, met] : doubts_) said.doubts.push_back(again(met.first, met.times));
    Section section{"The protocol, step by step", {}};
    const Axis time{"Time", measure<params::Time>("h"), {0.0}};
    section.blocks.push_back(plot(time, {"Voltage", measure<params::Voltage>()}, voltage_));
    section.blocks.push_back(
        plot(time, {"Current, positive charges the cell", measure<params::Current>(nullptr, 3), {0.0}}, current_));
    section.blocks.push_back(std::move(steps_));
    if (skipped_.rows.size() > 0) section.blocks.push_back(std::move(skipped_));
    said.sections.push_back(std::move(section));
    for (Section& seen : over_depth_.sections) said.sections.push_back(std::move(seen));
    state_the_model(said, job_);
    said.curves = std::move(course_);
    return said;
  }

 private:
  const std::string& label_of(const solver::ProtocolStep& run) const {
    return protocol_.steps[static_cast<std::size_t>(run.step)].label;
  }
  std::string number_of(const solver::ProtocolStep& run) const {
    return protocol_.repeat > 1 ? fmt::format("{}.{}", run.repetition + 1, run.step + 1) : std::to_string(run.step + 1);
  }
  /// A step without duration is no step of the record: it is named, and why.
  void pass_over(const solver::ProtocolStep& run) {
    const std::string number = number_of(run), end = ended_by(run.solution);
    skipped_.rows.add({number, run.step + 1.0, run.repetition + 1.0, label_of(run), end});
    Met& met = passed_over_[{run.step, static_cast<int>(run.solution.ended_by())}];
    if (met.times++ > 0) return;
    const bool physical = solver::is_physical(run.solution.ended_by());
    met.first = fmt::format("Step {}, {}, was passed over: {} {}{}.", number, label_of(run),
                            physical ? "it would drive the cell on into a limit that is reached already,"
                                     : "its end is met already when it would start,",
                            end, last_run_.empty() ? ", at the very beginning" : " (before it: " + last_run_ + ")");
  }
  std::string amount(double coulombs) const { return digits(coulombs / 3.6, 3) + " mAh"; }
  static std::string again(std::string words, int times) {
    if (times > 1 && words.back() != '.') words += '.';
    if (times > 1)
      words +=
          fmt::format(" So it is in {} further {} of this step.", times - 1, times > 2 ? "repetitions" : "repetition");
    return words;
  }
  Plot plot(const Axis& x, const Axis& y, const ThinnedLine& line) const {
    Plot p;
    p.description = fmt::format("{} against time over {} steps.", y.label, steps_.rows.size());
    p.x = x;
    p.y = y;
    ThinnedLine::Kept kept = line.kept();
    p.series = {{"", LineRole::predicted}};
    p.series.front().x = std::move(kept.x);
    p.series.front().y = std::move(kept.y);
    p.names = Plot::Names::none;
    p.low = true;
    if (stages_.size() <= stages_drawn) p.stages = stages_;
    return p;
  }

  const Request& request_;
  const Job& job_;
  const model::Protocol& protocol_;
  Table steps_ = steps_table();
  study::PlatingWatch watch_;
  std::optional<CurvesTable> course_;
  ThinnedLine voltage_, current_;
  double most_lead_ = 0;
  Answer over_depth_;  ///< its sections: the most uneven step
  std::vector<Stage> stages_;
  std::map<int, Met> plating_, doubts_, momentary_, outside_;  // outside the window between the cut-offs
  std::map<std::pair<int, int>, Met> passed_over_;             // by step and end
  Table skipped_ = passed_over_table();
  std::string last_run_;  // the last step that was run, and what ended it; empty before there is one
  double charged_ = 0, discharged_ = 0, end_time_ = 0, last_voltage_ = NAN;
};

}  // namespace

Answer follow(const Request& request, const Channels& channels, Job& job) {
  const auto loaded = params::load_protocol(request.protocol, job.sheet, job.base);
  if (!loaded.value) throw UnsoundInput(loaded.faults.text());
  channels.narration << loaded.faults.text();
  job.sheet.files.insert(job.sheet.files.end(), loaded.files.begin(), loaded.files.end());
  Told told(request, job, *loaded.value);
  {
    Progress progress(channels);
    const model::Protocol& protocol = *loaded.value;
    const auto steps = static_cast<int>(protocol.steps.size());
    study::follow(job, protocol, request.from_soc, [&](const solver::ProtocolStep& run) {
      told(run);
      progress.bar("steps", run.repetition * steps + run.step + 1, protocol.repeat * steps);
    });
  }
  return std::move(told).answer();
}

}  // namespace onegrain::app::answer
