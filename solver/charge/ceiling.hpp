#pragma once

#include <optional>
#include <string>
#include <vector>

#include "model/balance.hpp"
#include "solver/charge/limits.hpp"
#include "solver/step/curves.hpp"

/// The highest charge rate that keeps every limit.
namespace onegrain::solver {

/// From one state of charge to another, as shares of the charge between the equilibria at the cut-offs. In a half cell
/// the question is that of the full cell which its working electrode belongs into: a host for negatives is filled, and
/// 0 is its delithiated end; an oxide is emptied, and 0 is its lithiated end.
struct ChargeWindow {
  double from = 0, to = 0.8;
  bool empties = false;  ///< half cell: the working electrode is emptied
};

/// How well the charges are calculated that are judged.
Accuracy charge_accuracy(model::Reaction reaction);

/// A charge at constant current, judged.
struct JudgedCharge {
  double current = 0;           ///< > 0, into the electrode that is filled [A/m2]
  double duration = 0;          ///< [s]
  bool completed = false;       ///< reached the end of its window
  std::vector<Margin> margins;  ///< of the limits that apply
  Limit tightest = Limit::plating;
  double slack = 0;              ///< Margin::slack of that one; < 0: some limit is broken
  std::string unsolved_because;  ///< Limit::unsolved: why the charge could not be calculated
  State end;                     ///< for the step that follows

  const Margin* margin(Limit limit) const;
};

struct Ceiling {
  double current = 0;      ///< [A/m2]; 0: not even the slowest charge looked at keeps the limits
  JudgedCharge charge;     ///< at that current (the slowest where it is 0)
  bool unlimited = false;  ///< no limit is met up to the fastest charge looked at
  double slope = -2;       ///< d slack / d ln(current) there, < 0
};

/// Where a search for a ceiling begins.
struct Guess {
  double current;  ///< any positive one [A/m2]
  bool near;       ///< within some per cent of the ceiling, which saves most of the charges
  double slope;    ///< Ceiling::slope of a neighbour
  Guess(double any_current) : Guess(any_current, false) {}  // NOLINT(google-explicit-constructor)
  Guess(double its_current, bool is_near, double its_slope = -2)
      : current(its_current), near(is_near), slope(its_slope) {}
};

/// Charges of one cell over one window, judged at any current. Not for several threads at once.
class ChargeStudy {
 public:
  /// @param window    the equilibria at the cut-offs
  /// @param accuracy  instead of charge_accuracy()
  ChargeStudy(const model::Cell& cell, const model::Window& window, ChargeWindow soc, ChargeLimits limits,
              Workspace& workspace, Description description = Description::uneven,
              std::optional<Accuracy> accuracy = std::nullopt);

  /// The whole window from rest.
  JudgedCharge judge(double current);
  /// A part of it, [from, to], from where the part before ended.
  JudgedCharge judge(double current, double from, double to, const State& start);

  /// The largest current for which every limit is kept, from below, within `tolerance` relative.
  Ceiling ceiling(const Guess& guess, double tolerance = 1e-3);
  /// The same for a part of the window.
  Ceiling ceiling(const Guess& guess, double tolerance, double from, double to, const State& start);

  State start() const;
  /// Charge over the whole of the state of charge, 0 to 1 [C/m2].
  double whole() const { return whole_; }
  const ChargeWindow& soc() const { return soc_; }
  const ChargeLimits& limits() const { return limits_; }
  Simulator& simulator() { return simulator_; }
  /// +1 where what is asked charges the cell (full cell, half cell of an oxide), -1 where it discharges it.
  double sign() const { return sign_; }

 private:
  /// @param simulator  even_ or, where the reaction is to be resolved, simulator_
  JudgedCharge judge(Simulator& simulator, double current, double from, double to, const State& start);

  model::Cell cell_;
  ChargeWindow soc_;
  ChargeLimits limits_;
  Description description_;
  Simulator simulator_;
  std::optional<Simulator> even_;  ///< Description::uneven: the cheaper one, to come near
  double sign_, whole_, start_charge_;
};

}  // namespace onegrain::solver
