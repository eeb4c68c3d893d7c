#include "benchmarks/exact_series.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace onegrain::benchmarks {

namespace {

constexpr int terms = 60;       // exp(-l^2 tau) / l^2 below 1e-20 from the 60th on for tau > 1e-3
constexpr double early = 0.03;  // below, the form for short times costs less than the terms that the series needs
constexpr double negligible = 1e-8;

/// l_n^2 of the roots tan l = l.
const std::array<double, terms>& squared_roots() {
  static const std::array<double, terms> squares = [] {
    std::array<double, terms> result{};
    for (int n = 0; n < terms; ++n) {
      double l = (n + 1.5) * std::numbers::pi;
      l -= 1 / l;
      for (int k = 0; k < 8; ++k) l -= (std::sin(l) - l * std::cos(l)) / (l * std::sin(l));
      result[static_cast<std::size_t>(n)] = l * l;
    }
    return result;
  }();
  return squares;
}

double short_time_response(double tau) { return std::expm1(tau) + std::exp(tau) * std::erf(std::sqrt(tau)); }

/// S(tau) for any tau, terms down to `least`, and dS/dtau.
model::ValueAndSlope response(double tau, double least) {
  if (tau < early) {
    const double value = short_time_response(tau);
    return {value, 1 + value + 1 / std::sqrt(std::numbers::pi * std::max(tau, 1e-12))};
  }
  double value = 3 * tau + 0.2, slope = 3;
  for (const double square : squared_roots()) {
    const double decayed = std::exp(-square * tau);
    value -= 2 * decayed / square;
    slope += 2 * decayed;
    if (decayed < least * square) break;
  }
  return {value, slope};
}

/// The surface of one grain.
struct Surface {
  double start, factor, rate;  // x = start + factor S(rate t)

  Surface(const model::Grain& grain, double x, double outflow, double T)
      : start(x),
        factor(-outflow * grain.radius() / grain.diffusivity(x, T)),
        rate(grain.diffusivity(x, T) / (grain.radius() * grain.radius())) {}

  model::ValueAndSlope at(double t, double least) const {
    const model::ValueAndSlope s = response(rate * t, least);
    return {start + factor * s.value, factor * rate * s.slope};
  }
  /// Moment at which the mean would leave 0..1: dmean/dt = 3 factor rate.
  double longest() const { return (factor > 0 ? 1 - start : -start) / (3 * factor * rate); }
};

/// One surface at dt, 2 dt, 3 dt, ...: one product for each term and moment.
class Walk {
 public:
  Walk(const Surface& surface, double dt) : surface_(surface), step_(surface.rate * dt) {}

  double next() {
    const double tau = step_ * ++k_;
    if (tau < early) return surface_.start + surface_.factor * short_time_response(tau);
    if (!begun_) begin(tau);
    double sum = 3 * tau + 0.2;
    for (std::size_t n = 0; n < count_; ++n) {
      sum -= term_[n];
      term_[n] *= ratio_[n];
    }
    while (count_ > 0 && term_[count_ - 1] < negligible) --count_;
    return surface_.start + surface_.factor * sum;
  }

 private:
  void begin(double tau) {
    begun_ = true;
    for (const double square : squared_roots()) {
      const double term = 2 * std::exp(-square * tau) / square;
      if (term < negligible) break;
      term_[count_] = term;
      ratio_[count_++] = std::exp(-square * step_);
    }
  }

  const Surface& surface_;
  double step_;
  int k_ = 0;
  bool begun_ = false;
  std::size_t count_ = 0;
  std::array<double, terms> term_{}, ratio_{};
};

struct Surfaces {
  Surface positive, negative;
  Surfaces(const model::SingleParticle& cell, double i)
      : positive(cell.positive(), cell.positive_mean(0), cell.positive_outflow() * i, cell.cell().temperature),
        negative(*cell.negative(), cell.negative_mean(0), cell.negative_outflow() * i, cell.cell().temperature) {}
};

/// Newton's method, kept between a moment before the cut-off and one after it.
double cut_off(const model::SingleParticle& cell, const Surfaces& surfaces, double i, const model::Ionic& ionic) {
  const double T = cell.cell().temperature;
  double before = 0, after = std::min(surfaces.positive.longest(), surfaces.negative.longest());
  double t = 0.98 * after;
  for (int k = 0; k < 100; ++k) {
    const model::ValueAndSlope x_p = surfaces.positive.at(t, negligible), x_n = surfaces.negative.at(t, negligible);
    const model::Terminal v = cell.terminal(x_p.value, x_n.value, i, T, ionic);
    const double excess = v.voltage - cell.cell().lower_voltage;
    const double step = -excess / (v.by_positive_surface * x_p.slope + v.by_negative_surface * x_n.slope);
    (excess > 0 ? before : after) = t;
    const double next = t + step;
    t = next > before && next < after ? next : 0.5 * (before + after);
    if (std::abs(step) < 1e-6) break;
  }
  return t;
}

}  // namespace

void exact_discharge(const model::SingleParticle& cell, double current, int points, VoltageCurve& result) {
  const double T = cell.cell().temperature;
  const model::Ionic ionic = cell.uniform(T);
  const Surfaces surfaces(cell, current);
  const double dt = cut_off(cell, surfaces, current, ionic) / points;
  Walk positive(surfaces.positive, dt), negative(surfaces.negative, dt);
  result.times.resize(static_cast<std::size_t>(points));
  result.voltages.resize(static_cast<std::size_t>(points));
  for (std::size_t k = 0; k < result.times.size(); ++k) {
    result.times[k] = dt * static_cast<double>(k + 1);
    const double x_p = positive.next(), x_n = negative.next();
    result.voltages[k] = cell.terminal(x_p, x_n, current, T, ionic).voltage;
  }
}

double exact_voltage(const model::SingleParticle& cell, double current, double t) {
  const Surfaces surfaces(cell, current);
  return cell
      .terminal(surfaces.positive.at(t, 0).value, surfaces.negative.at(t, 0).value, current, cell.cell().temperature)
      .voltage;
}

double exact_cut_off(const model::SingleParticle& cell, double current) {
  const Surfaces surfaces(cell, current);
  double before = 0, after = std::min(surfaces.positive.longest(), surfaces.negative.longest());
  for (int k = 0; k < 100; ++k) {
    const double t = 0.5 * (before + after);
    (exact_voltage(cell, current, t) > cell.cell().lower_voltage ? before : after) = t;
  }
  return 0.5 * (before + after);
}

}  // namespace onegrain::benchmarks
