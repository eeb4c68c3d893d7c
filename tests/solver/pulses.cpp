#include "solver/estimation/pulses.hpp"

#include <cmath>
#include <functional>
#include <random>

#include "tests/catch.hpp"

// Diffusion in grains from pulses: the sphere inverted, held against closed forms, a grid of our own, and made noise.

using namespace onegrain::solver;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

/// A pulse on a grid of shells: explicit steps in time, fluxes between shells of equal thickness (finite volumes).
/// Shares nothing with the series or the modes of the model.
struct GridPulse {
  PulseRows rows;

  /// @param potential  E of the shift of the surface, in units of what the pulse moves the mean
  GridPulse(double theta, double resistance, const std::function<double(double)>& potential) {
    constexpr int shells = 150;
    constexpr double dr = 1.0 / shells, duration = 600, current = 2e-3;
    rows.current = current;
    rows.duration = duration;
    rows.before = potential(0);
    rows.after = potential(1);
    rows.fit_from = 1;
    std::vector<double> x(shells, 0.0), volume(shells), area(shells + 1);
    for (int k = 0; k <= shells; ++k) area[static_cast<std::size_t>(k)] = std::pow(k * dr, 2);
    for (int k = 0; k < shells; ++k)
      volume[static_cast<std::size_t>(k)] = (std::pow((k + 1) * dr, 3) - std::pow(k * dr, 3)) / 3;
    const double end = 4 * theta, wanted = 0.2 * dr * dr;  // the pulse, then three times as long
    const int steps = 4 * static_cast<int>(std::ceil(theta / wanted));
    const double dt = end / steps;
    const double inflow = 1 / (3 * theta);  // moves the mean by 1 within the pulse
    for (int n = 1; n <= steps; ++n) {
      const bool on = 4 * n <= steps;
      std::vector<double> flux(shells + 1, 0.0);
      for (std::size_t k = 1; k < shells; ++k) flux[k] = -(x[k] - x[k - 1]) / dr * area[k];
      flux[shells] = on ? -inflow : 0;
      for (std::size_t k = 0; k < shells; ++k) x[k] += dt * (flux[k] - flux[k + 1]) / volume[k];
      // At the surface the slope is the flux; a parabola from the middle of the last shell.
      const double slope = on ? inflow : 0, bend = (slope - (x[shells - 1] - x[shells - 2]) / dr) / dr;
      const double surface = x[shells - 1] + 0.5 * dr * slope - 0.125 * dr * dr * bend;
      const double t = n * dt / theta * duration;
      if (n % std::max(1, steps / 2000) != 0) continue;
      if (on) {
        rows.time.push_back(t);
        rows.voltage.push_back(potential(surface) + current * resistance);
      } else {
        rows.rest_time.push_back(t - duration);
        rows.rest_voltage.push_back(potential(surface));
      }
    }
  }
};

}  // namespace

TEST_CASE("the ratio of rest to pulse changes of a sphere follows the tabulated surface response", "[pulses]") {
  // Crank, The Mathematics of Diffusion, 2nd ed. (1975), eq. 6.45: surface response (c - c0) D / (j R), evaluated
  // apart from our code from the roots of tan l = l.
  struct Row {
    double tau, surface;
  };
  for (const Row row : {Row{1e-4, 0.0113845490},
                        {1e-3, 0.0367067803},
                        {0.01, 0.1236433542},
                        {0.1, 0.4867616863},
                        {0.5, 1.6999959119},
                        {1.0, 3.1999999998}}) {
    CAPTURE(row.tau);
    CHECK_THAT(sphere_ratio(row.tau), WithinRel(3 * row.tau / row.surface, 1e-8));
    CHECK_THAT(sphere_theta(3 * row.tau / row.surface), WithinRel(row.tau, 2e-7));
  }
}

