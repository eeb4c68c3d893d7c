#include "app/answer/words.hpp"

#include <fmt/format.h>

#include "app/answer/curves_words.hpp"
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

std::string electrolyte_remark(model::ElectrolyteModel electrolyte, bool full_cell) {
  if (electrolyte == model::ElectrolyteModel::resolved) {
    return fmt::format("Electrolyte: salt diffuses through {}, with the reaction spread evenly over {}.",
                       full_cell ? "negative, separator and positive" : "separator and working electrode",
                       full_cell ? "each coating" : "the coating");
  }
  return "Electrolyte (uniform, for teaching): its resistance is counted, but salt stays at its starting concentration "
         "everywhere. At high rates and in thick coatings salt runs out on one side, and a real cell gives less than "
         "predicted here.";
}

std::vector<std::string> trust_criteria() {
  const solver::TrustLimits limits;
  return {fmt::format("Not relied on, and marked (?): salt anywhere below {:.0f} % of its starting concentration "
                      "(transport data of LiPF6 electrolytes are measured from about 0.1 mol/L upwards; judgement).",
                      100 * limits.lowest_salt_share),
          fmt::format("Not relied on, and marked (?): a current above {:.0f} % of what the salt can carry in the "
                      "steady state, once the salt has followed (judgement, held against full porous-electrode "
                      "calculations of two published cells: below it the voltage of the resolved electrolyte stays "
                      "within about 25 mV of them, that of the uniform one within about 45 mV).",
                      100 * limits.limiting_current_share),
          fmt::format("Not relied on, and marked (?): a reaction that is uneven across a coating, whose resistance, "
                      "ionic and electronic, is more than {:g} times that of charge transfer, where the whole current "
                      "would lose more than 2RT/F = 51 mV in it (Newman and Balsara, Electrochemical Systems, ch. 22, "
                      "for the ratio; the drop is judgement).",
                      limits.unevenness),
          "Not relied on, and marked (?): a curve that ends because a grain surface is full or empty, or the salt used "
          "up, before its cut-off."};
}

}  // namespace onegrain::app
