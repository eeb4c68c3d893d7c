#include "app/study/losses.hpp"

#include <algorithm>
#include <functional>
#include <new>
#include <utility>

namespace onegrain::app::study {

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
  Change change;
  Sheet sheet;
};

std::vector<Trial> trials(const Job& job) {
  const Sheet& now = job.sheet;
  const double area = job.plate_area();
  std::vector<Trial> list;
  const auto add = [&](Change change, const std::function<void(Sheet&)>& apply) {
    list.push_back({change, now});
    apply(list.back().sheet);
  };
  add(Change::finer_positive, [](Sheet& s) { s.positive.particle_radius.si *= 0.5; });
  if (now.negative) add(Change::finer_negative, [](Sheet& s) { s.negative->particle_radius.si *= 0.5; });
  add(Change::thinner_coatings,
      [](Sheet& s) { each_electrode(s, [](params::ElectrodeSheet& e) { make_thinner(e, 0.8); }); });
  add(Change::less_pressed,
      [&](Sheet& s) { each_electrode(s, [&](params::ElectrodeSheet& e) { press_less(e, area, 0.05); }); });
  add(Change::warmer, [](Sheet& s) { s.temperature.si += 10; });
  if (now.contact_resistance.si > 0) add(Change::better_contact, [](Sheet& s) { s.contact_resistance.si *= 0.5; });
  add(Change::more_salt, [](Sheet& s) { s.electrolyte.concentration.si *= 1.2; });
  return list;
}

solver::ConstantCurrentCurve run(const Job& job, const model::Cell& cell, const model::Window& window, double current,
                                 solver::Workspace& workspace) {
  solver::Simulator simulator(cell, workspace, job.electrolyte, job.reaction);
  return solver::constant_current(simulator, solver::start_of(simulator, window, current > 0), current);
}

Lever tried(const Job& job, const Trial& trial, double current, double share_now, solver::Workspace& workspace) {
  Lever lever{trial.change};
  try {
    const model::Cell cell = params::to_cell(trial.sheet);
    const model::Window window = model::equilibrium_window(cell);
    const solver::ConstantCurrentCurve curve =
        run(job, cell, window, current * window.capacity / job.bench.window.capacity, workspace);
    lever.share = curve.capacity / window.capacity;
    lever.gained_share = lever.share - share_now;
    lever.capacity = curve.capacity;
    lever.energy = curve.energy;
  } catch (const std::bad_alloc&) {  // says nothing of the cell
    throw;
  } catch (const std::exception& error) {  // no such cell, or none that can be calculated
    lever.possible = false;
    lever.because = error.what();
  }
  return lever;
}

}  // namespace

LossesFound find_losses(const Job& job, const params::Rate& rate, bool charge) {
  const double current = charge ? rate.current_density : -rate.current_density;
  solver::Workspace workspace;
  const model::Window& window = job.bench.window;
  LossesFound found{named(job, rate.written, rate.c_rate, run(job, job.cell, window, current, workspace)),
                    0,
                    solver::loss_budget(job.cell, window, current, workspace, job.electrolyte, job.reaction),
                    {}};
  found.budget.trusted = found.curve.trust.trusted();
  found.share = found.curve.curve.capacity / window.capacity;
  for (const Trial& trial : trials(job)) found.levers.push_back(tried(job, trial, current, found.share, workspace));
  std::stable_sort(found.levers.begin(), found.levers.end(), [](const Lever& a, const Lever& b) {
    return a.possible != b.possible ? a.possible : a.gained_share > b.gained_share;
  });
  return found;
}

}  // namespace onegrain::app::study
