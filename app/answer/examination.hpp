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
namespace onegrain::app::answer {

/// What cannot be believed as it stands. `rule` is its name in the summary, `sentence` says which number, why it cannot
/// be true or be relied on, and what to do.
struct Finding {
  std::string rule, sentence;
};

/// Adds what a rule found, once.
void take(std::vector<Finding>& findings, const std::optional<Finding>& found);

}  // namespace onegrain::app::answer
