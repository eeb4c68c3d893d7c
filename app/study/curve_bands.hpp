#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "app/study/curves.hpp"

/// What 95 % of the cells that the spreads of a sheet allow would give under the currents of its curves.
namespace onegrain::app::study {

struct BandsAsked {
  int cells = 0;
  std::uint64_t seed = 1;
  int threads = 0;  ///< 0: all cores
};

/// Fewer cells tell nothing of the outermost 2.5 % on either side.
constexpr int least_band_cells = 64;

struct CurveBands {
  int cells = 0, unsolved = 0;
  std::string unsolved_because;  ///< of the first of them
};

/// Gives every curve its band: the same plausible cells as `ceiling` draws, each from its own full or empty state at
/// the same mA. Pointwise intervals of the cells that could be solved; where a curve has ended in some of them these
/// stand at their cut-off.
/// @throws NotCompleted  where the user interrupts, or where no cell could be solved
CurveBands add_bands(const Job& job, const CurvesAsked& asked, const BandsAsked& bands, std::vector<NamedCurve>& curves,
                     const std::function<void(int done, int of)>& progress);

}  // namespace onegrain::app::study
