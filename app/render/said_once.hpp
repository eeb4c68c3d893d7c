#pragma once

#include <algorithm>
#include <iterator>
#include <string>
#include <vector>

#include "app/answer/answer.hpp"

namespace onegrain::app::render {

/// The warnings that do not begin the headline already: what a person reads says nothing twice. (The summary, for
/// machines, has all of them in its list.)
inline std::vector<std::string> warnings_beside_headline(const answer::Answer& said) {
  std::vector<std::string> rest;
  std::copy_if(said.warnings.begin(), said.warnings.end(), std::back_inserter(rest), [&](const std::string& warning) {
    return std::none_of(said.findings.begin(), said.findings.end(),
                        [&](const answer::Finding& finding) { return finding.sentence == warning + "."; });
  });
  return rest;
}

}  // namespace onegrain::app::render
