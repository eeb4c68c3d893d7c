#include "solver/estimation/pulses.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>

#include "model/grain.hpp"
#include "model/root_search.hpp"
#include "solver/estimation/transient.hpp"

namespace onegrain::solver {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t fewest_points = 6;
constexpr double simplifications = 0.03;  // of ln theta: salt not quite settled, kinetics that change within the pulse

/// Without the rows, which would be copied in vain.
PulseRows potentials_of(const PulseRows& rows) {
  PulseRows p;
  p.before = rows.before;
  p.after = rows.after;
  p.other_rests = rows.other_rests;
  return p;
}

}  // namespace

double sphere_ratio(double theta, double start) {
  return 3 * theta / (model::exact_step_response(theta) - model::exact_step_response(start * theta));
}

double sphere_theta(double ratio, double start) {
  if (!(ratio > 0 && ratio < 1 / (1 - start))) return nan;
  const double lower = std::log(1e-12), upper = std::log(100);
  if (ratio <= sphere_ratio(std::exp(lower), start) || ratio >= sphere_ratio(std::exp(upper), start)) return nan;
  return std::exp(model::bracketed_root(
      [&](double ln_theta) { return sphere_ratio(std::exp(ln_theta), start) - ratio; }, lower, upper, 1e-12));
}

double square_root_theta(double ratio) { return 4 / (9 * std::numbers::pi) * ratio * ratio; }

double recorder_resolution(const std::vector<double>& voltage) {
  std::vector<double> steps;
  for (std::size_t k = 1; k < voltage.size(); ++k) {
    if (voltage[k] != voltage[k - 1]) steps.push_back(std::abs(voltage[k] - voltage[k - 1]));
  }
  if (steps.empty()) return 0;
  const auto at = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 20);
  std::nth_element(steps.begin(), at, steps.end());
  return *at;
}

RestingPotential rest_end(const std::vector<double>& time, const std::vector<double>& voltage, double resolution) {
  const double begin = time.front(), end = time.back(), length = end - begin;
  // Mean, standard uncertainty of the mean, over rows between two times.
  const auto around = [&](double from, double to) {
    std::vector<double> values;
    for (std::size_t k = time.size(); k-- > 0 && values.size() < 25;) {
      if (time[k] >= from && time[k] <= to) values.push_back(voltage[k]);
    }
    if (values.empty()) {  // between two rows
      std::size_t k = 1;
      while (k + 1 < time.size() && time[k] < to) ++k;
      const double share = time.size() < 2 || time[k] == time[k - 1]
                               ? 0
                               : std::clamp((to - time[k - 1]) / (time[k] - time[k - 1]), 0.0, 1.0);
      values.push_back(time.size() < 2 ? voltage[0] : voltage[k - 1] + share * (voltage[k] - voltage[k - 1]));
    }
    const double mean = mean_of(values);
    double squares = 0;
    for (const double v : values) squares += (v - mean) * (v - mean);
    const auto n = static_cast<double>(values.size());
    const double scatter = n > 1 ? std::sqrt(squares / (n - 1)) : 0;
    // Equal rows hide where between two steps of the recorder the voltage lies; scattered ones average over it.
    const double rounding = resolution / std::sqrt(12.0);
    return std::pair<double, double>(mean,
                                     scatter > rounding ? std::hypot(scatter, rounding) / std::sqrt(n) : rounding);
  };
  const auto [potential, uncertainty] = around(end - 0.05 * length, end);
  const auto [half_way, unused] = around(begin + 0.45 * length, begin + 0.55 * length);
  return {potential, uncertainty, potential - half_way};
}

