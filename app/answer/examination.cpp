#include "app/answer/examination.hpp"

#include <algorithm>

namespace onegrain::app::answer {

void take(std::vector<Finding>& findings, const std::optional<Finding>& found) {
  if (!found) return;
  const bool known = std::any_of(findings.begin(), findings.end(),
                                 [&](const Finding& other) { return other.sentence == found->sentence; });
  if (!known) findings.push_back(*found);
}

}  // namespace onegrain::app::answer
