#pragma once

#include <optional>
#include <vector>

#include "app/job.hpp"
#include "app/study/second_opinion.hpp"

/// How near the electrode that takes lithium up comes to lithium's potential: what a charge ceiling keeps a margin of,
/// asked of every step that any verb runs.
namespace onegrain::app::study {

/// The potential against lithium at the separator side of the electrode that takes lithium up, over one step.
struct SeparatorSide {
  std::vector<double> times, potentials;  ///< since the start of the step [s], [V]; straight lines in between
  bool resolved = false;  ///< with the reaction resolved over the depth of the layers; else spread evenly

  double at(double time) const;
  double lowest() const;
};

/// A step in which that potential falls below what is to be kept.
struct Plating {
  double kept;                                ///< what was to be kept [V]
  double lowest;                              ///< [V], < kept
  double first_time, first_charge;            ///< when it falls below it: since the start of the step [s], [C/m2]
  std::optional<double> charge_at_lithium{};  ///< the charge passed when it falls below 0 V; none if it never does

  bool can_plate() const { return lowest < 0; }
};

/// What a step must keep: the margin of a charge ceiling in a full cell; in a half cell, of which the cut-off lies a
/// few millivolts above lithium by common practice, 0 V  [V].
double plating_margin(const model::Cell& cell);

/// Follows the steps of one run, one after the other, from rest.
///
/// In a full cell every charge is looked at, in a half cell every step that puts lithium into a host for negatives; a
/// host that stays half a volt above lithium until it is full, such as a titanate or an oxide, is left out. Where the
/// steps take the reaction as even, their second opinion is asked; what that cannot tell, since it has ended earlier,
/// is told of the even reaction.
class PlatingWatch {
 public:
  explicit PlatingWatch(const Job& job);

  /// The next step of the run. Nothing for steps that take no lithium up, and for those without duration.
  /// @param even  evenly spaced moments that are looked at
  std::optional<SeparatorSide> see(const solver::StepSolution& step, int even = 200);

  /// Of the step that was seen last, where it takes the reaction as even.
  const std::optional<Opinion>& opinion() const { return second_.opinion(); }

  /// Whether a step of this cell can come near to lithium's potential at all.
  bool applies() const { return takes_up_; }

  /// Where the potential falls below the margin.
  std::optional<Plating> judge(const SeparatorSide& side, const solver::StepSolution& step) const;

  void start_again() { second_.start_again(); }  ///< at rest, grains evenly filled

 private:
  bool takes_up(const solver::Point& p) const;

  const Job& job_;
  SecondOpinion second_;
  bool takes_up_;  ///< a step of this cell can put lithium into a host for negatives at all
};

}  // namespace onegrain::app::study
