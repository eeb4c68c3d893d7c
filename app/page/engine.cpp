#include "app/page/engine.hpp"

#include <cmath>
#include <stdexcept>

#include "model/balance.hpp"
#include "model/constants.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/trust.hpp"

namespace onegrain::page {

namespace {

/// What is asked, with names.
struct Asked {
  model::Changes changes;
  model::ElectrolyteModel electrolyte;
  model::Reaction reaction;
  double start;
  int moments;
  bool early_ones;
  int radius_points, grains, salt_places;
  std::span<const double> steps;
};

int count_of(double number, int least, int most) {
  if (!(number >= least && number <= most)) throw std::invalid_argument("a number of points that cannot be had");
  return static_cast<int>(number);
}

model::Changes::OfElectrode electrode_changes(std::span<const double> row) {
  return {.particle_radius = row[0],
          .diffusivity = row[1],
          .exchange_current = row[2],
          .thickness = row[3],
          .porosity = row[4]};
}

Asked read(std::span<const double> row) {
  if (row.size() < asked_before_steps) throw std::invalid_argument("what is asked is too short");
  Asked asked{.changes = {.temperature = row[0],
                          .lower_voltage = row[1],
                          .upper_voltage = row[2],
                          .contact_resistance = row[3],
                          .counter_exchange_current = row[4],
                          .positive = electrode_changes(row.subspan(5, 5)),
                          .negative = electrode_changes(row.subspan(10, 5))},
              .electrolyte = row[15] != 0 ? model::ElectrolyteModel::resolved : model::ElectrolyteModel::uniform,
              .reaction = row[16] != 0 ? model::Reaction::uneven : model::Reaction::even,
              .start = row[17],
              .moments = count_of(row[18], 2, 5000),
              .early_ones = row[19] != 0,
              .radius_points = count_of(row[20], 0, 200),
              .grains = count_of(row[21], 0, 50),
              .salt_places = count_of(row[22], 0, 500),
              .steps = row.subspan(asked_before_steps)};
  const int steps = count_of(row[23], 1, 1000);
  if (asked.steps.size() != static_cast<std::size_t>(steps) * asked_per_step)
    throw std::invalid_argument("as many steps as are announced");
  return asked;
}

model::Step step_of(std::span<const double> row, const model::Cell& cell, double one_c) {
  const auto given = [](double value) { return std::isnan(value) ? std::nullopt : std::optional(value); };
  model::Step step;
  step.until.voltage = given(row[2]);
  step.until.time = given(row[3]);
  step.until.current = given(row[4] * one_c);
  step.until.capacity = given(row[5]);
  const double value = row[1];
  if (row[0] == 2) {
    step.drive = model::VoltageDrive{value};
    return step;
  }
  const double current = row[0] == 1 ? 0 : row[0] == 0 ? value * one_c : value;
  if (!std::isfinite(current)) throw std::invalid_argument("a current must be a number");
  step.drive = model::CurrentDrive{current};
  if (current != 0 && !step.until.voltage) step.until.voltage = current > 0 ? cell.upper_voltage : cell.lower_voltage;
  if (current == 0 && !step.until.time) throw std::invalid_argument("a rest needs a duration");
  return step;
}

double mean_rest_voltage(const model::Cell& cell, const model::Window& window) {
  constexpr int parts = 200;  // midpoints
  double sum = 0;
  for (int k = 0; k < parts; ++k)
    sum += model::equilibrium_voltage(cell, model::at_state_of_charge(window, (k + 0.5) / parts), cell.temperature);
  return sum / parts;
}

void append_cell(std::vector<double>& answer, const model::Cell& cell, const model::Window& window) {
  const model::Electrode* negative = cell.negative ? &*cell.negative : nullptr;
  const double none = model::Changes::none;
  const auto of_negative = [&](double model::Electrode::*member) { return negative ? negative->*member : none; };
  answer.insert(answer.end(), {model::one_hour_charge(cell, window),
                               cell.plate_area,
                               window.capacity,
                               window.full.positive,
                               window.full.negative,
                               window.empty.positive,
                               window.empty.negative,
                               cell.positive.capacity(),
                               negative ? negative->capacity() : none,
                               of_negative(&model::Electrode::thickness),
                               cell.separator.thickness,
                               cell.positive.thickness,
                               of_negative(&model::Electrode::porosity),
                               cell.separator.porosity,
                               cell.positive.porosity,
                               of_negative(&model::Electrode::active_fraction),
                               cell.positive.active_fraction,
                               of_negative(&model::Electrode::particle_radius),
                               cell.positive.particle_radius,
                               cell.temperature,
                               cell.lower_voltage,
                               cell.upper_voltage,
                               cell.electrolyte.concentration,
                               negative ? negative->host.diffusivity(0.5, cell.temperature) : none,
                               cell.positive.host.diffusivity(0.5, cell.temperature),
                               mean_rest_voltage(cell, window),
                               negative ? model::capacity_ratio(cell, window) : none,
                               cell.contact_resistance});
}

/// What is shown of a layer over its depth: places from the foil to the separator, the middle of equal parts.
Eigen::ArrayXd middles(int count) {
  return (Eigen::ArrayXd::LinSpaced(count, 0, count - 1) + 0.5) / std::max(count, 1);
}

struct Places {
  Eigen::ArrayXd radius, depth, salt;
};

void append_profiles(std::vector<double>& answer, const solver::StepSolution& step, double t, const Places& at,
                     const model::Cell& cell) {
  const auto append = [&](const auto& values) {
    for (Eigen::Index k = 0; k < values.size(); ++k) answer.push_back(values.data()[k]);
  };
  const Eigen::Index all = at.radius.size() * at.depth.size();
  const Eigen::ArrayXd none = Eigen::ArrayXd::Constant(std::max(all, at.depth.size()), model::Changes::none);
  if (all > 0) {
    append(step.grains_over_depth(t, true, at.radius, at.depth));
    if (cell.negative)
      append(step.grains_over_depth(t, false, at.radius, at.depth));
    else
      append(none.head(all).eval());
  }
  if (at.depth.size() > 0) {
    append(step.over_depth(t, true, at.depth).reaction);
    if (cell.negative)
      append(step.over_depth(t, false, at.depth).reaction);
    else
      append(none.head(at.depth.size()).eval());
  }
  if (at.salt.size() == 0) return;
  if (step.model().salt() != nullptr)
    append(step.salt_profile(t, at.salt));
  else
    append(Eigen::ArrayXd::Constant(at.salt.size(), cell.electrolyte.concentration).eval());
}

void append_moment(std::vector<double>& answer, std::size_t index, const solver::ProtocolStep& run, double t,
                   double charge_at_start) {
  const solver::Point p = run.solution.at(t);
  const model::Terminal& v = p.terminal;
  answer.insert(answer.end(), {static_cast<double>(index),
                               run.start_time + t,
                               p.current,
                               p.charge - charge_at_start,
                               v.voltage,
                               v.positive_potential,
                               v.negative_potential,
                               v.positive_overpotential,
                               v.negative_overpotential,
                               v.electrolyte,
                               v.concentration,
                               v.contact + v.electronic,
                               v.separator_side,
                               p.positive_surface,
                               p.positive_mean,
                               p.negative_surface,
                               p.negative_mean,
                               p.temperature,
                               p.lowest_salt,
                               p.highest_salt});
}

}  // namespace

void Engine::take(std::span<const double> numbers) { made_ = model::cell_of(numbers); }

const std::vector<double>& Engine::run(std::span<const double> row) {
  if (!made_) throw std::invalid_argument("there is no cell yet");
  const Asked asked = read(row);
  const model::Cell cell = model::remade(*made_, asked.changes);
  const model::Window window = model::equilibrium_window(cell);
  const double one_c = model::one_hour_charge(cell, window) / 3600;
  model::Protocol protocol;
  for (std::size_t k = 0; k < asked.steps.size(); k += asked_per_step)
    protocol.steps.push_back(step_of(asked.steps.subspan(k, asked_per_step), cell, one_c));

  solver::Simulator simulator(cell, workspace_, asked.electrolyte, asked.reaction);
  const solver::State start = std::isnan(asked.start)
                                  ? solver::start_of(simulator, window, solver::starts_with_charge(protocol, cell))
                                  : simulator.at_rest(model::at_state_of_charge(window, asked.start));
  const double length =
      (cell.negative ? cell.negative->thickness : 0) + cell.separator.thickness + cell.positive.thickness;
  const Places places{Eigen::ArrayXd::LinSpaced(asked.radius_points, 0, 1), middles(asked.grains),
                      middles(asked.salt_places) * length};

  const double numbers_of_profiles = (2 * asked.radius_points + 2) * asked.grains + asked.salt_places;
  std::vector<double> steps, moments;
  std::size_t index = 0, moment_count = 0;
  solver::run_protocol(simulator, start, protocol, [&](const solver::ProtocolStep& run) {
    const solver::StepSolution& s = run.solution;
    const std::vector<double> times = solver::moments(s, asked.moments, asked.early_ones);
    const double passed = s.last().charge - s.first().charge;
    steps.insert(steps.end(), {run.start_time, s.duration(), static_cast<double>(s.ended_by()), passed,
                               s.duration() > 0 ? s.energy() : 0.0, static_cast<double>(times.size()),
                               solver::judge(s).trusted() ? 1.0 : 0.0, run.passed_over() ? 1.0 : 0.0});
    for (const double t : times) {
      append_moment(moments, index, run, t, start.charge);
      append_profiles(moments, s, t, places, cell);
    }
    moment_count += times.size();
    ++index;
  });

  std::vector<double> answer{static_cast<double>(index),
                             static_cast<double>(moment_count),
                             answer_per_step,
                             answer_before_profiles + numbers_of_profiles,
                             static_cast<double>(asked.radius_points),
                             static_cast<double>(asked.grains),
                             static_cast<double>(asked.salt_places)};
  append_cell(answer, cell, window);
  answer.insert(answer.end(), steps.begin(), steps.end());
  answer.insert(answer.end(), moments.begin(), moments.end());
  answer_ = std::move(answer);
  return answer_;
}

}  // namespace onegrain::page
