#include "app/study/overlay.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/root_search.hpp"
#include "solver/estimation/pulses.hpp"

namespace onegrain::app::study {

namespace {

constexpr std::size_t most_rows = 20000;

/// The steps as the cycler was probably told to do them: constant currents until a voltage or a time, holds, rests.
/// @param temperature  as it was measured, from the start of the step on; empty where the model has its own
model::Step recognised_step(const params::RecordedStep& step, double duration, double area,
                            std::optional<model::Course> temperature) {
  model::Step done{model::CurrentDrive{0}, {.time = duration}, params::step_kind_name(step.kind)};
  done.temperature = std::move(temperature);
  if (step.is_sweep()) {
    done.drive = model::CurrentDrive{step.mean_current / area};
    if (step.ended_by == params::StepEnd::voltage) {
      done.until = {.voltage = step.last_voltage, .time = 3 * duration};
    }
  } else if (step.kind == params::StepKind::hold) {
    done.drive = model::VoltageDrive{step.last_voltage};
    if (step.ended_by == params::StepEnd::current)
      done.until = {.time = 3 * duration, .current = std::abs(step.last_current) / area};
  }
  return done;
}

Distance distance_of(const std::vector<double>& time, const std::vector<double>& model,
                     const std::vector<double>& measured) {
  Distance d;
  double weights = 0;
  for (std::size_t k = 0; k < time.size(); ++k) {
    if (!std::isfinite(model[k] - measured[k])) continue;
    const double w = 0.5 * (time[std::min(k + 1, time.size() - 1)] - time[k > 0 ? k - 1 : 0]) + 1e-9;
    const double e = model[k] - measured[k];
    d.rms += w * e * e;
    d.mean += w * e;
    weights += w;
    if (std::abs(e) > std::abs(d.largest)) d.largest = e;
    ++d.rows;
  }
  if (weights > 0) {
    d.rms = std::sqrt(d.rms / weights);
    d.mean /= weights;
  }
  return d;
}

/// What a cell follows, and to which step of the file each of its steps belongs.
struct Followed {
  solver::Replay done;  // with the starts on the measured clock
  std::vector<std::size_t> recorded_step;

  /// Voltage at a moment of the measured clock; NaN beyond what was calculated.
  /// @param recognised  the steps have ends of their own: the one of this number, not the one at this moment
  double voltage(double t, std::size_t number, bool recognised) const {
    const auto at = moment(t, number, recognised);
    return at ? at->first->at(at->second).terminal.voltage : not_a_number;
  }
  /// The temperature in the same way [K].
  double temperature(double t, std::size_t number, bool recognised) const {
    const auto at = moment(t, number, recognised);
    return at ? at->first->temperature(at->second) : not_a_number;
  }
  /// The first step that belongs to one of the file; steps.size() where none does.
  std::size_t step_of(std::size_t number) const {
    return static_cast<std::size_t>(std::find(recorded_step.begin(), recorded_step.end(), number) -
                                    recorded_step.begin());
  }

