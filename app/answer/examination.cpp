#include "app/answer/examination.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"
#include "app/command/commands.hpp"
#include "app/job.hpp"

namespace onegrain::app::answer {

void take(std::vector<Finding>& findings, const std::optional<Finding>& found) {
  if (!found) return;
  const bool known = std::any_of(findings.begin(), findings.end(),
                                 [&](const Finding& other) { return other.sentence == found->sentence; });
  if (!known) findings.push_back(*found);
}

std::optional<Finding> misfit(const Misfit& found) {
  const std::string rms = millivolts(std::max(found.rms, 1e-5));
  if (!(found.rms < found.line) && !(found.rms <= 2 * found.noise + usual_misfit())) {
    throw NotCompleted(
        fmt::format("the model misses {} by {} mV rms, where a straight line through it misses it by {} mV: nothing "
                    "can be told from such a fit. Look at the state in which the record begins, the sign and the unit "
                    "of its current, and whether sheet and record are of the same cell",
                    found.curve, rms, millivolts(std::max(found.line, 1e-5))));
  }
  if (found.rms <= 2 * found.noise + usual_misfit()) return std::nullopt;
  return Finding{"misfit", fmt::format("the model misses {} by {} mV rms, where half cells of one material differ by "
                                       "some 20 mV and the measurement scatters by {}: something in the sheet, a card "
                                       "or the record is not that of this cell, and the intervals do not know of it.",
                                       found.curve, rms, millivolts(std::max(found.noise, 1e-5)) + " mV")};
}

std::optional<Finding> ends_of_range(const std::vector<std::string>& estimates) {
  if (estimates.empty()) return std::nullopt;
  const bool one = estimates.size() == 1;
  return Finding{"end_of_range",
                 fmt::format("{} {} gone to the end of the range that was searched: {} no estimate{}. The sheet, a "
                             "card or the data are not those of this cell.",
                             listed(estimates), one ? "has" : "have", one ? "that is" : "these are", one ? "" : "s")};
}

std::optional<Finding> lonely_minimum(int agreeing, int starts) {
  if (starts < 3 || 2 * agreeing >= starts) return std::nullopt;
  return Finding{"lonely_minimum",
                 fmt::format("{} of {} starts of the search arrive at the minimum that is told: there may be a better "
                             "one, and other values that do as well. Free fewer values, or add a curve.",
                             agreeing == 1 ? "only 1" : fmt::format("only {}", agreeing), starts)};
}

bool far_from_sheet(double value, double sheet) { return !(value > 0.5 * sheet && value < 2 * sheet); }

std::optional<Finding> far_from_sheet(const std::vector<std::string>& names, const std::vector<double>& ratios) {
  if (names.empty()) return std::nullopt;
  std::vector<std::string> times;
  for (const double ratio : ratios) times.push_back(digits(ratio, 2));
  return Finding{"far_from_sheet",
                 fmt::format("{} come{} out at {} times what the sheet has, more than ageing or a wrong mass explain: "
                             "area, thickness or the unit of the current is wrong, or the record is of another cell.",
                             listed(names), names.size() == 1 ? "s" : "", listed(times))};
}

std::optional<Finding> passed_nothing(const std::vector<std::string>& runs) {
  if (runs.empty()) return std::nullopt;
  std::string all;
  for (const std::string& run : runs) all += (all.empty() ? "" : "; ") + run;
  return Finding{"passed_nothing",
                 fmt::format("nothing passes in {}: {} met within a hundredth of a second. The current is beyond what "
                             "this cell takes from there, or it stands at that end already.",
                             all, runs.size() == 1 ? "that is" : "these are")};
}

void require_possible_ratio(double ratio) {
  if (ratio > 0.1 && ratio < 10) return;
  throw NotCompleted(fmt::format(
      "N/P comes out at {}, which no cell has: the curve does not tell how its electrodes lie over each other",
      digits(ratio, 3)));
}

void refuse_several_sizes(const Job& job, const char* why) {
  const auto mixed = [](const model::Electrode& layer) { return !layer.classes.empty(); };
  if (!mixed(job.cell.positive) && !(job.cell.negative && mixed(*job.cell.negative))) return;
  const bool of_positive = mixed(job.cell.positive);
  const params::ElectrodeSheet& electrode = of_positive ? job.sheet.positive : *job.sheet.negative;
  throw NotCompleted(fmt::format(
      "{}, and '{}.grain_sizes' has several sizes: write 'particle_radius: {}' instead for what its surface does, or "
      "'{}' for what slow diffusion does, and name the one that was taken",
      why, electrode.key, params::show(electrode.particle_radius.si, params::LengthKind::kind, 4),
      params::show(electrode.diffusion_radius(), params::LengthKind::kind, 4)));
}

}  // namespace onegrain::app::answer
