#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/recorded.hpp"

/// Words, plots and tables of what was measured that more than one verb shows: `overlay`, `fit`, `balance`.
namespace onegrain::app::answer {

/// "slow.csv" of "data/slow.csv", and "slow".
std::string file_name(const std::string& path);
std::string file_stem(const std::string& path);

/// "from rest at 4.3282 V, at the end of the rest before".
std::string start_words(const Recording& recording);
/// "at the measured temperature", "at the temperature of the sheet"; with the columns of temperature that the file has
/// and nobody named.
std::string temperature_words(const Recording& recording);
/// What was mended in a record: "; 19.6 mA that the sensor reads at every rest are taken off each row". Empty where
/// nothing was.
std::string mended_words(const Recording& recording);

/// A measured curve and the calculated one, over charge or time.
struct Compared {
  std::string label;                ///< at the end of the line and under the pointer; may be empty
  std::vector<double> x, measured;  ///< SI; NaN leaves a gap
  std::vector<double> model;        ///< SI; NaN where the calculation does not reach
  bool doubtful = false;            ///< the calculated one is not to be relied on
};
/// What the curves are drawn over.
struct ComparedOver {
  std::string title, description;  ///< description: what there is to see, for those who do not
  Axis x;
  std::string voltage = "Voltage";  ///< or what else was measured, then with the two measures below
  std::vector<Stage> stages = {};
  Plot::Names names = Plot::Names::below;
  Measure value = measure<params::Voltage>(), difference = measure<params::Voltage>("mV", 3);
};
/// Two plots, one below the other: voltage, and calculated minus measured. Where either would flatten all the rest its
/// scale is cut, and the plot says so. Empty where there is nothing to draw.
std::vector<Block> compared_plots(const std::vector<Compared>& curves, const ComparedOver& over);

/// What the looks of measured and calculated lines mean.
std::vector<std::pair<LineRole, std::string>> compared_key();

/// Ends of a scale that shows nearly all values and zero: a few far off must not flatten the rest.
std::pair<double, double> robust_range(std::vector<double> values);

/// "beyond this scale: down to -310 mV, up to 1200 mV"; empty where all lies within.
std::string beyond_words(const std::vector<double>& values, double low, double high, const Measure& measure);

/// How the records were understood, at the end of a page.
Table records_table(const std::vector<const Recording*>& recordings);

}  // namespace onegrain::app::answer
