#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "params/record/measured.hpp"

/// What a cycler did, found again in what it recorded.
namespace onegrain::params {

enum class StepKind {
  rest,       ///< no current, but for noise
  charge,     ///< positive current
  discharge,  ///< negative current
  hold,       ///< the voltage stays while the current fades
  varied      ///< the current changes at nearly every row, as in a driving profile
};
const char* step_kind_name(StepKind kind);

/// Why a step ended, as far as the numbers tell.
enum class StepEnd {
  unknown,
  voltage,  ///< at the extreme voltage of the step, a round value, one that other steps end at, or one that is then
            ///< held
  current,  ///< of a hold
  time,     ///< after a round time: whole minutes, or tens of seconds up to ten minutes
  record    ///< the record ends, and nothing above is seen
};

struct RecordedStep {
  StepKind kind;
  std::size_t first, last;             ///< rows of the record, both belong to the step
  double start;                        ///< time of the first row [s]
  double duration;                     ///< from the first row to the last [s]
  double charge;                       ///< integral of the current, charging positive [C]; see recorded_steps()
  double mean_current;                 ///< over the step's own rows [A]
  double first_voltage, last_voltage;  ///< [V]
  double last_current;                 ///< [A]
  StepEnd ended_by;
  bool constant = false;  ///< one current but for noise; the first row does not count
  double noise = 0;       ///< standard deviation of the current from row to row [A]

  bool is_sweep() const { return kind == StepKind::charge || kind == StepKind::discharge; }
};

/// Largest |current| of all rows [A]; 0 for none.
double largest_current(const Record& record);
/// The first row of [first, last] that is not before `time` [s]; `last` where all others are.
std::size_t row_at(const Record& record, std::size_t first, std::size_t last, double time);

/// Largest |current| that counts as rest [A]: 0.001 of the largest current, moved to a range without rows nearby
/// (0.0003 to 0.02) where there is one.
double rest_current(const Record& record);

/// The steps of a record, in order; every row belongs to one.
///
/// A step begins where the current starts, stops or turns; where it moves from one level to another by more than 5 %
/// and by more than its own noise can (level_changes()); where the step number or the state of the file changes. A
/// single first row that was recorded before the current came up goes to the step that it opens. The end of a charge or
/// discharge in which the voltage stays within 2.5 mV, or four times its noise, while the current fades by more than 5
/// % is a hold. Runs of eight and more steps in which the current keeps no level are `varied`.
///
/// A rest is also what a sensor with an offset or with noise around zero reads: a sign that flips while the voltage
/// does not follow; or a steady current of at most 5 % of the largest, the least in the file, that begins and ends with
/// a jump, passes at most 1.5 % of the largest sweep, under a voltage that looks_at_rest().
///
/// charge: trapezoidal rule. Of the interval between the last row of a step and the first of the next, each step takes
/// the half at its own current, so that the sum over all steps is the integral over the whole record; an interval
/// between two steps more than three times longer than its neighbours (and than 1 s) is a pause of the record, in which
/// nobody knows when the current switched, and counts for neither.
/// Empty for a record without rows.
std::vector<RecordedStep> recorded_steps(const Record& record);

/// The voltage of rows [first, last] keeps within 5 mV, or moves in the second half of the time at most half as far as
/// in the first.
bool looks_at_rest(const Record& record, std::size_t first, std::size_t last);

/// The interval from row k to the next, between two steps, is one in which the record goes on: at most three times as
/// long as those around it (and than 1 s).
bool bridged(const Record& record, std::size_t k);

/// Integral of the current from one row to a later one by the trapezoidal rule [C].
double charge_between(const Record& record, std::size_t from, std::size_t to);

/// What passed in a step by the file's own counter of capacity, and by the current between the same rows: the step's
/// own, since its opening row may still show the old count. Nothing where the file counts nothing there.
std::optional<CountedCharge> counted_charge(const Record& record, const RecordedStep& step);

/// Charge over the whole record by the trapezoidal rule, pauses between steps left out [C].
struct ChargeBalance {
  double integrated;  ///< integral of the current
  double steps;       ///< sum of the steps' charges
  double passed;      ///< integral of |current|: what differences are compared with
  std::optional<double>
      largest_deviation;  ///< of a step of >= 1 % of the largest from the file's own capacity, relative
};
ChargeBalance charge_balance(const Record& record, const std::vector<RecordedStep>& steps);

/// Doubtful rows that are kept: repeated rows and times, gaps, jumps, signs that contradict the voltage.
///
/// gap: an interval of more than a minute, ten times longer than the two before and the two after. voltage_jump: more
/// than 10 mV between two rows under the same current, ten times the change before and after. contrary_voltage: 20 mV
/// the wrong way from the first row of a charge or discharge to its last, unless a larger current of the same sign went
/// before. unsigned_current, turned_current: see direction_of().
void examine(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts);

/// Under current more than half of the rows lie on one course with the row after next, and the row between on another:
/// as rows of two channels written in turn do. White noise does so one time in ten.
bool interleaved(const Record& record);

/// The time falls in more than a third of the rows: the newest stands first.
bool runs_backwards(const Measured& data);

/// Whether a positive current charges, by what the voltage does.
enum class Direction {
  as_agreed,     ///< the voltage rises under positive current, or nothing tells
  turned,        ///< it falls under positive and rises under negative current, or only one of the two is there
  without_sign,  ///< no current is negative, and the voltage both rises and falls
};
/// By the charges and discharges that pass at least 2 % of the charge of the largest and, past their first fifth, move
/// the voltage by 10 mV or more: each counts by how far it moves. Four fifths must speak against the agreed sign.
Direction direction_of(const Record& record, const std::vector<RecordedStep>& steps);

/// The part of examine() that is about charge which comes out and did not go in. Where a charge (or its hold) ends as
/// an earlier one did, at the same voltage and current, the cell is in the same state, whatever it did in between: what
/// came out must have gone in again. So must it where two discharges end alike. 1 % more out than in is no cell, 5 %
/// more in than out hardly one, past the first charge, of which much is bound for good. Both are what a sensor with an
/// offset makes of a sound cell.
void examine_balance(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts);

/// The part of examine() that is about the sign of the current.
void examine_direction(const Record& record, const std::vector<RecordedStep>& steps, Doubts& doubts);

}  // namespace onegrain::params