TEST_CASE("where the pulse moves the voltage twice as far as the rests, the square root gives 36 % too little",
          "[pulses]") {
  // R 5 um, pulse 600 s, dE_s 10 mV, dE_t 20 mV. Square root law: Weppner and Huggins, J. Electrochem. Soc. 124, 1569
  // (1977) (formula from memory), 4 / (9 pi) (25e-12 / 600) / 4. The sphere: 3 theta / h(theta) = 1/2 with Crank's
  // eq. 6.45.
  const double per_theta = 25e-12 / 600;
  CHECK_THAT(square_root_theta(0.5) * per_theta, WithinRel(1.473657e-15, 1e-6));
  CHECK_THAT(sphere_theta(0.5), WithinRel(0.05548021, 1e-7));
  CHECK_THAT(sphere_theta(0.5) * per_theta, WithinRel(2.311675e-15, 1e-6));
}

TEST_CASE("a pulse that is short against R2/D obeys the square-root law, with a known first correction", "[pulses]") {
  // h = 2 sqrt(tau/pi) + tau + ..., so that ratio = 3/2 sqrt(pi theta) (1 - sqrt(pi theta)/2 + ...); Carslaw and
  // Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), 9.4, the short-time form.
  for (const double theta : {1e-9, 1e-7, 1e-5}) {
    CAPTURE(theta);
    const double root = std::sqrt(M_PI * theta);
    CHECK_THAT(square_root_theta(sphere_ratio(theta)) / theta, WithinAbs(1 - root, 2 * root * root + 1e-9));
  }
}

TEST_CASE("leaving out the start of a pulse does not move the theta that the sphere gives", "[pulses]") {
  for (const double start : {0.0, 0.01, 0.3}) {
    for (const double theta : {1e-4, 0.05, 0.7}) {
      CAPTURE(start, theta);
      CHECK_THAT(sphere_theta(sphere_ratio(theta, start), start), WithinRel(theta, 1e-6));
    }
  }
}

TEST_CASE("a ratio that no sphere can have gives no theta", "[pulses]") {
  for (const double ratio : {0.0, -0.2, 1.0, 1.3, std::nan("")}) {
    CAPTURE(ratio);
    CHECK(std::isnan(sphere_theta(ratio)));
  }
  CHECK(std::isfinite(sphere_theta(1.1, 0.2)));  // rows from a fifth of the pulse on see less of the change
}

TEST_CASE("diffusion and resistance are found again in pulses that a grid of shells made", "[pulses]") {
  const double resistance = 8.0, change = 5e-3;
  for (const double theta : {0.01, 0.05, 0.2}) {
    CAPTURE(theta);
    const GridPulse pulse(theta, resistance, [&](double shift) { return 3.7 + change * shift; });
    const PulseFit fit = fit_pulse(pulse.rows);
    REQUIRE(fit.found);
    CHECK_THAT(fit.theta, WithinRel(theta, 0.01));  // the grid itself is good to some 0.5 %
    CHECK_THAT(fit.resistance, WithinRel(resistance, 0.005));
    CHECK(std::abs(std::log(fit.theta / theta)) < fit.half_width);
    CHECK_THAT(fit.pulse_theta, WithinRel(theta, 0.02));
    CHECK_THAT(fit.relaxation_theta, WithinRel(theta, 0.02));
  }
}

TEST_CASE("a discharge is a charge turned upside down", "[pulses]") {
  GridPulse up(0.05, 8, [](double shift) { return 3.7 + 5e-3 * shift; });
  const PulseFit charge = fit_pulse(up.rows);
  PulseRows down = up.rows;
  down.current = -down.current;
  for (double* v : {&down.before, &down.after}) *v = 7.4 - *v;
  for (std::vector<double>* list : {&down.voltage, &down.rest_voltage}) {
    for (double& v : *list) v = 7.4 - v;
  }
  const PulseFit discharge = fit_pulse(down);
  CHECK_THAT(discharge.theta, WithinRel(charge.theta, 1e-6));
  CHECK_THAT(discharge.resistance, WithinRel(charge.resistance, 1e-6));
}

