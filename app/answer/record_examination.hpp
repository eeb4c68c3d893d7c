#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/answer/examination.hpp"
#include "app/study/fitting.hpp"
#include "app/study/overlay.hpp"

/// What is asked of every measured record before a sentence is built on it: how it begins, what its sensor did, whether
/// it is of this cell. The rules that refuse stand where the record is read (app/study/recorded.hpp).
namespace onegrain::app::answer {

/// A start that was not measured but fitted, or that what tells it leaves open by more than known_within.
std::optional<Finding> uncertain_start(const Recording& recording);

/// More charge in one step than the cell of the sheet holds, or clearly less from cut-off to cut-off at a slow rate.
std::optional<Finding> other_size(const Job& job, const Recording& recording);

/// Another start would halve how far the model is off.
std::optional<Finding> start_to_blame(const study::OverlaidRun& run);

/// A charge or discharge that the model misses by more than 0.1 V over half of the charge: it is not this cell. A steep
/// end that is missed makes the rms large and says little.
std::optional<Finding> not_described(const study::OverlaidRun& run);

/// A charge or discharge over half of the window, and 0.3 of the capacity, of which the model is further off than the
/// best straight line, and more than cells of one kind differ by: it predicts nothing of this cell.
std::optional<Finding> worse_than_a_line(const Job& job, const study::OverlaidRun& run);

/// The time starts anew within a step, under current.
std::optional<Finding> clock_set(const Recording& recording);

/// Rows so far apart where the current of a step comes up or ends that its charge is known to worse than half a per
/// cent.
std::optional<Finding> rows_far_apart(const Recording& recording);

/// More than one voltage in fifty stands far off its neighbours.
std::optional<Finding> many_glitches(const Recording& recording);

/// Charge that comes out and did not go in; see params::examine_balance().
std::optional<Finding> open_balance(const Recording& recording);

/// The integral of the current over a step and the file's own counter of capacity disagree by more than half a per
/// cent, and no noise explains it: an offset that no rest shows, a scaled current, a counter in another unit. Which of
/// the two was taken is said; see params::mend_charges().
std::optional<Finding> counter_disagrees(const Recording& recording);

/// A current so noisy over so few rows that its charge is known to worse than half a per cent, and no counter.
std::optional<Finding> charge_scatters(const Recording& recording);

/// A capacity that differs from what is expected by 1 % and more, yet by no more than an offset of 0.4 % of 1C makes of
/// it at this rate, where neither a rest nor a counter shows whether there is one.
/// @param measured, expected  of the cell, or of this step of the file [C, or any unit]
std::optional<Finding> sensor_unchecked(const Job& job, const Recording& recording, std::size_t step, double measured,
                                        double expected);
/// The same of the steps of an overlay, measured and predicted.
std::optional<Finding> sensor_unchecked(const Job& job, const study::OverlaidRun& run);

/// A rest under current in one place, which may be something else; more are refused. See rests_under_current().
std::optional<Finding> current_at_rest(const Job& job, const Recording& recording);

/// A record that begins warmer or colder than the surroundings of the sheet by more than 3 K, where its heat balance is
/// to tell the temperature.
std::optional<Finding> other_surroundings(const Job& job, const Recording& recording);

/// A measured temperature that the heat balance of the sheet misses by more than 3 K.
std::optional<Finding> heat_not_described(const study::OverlaidRun& run);

/// Adds what the rules about a run find.
void examine(const Job& job, const study::OverlaidRun& run, std::vector<Finding>& findings);

std::vector<const Recording*> recordings_of(const study::Estimation& estimation);
std::vector<const Recording*> recordings_of(const study::Overlay& overlay);
/// The rules that need no model.
std::vector<Finding> examined(const Job& job, const std::vector<const Recording*>& recordings);

}  // namespace onegrain::app::answer
