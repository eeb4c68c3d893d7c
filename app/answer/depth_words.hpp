#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/job.hpp"
#include "app/study/depth.hpp"

/// What is said and drawn of the depth of the coatings: how the grains are filled from foil to separator, and how
/// unevenly they react. Nothing of it where the reaction is taken as even.
namespace onegrain::app::answer {

/// Of both electrodes (half cell: of the working electrode, as the positive).
struct DepthTold {
  std::optional<study::DepthSpread> positive, negative;  ///< none where there is nothing to tell
  double duration;                                       ///< of the step [s]

  explicit DepthTold(const solver::StepSolution& step);
  /// The largest difference of filling between separator and foil, at any moment [1].
  double lead() const;
};

/// "In the 2C discharge the grains of the positive come to be up to 9.6 points fuller at the separator than at the foil
/// (at its end), those of the negative come to be up to 28 points emptier (after 62 % of its time). The reaction is at
/// its most uneven 2.1 times its mean, in the negative at the separator." Empty where there is nothing to say.
std::string depth_words(const Job& job, const DepthTold& depth, const std::string& name);

/// Mean filling of the grains from the foil to the separator at five moments.
Plot depth_profile(const Job& job, const solver::StepSolution& step, const std::string& name, bool positive);

/// Plots of one electrode get one scale.
void share_scale(std::vector<Plot>& plots);

/// A step that is shown, with its name: "5C discharge".
struct ShownStep {
  std::string name;
  const solver::StepSolution* step;
};
/// "Over the depth of the coatings": what is seen at the most uneven of the steps, and a plot per electrode and step.
/// Nothing where there is nothing to show.
void add_depth_section(Answer& said, const Job& job, const std::vector<ShownStep>& shown);
/// "Inside the grains", with what its plots show; these are to come.
Section grains_section(const Job& job);

/// Columns of a table of curves or steps that the summary alone holds, and their cells. No columns where the reaction
/// is taken as even.
std::vector<TableColumn> depth_columns(const Job& job);
void add_depth(Row& row, const Job& job, const DepthTold& depth);

}  // namespace onegrain::app::answer