TEST_CASE("the rests of neighbouring pulses straighten a bent potential, and without them the interval says so",
          "[pulses]") {
  const double theta = 0.05;
  const auto bent = [](double shift) { return 3.7 + 5e-3 * (shift + 0.2 * shift * (shift - 1)); };
  GridPulse pulse(theta, 8, bent);
  const PulseFit alone = fit_pulse(pulse.rows);
  REQUIRE(alone.found);
  CHECK(std::abs(alone.theta / theta - 1) > 0.1);                     // the bend is taken for diffusion
  CHECK(std::abs(std::log(alone.theta / theta)) < alone.half_width);  // and counted
  for (const double shift : {-2.0, -1.0, 2.0, 3.0, 4.0}) pulse.rows.other_rests.push_back({shift, bent(shift)});
  const PulseFit among = fit_pulse(pulse.rows);
  CHECK_THAT(among.theta, WithinRel(theta, 0.04));
  CHECK(std::abs(std::log(among.theta / theta)) < among.half_width);
  CHECK(among.half_width < alone.half_width);
}

TEST_CASE("the interval of the diffusivity holds the true one nine times in ten or more under noise and coarse steps",
          "[pulses]") {
  const double theta = 0.05, change = 8e-3;
  const GridPulse clean(theta, 8, [&](double shift) { return 3.7 + change * shift; });
  std::mt19937 engine(20240501);
  std::normal_distribution<double> noise(0, 1e-4);
  constexpr double step = 2e-4;
  const auto recorded = [&](double v) { return step * std::round((v + noise(engine)) / step); };
  int inside = 0;
  constexpr int trials = 60;
  for (int n = 0; n < trials; ++n) {
    PulseRows rows = clean.rows;
    for (std::vector<double>* list : {&rows.voltage, &rows.rest_voltage}) {
      for (double& v : *list) v = recorded(v);
    }
    std::vector<double> time, rest;  // a minute of rest before, from which E(0) comes
    for (int k = 0; k < 60; ++k) {
      time.push_back(k);
      rest.push_back(recorded(clean.rows.before));
    }
    const RestingPotential before = rest_end(time, rest, step);
    for (double& v : rest) v = recorded(clean.rows.after);
    const RestingPotential after = rest_end(time, rest, step);
    rows.before = before.potential;
    rows.after = after.potential;
    rows.rest_uncertainty = std::max(before.uncertainty, after.uncertainty);
    const PulseFit fit = fit_pulse(rows);
    REQUIRE(fit.found);
    inside += std::abs(std::log(fit.theta / theta)) < fit.half_width;
    CHECK(fit.half_width < std::log(2.0));
  }
  CHECK(inside >= trials * 9 / 10);
}

TEST_CASE("a rest in equal rows is known to within the step of the recorder over the root of twelve", "[pulses]") {
  // Standard uncertainty of a rectangular distribution: JCGM 100:2008 (GUM), 4.3.7.
  std::vector<double> time, voltage;
  for (int k = 0; k < 200; ++k) {
    time.push_back(10 * k);
    voltage.push_back(k < 60 ? 3.7 : 3.7002);
  }
  const RestingPotential end = rest_end(time, voltage, 2e-4);
  CHECK(end.potential == 3.7002);
  CHECK_THAT(end.uncertainty, WithinRel(2e-4 / std::sqrt(12.0), 1e-12));
  CHECK_THAT(end.drift, WithinAbs(0, 1e-12));
  for (std::size_t k = 0; k < 200; ++k) voltage[k] = 3.7 + 1e-6 * time[k];
  CHECK_THAT(rest_end(time, voltage, 0).drift, WithinAbs(0.5e-6 * 1990, 0.05e-3));
  CHECK_THAT(recorder_resolution({3.7, 3.7, 3.7002, 3.7002, 3.7, 3.7004}), WithinRel(2e-4, 1e-6));
  CHECK(recorder_resolution({3.7, 3.7}) == 0);
}

TEST_CASE("a pulse without duration, current or change is refused, and too few rows find nothing", "[pulses]") {
  PulseRows rows;
  CHECK_THROWS_AS(fit_pulse(rows), std::invalid_argument);
  rows.current = 1e-3;
  rows.duration = 600;
  rows.before = 3.7;
  rows.after = 3.7;
  CHECK_THROWS_AS(fit_pulse(rows), std::invalid_argument);
  rows.after = 3.71;
  rows.time = {1, 100, 600};
  rows.voltage = {3.71, 3.72, 3.73};
  CHECK_FALSE(fit_pulse(rows).found);
}