 private:
  std::optional<std::pair<const solver::StepSolution*, double>> moment(double t, std::size_t number,
                                                                       bool recognised) const {
    const std::size_t k = recognised ? step_of(number) : done.step_at(t);
    if (k == done.steps.size()) return std::nullopt;
    const solver::StepSolution& step = done.steps[k];
    const double since = t - done.starts[k];
    if (since < -1e-9 || since > step.duration() * (1 + 1e-9) + 1e-6) return std::nullopt;
    return std::pair{&step, std::clamp(since, 0.0, step.duration())};
  }
};

Followed follow_recording(const Recording& r, solver::Simulator& simulator, const solver::State& start, bool recognised,
                          double area) {
  if (!recognised) {
    Followed f{solver::replay(simulator, start, r.run), r.stretch_step};
    f.recorded_step.resize(f.done.steps.size());
    return f;
  }
  Followed f;
  solver::State state = start;
  const params::RecordedStep& first = r.steps[r.beginning.at_step];
  if (r.beginning.unrecorded > 0)
    state = simulator
                .run(state,
                     {model::CurrentDrive{first.mean_current / area}, {.time = r.beginning.unrecorded}, "not recorded"})
                .final_state();
  for (std::size_t s = r.beginning.at_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    const auto stretch = std::find(r.stretch_step.begin(), r.stretch_step.end(), s);
    std::optional<model::Course> temperature;
    if (stretch != r.stretch_step.end())
      temperature = r.run.stretches[static_cast<std::size_t>(stretch - r.stretch_step.begin())].step.temperature;
    f.done.steps.push_back(
        simulator.run(state, recognised_step(step, std::max(step.duration, 1e-3), area, std::move(temperature))));
    f.done.starts.push_back(r.time(std::max(step.first, r.first_row)));
    f.recorded_step.push_back(s);
    const solver::Ended ended = f.done.steps.back().ended_by();
    if (ended != solver::Ended::time && ended != solver::Ended::voltage && ended != solver::Ended::current) {
      f.done.cut_short = ended;
      break;
    }
    state = f.done.steps.back().final_state();
  }
  return f;
}

/// The charge that the model gives in a step until the voltage at which the measured one ended: on the curve that is
/// compared, and past its end on with the last current at the last temperature.
/// @param begins  when the record does; what the current did before by the counter of the file is in no measured charge
std::optional<double> model_capacity(const OverlaidStep& step, const Followed& f, double begins,
                                     solver::Simulator& simulator, double area) {
  const params::RecordedStep& r = step.recorded;
  if (!r.is_sweep() || f.step_of(step.number) == f.done.steps.size()) return std::nullopt;
  const double sense = r.kind == params::StepKind::charge ? 1 : -1;
  double passed = 0;
  std::size_t last = 0;
  for (std::size_t j = f.step_of(step.number); j < f.done.steps.size() && f.recorded_step[j] == step.number; ++j) {
    const solver::StepSolution& part = f.done.steps[j];
    last = j;
    if (f.done.starts[j] < begins - 1e-9) continue;
    const auto beyond = [&](double t) { return sense * (part.at(t).terminal.voltage - r.last_voltage); };
    constexpr int looks = 400;
    double before = 0;
    // the first moments belong to the jump, in which a voltage may be passed and left again
    for (int k = 1; k <= looks; ++k) {
      const double t = part.duration() * k / looks;
      if (beyond(t) >= 0) {
        const double met = beyond(before) < 0 ? model::bracketed_root(beyond, before, t) : before;
        return passed + std::abs(r.mean_current) * met;
      }
      before = t;
    }
    passed += std::abs(r.mean_current) * part.duration();
  }
  const solver::StepSolution& end = f.done.steps[last];
  if (end.ended_by() != solver::Ended::time) return passed;  // the model had no more to give
  model::Step until{model::CurrentDrive{r.mean_current / area},
                    {.voltage = r.last_voltage, .time = 2 * r.duration},
                    "to the measured end"};
  if (step.temperature && !step.predicts_temperature())
    until.temperature = model::Course{{0}, {end.temperature(end.duration())}};
  return passed + std::abs(r.mean_current) * simulator.run(end.final_state(), until).duration();
}

/// How near each step of the model comes to lithium's potential and whether it is to be believed, put down in the step
/// of the file to which it belongs.
void add_verdicts(const Job& job, const Followed& f, OverlaidRun& run) {
  constexpr std::size_t few = 50;  // stretches: of more each is looked at in fewer moments
  PlatingWatch watch(job);
  for (std::size_t j = 0; j < f.done.steps.size(); ++j) {
    const auto side = watch.see(f.done.steps[j], f.done.steps.size() > few ? 20 : 200);
    const auto step = std::find_if(run.steps.begin(), run.steps.end(),
                                   [&](const OverlaidStep& s) { return s.number == f.recorded_step[j]; });
    if (step == run.steps.end()) continue;
    if (step->trust.trusted()) step->trust = trust_of(f.done.steps[j], watch.opinion());
    if (const auto& opinion = watch.opinion())
      if (std::abs(opinion->difference) >= std::abs(step->resolved_less_even.value_or(0)))
        step->resolved_less_even = opinion->difference;
    if (!side) continue;
    step->lowest_separator_side = std::min(side->lowest(), step->lowest_separator_side.value_or(side->lowest()));
    const std::optional<Plating> found = watch.judge(*side, f.done.steps[j]);
    if (found && (!step->plating || found->lowest < step->plating->lowest)) step->plating = found;
  }
}

OverlaidStep overlaid(const Recording& r, std::size_t number, const Followed& f, const Job& job, bool recognised) {
  OverlaidStep step{};
  step.number = number;
  step.recorded = r.steps[number];
  step.capacity = std::abs(step.recorded.charge);
  const params::Record& record = r.measured.record;
  step.c_rate = std::abs(step.recorded.mean_current) / job.plate_area() / (job.base.one_hour_charge / 3600);
  if (step.recorded.kind == params::StepKind::rest) step.c_rate = 0;
  const bool compares_temperature = r.predicts_temperature && r.first_temperature;
  double sum = 0, count = 0, charge = 0;
  std::size_t last_row = step.recorded.first;
  for (std::size_t row : r.rows) {
    if (row < step.recorded.first || row > step.recorded.last) continue;
    charge += params::charge_between(record, last_row, row);
    last_row = row;
    step.time.push_back(r.time(row));
    step.charge.push_back(std::abs(charge));
    step.measured.push_back(record.voltage[row]);
    step.current.push_back(record.current[row]);
    step.model.push_back(f.voltage(r.time(row), number, recognised));
    if (compares_temperature) {
      step.measured_temperature.push_back(record.temperature[row]);
      step.model_temperature.push_back(f.temperature(r.time(row), number, recognised));
    }
    if (!record.temperature.empty() && std::isfinite(record.temperature[row])) {
      sum += record.temperature[row];
      ++count;
    }
  }
  if (count > 0) step.temperature = sum / count;
  step.distance = distance_of(step.time, step.model, step.measured);
  if (compares_temperature)
    step.temperature_distance = distance_of(step.time, step.model_temperature, step.measured_temperature);
  if (f.done.cut_short && f.recorded_step.back() == number) step.model_ended_by = f.done.cut_short;
  return step;
}

double energy_of(const OverlaidStep& step) {
  double sum = 0;
  for (std::size_t k = 0; k + 1 < step.charge.size(); ++k)
    sum += 0.5 * (step.measured[k] + step.measured[k + 1]) * (step.charge[k + 1] - step.charge[k]);
  return sum;
}

std::optional<WhyLess> why_less(const Job& job, const Overlay& overlay) {
  std::optional<StepAt> slow, fast;
  const auto each = [&](const auto& use) {
    for (std::size_t r = 0; r < overlay.runs.size(); ++r) {
      for (std::size_t s = 0; s < overlay.runs[r].steps.size(); ++s) {
        const OverlaidStep& step = overlay.at({r, s});
        if (step.discharges() && step.charge.size() >= 5) use(StepAt{r, s}, step);
      }
    }
  };
  double largest = 0;
  each([&](StepAt, const OverlaidStep& step) { largest = std::max(largest, step.capacity); });
  each([&](StepAt place, const OverlaidStep& step) {
    if (step.capacity > goes_as_far * largest && (!slow || step.c_rate < overlay.at(*slow).c_rate)) slow = place;
  });
  each([&](StepAt place, const OverlaidStep& step) {
    if (slow && overlay.same_start(*slow, place) && (!fast || step.c_rate > overlay.at(*fast).c_rate)) fast = place;
  });
  if (!slow || overlay.at(*fast).c_rate < 1.5 * overlay.at(*slow).c_rate) return std::nullopt;
  const OverlaidStep& fastest = overlay.at(*fast);
  params::Sheet sheet = job.sheet;
  if (fastest.temperature && !fastest.predicts_temperature()) sheet.temperature.si = *fastest.temperature;
  const model::Cell cell = params::to_cell(sheet);
  solver::Workspace workspace;
  try {
    return WhyLess{
        *fast,
        *slow,
        energy_of(fastest),
        energy_of(overlay.at(*slow)),
        solver::loss_budget(cell, model::equilibrium_window(cell), fastest.recorded.mean_current / job.plate_area(),
                            workspace, job.electrolyte, job.reaction),
        sheet.temperature.si};
  } catch (const solver::IntegrationFailure&) {  // of a cell without some of its losses: the comparison stands without
    return std::nullopt;
  }
}

/// Where the model is far off although it has its say, the start may be to blame.
void look_for_better_start(const Job& job, OverlaidRun& run) {
  constexpr double far = 0.03;  // [V] rms
  constexpr double half = 0.5;
  constexpr double moved = 0.02;  // of the state of charge
  const Beginning& now = run.recording.beginning;
  double worst = 0;
  bool varied = false;
  for (const OverlaidStep& step : run.steps) {
    if (step.is_sweep()) worst = std::max(worst, step.distance.rms);
    varied = varied || step.recorded.kind == params::StepKind::varied;
  }
  if (worst < far || varied || now.from == Beginning::From::fitted || run.recording.rows.size() < 10) return;
  const Beginning better = fitted_beginning(job, run.recording);
  if (better.at_end || std::abs(better.state_of_charge - now.state_of_charge) < std::max(moved, 2 * now.spread)) return;
  if (better.rms < half * misfit_from(job, run.recording, now.state_of_charge)) run.better_start = better;
}

void differentiate(OverlaidStep& step, const Overlay& overlay) {
  const auto of = [&](const std::vector<double>& voltage) {
    return derivatives(step.charge, voltage, step.discharges(), overlay.voltage_width,
                       overlay.capacity_share * step.capacity);
  };
  step.measured_derivatives = of(step.measured);
  step.model_derivatives = of(step.model);
}

}  // namespace

const Yardstick* Overlay::yardstick(bool discharge) const {
  const auto found =
      std::find_if(yardsticks.begin(), yardsticks.end(), [&](const Yardstick& y) { return y.discharge == discharge; });
  return found == yardsticks.end() ? nullptr : &*found;
}

bool Overlay::same_start(StepAt a, StepAt b) const {
  constexpr double alike = 0.03;
  return std::abs(at(a).begins - at(b).begins) <= alike * std::max(at(a).capacity, at(b).capacity);
}

Overlay make_overlay(const Request& request, const Channels& channels, Job& job, double smoothing) {
  Overlay overlay;
  overlay.recognised = request.recognised;
  overlay.capacity_share = smoothing;
  overlay.voltage_width = overlay.capacity_share * (job.cell.upper_voltage - job.cell.lower_voltage);
  solver::Workspace workspace;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    Recording recording = load_recording(request, channels, job, request.files[k], {most_rows, UntoldStart::fit, true});
    solver::Simulator simulator = job.simulator(workspace);
    const double from = solver::starting_charge(job.cell, recording.start), started = from * job.plate_area();
    const solver::State start = recording.starting_state(simulator, from);
    const Followed followed = follow_recording(recording, simulator, start, overlay.recognised, job.plate_area());
    OverlaidRun run{std::move(recording), {}, 0};
    const double resolution = solver::recorder_resolution(run.recording.measured.record.voltage);
    for (std::size_t s = run.recording.first_step; s <= run.recording.last_step; ++s) {
      OverlaidStep step = overlaid(run.recording, s, followed, job, overlay.recognised);
      if (step.time.empty()) continue;
      step.resolution = resolution;
      step.model_capacity =
          model_capacity(step, followed, run.recording.beginning.unrecorded, simulator, job.plate_area());
      step.begins = started + run.recording.unrecorded_charge() +
                    params::charge_between(run.recording.measured.record, run.recording.first_row,
                                           std::max(run.recording.first_row, step.recorded.first));
      if (step.is_sweep()) differentiate(step, overlay);
      run.rows_not_reached += step.time.size() - step.distance.rows;
      run.steps.push_back(std::move(step));
    }
    add_verdicts(job, followed, run);
    look_for_better_start(job, run);
    overlay.runs.push_back(std::move(run));
  }
  compare_without_model(overlay);
  overlay.why = why_less(job, overlay);
  return overlay;
}

}  // namespace onegrain::app::study
