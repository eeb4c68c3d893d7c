#pragma once

#include <optional>
#include <string>

#include "app/job.hpp"
#include "solver/step/trust.hpp"

/// Where a single grain stands for a whole coating, the reaction resolved over its depth can be asked too: how near to
/// plating a charge comes, and whether the result is to be believed, is taken from it.
namespace onegrain::app::study {

/// What it says of one step, under the same current.
struct Opinion {
  double difference = 0;  ///< resolved less even voltage where it is largest, with its sign [V]
  double at_charge = 0;   ///< passed until then [C/m2]
  /// Of a step at constant current that ended at a voltage, or for want of salt or lithium: the charge passed until
  /// that voltage, otherwise the cut-off; and what the step passed [C/m2].
  std::optional<double> capacity{};
  double even_capacity = 0;
  double lowest_salt_share = 1;  ///< of the starting concentration, anywhere, at any moment

  double capacity_difference() const { return capacity && even_capacity > 0 ? *capacity / even_capacity - 1 : 0; }
};

/// What the difference may be before the even reaction is doubted. Judgement: 25 mV is what half cells of one material
/// differ by, and 1 % what capacities of careful coin cells scatter by.
inline constexpr double doubted_voltage = 0.025, doubted_capacity = 0.01;  // V, 1

/// Voltages are compared over this share of the charge of a step, the shorter of both where they end apart: beyond it
/// the end of a discharge is so steep that a thousandth of the capacity is worth tens of millivolts.
inline constexpr double compared_from = 0.01, compared_to = 0.95;

/// Follows the steps of one run, one after the other, from rest.
class SecondOpinion {
 public:
  explicit SecondOpinion(const Job& job);

  /// The next step of the run, under its current, at its temperature: as long as it, unless it cannot go on. Nothing
  /// where the step has the reaction resolved itself, for one without duration, and where that cannot be calculated.
  const solver::StepSolution* see(const solver::StepSolution& step);

  /// Of the step that was seen last.
  const std::optional<Opinion>& opinion() const { return opinion_; }

  void start_again() { state_.reset(); }  ///< at rest, grains evenly filled

 private:
  Opinion compare(const solver::StepSolution& step);
  std::optional<double> capacity(const solver::StepSolution& step);

  const Job& job_;
  solver::Workspace workspace_;
  solver::Simulator simulator_;
  std::optional<solver::State> state_;
  bool astray_ = false;  ///< it has not passed the same charge as the run: it may be asked, but not compared
  solver::StepSolution seen_;
  std::optional<Opinion> opinion_;
};

/// The verdict on a step, with its second opinion in place of rules of thumb where there is one.
solver::Trust trust_of(const solver::StepSolution& step, const std::optional<Opinion>& opinion);

}  // namespace onegrain::app::study
