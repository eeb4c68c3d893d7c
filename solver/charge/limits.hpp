#pragma once

#include <vector>

#include "model/cell.hpp"
#include "solver/step/simulator.hpp"
#include "solver/step/trust.hpp"

/// What must be kept while a cell charges, and how far a charge stays from it.
namespace onegrain::solver {

/// What must be kept while a cell charges (half cell: while its working electrode is lithiated, or, of an oxide,
/// emptied).
enum class Limit {
  plating,           ///< potential of the lithiated electrode at its separator side, above lithium's by a margin [V]
  voltage,           ///< cut-off at the terminals [V]
  positive_surface,  ///< filling of the grain surfaces of the electrode that is emptied, above 0 [1]
  negative_surface,  ///< of the one that is filled, below 1 [1]
  temperature,       ///< [K]
  positive_stress,   ///< tension in the grains that are emptied, below the fracture strength [Pa]
  negative_stress,   ///< in those that are filled
  salt,     ///< lowest salt as a share of its starting concentration [1]: beyond it the model is out of its depth
  unsolved  ///< no physical limit: the charge could not be calculated, and so counts as keeping none
};
constexpr int limit_count = static_cast<int>(Limit::unsolved) + 1;

/// True where a quantity must not fall below what is allowed, false where it must not rise above.
/// @param voltage_rises  in the charge in question: that of a full cell, or of a half cell whose electrode is emptied
constexpr bool must_stay_above(Limit limit, bool voltage_rises) {
  return limit == Limit::plating || limit == Limit::positive_surface || limit == Limit::salt ||
         (limit == Limit::voltage && !voltage_rises);
}

struct ChargeLimits {
  double plating_margin = 0.010;        ///< [V]
  double highest_temperature = 318.15;  ///< [K]; 45 degC: common practice
  double lowest_salt_share = TrustLimits{}.lowest_salt_share;
  bool keep_voltage = true;  ///< false: the cut-off is left to a hold that follows
};

/// How finely a charge is described.
enum class Description {
  plain,  ///< single particles, salt at its starting concentration: what it leaves out is dangerous
  even,   ///< salt resolved, reaction spread evenly over each layer
  uneven  ///< and the reaction resolved over the depth of both layers
};

/// One limit on one charge.
struct Margin {
  Limit limit;
  double worst;    ///< of the quantity, at any moment
  double allowed;  ///< what it must not pass
  double left;     ///< distance from worst to allowed, >= 0 where kept
  double soc;      ///< state of charge where it was worst
  bool kept() const { return left >= 0; }
  /// `left` in units of a scale of the limit, which brings limits of different units together for a search. Where a
  /// limit is just kept it is zero on any scale, so that the answer does not depend on them.
  double slack() const;
};

/// The limits that apply to a cell, and the worst of each along a charge.
class Ledger {
 public:
  /// @param empties  half cell: its working electrode is emptied, so that no lithium can plate on it
  Ledger(const model::Cell& cell, const ChargeLimits& limits, Description description, double starting_soc,
         bool empties = false);

  /// Everything that a step tells of one moment.
  void see(const StepSolution& step, double t, double soc);
  /// One quantity; without effect where that limit does not apply.
  void see(Limit limit, double value, double soc);
  /// The charge ended by this limit with that share of its window still to come.
  void fell_short(Limit limit, double share, double soc);

  const std::vector<Margin>& margins() const { return margins_; }
  /// The limit with the least slack.
  const Margin& tightest() const;

 private:
  void see_stress(const StepSolution& step, double t, const Point& p, double soc);
  Margin* find(Limit limit);
  double nothing_seen(Limit limit) const;

  const model::Cell& cell_;
  bool full_, emptied_, filled_;  // a full cell; a host is emptied, a host is filled
  Description description_;
  std::vector<Margin> margins_;
};

}  // namespace onegrain::solver
