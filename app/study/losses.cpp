#include "app/study/losses.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <new>

#include "app/answer/words.hpp"
#include "app/render/table.hpp"

namespace onegrain::app {

namespace {

using params::Sheet;

/// Mass and thickness of a coating, or the thickness of a layer, by the same factor: the density stays.
void make_thinner(params::ElectrodeSheet& e, double factor) {
  if (e.layer) e.layer->thickness.si *= factor;
  if (!e.coating) return;
  e.coating->thickness.si *= factor;
  if (e.coating->loading) e.coating->loading->si *= factor;
  if (e.coating->coated_disc_mass && e.coating->foil_mass) {
    const double foil = e.coating->foil_mass->si;
    e.coating->coated_disc_mass->si = foil + factor * (e.coating->coated_disc_mass->si - foil);
  }
}

/// The same coating pressed less: the pores take up `more` of a thicker layer.
void press_less(params::ElectrodeSheet& e, double plate_area, double more) {
  const double before = e.porosity(plate_area), after = before + more, factor = (1 - before) / (1 - after);
  if (e.layer) {
    e.layer->thickness.si *= factor;
    e.layer->active_fraction.si /= factor;
    e.layer->porosity.si = after;
  }
  if (e.coating) e.coating->thickness.si *= factor;
}

void each_electrode(Sheet& sheet, const std::function<void(params::ElectrodeSheet&)>& change) {
  change(sheet.positive);
  if (sheet.negative) change(*sheet.negative);
}

struct Trial {
  std::string change, side_effect;
  Sheet sheet;
};

std::vector<Trial> trials(const Job& job) {
  const Sheet& now = job.sheet;
  const double area = job.plate_area();
  const bool full = job.cell.is_full_cell();
  std::vector<Trial> list;
  const auto add = [&](std::string change, std::string side_effect, const std::function<void(Sheet&)>& apply) {
    Sheet sheet = now;
    apply(sheet);
    list.push_back({std::move(change), std::move(side_effect), std::move(sheet)});
  };
  const auto radius = [&](const params::ElectrodeSheet& e) {
    return params::show(0.5 * e.particle_radius.si, *e.particle_radius.kind, 3);
  };
  const char* finer =
      "more surface: more film and lithium bound on it, a thirstier ink, more dust in the air (mask, hood)";
  add(fmt::format("grains of the {} half as large, radius {}", full ? "positive" : "working electrode",
                  radius(now.positive)),
      finer, [](Sheet& s) { s.positive.particle_radius.si *= 0.5; });
  if (now.negative) {
    add(fmt::format("grains of the negative half as large, radius {}", radius(*now.negative)), finer,
        [](Sheet& s) { s.negative->particle_radius.si *= 0.5; });
  }
  add(full ? "both coatings a fifth thinner, equally dense" : "the coating a fifth thinner, equally dense",
      "less capacity per area: more foil and separator for the same charge",
      [](Sheet& s) { each_electrode(s, [](params::ElectrodeSheet& e) { make_thinner(e, 0.8); }); });
  add(full ? "both coatings pressed less, porosity 5 points higher"
           : "the coating pressed less, porosity 5 points higher",
      "thicker for the same charge, weaker contact between the grains, more electrolyte to fill",
      [&](Sheet& s) { each_electrode(s, [&](params::ElectrodeSheet& e) { press_less(e, area, 0.05); }); });
  add("10 K warmer", "faster ageing; stay within the limits of the cell maker",
      [](Sheet& s) { s.temperature.si += 10; });
  if (now.contact_resistance.si > 0) {
    add("half the contact resistance", "none, if the foil, the tabs and the pressure in the cell allow it",
        [](Sheet& s) { s.contact_resistance.si *= 0.5; });
  }
  add("a fifth more salt in the electrolyte",
      "thicker liquid, slower wetting; beyond the best concentration it conducts less",
      [](Sheet& s) { s.electrolyte.concentration.si *= 1.2; });
  return list;
}

std::string percent(double share) { return fmt::format("{:.1f} %", 100 * share); }

}  // namespace

std::string name_of(solver::Loss loss, const model::Cell& cell) {
  const bool full = cell.is_full_cell();
  switch (loss) {
    case solver::Loss::positive_diffusion:
      return full ? "diffusion in the positive grains" : "diffusion in the grains";
    case solver::Loss::positive_charge_transfer:
      return full ? "charge transfer at the positive" : "charge transfer at the grains";
    case solver::Loss::negative_diffusion:
      return "diffusion in the negative grains";
    case solver::Loss::negative_charge_transfer:
      return full ? "charge transfer at the negative" : "charge transfer at the lithium";
    case solver::Loss::electrolyte:
      return "electrolyte: resistance and uneven salt";
    case solver::Loss::resistance:
      return "contact and electronic resistance";
  }
  return "";
}

LossReport find_losses(const Request& request, const Job& job) {
  const std::vector<params::Rate> rates = params::parse_rates(request.rate, job.base);
  if (rates.size() != 1) throw CommandLineError("--rate '" + request.rate + "': one rate at a time");
  const double sign = request.charge ? 1 : -1, current = sign * rates.front().current_density;
  solver::Workspace workspace;
  const auto run = [&](const model::Cell& cell, const model::Window& window, double i) {
    solver::Simulator simulator(cell, workspace, {}, job.electrolyte);
    return solver::constant_current(simulator, solver::start_of(simulator, window, i > 0), i);
  };
  const model::Window& window = job.bench.window;
  LossReport report{rates.front().written,
                    {rates.front().written, rates.front().c_rate, run(job.cell, window, current)},
                    solver::loss_budget(job.cell, window, current, workspace, job.electrolyte),
                    {}};
  const double share_now = report.curve.curve.capacity / window.capacity;
  for (const Trial& trial : trials(job)) {
    Lever lever{trial.change, trial.side_effect, 0, 0, 0, 0};
    try {
      const model::Cell cell = params::to_cell(trial.sheet);
      const model::Window its = model::equilibrium_window(cell);
      const solver::Curve curve = run(cell, its, current * its.capacity / window.capacity);
      lever.share = curve.capacity / its.capacity;
      lever.gained_share = lever.share - share_now;
      lever.capacity = curve.capacity;
      lever.energy = curve.energy;
    } catch (const std::bad_alloc&) {  // says nothing of the cell
      throw;
    } catch (const std::exception& error) {
      lever.possible = false;
      lever.side_effect = error.what();
    }
    report.levers.push_back(std::move(lever));
  }
  std::stable_sort(report.levers.begin(), report.levers.end(), [](const Lever& a, const Lever& b) {
    return a.possible != b.possible ? a.possible : a.gained_share > b.gained_share;
  });
  return report;
}

std::string losses_headline(const Job& job, const LossReport& r) {
  const solver::LossBudget& b = r.budget;
  const bool charge = r.curve.curve.is_charge();
  std::string text = fmt::format("At {} the cell {} {} mAh; with no loss at all it would {} {}.", r.rate,
                                 charge ? "takes up" : "gives", digits(job.milliampere_hours(b.capacity), 3),
                                 charge ? "take up" : "give", digits(job.milliampere_hours(b.ideal_capacity), 3));
  std::vector<solver::LossShare> shares = b.shares;
  std::sort(shares.begin(), shares.end(), [](const auto& x, const auto& y) { return x.capacity > y.capacity; });
  if (b.missing_capacity > 1e-3 * b.ideal_capacity) {
    text +=
        fmt::format(" Of the {} mAh missing, {:.0f} % go to {}", digits(job.milliampere_hours(b.missing_capacity), 3),
                    100 * shares[0].capacity / b.missing_capacity, name_of(shares[0].loss, job.cell));
    if (shares.size() > 1)
      text += fmt::format(" and {:.0f} % to {}", 100 * shares[1].capacity / b.missing_capacity,
                          name_of(shares[1].loss, job.cell));
    text += ".";
  } else {
    text += " Next to nothing is missing at this rate.";
  }
  if (!r.levers.empty() && r.levers.front().possible && r.levers.front().gained_share > 1e-3) {
    const Lever& best = r.levers.front();
    text += fmt::format(" What would win most back: {} (from {} to {} of what the cell holds).", best.change,
                        percent(best.share - best.gained_share), percent(best.share));
  }
  if (!b.trusted) text += " This rate lies beyond what the model can be relied on for.";
  return text;
}

nlohmann::json losses_json(const Job& job, const LossReport& r) {
  const solver::LossBudget& b = r.budget;
  const double per_mWh = job.plate_area() / 3.6;
  nlohmann::json parts = nlohmann::json::array(), levers = parts;
  for (const solver::LossShare& s : b.shares) {
    parts.push_back({{"loss", name_of(s.loss, job.cell)},
                     {"capacity_mAh", number(job.milliampere_hours(s.capacity))},
                     {"share_of_missing", number(b.missing_capacity != 0 ? s.capacity / b.missing_capacity : 0)},
                     {"energy_mWh", number(s.energy * per_mWh)}});
  }
  for (const Lever& l : r.levers) {
    nlohmann::json row{{"change", l.change}, {"side_effect", l.side_effect}, {"possible", l.possible}};
    if (l.possible) {
      row["capacity_fraction"] = number(l.share);
      row["gained_fraction"] = number(l.gained_share);
      row["areal_capacity_mAh_cm2"] = number(l.capacity / 36000);
      row["areal_energy_mWh_cm2"] = number(l.energy / 36000);
    }
    levers.push_back(std::move(row));
  }
  return {{"rate", r.rate},
          {"direction", r.curve.curve.is_charge() ? "charge" : "discharge"},
          {"c_rate", number(r.curve.c_rate)},
          {"capacity_mAh", number(job.milliampere_hours(b.capacity))},
          {"ideal_capacity_mAh", number(job.milliampere_hours(b.ideal_capacity))},
          {"missing_capacity_mAh", number(job.milliampere_hours(b.missing_capacity))},
          {"energy_mWh", number(b.energy * per_mWh)},
          {"ideal_energy_mWh", number(b.ideal_energy * per_mWh)},
          {"missing_energy_mWh", number(b.missing_energy * per_mWh)},
          {"trusted", b.trusted},
          {"parts", std::move(parts)},
          {"levers", std::move(levers)}};
}

}  // namespace onegrain::app
