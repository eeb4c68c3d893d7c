#pragma once

#include <optional>
#include <vector>

#include "model/balance.hpp"
#include "solver/charge/uneven.hpp"
#include "solver/step/trust.hpp"

/// The highest charge rate that keeps every limit.
namespace onegrain::solver {

/// What must be kept while a cell charges (half cell: while its working electrode is lithiated).
enum class Limit {
  plating,           ///< potential of the lithiated electrode at its separator side, above lithium's by a margin [V]
  voltage,           ///< cut-off at the terminals [V]
  positive_surface,  ///< filling of the positive's grain surfaces, above 0 [1]
  negative_surface,  ///< of the negative's (half cell: the working electrode's), below 1 [1]
  temperature,       ///< [K]
  positive_stress,   ///< tension in the grains, below the fracture strength [Pa]
  negative_stress,
  salt  ///< lowest salt as a share of its starting concentration [1]: beyond it the model is out of its depth
};
constexpr int limit_count = 8;

/// True where a quantity must not fall below what is allowed, false where it must not rise above.
constexpr bool must_stay_above(Limit limit, bool full_cell) {
  return limit == Limit::plating || limit == Limit::positive_surface || limit == Limit::salt ||
         (limit == Limit::voltage && !full_cell);
}

struct ChargeLimits {
  double plating_margin = 0.010;        ///< [V]
  double highest_temperature = 318.15;  ///< [K]; 45 degC: common practice
  double lowest_salt_share = TrustLimits{}.lowest_salt_share;
  bool keep_voltage = true;  ///< false: the cut-off is left to a hold that follows
};

/// One limit on one charge.
struct Margin {
  Limit limit;
  double worst;    ///< of the quantity, at any moment
  double allowed;  ///< what it must not pass
  double left;     ///< distance from worst to allowed, >= 0 where kept
  double soc;      ///< state of charge where it was worst
  bool kept() const { return left >= 0; }
};

/// How finely a charge is described.
enum class Description {
  plain,  ///< single particles, salt at its starting concentration: what it leaves out is dangerous
  even,   ///< salt resolved, reaction spread evenly over each layer
  uneven  ///< and the reaction resolved across the lithiated layer
};

/// From one state of charge to another, as shares of the charge between the equilibria at the cut-offs. In a half cell
/// 0 is the delithiated end.
struct ChargeWindow {
  double from = 0, to = 0.8;
};

/// A charge at constant current, judged.
struct JudgedCharge {
  double current = 0;           ///< > 0, into the lithiated electrode [A/m2]
  double duration = 0;          ///< [s]
  bool completed = false;       ///< reached the end of its window
  std::vector<Margin> margins;  ///< of the limits that apply
  Limit tightest = Limit::plating;
  double slack = 0;                         ///< smallest margin in units of its scale; < 0: some limit is broken
  std::vector<double> soc, separator_side;  ///< Description::uneven: the potential on the way [1], [V]
  State end;                                ///< for the step that follows
  UnevenState uneven_end;

  const Margin* margin(Limit limit) const;
};

struct Ceiling {
  double current = 0;      ///< [A/m2]; 0: not even the slowest charge looked at keeps the limits
  JudgedCharge charge;     ///< at that current (the slowest where it is 0)
  bool unlimited = false;  ///< no limit is met up to the fastest charge looked at
};

/// Charges of one cell over one window, judged at any current. Not for several threads at once.
class ChargeStudy {
 public:
  /// @param window  the equilibria at the cut-offs
  ChargeStudy(const model::Cell& cell, const model::Window& window, ChargeWindow soc, ChargeLimits limits,
              Workspace& workspace, Description description = Description::uneven);

  /// The whole window from rest.
  JudgedCharge judge(double current);
  /// A part of it, [from, to], from where the part before ended.
  JudgedCharge judge(double current, double from, double to, const State& start, const UnevenState& uneven);

  /// The largest current for which every limit is kept, from below, within `tolerance` relative.
  /// @param guess  any positive current; a good one saves time [A/m2]
  Ceiling ceiling(double guess, double tolerance = 1e-3);
  /// The same for a part of the window.
  Ceiling ceiling(double guess, double tolerance, double from, double to, const State& start,
                  const UnevenState& uneven);

  State start() const;
  /// Charge over the whole of the state of charge, 0 to 1 [C/m2].
  double whole() const { return whole_; }
  const ChargeWindow& soc() const { return soc_; }
  const ChargeLimits& limits() const { return limits_; }
  Simulator& simulator() { return simulator_; }
  /// +1 where the lithiation of the electrode in question charges the cell (full cell), -1 (half cell).
  double sign() const { return sign_; }

 private:
  JudgedCharge judge(double current, double from, double to, const State& start, const UnevenState& uneven,
                     bool as_even);

  model::Cell cell_;
  ChargeWindow soc_;
  ChargeLimits limits_;
  Description description_;
  Simulator simulator_;
  UnevenLayer layer_;
  double sign_, whole_, start_charge_;
};

}  // namespace onegrain::solver
