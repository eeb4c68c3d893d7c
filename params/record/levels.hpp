#pragma once

#include <cstddef>
#include <vector>

#include "params/record/record.hpp"

/// What is level, noise and glitch in a recorded current: thresholds come from the noise of the file itself.
namespace onegrain::params {

inline constexpr double level_change = 0.05;   ///< of the larger of two currents: steps differ by more
inline constexpr double same_level = 0.02;     ///< rows of one level differ by less
inline constexpr double held_within = 2.5e-3;  ///< of a held voltage [V]: three times the coarsest usual recording step

/// The middle one of at least one value by size; of an even number the larger of the two in the middle.
double middle_of(std::vector<double> values);

/// Standard deviation of the white noise of a series around each row of [first, last], from how far a row lies off the
/// middle of its neighbours: median |d| / (0.6745 sqrt 1.5), over blocks of 64 rows. A few steps in a block and a slope
/// leave it alone.
///
/// @param noise  of all rows; those of [first, last] are filled in
void noise_around(const std::vector<double>& values, std::size_t first, std::size_t last, std::vector<double>& noise);

/// First rows of new levels inside rows [first, last]: places where the current jumps from one level to another and
/// keeps both.
///
/// Means of 2 rows on either side are compared, and of 4, 8, ... 64 where noise hides in fewer what is looked for. A
/// jump counts where it exceeds 5 % of the larger level and seven standard deviations of the difference of the means,
/// and is 2.5 times what the current moves inside either side, so that a fading current has no levels.
std::vector<std::size_t> level_changes(const std::vector<double>& current, const std::vector<double>& noise,
                                       std::size_t first, std::size_t last);

/// True where rows [first, last] hold one current but for white noise: block means stray from the mean by less than 1 %
/// and what the noise allows for.
bool is_constant(const std::vector<double>& current, const std::vector<double>& noise, std::size_t first,
                 std::size_t last);

/// Means of up to `width` rows around each row of [first, last], fewer near the ends, symmetric; `width` 1: as it is.
std::vector<double> smoothed(const std::vector<double>& values, std::size_t first, std::size_t last, std::size_t width);

/// Why each step ended, as far as the numbers tell: fills in RecordedStep::ended_by.
void tell_ends(const Record& record, std::vector<RecordedStep>& steps);

/// What the sensor did and not the cell. Spikes: single rows whose current stands far off the rows around while the
/// voltage does not follow get the mean of their neighbours, and a doubt. An offset: a current that is read at every
/// rest is taken off every row and kept in `Measured::current_offset`, if it exceeds 0.0005 of the largest current.
/// Glitches: one voltage, or two, that stand 10 mV, ten times the noise and five times what the voltage moves around
/// them off their neighbours, under one current, get what lies straight between these, and a doubt. So do the first and
/// last two rows under one current: the last where it stands 0.3 V and five times what the voltage moves there off the
/// one before it; the first where it does so against its current, or where it reads what leads read that hang in the
/// air (0 V, above 6 V). A first row that is older than its current, and a voltage that falls where it ends, stay.
void mend_sensors(Measured& data);

/// The part of mend_sensors() that is about voltages far off.
void mend_glitches(Measured& data);

/// The part of mend_sensors() that is about how much passes in a step. Where its current scatters by more than 0.5 %
/// each row gets the mean: the sum of noise over rows of uneven length is known less well. Where the file's own counter
/// of capacity goes with the current, differs from its integral by at most 5 % and is written finely enough, the
/// counter is taken, under such noise and where the two differ by more than 0.2 %: a cycler counts between the rows.
/// Both are put down in Measured::charges_taken.
void mend_charges(Measured& data);

}  // namespace onegrain::params
