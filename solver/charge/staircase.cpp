#include "solver/charge/staircase.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/stress.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::solver {

namespace {

constexpr double longest = 3.6e5;  // s

/// The current above which a grain that is filled or emptied steadily would crack: the parabola's tension, at the
/// smallest diffusivity of the window, reaches the strength. Infinite where the card has no numbers.
double cracking_current(const model::Electrode& e, double from, double to, bool lithiated, double T) {
  if (!e.host.stress) return std::numeric_limits<double>::infinity();
  const model::Stress& s = *e.host.stress;
  double D = std::numeric_limits<double>::infinity();
  for (int k = 0; k <= 40; ++k) D = std::min(D, e.host.diffusivity(from + (to - from) * k / 40.0, T));
  // x_mean - x_surface = outflow R / (5 D) and x_mean - x_centre = -3/10 outflow R / D in the steady parabola (Crank,
  // ch. 6)
  const double outflow = 1 / (e.roughness() * model::faraday_constant * e.host.maximum_concentration);
  double largest = e.classes.empty() ? 1 : 0;  // of the grains, over particle_radius
  for (const model::GrainClass& its : e.classes) largest = std::max(largest, its.radius_ratio);
  const double lead = outflow * largest * e.particle_radius / D;
  const double sign = lithiated ? -1 : 1;
  const model::GrainStress stress =
      model::grain_stress(s, e.host.maximum_concentration, 0, -sign * lead / 5, sign * 0.3 * lead);
  return s.fracture_strength / stress.largest_tension();
}

}  // namespace

Ride ride_limits(ChargeStudy& study, double highest) {
  const model::Cell& cell = study.simulator().cell();
  const bool rises = study.sign() > 0, plates = !study.soc().empties;
  const double cut_off = rises ? cell.upper_voltage : cell.lower_voltage, margin = study.limits().plating_margin;
  const double whole = study.whole(), target = (study.soc().to - study.soc().from) * whole;
  Ride ride;
  State state = study.start();
  const double begun = state.charge, end = begun + study.sign() * target;
  const auto positive_at = [&](double q) { return cell.inventory.positive - q / cell.positive.capacity(); };
  highest = std::min(highest,
                     cracking_current(cell.positive, positive_at(begun), positive_at(end), !rises, cell.temperature));
  if (cell.is_full_cell()) {
    const auto negative_at = [&](double q) { return cell.inventory.negative + q / cell.negative->capacity(); };
    highest = std::min(highest,
                       cracking_current(*cell.negative, negative_at(begun), negative_at(end), true, cell.temperature));
  }
  const auto passed = [&](double charge) { return std::abs(charge - begun); };
  model::Drive drive = model::CurrentDrive{study.sign() * highest};
  for (int part = 0; part < 12 && passed(state.charge) < target * (1 - 1e-9); ++part) {
    model::Step step{drive, {}, "ride along the limits"};
    step.until.capacity = target - passed(state.charge);
    step.until.time = longest;
    // What was held a moment ago lies at its limit to the last digit: a hair more is given
    // from part to part, or two limits would alternate for ever.
    const double hair = part;
    if (!std::holds_alternative<model::VoltageDrive>(drive)) step.until.voltage = cut_off + study.sign() * hair * 1e-4;
    if (plates && !std::holds_alternative<model::SeparatorSideDrive>(drive))
      step.until.separator_side = margin - hair * 1e-4;
    if (cell.thermal && !std::holds_alternative<model::TemperatureDrive>(drive)) {
      step.until.temperature = study.limits().highest_temperature + hair * 0.01;
    }
    const StepSolution solution = study.simulator().run(state, step);
    for (const double t : moments(solution, 41, false)) {
      const Point p = solution.at(t);
      const double soc = study.soc().from + passed(p.charge) / whole;
      if (!ride.soc.empty() && soc <= ride.soc.back()) continue;
      ride.soc.push_back(soc);
      ride.current.push_back(std::min(highest, std::abs(p.current)));
    }
    ride.duration += solution.duration();
    state = solution.final_state();
    if (solution.ended_by() == Ended::voltage)
      drive = model::VoltageDrive{cut_off};
    else if (solution.ended_by() == Ended::separator_side)
      drive = model::SeparatorSideDrive{margin};
    else if (solution.ended_by() == Ended::temperature)
      drive = model::TemperatureDrive{study.sign() > 0};
    else
      break;
  }
  return ride;
}

