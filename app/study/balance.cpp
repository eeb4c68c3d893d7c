#include "app/study/balance.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace onegrain::app::study {

namespace {

constexpr double charge_accuracy = 0.001;  // of a charge, at 95 %: what a good cycler measures it to, common practice
constexpr double nearest_drawn = 0.003;    // of stoichiometry from full and empty: potentials run away beyond

double lithium_of(const model::Cell& c) {
  return c.inventory.positive * c.positive.capacity() + c.inventory.negative * c.negative->capacity();
}

/// A charge that follows from the estimates: known no better than the cycler measures one.
Derived charge_derived(const Estimation& estimation, const std::function<double(const model::Cell&)>& charge) {
  const Derived d = derived(estimation, charge);
  const double half = std::hypot(d.upper - d.value, charge_accuracy * d.value);
  return {d.value, d.value - half, d.value + half};
}

ElectrodeBalance electrode(const Job& job, const Estimation& estimation, bool negative) {
  const auto part = [negative](const model::Stoichiometries& x) { return negative ? x.negative : x.positive; };
  const auto capacity = [negative](const model::Cell& c) {
    return negative ? c.negative->capacity() : c.positive.capacity();
  };
  const model::Window& sheet = job.bench.window;
  const model::Cell cell = estimation.fitted_cell();
  const double full = part(model::equilibrium_window(cell).full);
  // The positive takes lithium up while the cell gives charge, the negative gives it away.
  const double takes_up = (1 - full) * capacity(cell), gives = full * capacity(cell);
  return {negative ? "negative" : job.sheet.positive.key,
          {charge_derived(estimation, capacity), capacity(job.cell)},
          {derived(estimation, [=](const model::Cell& c) { return part(model::equilibrium_window(c).full); }),
           part(sheet.full)},
          {derived(estimation, [=](const model::Cell& c) { return part(model::equilibrium_window(c).empty); }),
           part(sheet.empty)},
          negative ? -takes_up : takes_up,
          negative ? gives : -gives};
}

}  // namespace

std::vector<std::string> balance_parameters(const Job& job) {
  std::vector<std::string> names = {job.sheet.positive.key + ".capacity"};
  if (job.sheet.is_full_cell()) names.insert(names.end(), {"negative.capacity", "lithium"});
  // Held, they would make the interval of a loss as narrow as the scatter of the curve.
  for (const char* what : {"diffusion_time", "exchange_current_density"}) {
    names.push_back(job.sheet.positive.key + "." + what);
    if (job.sheet.is_full_cell()) names.push_back(std::string("negative.") + what);
  }
  names.emplace_back("contact_resistance");
  return names;
}

Balance balance(const Job& job, const Estimation& estimation) {
  Balance b;
  b.electrodes.push_back(electrode(job, estimation, false));
  if (job.cell.is_full_cell()) {
    b.electrodes.push_back(electrode(job, estimation, true));
    b.lithium = {charge_derived(estimation, lithium_of), lithium_of(job.cell)};
    const auto ratio = [&job](const model::Cell& c) {
      return params::capacity_ratio(job.sheet, c, model::equilibrium_window(c));
    };
    b.ratio = {derived(estimation, ratio), ratio(job.cell)};
  }
  b.cell_capacity = {
      charge_derived(estimation, [](const model::Cell& c) { return model::equilibrium_window(c).capacity; }),
      job.bench.window.capacity};
  return b;
}

Potentials potentials(const Job& job, const Estimation& estimation, double reach) {
  const double unknown = std::numeric_limits<double>::quiet_NaN();
  const model::Cell cell = estimation.fitted_cell();
  const model::Window w = model::equilibrium_window(cell);
  const double Qp = cell.positive.capacity(), Qn = cell.negative ? cell.negative->capacity() : 1;
  double from = -w.full.positive * Qp, to = (1 - w.full.positive) * Qp;
  if (cell.negative) {
    from = std::min(from, -(1 - w.full.negative) * Qn);
    to = std::max(to, w.full.negative * Qn);
  }
  from = std::max(from, -reach * w.capacity);
  to = std::min(to, (1 + reach) * w.capacity);
  Potentials p;
  const auto at = [&](double q) {
    const auto potential = [&](const model::OpenCircuitPotential& U, double x) {
      return x > nearest_drawn && x < 1 - nearest_drawn ? U(x, cell.temperature) : unknown;
    };
    const auto known = [](const params::ElectrodeSheet& e, double x) {
      const params::PotentialCard& card = e.material.open_circuit_potential;
      return x >= card.lower && x <= card.upper;
    };
    p.charge.push_back(q);
    p.positive.push_back(potential(cell.positive.host.potential, w.full.positive + q / Qp));
    p.positive_known.push_back(known(job.sheet.positive, w.full.positive + q / Qp));
    p.negative_known.push_back(!cell.negative || known(*job.sheet.negative, w.full.negative - q / Qn));
    const double Un = cell.negative ? potential(cell.negative->host.potential, w.full.negative - q / Qn) : 0;
    if (cell.negative) p.negative.push_back(Un);
    p.cell.push_back(q >= 0 && q <= w.capacity ? p.positive.back() - Un : unknown);
  };
  for (int k = 0; k <= 400; ++k) at(from + (to - from) * k / 400);
  const Recording& recording = estimation.recordings.front();
  const double start = solver::starting_charge(cell, recording.start);
  const double since_full = (w.full.positive - cell.inventory.positive) * Qp;  // of the lithium as the cell was made
  for (std::size_t k = 0; k < recording.rows.size(); ++k) {
    p.measured_charge.push_back(-since_full - start - recording.charge[k] / job.plate_area());
    p.measured.push_back(recording.measured.record.voltage[recording.rows[k]]);
  }
  return p;
}

}  // namespace onegrain::app::study
