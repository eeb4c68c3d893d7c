#include "app/answer/curves_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"
#include "solver/step/trust.hpp"

namespace onegrain::app::answer {

const char* sense_of(const NamedCurve& curve) { return curve.curve.is_charge() ? "charge" : "discharge"; }
std::string name_of(const NamedCurve& curve) { return curve.label + " " + sense_of(curve); }

const char* name_of(study::VoltageLoss loss, bool full) {
  using study::VoltageLoss;
  switch (loss) {
    case VoltageLoss::positive_diffusion:
      return full ? "diffusion in the positive grains" : "diffusion in the grains";
    case VoltageLoss::positive_transfer:
      return full ? "charge transfer at the positive" : "charge transfer at the grains";
    case VoltageLoss::negative_diffusion:
      return "diffusion in the negative grains";
    case VoltageLoss::negative_transfer:
      return full ? "charge transfer at the negative" : "charge transfer at the lithium";
    case VoltageLoss::electrolyte:
      return "electrolyte resistance";
    case VoltageLoss::salt:
      return "uneven salt";
    case VoltageLoss::electronic:
      return "electronic resistance of the layers";
    case VoltageLoss::contact:
      return "contact resistance";
  }
  return "";
}

const char* name_of(solver::Loss loss, bool full) {
  switch (loss) {
    case solver::Loss::positive_diffusion:
      return name_of(study::VoltageLoss::positive_diffusion, full);
    case solver::Loss::positive_charge_transfer:
      return name_of(study::VoltageLoss::positive_transfer, full);
    case solver::Loss::negative_diffusion:
      return name_of(study::VoltageLoss::negative_diffusion, full);
    case solver::Loss::negative_charge_transfer:
      return name_of(study::VoltageLoss::negative_transfer, full);
    case solver::Loss::electrolyte:
      return "electrolyte: resistance and uneven salt";
    case solver::Loss::resistance:
      return "contact and electronic resistance";
    case solver::Loss::uneven_reaction:
      return "uneven reaction over the depth of the coating";
  }
  return "";
}

bool over_at_once(const Job& job, const NamedCurve& c) {
  return c.curve.step.duration() < 1e-4 || c.curve.capacity < 1e-4 * job.base.one_hour_charge;
}

void state_the_model(Answer& said, const Job& job) {
  const solver::Accuracy used = solver::usual_accuracy(job.reaction);
  const bool uneven = job.reaction == model::Reaction::uneven;
  std::string remark = model_remark(job);
  if (!uneven) remark += " What it is when resolved, under the same current, stands beside each result.";
  if (!said.doubts.empty())
    remark += " A curve with a (?) lies beyond what this description can tell; its reason stands beside it.";
  said.sections.push_back({"", {Paragraph{remark, terminal}}, Section::Beside::none, terminal});
  said.assumptions.push_back(remark);
  if (job.cell.is_full_cell() && !uneven)
    said.assumptions.push_back(
        "Potential of the negative at its separator side while charging: with the reaction resolved over the depth of "
        "the coatings, under the same current.");
  for (const std::string& criterion : trust_criteria(job.reaction)) said.assumptions.push_back(criterion);
  said.assumptions.push_back(
      fmt::format("Numerics: even polynomials inside each grain, as many as keep an estimate of their error below {:g} "
                  "mV (at least "
                  "{}); CVODE with a relative tolerance of {:g} on what has no closed form.",
                  1e3 * used.truncation, used.fewest_modes, used.relative_tolerance));
  if (uneven)
    said.assumptions.push_back(
        fmt::format("Over the depth of a coating: grains at Gauss-Radau points, as many as keep an estimate of their "
                    "error below {:g} mV (at least {}).",
                    1e3 * used.depth, used.fewest_points));
}

std::string doubt(const std::string& what, const solver::Trust& trust) {
  return trust.trusted() ? "" : fmt::format("{}: not to be relied on: {}", what, untrusted(trust));
}

std::vector<TableColumn> opinion_columns(const Job& job) {
  if (job.reaction == model::Reaction::uneven) return {};
  return {{"", "reaction resolved", {}, read},
          {"resolved_capacity", "", measure<params::Charge>(), summary},
          {"resolved_less_even", "", measure<params::Voltage>("mV", 3), summary}};
}

std::string opinion_words(const Job& job, const std::string& name, const std::optional<study::Opinion>& opinion) {
  if (!opinion) return "";
  std::string text = "With the reaction resolved over the depth of the " +
                     std::string(job.cell.is_full_cell() ? "coatings" : "coating") + " the " + name;
  if (opinion->capacity)
    text += fmt::format(" passes {} mAh instead of {}, and", digits(job.milliampere_hours(*opinion->capacity)),
                        digits(job.milliampere_hours(opinion->even_capacity)));
  return text + fmt::format(" has a voltage up to {} mV {} (from {:.0f} to {:.0f} % of its charge).",
                            millivolts(std::abs(opinion->difference)), opinion->difference > 0 ? "higher" : "lower",
                            100 * study::compared_from, 100 * study::compared_to);
}

void add_opinion(Row& row, const Job& job, const std::optional<study::Opinion>& opinion) {
  if (job.reaction == model::Reaction::uneven) return;
  if (!opinion) {
    row.insert(row.end(), {std::string("cannot be told"), TableCell(), TableCell()});
    return;
  }
  std::string words;
  if (opinion->capacity) words = digits(job.milliampere_hours(*opinion->capacity)) + " mAh, ";
  words +=
      fmt::format("{} mV {}", millivolts(std::abs(opinion->difference)), opinion->difference > 0 ? "higher" : "lower");
  row.insert(row.end(), {words, opinion->capacity ? TableCell(*opinion->capacity * job.plate_area()) : TableCell(),
                         opinion->difference});
}

namespace {

double passed(const Job& job, const NamedCurve& c, double t) {
  return std::abs(c.curve.current) * t * job.plate_area();
}

/// The curve whose band is drawn, that nearest to 1C: bands over one another could not be read.
const NamedCurve* with_band(const std::vector<const NamedCurve*>& curves) {
  const NamedCurve* found = nullptr;
  for (const NamedCurve* c : curves) {
    if (!c->band || !(c->curve.step.duration() > 0)) continue;
    if (!found || std::abs(std::log(c->c_rate)) < std::abs(std::log(found->c_rate))) found = c;
  }
  return found;
}

/// One line for each curve that has a duration, dark for the slowest, light for the fastest.
std::vector<Series> lines(const Job& job, const std::vector<const NamedCurve*>& curves, int points, bool negative) {
  std::vector<Series> drawn;
  const NamedCurve* banded = with_band(curves);
  std::vector<const NamedCurve*> by_rate = curves;
  std::stable_sort(by_rate.begin(), by_rate.end(), [](auto* a, auto* b) { return a->c_rate < b->c_rate; });
  for (const NamedCurve* c : by_rate) {
    Series line{c->label, LineRole::in_order, static_cast<int>(drawn.size())};
    line.doubtful = !c->trust.trusted();
    Series::Also voltage{"", measure<params::Voltage>(), {}}, time{"after", lasting(), {}},
        other{"negative against lithium", measure<params::Voltage>("V", 3), {}};
    if (!(c->curve.step.duration() > 0)) continue;
    const std::optional<study::SeparatorSide>& side = c->side;
    for (const double t : solver::moments(c->curve.step, points, true)) {
      const solver::Point p = c->curve.step.at(t);
      line.x.push_back(passed(job, *c, t));
      const double potential = side ? side->at(t) : p.terminal.separator_side;
      line.y.push_back(negative ? potential : p.terminal.voltage);
      time.values.push_back(t);
      voltage.values.push_back(p.terminal.voltage);
      other.values.push_back(potential);
      if (negative || c != banded) continue;
      const auto [low, high] = c->band->at(std::abs(c->curve.current) * t * job.cell.plate_area);
      line.low.push_back(low);
      line.high.push_back(high);
    }
    voltage.label = "cell";
    line.also.push_back(std::move(time));
    if (job.cell.is_full_cell()) line.also.push_back(negative ? std::move(voltage) : std::move(other));
    drawn.push_back(std::move(line));
  }
  return drawn;
}

std::string told(const Job& job, const NamedCurve& c) {
  return fmt::format("{} mAh at {}", digits(job.milliampere_hours(c.curve.capacity), 3), c.label);
}

}  // namespace

Plot voltage_plot(const Job& job, const std::vector<const NamedCurve*>& curves, const std::string& title, int points) {
  Plot plot;
  plot.title = title;
  plot.description = "Voltage against capacity, " + title + ":";
  for (const NamedCurve* c : curves) plot.description += (c == curves.front() ? " " : ", ") + told(job, *c);
  plot.description += ".";
  plot.x = {"Capacity", measure<params::Charge>(nullptr, 3), {0.0}};
  plot.y = {job.cell.is_full_cell() ? "Voltage" : "Voltage against lithium", measure<params::Voltage>()};
  plot.series = lines(job, curves, points, false);
  plot.names = curves.front()->curve.is_charge() ? Plot::Names::above : Plot::Names::below;
  if (const NamedCurve* banded = with_band(curves))
    plot.note = fmt::format("Light ground: 95 % of the cells that your uncertainties allow, at {}.", banded->label);
  return plot;
}

Plot negative_plot(const Job& job, const std::vector<const NamedCurve*>& curves, int points) {
  Plot plot;
  plot.title = "The negative while charging";
  plot.x = {"Capacity", measure<params::Charge>(nullptr, 3), {0.0}};
  plot.y = {"Negative against lithium, at the separator", measure<params::Voltage>("V", 3), {-0.05, 0.1}, 0.3};
  plot.series = lines(job, curves, points, true);
  plot.names = Plot::Names::right;  // below, their leaders would cross the ground that says where not to go
  double lowest = 1;
  for (const Series& s : plot.series) lowest = std::min(lowest, *std::min_element(s.y.begin(), s.y.end()));
  plot.description = fmt::format(
      "Potential of the negative against lithium at its separator side while charging; lowest {} mV. Below 0 V lithium "
      "metal can deposit on it.",
      digits(1e3 * lowest, 3));
  plot.zones.push_back({-INFINITY, 0, true, "below 0 V lithium can plate"});
  return plot;
}

Plot grain_profile(const Job& job, const NamedCurve& c, bool positive) {
  const solver::StepSolution& step = c.curve.step;
  const Eigen::ArrayXd rho = Eigen::ArrayXd::LinSpaced(41, 0, 1);
  Plot plot;
  const std::string electrode = job.cell.is_full_cell() ? (positive ? "Positive" : "Negative") : "Working electrode";
  plot.title = electrode + " grains, " + name_of(c);
  plot.x = {"Centre 0 to surface 1: r / R", measure<params::Number>(nullptr, 2), {0.0}};
  plot.y = {"Stoichiometry", measure<params::Number>(nullptr, 3)};
  plot.names = Plot::Names::right;
  plot.low = true;
  static const std::vector<std::pair<const char*, double>> shown = {
      {"start", 0.0}, {"early", 0.05}, {"one third", 1.0 / 3}, {"two thirds", 2.0 / 3}, {"end", 1.0}};
  plot.description = "Stoichiometry from the centre to the surface of the grains.";
  for (const auto& [label, share] : shown) {
    const double t = share * step.duration();
    const Eigen::VectorXd x = positive ? step.positive_profile(t, rho) : step.negative_profile(t, rho);
    Series line{label, LineRole::in_time, static_cast<int>(plot.series.size())};
    line.x.assign(rho.begin(), rho.end());
    line.y.assign(x.begin(), x.end());
    plot.description += fmt::format(" {}: {} at the centre, {} at the surface.", label, digits(line.y.front(), 3),
                                    digits(line.y.back(), 3));
    plot.series.push_back(std::move(line));
  }
  return plot;
}

Stack losses_stack(const Job& job, const NamedCurve& c) {
  const solver::StepSolution& step = c.curve.step;
  Stack stack;
  stack.title = name_of(c);
  stack.total = "all together";
  stack.x = {"Capacity", measure<params::Charge>(nullptr, 3), {0.0}};
  stack.y = {"Voltage lost", measure<params::Voltage>("mV", 3), {0.0}};
  for (const double t : solver::moments(step, 61, true)) {
    stack.positions.push_back(passed(job, c, t));
    const auto parts = study::voltage_parts(job, step.at(t));
    if (stack.parts.empty())
      for (const auto& part : parts) stack.parts.push_back({name_of(part.loss, job.cell.is_full_cell()), {}});
    for (std::size_t k = 0; k < parts.size(); ++k) stack.parts[k].values.push_back(parts[k].volts);
  }
  double total = 0;
  for (const Stack::Part& part : stack.parts) total += part.values[part.values.size() / 2];
  stack.description = fmt::format("Parts of the voltage lost against capacity, stacked; half way {} mV in all.",
                                  digits(1e3 * total, 3));
  // Near the cut-off the losses shoot up; a scale for that would flatten all the rest.
  double late = 0, peak = 0;
  for (std::size_t k = 0; k < stack.positions.size(); ++k) {
    double sum = 0;
    for (const Stack::Part& part : stack.parts) sum += part.values[k];
    peak = std::max(peak, sum);
    if (stack.positions[k] <= 0.9 * stack.positions.back()) late = std::max(late, sum);
  }
  if (late > 0 && peak > 2 * late) {
    stack.y.most = 1.5 * late;
    stack.note = fmt::format("up to {} mV at the end", digits(1e3 * peak, 3));
  }
  return stack;
}

}  // namespace onegrain::app::answer
