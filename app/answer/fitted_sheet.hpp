#pragma once

#include <string>
#include <utility>
#include <vector>

#include "app/study/fitting.hpp"

namespace onegrain::app::answer {

/// The files that a fit leaves: the sheet with the estimates and the cards that it needs, all beside each other.
/// @param result  of the estimation, or study::as_given()
/// @param folder  where they go, see NewSheet
std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const study::Estimation& estimation,
                                                              const solver::FitResult& result,
                                                              const std::string& folder);

}  // namespace onegrain::app::answer