PulseFit fit_pulse(const PulseRows& rows) {
  if (!(rows.duration > 0) || rows.current == 0 || rows.after == rows.before) {
    throw std::invalid_argument("a pulse needs a duration, a current and a change of the potential at rest");
  }
  const Transient t = Transient::of(rows);
  PulseFit fit;
  const bool pulse = t.pulse.size() >= fewest_points, relaxation = t.relaxation.size() >= fewest_points;
  fit.pulse_theta = pulse ? t.best_theta(true, false) : nan;
  fit.relaxation_theta = relaxation ? t.best_theta(false, true) : nan;
  if (!pulse && !relaxation) return fit;
  fit.theta = t.best_theta(pulse, relaxation);
  if (!std::isfinite(fit.theta)) return fit;
  fit.found = true;
  fit.resistance = pulse ? t.resistive(fit.theta) / rows.current : nan;
  const double points = static_cast<double>((pulse ? t.pulse.size() : 0) + (relaxation ? t.relaxation.size() : 0));
  fit.misfit = std::sqrt(t.sum_of_squares(fit.theta, pulse, relaxation) / points);

  // Wider than the 1.96 of independent errors: 3.2 covers 95 % of 460 made pulses of known diffusivity, on straight and
  // on strongly bent potentials, with noise and resolution from none to 0.2 mV; 1.96 covers 82 %.
  constexpr double coverage_95 = 3.2;
  fit.from_rows = coverage_95 * t.row_uncertainty(fit.theta, pulse, relaxation);
  // What ln theta moves with the potentials at rest; where it leaves the range, as much as the short-pulse law says.
  const double change = rows.after - rows.before;
  const auto moved = [&](const PulseRows& other, double relaxation_shift, double share) {
    Transient t2 = t;
    t2.potential = potential_of_shift(other);
    for (Transient::Point& p : t2.relaxation) p.voltage += relaxation_shift;
    const double by = std::abs(t2.moved_from(fit.theta, pulse, relaxation));
    return std::isfinite(by) ? by : std::max(2 * share, std::log(4.0));
  };
  if (rows.change_uncertainty >
      0) {  // E stretched about E(0); the relaxation ends where its rest ends, wherever that is
    const double share = std::min(rows.change_uncertainty / std::abs(change), 1.0 / 3);
    PulseRows up = potentials_of(rows), down = up;
    for (auto [other, factor] : {std::pair(&up, 1 + share), std::pair(&down, 1 - share)}) {
      other->after = rows.before + factor * change;
      for (auto& rest : other->other_rests) rest.second = rows.before + factor * (rest.second - rows.before);
    }
    fit.from_rests = 0.5 * (moved(up, share * change, share) + moved(down, -share * change, share));
  }
  if (rows.rest_uncertainty > 0) {
    const double share = rows.rest_uncertainty / std::abs(change);
    const auto one = [&](auto&& member) {
      PulseRows other = potentials_of(rows);
      member(other) += rows.rest_uncertainty;
      fit.from_rests = std::hypot(fit.from_rests, moved(other, 0, share));
    };
    one([](PulseRows& p) -> double& { return p.before; });
    one([](PulseRows& p) -> double& { return p.after; });
    for (std::size_t k = 0; k < rows.other_rests.size(); ++k)
      one([k](PulseRows& p) -> double& { return p.other_rests[k].second; });
  }
  fit.from_rests *= coverage_95;

  const double reach = surface_shift(fit.theta, rows.duration, rows.duration);
  double told = 1;
  for (const auto& rest : rows.other_rests) told = std::max(told, rest.first);
  if (!rows.other_rests.empty()) {
    Transient lines = t;
    lines.potential = potential_of_shift(rows, true);
    const double by = std::abs(lines.moved_from(fit.theta, pulse, relaxation));
    fit.from_bend = std::isfinite(by) ? by : std::log(4.0);
  }
  if (reach > told + 0.25) {
    const double bent =
        minimum_between([&](double x) { return t.sum_with_bend(std::exp(x), rows.before, change, pulse, relaxation); },
                        std::log(fit.theta / 10), std::log(fit.theta * 10), 20);
    fit.from_bend = std::hypot(fit.from_bend, std::isfinite(bent) ? bent - std::log(fit.theta) : std::log(10.0));
  }
  if (std::isfinite(fit.pulse_theta) && std::isfinite(fit.relaxation_theta)) {
    fit.from_shape = 0.5 * std::abs(std::log(fit.pulse_theta / fit.relaxation_theta));
  }
  fit.half_width =
      std::hypot(std::hypot(fit.from_rows, fit.from_rests), std::hypot(fit.from_shape, fit.from_bend), simplifications);
  return fit;
}

std::vector<double> fitted_voltage(const PulseRows& rows, const PulseFit& fit, const std::vector<double>& time) {
  const model::Curve potential = potential_of_shift(rows);
  std::vector<double> voltage;
  for (const double t : time) {
    const double resistive = t <= rows.duration && std::isfinite(fit.resistance) ? rows.current * fit.resistance : 0;
    voltage.push_back(potential(surface_shift(fit.theta, t, rows.duration)) + resistive);
  }
  return voltage;
}

}  // namespace onegrain::solver
