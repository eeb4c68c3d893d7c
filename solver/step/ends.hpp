#pragma once

#include <string>

namespace onegrain::solver {

constexpr double surface_limit = 1e-6;  ///< a grain surface is full or empty this close to 1 or 0
constexpr double used_up_salt = 0.005;  ///< salt: below this share of its mean the description has ended

/// Why a step ended.
enum class Ended {
  voltage,
  time,
  current,
  capacity,
  temperature,
  separator_side,
  salt_used_up,
  positive_surface_full,
  positive_surface_empty,
  negative_surface_full,
  negative_surface_empty
};

/// A name for results and messages: "voltage cut-off", "time", "positive grain surface full", ...
/// In words; a half cell has grains in its working electrode alone, which is not "the positive".
std::string name_of(Ended ended, bool full_cell = true);

/// True for the ends that nobody asks for: a grain surface full or empty, salt used up.
bool is_physical(Ended ended);

}  // namespace onegrain::solver
