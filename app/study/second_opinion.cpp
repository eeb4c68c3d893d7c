#include "app/study/second_opinion.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "model/root_search.hpp"
#include "solver/step/curves.hpp"

namespace onegrain::app::study {

namespace {

bool at_constant_current(const solver::StepSolution& step) {
  const double first = step.first().current;
  const auto same = [&](double t) { return std::abs(step.at(t).current - first) < 1e-9 * std::abs(first); };
  return first != 0 && same(0.37 * step.duration()) && same(step.duration());
}

bool starts_at_rest(const solver::Point& p) {
  constexpr double even = 1e-6;
  return std::abs(p.positive_surface - p.positive_mean) < even &&
         std::abs(p.negative_surface - p.negative_mean) < even &&
         p.highest_salt - p.lowest_salt < even * p.highest_salt;
}

/// What was done to the cell in a step, as a current that is given.
model::Step same_current(const solver::StepSolution& step) {
  model::Step same{model::CurrentDrive{step.first().current}, {.time = step.duration()}, "the same current"};
  const std::vector<double> moments = solver::moments(step, 200, true);
  if (!at_constant_current(step) && step.duration() > 0) {
    model::Course current;
    for (const double t : moments) {
      current.time.push_back(t);
      current.value.push_back(step.at(t).current);
    }
    same.drive = model::CourseDrive{std::move(current)};
  }
  const model::Cell& cell = step.model().cell();
  if (cell.thermal) return same;  // it has its own heat
  model::Course temperature;
  bool is_that_of_the_cell = true;
  for (const double t : moments) {
    temperature.time.push_back(t);
    temperature.value.push_back(step.temperature(t));
    is_that_of_the_cell = is_that_of_the_cell && std::abs(temperature.value.back() - cell.temperature) < 1e-6;
  }
  if (!is_that_of_the_cell) same.temperature = std::move(temperature);
  return same;
}

}  // namespace

SecondOpinion::SecondOpinion(const Job& job)
    : job_(job), simulator_(job.cell, workspace_, job.electrolyte, model::Reaction::uneven) {}

const solver::StepSolution* SecondOpinion::see(const solver::StepSolution& step) {
  opinion_.reset();
  if (step.reaction() == model::Reaction::uneven || !(step.duration() > 0)) return nullptr;
  if (!state_) {
    const solver::Point first = step.first();
    state_ = simulator_.at_rest(first.charge);
    state_->temperature = first.temperature;
    astray_ = !starts_at_rest(first);
  }
  try {
    seen_ = simulator_.run(*state_, same_current(step));
    state_ = seen_.final_state();
  } catch (const solver::IntegrationFailure&) {  // the even reaction has to do
    astray_ = true;
    return nullptr;
  }
  try {
    if (!astray_) opinion_ = compare(step);
  } catch (const solver::IntegrationFailure&) {  // beyond the step
  }
  if (seen_.duration() < step.duration() * (1 - 1e-9)) astray_ = true;
  return &seen_;
}

/// Until the voltage at which the step ended, or, where it ended for want of salt or lithium, the cut-off; where the
/// second cell has not met it by then it goes on.
std::optional<double> SecondOpinion::capacity(const solver::StepSolution& step) {
  const bool by_voltage = step.ended_by() == solver::Ended::voltage;
  if (!(by_voltage || solver::is_physical(step.ended_by())) || !at_constant_current(step)) return std::nullopt;
  const double current = step.first().current, side = current > 0 ? 1 : -1;
  const double limit = by_voltage    ? step.last().terminal.voltage
                       : current > 0 ? job_.cell.upper_voltage
                                     : job_.cell.lower_voltage;
  const auto beyond = [&](double t) { return side * (seen_.at(t).terminal.voltage - limit); };
  double before = 0;
  for (const double t : solver::moments(seen_, 200, true)) {
    if (beyond(t) >= 0) return std::abs(current) * (t > 0 ? model::bracketed_root(beyond, before, t) : 0);
    before = t;
  }
  double passed = std::abs(current) * seen_.duration();
  if (seen_.duration() < step.duration() * (1 - 1e-9)) return passed;  // it has no more to give
  model::Step on{model::CurrentDrive{current}, {.voltage = limit}, "to the same voltage"};
  passed += std::abs(current) * simulator_.run(seen_.final_state(), on).duration();
  return passed;
}

Opinion SecondOpinion::compare(const solver::StepSolution& step) {
  Opinion opinion;
  const double start = step.first().charge, duration = std::min(step.duration(), seen_.duration());
  opinion.even_capacity = std::abs(step.last().charge - start);
  opinion.capacity = capacity(step);
  double to = duration;
  if (opinion.capacity && opinion.even_capacity > 0)
    to = duration * std::min(1.0, *opinion.capacity / opinion.even_capacity);
  for (const double t : solver::moments(step, 200, true)) {
    if (t < compared_from * duration || t > compared_to * to) continue;
    const double difference = seen_.at(t).terminal.voltage - step.at(t).terminal.voltage;
    if (std::abs(difference) <= std::abs(opinion.difference)) continue;
    opinion.difference = difference;
    opinion.at_charge = std::abs(step.at(t).charge - start);
  }
  opinion.lowest_salt_share = solver::judge(seen_).lowest_salt_share;
  return opinion;
}

solver::Trust trust_of(const solver::StepSolution& step, const std::optional<Opinion>& opinion) {
  if (!opinion) return solver::judge(step);
  solver::TrustLimits limits;
  limits.unevenness = std::numeric_limits<double>::infinity();
  if (step.model().salt()) limits.limiting_current_share = std::numeric_limits<double>::infinity();
  solver::Trust trust = solver::judge(step, limits);
  std::vector<std::string> apart;
  if (std::abs(opinion->difference) > doubted_voltage)
    apart.push_back(fmt::format("its voltage is up to {:.0f} mV {}", 1e3 * std::abs(opinion->difference),
                                opinion->difference > 0 ? "higher" : "lower"));
  const double more = opinion->capacity_difference();
  if (std::abs(more) > doubted_capacity)
    apart.push_back(fmt::format("{:.{}f} % {} charge passes", 100 * std::abs(more), std::abs(more) < 0.1 ? 1 : 0,
                                more > 0 ? "more" : "less"));
  if (opinion->lowest_salt_share < limits.lowest_salt_share && trust.lowest_salt_share >= limits.lowest_salt_share)
    apart.push_back(fmt::format("the salt falls to {:.0f} % of its starting concentration somewhere",
                                100 * std::max(0.0, opinion->lowest_salt_share)));
  std::string all;
  for (const std::string& one : apart) all += (all.empty() ? "" : ", ") + one;
  if (!all.empty()) trust.reasons.push_back("with the reaction resolved over the depth of the coatings " + all);
  return trust;
}

}  // namespace onegrain::app::study