double Staircase::duration() const {
  double sum = 0;
  for (const StaircaseStep& s : steps) sum += s.duration;
  return sum;
}

Staircase cut(ChargeStudy& study, const Ride& ride, int count, double highest) {
  // Where to cut: so that the current falls by the same factor from step to step; no step shorter than a third of an
  // even one.
  const double from = study.soc().from, to = study.soc().to;
  std::vector<double> edges{from};
  double top = 0, bottom = std::numeric_limits<double>::infinity();
  for (const double i : ride.current) {
    top = std::max(top, i);
    bottom = std::min(bottom, i);
  }
  const double least = (to - from) / count / 3;
  for (int k = 1; k < count; ++k) {
    const double level = top * std::pow(bottom / top, static_cast<double>(k) / count);
    double edge = from + (to - from) * k / count;
    for (std::size_t j = 0; j < ride.soc.size(); ++j) {
      if (ride.current[j] <= level) {
        edge = ride.soc[j];
        break;
      }
    }
    edges.push_back(std::clamp(edge, edges.back() + least, to - least * (count - k)));
  }
  edges.push_back(to);

  Staircase result;
  State state = study.start();
  for (std::size_t k = 1; k < edges.size(); ++k) {
    double guess = highest;
    for (std::size_t j = 0; j < ride.soc.size(); ++j) {
      if (ride.soc[j] <= edges[k]) guess = ride.current[j];
    }
    Ceiling step = study.ceiling(std::min(guess, highest), 1e-3, edges[k - 1], edges[k], state);
    if (step.current > highest || step.unlimited) {
      step.charge = study.judge(highest, edges[k - 1], edges[k], state);
      step.current = highest;
    }
    if (!(step.current > 0)) return result;
    result.steps.push_back(
        {edges[k - 1], edges[k], step.current, step.charge.duration, step.charge.tightest, step.charge.slack});
    state = step.charge.end;
  }
  result.complete = true;
  return result;
}

Staircase scaled(ChargeStudy& study, const Staircase& staircase, double factor) {
  Staircase result;
  State state = study.start();
  for (const StaircaseStep& s : staircase.steps) {
    const JudgedCharge charge = study.judge(factor * s.current, s.from, s.to, state);
    result.steps.push_back({s.from, s.to, charge.current, charge.duration, s.limited_by, charge.slack});
    if (!charge.completed) return result;
    state = charge.end;
  }
  result.complete = staircase.complete;
  return result;
}

double constant_current_constant_voltage(ChargeStudy& study, double current) {
  const model::Cell& cell = study.simulator().cell();
  const double cut_off = study.sign() > 0 ? cell.upper_voltage : cell.lower_voltage;
  const double target = (study.soc().to - study.soc().from) * study.whole();
  const State start = study.start();
  model::Step step{model::CurrentDrive{study.sign() * current}, {}, "constant current"};
  step.until.capacity = target;
  step.until.voltage = cut_off;
  const StepSolution first = study.simulator().run(start, step);
  if (first.ended_by() == Ended::capacity) return first.duration();
  const double rest = target - std::abs(first.last().charge - start.charge);
  model::Step hold{model::VoltageDrive{cut_off}, {}, "constant voltage"};
  hold.until.capacity = rest;
  hold.until.time = longest;
  const StepSolution second = study.simulator().run(first.final_state(), hold);
  return second.ended_by() == Ended::capacity ? first.duration() + second.duration()
                                              : std::numeric_limits<double>::infinity();
}

}  // namespace onegrain::solver
