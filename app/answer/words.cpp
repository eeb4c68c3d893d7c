#include "app/answer/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "app/render/table.hpp"

namespace onegrain::app {

const std::vector<std::string>& cautions() {
  static const std::vector<std::string> all = {
      "A prediction guides a test, it does not authorise it: the parameters are uncertain, and the model leaves things "
      "out.",
      "Stay within the limits of the cell maker, and of the material and electrolyte suppliers.",
      "Work under the risk assessment and the codes of your laboratory, with a licensed or supervising person where "
      "they "
      "ask for one.",
      "Lithium plating, overcharge and short circuits can cause fire and toxic gas (HF). Fast and cold charging plate "
      "first."};
  return all;
}

std::string electrolyte_remark(model::ElectrolyteModel electrolyte) {
  if (electrolyte == model::ElectrolyteModel::resolved) {
    return "Electrolyte: salt diffuses through negative, separator and positive, with the reaction spread evenly over "
           "each "
           "coating. A curve with a (?) lies beyond what this description can tell; its reason stands beside it.";
  }
  return "Electrolyte (uniform, for teaching): its resistance is counted, but salt stays at its starting concentration "
         "everywhere. At high rates "
         "and in thick coatings salt runs out on one side, and a real cell gives less than predicted here.";
}

std::vector<std::string> trust_criteria() {
  const solver::TrustLimits limits;
  return {
      fmt::format("Not relied on, and marked (?): salt anywhere below {:.0f} % of its starting concentration "
                  "(transport data of LiPF6 "
                  "electrolytes are measured from about 0.1 mol/L upwards; judgement).",
                  100 * limits.lowest_salt_share),
      fmt::format("Not relied on, and marked (?): a current above {:.0f} % of what the salt can carry in the steady "
                  "state, once the salt has "
                  "followed (judgement, held against full porous-electrode calculations of two published cells: below "
                  "it the voltage of the "
                  "resolved electrolyte stays within about 25 mV of them, that of the uniform one within about 45 mV).",
                  100 * limits.limiting_current_share),
      fmt::format("Not relied on, and marked (?): a reaction that is uneven across a coating, whose resistance, ionic "
                  "and electronic, is more "
                  "than {:g} times that of charge transfer, where the whole current would lose more than 2RT/F = 51 mV "
                  "in it (Newman and "
                  "Balsara, Electrochemical Systems, ch. 22, for the ratio; the drop is judgement).",
                  limits.unevenness),
      "Not relied on, and marked (?): a curve that ends because a grain surface is full or empty, or the salt used up, "
      "before its cut-off."};
}

namespace {

/// The curve of one direction nearest to a C-rate.
const NamedCurve* nearest(const std::vector<NamedCurve>& curves, double c_rate, bool charge) {
  const NamedCurve* best = nullptr;
  for (const NamedCurve& c : curves) {
    if (c.curve.is_charge() != charge) continue;
    if (!best || std::abs(std::log(c.c_rate / c_rate)) < std::abs(std::log(best->c_rate / c_rate))) best = &c;
  }
  return best;
}

/// The largest loss over a curve, averaged over its charge.
std::string largest_loss(const Job& job, const solver::StepSolution& step) {
  std::map<std::string, double> sums;
  for (const double t : solver::moments(step, 21, false)) {
    for (const LossPart& part : loss_parts(job, step.at(t))) sums[part.name] += part.volts / 21;
  }
  const auto largest = std::max_element(sums.begin(), sums.end(), [](auto& a, auto& b) { return a.second < b.second; });
  return fmt::format("{} ({} mV on average)", largest->first, digits(largest->second * 1e3, 2));
}

}  // namespace

std::vector<LossPart> loss_parts(const Job& job, const solver::Point& p) {
  const model::Terminal& v = p.terminal;
  const double sign = p.current > 0 ? 1 : -1;  // on charge a higher voltage is the loss
  const model::Cell& cell = job.cell;
  const bool full = cell.is_full_cell();
  std::vector<LossPart> parts;
  const double U_p = cell.positive.host.potential(p.positive_mean, p.temperature);
  parts.push_back(
      {full ? "diffusion in the positive grains" : "diffusion in the grains", sign * (v.positive_potential - U_p)});
  parts.push_back(
      {full ? "charge transfer at the positive" : "charge transfer at the grains", sign * v.positive_overpotential});
  if (full) {
    const double U_n = cell.negative->host.potential(p.negative_mean, p.temperature);
    parts.push_back({"diffusion in the negative grains", sign * (U_n - v.negative_potential)});
    parts.push_back({"charge transfer at the negative", -sign * v.negative_overpotential});
  } else {
    parts.push_back({"charge transfer at the lithium", -sign * v.negative_overpotential});
  }
  parts.push_back({"electrolyte resistance", sign * v.electrolyte});
  // Which parts there are depends on the cell alone, never on the moment.
  const bool solid = cell.positive.electronic_conductivity > 0 || (full && cell.negative->electronic_conductivity > 0);
  if (job.electrolyte == model::ElectrolyteModel::resolved) parts.push_back({"uneven salt", sign * v.concentration});
  if (solid) parts.push_back({"electronic resistance of the layers", sign * v.electronic});
  if (cell.contact_resistance > 0) parts.push_back({"contact resistance", sign * v.contact});
  return parts;
}

std::string bench_headline(const Job& job) {
  const params::Bench& b = job.bench;
  std::string text = fmt::format("1C is {} for this cell", b.one_c_current.text(3));
  text += fmt::format(": it should hold {} between {} and {} V.", b.equilibrium_capacity.text(3),
                      digits(job.cell.lower_voltage, 3), digits(job.cell.upper_voltage, 3));
  if (b.capacity_ratio) text += fmt::format(" N/P is {}.", b.capacity_ratio->text(3));
  return text;
}

std::string rates_headline(const Job& job, const std::vector<NamedCurve>& curves) {
  std::string text;
  for (const bool charge : {false, true}) {
    const NamedCurve* slow = nearest(curves, 1e-9, charge);
    const NamedCurve* one = nearest(curves, 1, charge);
    const NamedCurve* fast = nearest(curves, 1e9, charge);
    if (!slow) continue;
    if (!text.empty()) text += " ";
    const char* verb = charge ? "takes up" : "gives";
    if (slow == one && one == fast) {
      text += fmt::format("At {} ({} mA) the cell {} {} mAh, {} % of the rated capacity.", one->label,
                          digits(std::abs(job.milliamperes(one->curve.current)), 3), verb,
                          digits(job.milliampere_hours(one->curve.capacity), 3),
                          digits(100 * one->curve.capacity / job.base.one_hour_charge, 3));
    } else {
      const NamedCurve* middle = one == slow ? fast : one;
      text += fmt::format("At {} ({} mA) the cell {} {} mAh, {} % of what it {} at {}", middle->label,
                          digits(std::abs(job.milliamperes(middle->curve.current)), 3), verb,
                          digits(job.milliampere_hours(middle->curve.capacity), 3),
                          digits(100 * middle->curve.capacity / slow->curve.capacity, 3), charge ? "takes" : "gives",
                          slow->label);
      if (fast != middle) {
        text += fmt::format("; at {} {} %", fast->label, digits(100 * fast->curve.capacity / slow->curve.capacity, 3));
      }
      text += ".";
      if (middle->curve.step.duration() > 0) {
        text += fmt::format(" The largest loss at {} is {}.", middle->label, largest_loss(job, middle->curve.step));
      }
    }
  }
  return text;
}

std::string follow_headline(const Job& job, const std::vector<NamedStep>& steps) {
  if (steps.empty()) return {};
  const NamedStep& last = steps.back();
  double charged = 0, discharged = 0;
  for (const NamedStep& s : steps) {
    const double q = job.milliampere_hours(s.run.solution.last().charge - s.run.solution.first().charge);
    (q > 0 ? charged : discharged) += std::abs(q);
  }
  return fmt::format("The protocol takes {}; {} mAh go into the cell and {} mAh come out. It ends at {} V.",
                     duration(last.run.start_time + last.run.solution.duration()), digits(charged, 3),
                     digits(discharged, 3), digits(last.run.solution.last().terminal.voltage, 4));
}

}  // namespace onegrain::app
