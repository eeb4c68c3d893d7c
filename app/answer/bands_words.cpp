#include "app/answer/bands_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/command/progress.hpp"

namespace onegrain::app::answer {

namespace {

std::string between(const study::CurveBand& band) {
  const auto amount = [](double charge) { return digits(charge / 3.6, 3); };
  return amount(band.least_capacity) + " to " + amount(band.most_capacity);
}

}  // namespace

std::vector<TableColumn> band_columns() {
  return {{"", "95 % of cells, mAh", {}, read},
          {"capacity_low", "", measure<params::Charge>(), summary},
          {"capacity_high", "", measure<params::Charge>(), summary}};
}

void add_band(Row& row, const study::CurveBand& band) {
  row.insert(row.end(), {between(band), band.least_capacity, band.most_capacity});
}

study::CurveBands banded(const Request& request, const Channels& channels, const Job& job,
                         const study::CurvesAsked& asked, std::vector<NamedCurve>& curves) {
  if (request.band_cells == 0) return {};
  Progress progress(channels);
  return study::add_bands(job, asked, {request.band_cells, request.seed, request.threads}, curves,
                          [&](int done, int of) { progress.bar("plausible cells", done, of); });
}

std::string bands_words(const Request& request, const study::CurveBands& bands, const std::vector<NamedCurve>& curves) {
  if (request.band_cells == 0) return "";
  if (bands.cells == 0) return "There is no band: the sheet and its cards state no spread.";
  const bool charge = curves.front().curve.is_charge();
  const NamedCurve* one = nullptr;
  for (const NamedCurve& c : curves) {
    if (c.curve.is_charge() != charge) continue;
    if (!one || std::abs(std::log(c.c_rate)) < std::abs(std::log(one->c_rate))) one = &c;
  }
  std::string words = fmt::format(
      "95 % of {} plausible cells, drawn from what the sheet knows (seed {}), {} {} mAh at {}.",
      bands.cells - bands.unsolved, request.seed, charge ? "take up" : "give", between(*one->band), one->label);
  if (bands.unsolved > 0)
    words += fmt::format(" {} more could not be calculated and are left out; the first: {}.", bands.unsolved,
                         bands.unsolved_because);
  return words;
}

}  // namespace onegrain::app::answer
