#pragma once

#include <optional>
#include <string>
#include <vector>

/// Every number is asked whether it can be true before a sentence is built on it. The rules stand here, one function
/// each; the frame (app/command/present.hpp) puts what they found before the headline, in every rendering.
///
/// A rule returns nothing where the number can be true. Where the answer as a whole cannot be given it throws
/// NotCompleted: no figure, no file, exit status 4. A bound is an answer ("below 0.023C") and no fault of the
/// calculation; it is said first all the same.
namespace onegrain::app {
struct Job;
}

namespace onegrain::app::answer {

/// What cannot be believed as it stands. `rule` is its name in the summary, `sentence` says which number, why it cannot
/// be true or be relied on, and what to do.
struct Finding {
  std::string rule, sentence;
};

/// Adds what a rule found, once.
void take(std::vector<Finding>& findings, const std::optional<Finding>& found);

/// How a measured curve is met, with what it is to be held against.
struct Misfit {
  std::string curve;
  double rms;    ///< calculated minus measured [V]
  double noise;  ///< of the measurement, from row to row [V]
  double line;   ///< rms of the best straight line of voltage over charge: what no model at all reaches [V]
};
/// A fit that misses a curve by more than half cells of one material differ (usual_misfit(): common practice) and the
/// noise explain. @throws NotCompleted where it misses a curve by more than a straight line does: then no parameter of
/// it means anything
std::optional<Finding> misfit(const Misfit& found);
constexpr double usual_misfit() { return 0.03; }  // V

/// Estimates that have gone to the end of the range that was searched, each as "the contact resistance
/// (contact_resistance), 1e+04 ohm.cm2".
std::optional<Finding> ends_of_range(const std::vector<std::string>& estimates);

/// Starts of a search of which fewer than half arrive at the same minimum.
std::optional<Finding> lonely_minimum(int agreeing, int starts);

/// True of a capacity or a content of lithium further from the sheet than ageing or a wrong mass explain: half of it,
/// or twice.
bool far_from_sheet(double value, double sheet);
/// @param names, ratios  of those that are
std::optional<Finding> far_from_sheet(const std::vector<std::string>& names, const std::vector<double>& ratios);

/// Runs that meet their end within a moment (10 ms), so that nothing passes, each as "step 3, 5C charge, ended by ...".
std::optional<Finding> passed_nothing(const std::vector<std::string>& runs);

/// N/P that cannot be: both capacities are positive, and no cell is built with one electrode ten times the other
/// (common practice). @throws NotCompleted
void require_possible_ratio(double ratio);

/// @throws NotCompleted where a powder of the cell has grains of several sizes, which this verb cannot take yet.
/// @param why  "estimates take the grains of an electrode for alike"
void refuse_several_sizes(const Job& job, const char* why);

}  // namespace onegrain::app::answer
