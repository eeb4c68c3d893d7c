#include "app/answer/words.hpp"

#include <fmt/format.h>

#include "app/answer/curves_words.hpp"
#include "app/job.hpp"
#include "app/study/second_opinion.hpp"
#include "app/study/voltage_parts.hpp"

namespace onegrain::app {

const std::vector<std::string>& cautions() {
  static const std::vector<std::string> all = {
      "A prediction guides a test, it does not authorise it: the parameters are uncertain, and the model leaves things "
      "out.",
      "Stay within the limits of the cell maker, and of the material and electrolyte suppliers.",
      "Work under the risk assessment and the codes of your laboratory, with a licensed or supervising person where "
      "they ask for one.",
      "Lithium plating, overcharge and short circuits can cause fire and toxic gas (HF). Fast and cold charging plate "
      "first."};
  return all;
}

std::string ended_by(const solver::StepSolution& step) {
  return solver::name_of(step.ended_by(), step.model().cell().is_full_cell());
}

std::string listed(const std::vector<std::string>& names) {
  std::string list;
  for (std::size_t k = 0; k < names.size(); ++k)
    list += (k == 0 ? "" : k + 1 == names.size() ? " and " : ", ") + names[k];
  return list;
}

std::string untrusted(const solver::Trust& trust) {
  std::string text;
  for (const std::string& reason : trust.reasons) text += (text.empty() ? "" : "; ") + reason;
  return text;
}

std::string model_remark(const Job& job) {
  const bool full = job.cell.is_full_cell(), uneven = job.reaction == model::Reaction::uneven;
  const std::string reaction =
      uneven ? fmt::format("the reaction is resolved over the depth of {}", full ? "both coatings" : "the coating")
             : fmt::format("the reaction is taken as even over the depth of {}", full ? "each coating" : "the coating");
  if (job.electrolyte == model::ElectrolyteModel::resolved) {
    return fmt::format("Electrolyte: salt diffuses through {}; {}.",
                       full ? "negative, separator and positive" : "separator and working electrode", reaction);
  }
  return "Electrolyte (uniform, for teaching): its resistance is counted, but salt stays at its starting concentration "
         "everywhere; " +
         reaction +
         ". At high rates and in thick coatings salt runs out on one side, and a real cell gives less than predicted "
         "here.";
}

std::vector<std::string> trust_criteria(model::Reaction reaction) {
  const solver::TrustLimits limits;
  std::vector<std::string> criteria = {fmt::format(
      "Not relied on, and marked (?): salt anywhere below {:.0f} % of its starting concentration (transport "
      "data of LiPF6 electrolytes are measured from about 0.1 mol/L upwards; judgement), or above what the "
      "electrolyte's card knows.",
      100 * limits.lowest_salt_share)};
  const std::string limiting = fmt::format(
      "a current above {:.0f} % of what the salt can carry in the steady state, once the salt has followed "
      "(judgement, held against full porous-electrode calculations of two published cells",
      100 * limits.limiting_current_share);
  if (reaction == model::Reaction::even) {
    criteria.push_back(fmt::format(
        "Not relied on, and marked (?): an even reaction where the resolved one, asked under the same current, has a "
        "voltage more than {:.0f} mV off anywhere from {:.0f} to {:.0f} % of the charge, or passes more than {:g} % "
        "more "
        "or less charge (judgement: what half cells of one material differ by, and what capacities of careful coin "
        "cells "
        "scatter by).",
        1e3 * study::doubted_voltage, 100 * study::compared_from, 100 * study::compared_to,
        100 * study::doubted_capacity));
    criteria.push_back(
        "Not relied on, and marked (?), where salt is taken to rest, or the resolved reaction cannot be "
        "asked: " +
        limiting + ").");
    criteria.push_back(fmt::format(
        "Not relied on, and marked (?), where the resolved reaction cannot be asked: a coating whose resistance, ionic "
        "and electronic, is more than {:g} times that of charge transfer, where the whole current would lose more than "
        "2RT/F = 51 mV in it (Newman and Balsara, Electrochemical Systems, ch. 22, for the ratio; the drop is "
        "judgement).",
        limits.unevenness));
  } else {
    criteria.push_back("Not relied on, and marked (?), where salt is taken to rest: " + limiting + ").");
    criteria.push_back(fmt::format(
        "Not relied on, and marked (?): a reaction so uneven over the depth of a coating that the points at "
        "which it is resolved may cost more than {:g} mV.",
        1e3 * limits.depth_error));
  }
  criteria.push_back(
      "Not relied on, and marked (?): a curve that ends because a grain surface is full or empty, or the salt used up, "
      "before its cut-off.");
  return criteria;
}

}  // namespace onegrain::app
