#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "params/record/record.hpp"
#include "solver/step/replay.hpp"

/// Where a record begins: the state of the cell at its first row, by everything that the file and the user say.
namespace onegrain::app {

struct Recording;

/// A start that what tells it leaves open by more than this, of the state of charge, is not known: it is said first in
/// every answer, and is one more unknown of every estimate.
inline constexpr double known_within = 0.005;

/// The sum of squares that two ways to meet a curve may differ by and still be told apart by nothing: eight points of
/// one curve count as independent (chi squared, 95 %).
inline constexpr double met_alike = 1 + 3.84 / 8;

/// The state in which a run begins, and what tells it.
struct Beginning {
  enum class From {
    state_of_charge,  ///< asked for
    told_voltage,     ///< at rest, as the user says
    rest_before,      ///< the last row of a measured rest
    first_row,        ///< of the record, at rest: recorded before the current came up
    full,             ///< not measured: equilibrium of a full cell, which the voltage under current fits
    empty,            ///< the same of an empty one
    rest_behind,      ///< a rest that comes later, less the charge passed until then
    fitted,           ///< not measured: the state from which the model meets the curve best
    unknown           ///< nothing tells
  };
  From from = From::unknown;
  double state_of_charge = 0;  ///< 0..1; asked for, or else by the potentials of the sheet; may lie a little beyond
  double voltage = 0;          ///< at rest, as it was found [V]
  double taken_as = 0;         ///< the same within what the cell of the sheet reaches at rest [V]
  double spread = 0;           ///< half-width of the state of charge that what tells it leaves open
  std::size_t at_step = 0;     ///< the run begins with this step; earlier than the first that takes part: through what
                               ///< is skipped
  std::size_t rest_step = 0;   ///< rest_behind: that rest
  double unrecorded = 0;       ///< the first step had gone on for so long when the record begins, by its counter [s]
  bool unrecorded_taken = false;  ///< by no counter: with a current since full (charges: empty) the curve is met best
  bool either_history = false;    ///< with that current and without it the curve is met alike: `spread` holds both
  double rms = 0;                 ///< fitted: what is left [V]
  bool at_end = false;            ///< fitted: at an end of the range that was searched
  bool with_others = false;       ///< fitted: together with what else was to be estimated
  bool little_current = false;    ///< first_row: whether before or under current, which costs less than 5 mV there

  bool is_measured() const { return from == From::rest_before || from == From::first_row || from == From::rest_behind; }
  bool is_told() const { return from == From::state_of_charge || from == From::told_voltage; }
};

/// State of charge and voltage at rest of the cell of the sheet, beyond its cut-offs too.
class AtRest {
 public:
  explicit AtRest(const Job& job);
  double state_of_charge(double voltage) const;  ///< `voltage` is taken within what the cell reaches
  double voltage(double state_of_charge) const;
  double within(double voltage) const;  ///< what the cell reaches at rest [V]

 private:
  const Job& job_;
  model::RestRange range_;
  double full_;  ///< charge from the inventory to full [C/m2]
};

/// Decides where the run of steps[first] and those behind it begins, from what was told, the rests, the first rows and
/// the counter of charge. Where an earlier step of the file begins in a state that is better known, the run begins
/// there.
///
/// A rest tells the state within what its voltage moves in its second half, and 1 mV; after a current, times the
/// doublings of the time that are left of two hours. The first row of the record is at rest where its current is none,
/// or where the voltage behind it shows at least half of the jump that the resistance of the file itself (or else the
/// model) asks for: the cell was still at rest when it was recorded. Less is enough where the shape of the voltage, or
/// a place next to full or empty, says the same; but a row next to full (empty) that shows less than 0.6 may have been
/// caught in its fall. Where the first row is under current next to full (empty), the state lies between that of its
/// voltage at rest and the end, as the jump tells to one half. Else it is unknown.
Beginning find_beginning(const Job& job, const params::Record& record, const std::vector<params::RecordedStep>& steps,
                         std::size_t first);

/// Where the start of `steps[first]` is unknown: by the first rest behind it that tells a state to 2 %, less the charge
/// passed until then.
std::optional<Beginning> beginning_by_rest_behind(const Job& job, const params::Record& record,
                                                  const std::vector<params::RecordedStep>& steps, std::size_t first);

/// The state from which the model meets the voltages of a recording best: least squares over the state of charge, steep
/// parts weighted down. `spread` from how fast the misfit grows, eight points of a curve counting as independent.
/// @param recording  run, rows and charge are made
Beginning fitted_beginning(const Job& job, const Recording& recording);

/// Weighted rms of the model against a recording from another start [V].
double misfit_from(const Job& job, const Recording& recording, double state_of_charge);

/// A voltage as `--rested-at` gives it: "4.15 V", or a file of measured data that ends with a rest.
/// @param files  gets that file with its SHA-256
/// @throws CommandLineError
double rested_voltage(const std::string& text, std::vector<params::SourceFile>& files);

}  // namespace onegrain::app
