#include "app/answer/measured_words.hpp"
#include "app/study/overlay.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "app/answer/words.hpp"
#include "app/render/table.hpp"
#include "app/study/losses.hpp"

namespace onegrain::app {

namespace {

constexpr std::size_t most_rows = 20000;
constexpr double same_current = 0.03;  // two steps are the same where their currents differ by less
constexpr double core_from = 0.02,
                 core_to = 0.95;  // of the capacity: where the yardstick is read, as the ends are steep
const double not_a_number = std::numeric_limits<double>::quiet_NaN();

bool is_half_cycle(const params::RecordedStep& step) {
  return step.kind == params::StepKind::charge || step.kind == params::StepKind::discharge;
}

/// The steps as the cycler was probably told to do them: constant currents until a voltage or a time, holds, rests.
model::Step recognised_step(const params::RecordedStep& step, double duration, double area) {
  model::Step done{model::CurrentDrive{0}, {.time = duration}, params::step_kind_name(step.kind)};
  if (is_half_cycle(step)) {
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

/// Straight line through (x, y), ascending x; NaN outside.
double interpolated(const std::vector<double>& x, const std::vector<double>& y, double at) {
  const auto next = std::lower_bound(x.begin(), x.end(), at);
  if (next == x.end() || (next == x.begin() && *next > at)) return not_a_number;
  const auto k = static_cast<std::size_t>(next - x.begin());
  if (k == 0) return y[0];
  const double w = x[k] > x[k - 1] ? (at - x[k - 1]) / (x[k] - x[k - 1]) : 1;
  return y[k - 1] + w * (y[k] - y[k - 1]);
}

Distance distance_of(const std::vector<double>& time, const std::vector<double>& model,
                     const std::vector<double>& measured) {
  Distance d;
  double weights = 0;
  for (std::size_t k = 0; k < time.size(); ++k) {
    if (!std::isfinite(model[k])) continue;
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
    std::size_t k = recognised ? step_of(number) : done.step_at(t);
    if (k == done.steps.size()) return not_a_number;
    const solver::StepSolution& step = done.steps[k];
    const double since = t - done.starts[k];
    if (since < -1e-9 || since > step.duration() * (1 + 1e-9) + 1e-6) return not_a_number;
    return step.at(std::clamp(since, 0.0, step.duration())).terminal.voltage;
  }
  /// The first step that belongs to one of the file; steps.size() where none does.
  std::size_t step_of(std::size_t number) const {
    return static_cast<std::size_t>(std::find(recorded_step.begin(), recorded_step.end(), number) -
                                    recorded_step.begin());
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
  for (std::size_t s = r.first_step; s <= r.last_step; ++s) {
    const params::RecordedStep& step = r.steps[s];
    f.done.steps.push_back(simulator.run(state, recognised_step(step, std::max(step.duration, 1e-3), area)));
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

/// The charge that the model gives in a step until the voltage at which the measured one ended.
std::optional<double> model_capacity(const OverlaidStep& step, const Followed& f, solver::Simulator& simulator,
                                     double area, const solver::State& start) {
  const params::RecordedStep& r = step.recorded;
  if (!is_half_cycle(r)) return std::nullopt;
  const std::size_t j = f.step_of(step.number);
  if (j == f.done.steps.size()) return std::nullopt;
  const solver::State before = j == 0 ? start : f.done.steps[j - 1].final_state();
  const model::Step until{model::CurrentDrive{r.mean_current / area},
                          {.voltage = r.last_voltage, .time = 2 * r.duration},
                          "to the measured end"};
  return std::abs(r.mean_current) * simulator.run(before, until).duration();
}

std::string step_name(const OverlaidStep& step) {
  return fmt::format("{} at {}", params::step_kind_name(step.recorded.kind), nominal_rate(step.c_rate));
}

OverlaidStep overlaid(const Recording& r, std::size_t number, const Followed& f, const Job& job, bool recognised) {
  OverlaidStep step{number, r.steps[number], 0, {}, {}, {}, {}, {}, {}, {}, std::abs(r.steps[number].charge), {}, {}};
  const params::Record& record = r.measured.record;
  step.c_rate = std::abs(step.recorded.mean_current) / job.plate_area() / (job.base.one_hour_charge / 3600);
  if (step.recorded.kind == params::StepKind::rest) step.c_rate = 0;
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
    if (!record.temperature.empty() && std::isfinite(record.temperature[row])) {
      sum += record.temperature[row];
      ++count;
    }
  }
  if (count > 0) step.temperature = sum / count;
  step.distance = distance_of(step.time, step.model, step.measured);
  for (std::size_t j = 0; j < f.done.steps.size(); ++j) {
    if (f.recorded_step[j] != number) continue;
    const solver::Trust trust = solver::judge(f.done.steps[j]);
    if (trust.trusted() || !step.trusted) continue;
    step.trusted = false;
    step.untrusted_because = untrusted(trust);
  }
  if (f.done.cut_short && f.recorded_step.back() == number) step.model_ended_by = solver::name_of(*f.done.cut_short);
  return step;
}

/// What needs no model: the slow curve less one constant resistance.
void compare_with_resistance(Overlay& overlay) {
  for (const params::StepKind kind : {params::StepKind::discharge, params::StepKind::charge}) {
    std::vector<OverlaidStep*> steps;
    for (OverlaidRun& run : overlay.runs) {
      for (OverlaidStep& step : run.steps) {
        if (step.recorded.kind == kind && step.charge.size() > 10) steps.push_back(&step);
      }
    }
    if (steps.size() < 2) continue;
    std::stable_sort(steps.begin(), steps.end(),
                     [](const OverlaidStep* a, const OverlaidStep* b) { return a->c_rate < b->c_rate; });
    const OverlaidStep& slow = *steps.front();
    const auto faster =
        std::find_if(steps.begin(), steps.end(), [&](const OverlaidStep* s) { return s->c_rate > 1.5 * slow.c_rate; });
    if (faster == steps.end()) continue;
    const auto each_row = [&](const OverlaidStep& step, const auto& use) {
      for (std::size_t k = 0; k < step.charge.size(); ++k) {
        const double share = step.charge[k] / step.capacity;
        const double V = interpolated(slow.charge, slow.measured, step.charge[k]);
        if (share < core_from || share > core_to || !std::isfinite(V)) continue;
        const double w = 0.5 * (step.charge[std::min(k + 1, step.charge.size() - 1)] - step.charge[k > 0 ? k - 1 : 0]);
        use(k, V, w);
      }
    };
    OverlaidStep& fitted = **faster;
    double up = 0, down = 0;
    const double di = std::abs(fitted.recorded.mean_current) - std::abs(slow.recorded.mean_current);
    each_row(fitted, [&](std::size_t k, double V, double w) {
      up += w * di * std::abs(V - fitted.measured[k]) *
            ((V > fitted.measured[k]) == (kind == params::StepKind::discharge) ? 1 : -1);
      down += w * di * di;
    });
    if (!(down > 0)) continue;
    const double R = up / down;
    if (kind == params::StepKind::discharge || !overlay.resistance) {
      overlay.resistance = R;
      overlay.slow_name = step_name(slow);
      overlay.fitted_name = step_name(fitted);
    }
    fitted.resistance_fitted_here = true;
    for (OverlaidStep* step : steps) {
      if (step->c_rate <= 1.5 * slow.c_rate) continue;
      const double drop = (std::abs(step->recorded.mean_current) - std::abs(slow.recorded.mean_current)) * R *
                          (kind == params::StepKind::discharge ? -1 : 1);
      double line = 0, model = 0, weights = 0;
      each_row(*step, [&](std::size_t k, double V, double w) {
        if (!std::isfinite(step->model[k])) return;
        line += w * std::pow(V + drop - step->measured[k], 2);
        model += w * std::pow(step->model[k] - step->measured[k], 2);
        weights += w;
      });
      if (!(weights > 0)) continue;
      step->resistance_rms = std::sqrt(line / weights);
      step->model_rms_there = std::sqrt(model / weights);
    }
  }
}

void compare_cells(Overlay& overlay) {
  for (std::size_t a = 0; a < overlay.runs.size(); ++a) {
    for (OverlaidStep& step : overlay.runs[a].steps) {
      if (!is_half_cycle(step.recorded)) continue;
      double sum = 0, weights = 0;
      for (std::size_t b = 0; b < overlay.runs.size(); ++b) {
        if (a == b) continue;
        for (const OverlaidStep& other : overlay.runs[b].steps) {
          if (other.recorded.kind != step.recorded.kind || std::abs(other.c_rate / step.c_rate - 1) > same_current)
            continue;
          for (std::size_t k = 0; k < step.charge.size(); ++k) {
            const double V = interpolated(other.charge, other.measured, step.charge[k]),
                         share = step.charge[k] / step.capacity;
            if (!std::isfinite(V) || share < core_from || share > core_to) continue;
            sum += std::pow(V - step.measured[k], 2);
            ++weights;
          }
        }
      }
      if (weights > 0) step.between_cells_rms = std::sqrt(sum / weights);
    }
  }
}

double energy_of(const OverlaidStep& step) {
  double sum = 0;
  for (std::size_t k = 0; k + 1 < step.charge.size(); ++k)
    sum += 0.5 * (step.measured[k] + step.measured[k + 1]) * (step.charge[k + 1] - step.charge[k]);
  return sum;
}

std::optional<WhyLess> why_less(const Job& job, const Overlay& overlay) {
  const OverlaidStep *slow = nullptr, *fast = nullptr;
  for (const OverlaidRun& run : overlay.runs) {
    for (const OverlaidStep& step : run.steps) {
      if (step.recorded.kind != params::StepKind::discharge || step.charge.size() < 5) continue;
      if (!slow || step.c_rate < slow->c_rate) slow = &step;
      if (!fast || step.c_rate > fast->c_rate) fast = &step;
    }
  }
  if (!slow || !fast || fast->c_rate < 1.5 * slow->c_rate) return std::nullopt;
  params::Sheet sheet = job.sheet;
  if (fast->temperature) sheet.temperature.si = *fast->temperature;
  const model::Cell cell = params::to_cell(sheet);
  solver::Workspace workspace;
  return WhyLess{nominal_rate(fast->c_rate),
                 nominal_rate(slow->c_rate),
                 fast->capacity,
                 slow->capacity,
                 energy_of(*fast),
                 energy_of(*slow),
                 solver::loss_budget(cell, model::equilibrium_window(cell),
                                     fast->recorded.mean_current / job.plate_area(), workspace, job.electrolyte),
                 sheet.temperature.si};
}

double smoothing_of(const std::string& text) {
  std::string number = text;
  number.erase(std::remove(number.begin(), number.end(), ' '), number.end());
  if (!number.empty() && number.back() == '%') number.pop_back();
  const auto percent = params::parse_number(number);
  if (!percent || !(*percent >= 0.05 && *percent <= 20))
    throw CommandLineError("--smoothing '" + text + "': write a share of the range from 0.05 % to 20 %, such as '1 %'");
  return *percent / 100;
}

}  // namespace

Derivative kernel_derivative(const std::vector<double>& x, const std::vector<double>& y, double width, int points) {
  Derivative d;
  if (x.size() < 2) return d;
  const auto [low, high] = std::minmax_element(x.begin(), x.end());
  for (int j = 0; j < points; ++j) {
    const double at = *low + (*high - *low) * j / (points - 1);
    double up = 0, down = 0;
    for (std::size_t k = 0; k + 1 < x.size(); ++k) {
      const double u = std::abs(0.5 * (x[k] + x[k + 1]) - at) / width;
      if (u >= 1) continue;
      up += (1 - u) * (y[k + 1] - y[k]);
      down += (1 - u) * (x[k + 1] - x[k]);
    }
    d.x.push_back(at);
    d.value.push_back(std::abs(down) > 1e-3 * width ? up / down : not_a_number);
  }
  return d;
}

Overlay make_overlay(const Request& request, const Channels& channels, Job& job) {
  Overlay overlay;
  overlay.recognised = request.recognised;
  overlay.capacity_share = smoothing_of(request.smoothing);
  overlay.voltage_width = overlay.capacity_share * (job.cell.upper_voltage - job.cell.lower_voltage);
  solver::Workspace workspace;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    Recording recording = load_recording(request, channels, job, request.files[k], most_rows);
    solver::Simulator simulator(job.cell, workspace, {}, job.electrolyte);
    solver::State start = simulator.at_rest(solver::starting_charge(job.cell, recording.start));
    const Followed followed = follow_recording(recording, simulator, start, overlay.recognised, job.plate_area());
    OverlaidRun run{std::move(recording), {}, 0};
    for (std::size_t s = run.recording.first_step; s <= run.recording.last_step; ++s) {
      OverlaidStep step = overlaid(run.recording, s, followed, job, overlay.recognised);
      if (step.time.empty()) continue;
      step.model_capacity = model_capacity(step, followed, simulator, job.plate_area(), start);
      run.rows_not_reached += step.time.size() - step.distance.rows;
      run.steps.push_back(std::move(step));
    }
    overlay.runs.push_back(std::move(run));
  }
  compare_with_resistance(overlay);
  compare_cells(overlay);
  overlay.why = why_less(job, overlay);
  return overlay;
}

std::string overlay_headline(const Overlay& overlay) {
  // The fastest charge or discharge says most.
  const OverlaidStep* fast = nullptr;
  for (const OverlaidRun& run : overlay.runs) {
    for (const OverlaidStep& step : run.steps) {
      if (is_half_cycle(step.recorded) && step.distance.rows > 0 && (!fast || step.c_rate > fast->c_rate)) fast = &step;
    }
  }
  if (!fast) return "No charge or discharge could be followed.";
  std::string text = fmt::format("The {} is met within {} mV rms, {} mV at worst.", step_name(*fast),
                                 millivolts(fast->distance.rms), millivolts(std::abs(fast->distance.largest)));
  if (fast->resistance_rms) {
    const double ratio = *fast->resistance_rms / std::max(1e-9, *fast->model_rms_there);
    text += fmt::format(
        " From 2 to 95 % of its capacity the model is {} mV off; the {} less one resistance of {} mohm, which needs no "
        "model, is {} mV off{}.",
        millivolts(*fast->model_rms_there), overlay.slow_name, digits(1e3 * *overlay.resistance, 3),
        millivolts(*fast->resistance_rms),
        ratio > 1.1   ? ": the model knows more"
        : ratio < 0.9 ? ": the model knows less than that"
                      : ": as good as the model");
    if (fast->resistance_fitted_here) text += " (this step itself gave the resistance)";
  }
  if (fast->between_cells_rms) {
    text += fmt::format(" The cells differ among each other by {} mV{}.", millivolts(*fast->between_cells_rms),
                        fast->distance.rms < *fast->between_cells_rms ? ": the model is as close as another cell" : "");
  }
  if (fast->model_capacity && fast->recorded.ended_by == params::StepEnd::voltage) {
    text += fmt::format(" Capacity to {} V: {} mAh measured, {} mAh predicted.", digits(fast->recorded.last_voltage, 3),
                        digits(fast->capacity / 3.6, 4), digits(*fast->model_capacity / 3.6, 4));
  }
  return text;
}

std::string why_text(const Job& job, const Overlay& overlay) {
  if (!overlay.why) return "";
  const WhyLess& w = *overlay.why;
  const double missing = w.slow_capacity - w.fast_capacity;
  std::string text = fmt::format(
      "At {} the cell gave {} mAh, {} than at {} ({} mAh), and {} less energy per charge.", w.fast,
      digits(w.fast_capacity / 3.6, 4),
      missing >= 0 ? fmt::format("{} % less", digits(100 * missing / w.slow_capacity, 2))
                   : fmt::format("{} % more", digits(-100 * missing / w.slow_capacity, 2)),
      w.slow, digits(w.slow_capacity / 3.6, 4),
      fmt::format("{} %", digits(100 * (1 - w.fast_energy / w.fast_capacity / (w.slow_energy / w.slow_capacity)), 2)));
  const auto in_order = [&](auto value) {
    std::vector<solver::LossShare> shares = w.budget.shares;
    std::sort(shares.begin(), shares.end(), [&](const auto& a, const auto& b) { return value(a) > value(b); });
    return shares;
  };
  const auto list = [&](auto value, double total) {
    std::string words;
    int named = 0;
    for (const solver::LossShare& s : in_order(value)) {
      const double share = value(s) / total;
      if (share < 0.05 || named == 4) break;
      words += fmt::format("{}{:.0f} % to {}", named == 0 ? "" : ", ", 100 * share, name_of(s.loss, job.cell));
      ++named;
    }
    return words;
  };
  text += fmt::format(" The model at {} degC, the mean that {}, says why:", digits(w.temperature - 273.15, 3),
                      w.temperature == job.sheet.temperature.si ? "the sheet gives" : "was measured");
  if (w.budget.missing_capacity > 1e-3 * w.budget.ideal_capacity) {
    text += fmt::format(" of the {} % of capacity that it misses there, {};",
                        digits(100 * w.budget.missing_capacity / w.budget.ideal_capacity, 2),
                        list([](const solver::LossShare& s) { return s.capacity; }, w.budget.missing_capacity));
  } else {
    text += " next to no capacity is missing;";
  }
  if (w.budget.missing_energy > 0) {
    text += fmt::format(" of the {} % of energy, {}.", digits(100 * w.budget.missing_energy / w.budget.ideal_energy, 2),
                        list([](const solver::LossShare& s) { return s.energy; }, w.budget.missing_energy));
  }
  if (!w.budget.trusted) text += " This rate lies beyond what the model can be relied on for.";
  text += fmt::format(" `onegrain losses SHEET --rate {}` shows what at the bench would win most back.", w.fast);
  return text;
}

namespace {

nlohmann::json numbers(const std::vector<double>& values, double factor, const std::vector<std::size_t>& rows) {
  nlohmann::json list = nlohmann::json::array();
  for (const std::size_t k : rows) list.push_back(number(values[k] * factor));
  return list;
}

nlohmann::json derivative_json(const Derivative& d, double x_factor, double factor, const char* x_key) {
  nlohmann::json x = nlohmann::json::array(), v = x;
  for (std::size_t k = 0; k < d.x.size(); ++k) {
    x.push_back(number(d.x[k] * x_factor));
    v.push_back(number(d.value[k] * factor));
  }
  return {{x_key, x}, {"value", v}};
}

/// Both derivatives of one curve. Charge is counted positive in the sense of the step, so that dQ/dV of a discharge is
/// negative; shown as magnitudes.
nlohmann::json derivatives(const Overlay& overlay, const OverlaidStep& step, const std::vector<double>& voltage) {
  std::vector<double> q, v;
  for (std::size_t k = 0; k < voltage.size(); ++k) {
    if (!std::isfinite(voltage[k])) continue;
    q.push_back(step.charge[k]);
    v.push_back(voltage[k]);
  }
  const double sign = step.recorded.kind == params::StepKind::discharge ? -1 : 1;
  return {{"dQ_dV", derivative_json(kernel_derivative(v, q, overlay.voltage_width, 240), 1, sign / 3.6, "voltage_V")},
          {"dV_dQ", derivative_json(kernel_derivative(q, v, overlay.capacity_share * step.capacity, 240), 1 / 3.6,
                                    sign * 3600, "capacity_mAh")}};
}

nlohmann::json optional_number(const std::optional<double>& value, double factor) {
  return value ? number(*value * factor) : nlohmann::json();
}

}  // namespace

nlohmann::json overlay_json(const Job& job, const Overlay& overlay) {
  nlohmann::json runs = nlohmann::json::array();
  for (const OverlaidRun& run : overlay.runs) {
    const Recording& r = run.recording;
    nlohmann::json steps = nlohmann::json::array();
    for (const OverlaidStep& step : run.steps) {
      std::vector<std::size_t> rows;
      const std::size_t every = std::max<std::size_t>(1, step.time.size() / 300);
      for (std::size_t k = 0; k < step.time.size(); k += every) rows.push_back(k);
      if (rows.back() + 1 < step.time.size()) rows.push_back(step.time.size() - 1);
      std::vector<double> residual(step.time.size());
      for (std::size_t k = 0; k < residual.size(); ++k) residual[k] = step.model[k] - step.measured[k];
      const auto compared = [&](double value) {
        return step.distance.rows > 0 ? number(1e3 * value) : nlohmann::json();
      };
      nlohmann::json j{{"step", step.number + 1},
                       {"kind", params::step_kind_name(step.recorded.kind)},
                       {"c_rate", number(step.c_rate)},
                       {"current_mA", number(1e3 * step.recorded.mean_current)},
                       {"temperature_degC", step.temperature ? number(*step.temperature - 273.15) : nlohmann::json()},
                       {"rows", step.time.size()},
                       {"rows_compared", step.distance.rows},
                       {"rms_mV", compared(step.distance.rms)},
                       {"mean_mV", compared(step.distance.mean)},
                       {"largest_mV", compared(step.distance.largest)},
                       {"capacity_mAh", number(step.capacity / 3.6)},
                       {"model_capacity_mAh", optional_number(step.model_capacity, 1 / 3.6)},
                       {"resistance_rms_mV", optional_number(step.resistance_rms, 1e3)},
                       {"model_rms_there_mV", optional_number(step.model_rms_there, 1e3)},
                       {"resistance_fitted_here", step.resistance_fitted_here},
                       {"between_cells_rms_mV", optional_number(step.between_cells_rms, 1e3)},
                       {"model_ended_by", step.model_ended_by},
                       {"trusted", step.trusted},
                       {"note", step.untrusted_because},
                       {"trace",
                        {{"time_h", numbers(step.time, 1 / 3600.0, rows)},
                         {"capacity_mAh", numbers(step.charge, 1 / 3.6, rows)},
                         {"measured_V", numbers(step.measured, 1, rows)},
                         {"model_V", numbers(step.model, 1, rows)},
                         {"residual_mV", numbers(residual, 1e3, rows)}}}};
      if (is_half_cycle(step.recorded)) {
        j["measured_derivatives"] = derivatives(overlay, step, step.measured);
        j["model_derivatives"] = derivatives(overlay, step, step.model);
      }
      steps.push_back(std::move(j));
    }
    runs.push_back({{"file", r.file},
                    {"start", answer::start_words(r)},
                    {"rows_read", r.measured.rows_read},
                    {"rows_left_out", r.measured.doubts.left_out()},
                    {"rows_compared", r.rows.size() - run.rows_not_reached},
                    {"rows_beyond_the_model", run.rows_not_reached},
                    {"temperature_measured", r.has_temperature},
                    {"steps", std::move(steps)}});
  }
  nlohmann::json j{{"driven_by", overlay.recognised ? "recognised protocol" : "measured current"},
                   {"runs", std::move(runs)},
                   {"smoothing",
                    {{"voltage_mV", number(1e3 * overlay.voltage_width)},
                     {"capacity_percent", number(100 * overlay.capacity_share)}}},
                   {"why", why_text(job, overlay)}};
  if (overlay.resistance)
    j["resistance"] = {
        {"ohm", number(*overlay.resistance)}, {"slow", overlay.slow_name}, {"fitted_to", overlay.fitted_name}};
  return j;
}

}  // namespace onegrain::app
