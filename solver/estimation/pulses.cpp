#include "solver/estimation/pulses.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <stdexcept>

#include "model/curve.hpp"
#include "model/grain.hpp"

namespace onegrain::solver {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double smallest_theta = 1e-8, largest_theta = 1000;
constexpr std::size_t fewest_points = 6;
constexpr double simplifications = 0.03;  // of ln theta: salt not quite settled, kinetics that change within the pulse

double mean_of(const std::vector<double>& values) {
  double sum = 0;
  for (const double v : values) sum += v;
  return sum / static_cast<double>(values.size());
}

/// delta(t): how far the surface has moved, in units of what the pulse moves the mean.
double surface_shift(double theta, double t, double duration) {
  double h = model::exact_step_response(theta * t / duration);
  if (t > duration) h -= model::exact_step_response(theta * (t - duration) / duration);
  return h / (3 * theta);
}

/// E(delta) through the potentials at rest: straight lines, or cubic pieces with slopes that keep them monotone
/// (harmonic means, as Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 300 (1984)).
model::Curve potential_of_shift(const PulseRows& rows, bool straight = false) {
  std::vector<std::pair<double, double>> points = {{0, rows.before}, {1, rows.after}};
  constexpr double apart = 0.2;  // closer rests would turn their errors into slopes
  for (const auto& other : rows.other_rests) {
    const bool fits = std::all_of(points.begin(), points.end(),
                                  [&](const auto& p) { return std::abs(p.first - other.first) >= apart; });
    if (fits) points.push_back(other);
  }
  std::sort(points.begin(), points.end());
  const std::size_t n = points.size();
  std::vector<double> secant(n - 1), slope(n), breaks(n);
  for (std::size_t k = 0; k + 1 < n; ++k)
    secant[k] = (points[k + 1].second - points[k].second) / (points[k + 1].first - points[k].first);
  slope.front() = secant.front();
  slope.back() = secant.back();
  for (std::size_t k = 1; k + 1 < n; ++k) {
    const double a = secant[k - 1], b = secant[k];
    slope[k] = a * b > 0 ? 2 * a * b / (a + b) : 0;
  }
  std::vector<std::vector<double>> coefficients;
  for (std::size_t k = 0; k < n; ++k) breaks[k] = points[k].first;
  for (std::size_t k = 0; k + 1 < n; ++k) {
    const double w = breaks[k + 1] - breaks[k];
    if (straight) {
      coefficients.push_back({points[k].second, secant[k]});
    } else {
      coefficients.push_back({points[k].second, slope[k], (3 * secant[k] - 2 * slope[k] - slope[k + 1]) / w,
                              (slope[k] + slope[k + 1] - 2 * secant[k]) / (w * w)});
    }
  }
  return model::Curve::pieces(breaks, coefficients, model::Curve::Beyond::tangent);
}

struct Point {
  double time, voltage;
};

/// Rows from `first` to `last` averaged over intervals that are even in scale(t).
std::vector<Point> averaged(const std::vector<double>& time, const std::vector<double>& voltage, double first,
                            double last, double (*scale)(double)) {
  constexpr int intervals = 40;
  std::vector<Point> sums(intervals, {0, 0});
  std::vector<int> counts(intervals, 0);
  const double lower = scale(first), width = (scale(last) - lower) / intervals;
  for (std::size_t k = 0; k < time.size(); ++k) {
    if (!(time[k] >= first && time[k] <= last)) continue;
    const auto n =
        static_cast<std::size_t>(std::clamp(static_cast<int>((scale(time[k]) - lower) / width), 0, intervals - 1));
    sums[n].time += time[k];
    sums[n].voltage += voltage[k];
    ++counts[n];
  }
  std::vector<Point> points;
  for (std::size_t n = 0; n < sums.size(); ++n) {
    if (counts[n] > 0) points.push_back({sums[n].time / counts[n], sums[n].voltage / counts[n]});
  }
  return points;
}

double root_of(double t) { return std::sqrt(t); }
double logarithm_of(double t) { return std::log(t); }

/// Where f is least between two arguments: a scan, then golden section to 1e-7. NaN at either end.
double least(const std::function<double(double)>& f, double lower, double upper, int steps) {
  const double step = (upper - lower) / steps;
  int best = 0;
  double lowest = f(lower);
  for (int n = 1; n <= steps; ++n) {
    const double value = f(lower + n * step);
    if (value < lowest) {
      lowest = value;
      best = n;
    }
  }
  if (best == 0 || best == steps) return nan;
  const double golden = (std::sqrt(5.0) - 1) / 2;
  double a = lower + (best - 1) * step, b = lower + (best + 1) * step;
  double c = b - golden * (b - a), d = a + golden * (b - a), fc = f(c), fd = f(d);
  while (b - a > 1e-7) {
    if (fc < fd) {
      b = d;
      d = c;
      fd = fc;
      c = b - golden * (b - a);
      fc = f(c);
    } else {
      a = c;
      c = d;
      fc = fd;
      d = a + golden * (b - a);
      fd = f(d);
    }
  }
  return 0.5 * (a + b);
}

/// The points that are fitted, and the potential that they are held against.
struct Transient {
  double duration;
  model::Curve potential;
  std::vector<Point> pulse, relaxation;  ///< time since the start of the pulse

  double model_voltage(double theta, double t) const { return potential(surface_shift(theta, t, duration)); }

  /// Residuals without resistance; in the pulse their mean is what the resistance takes.
  std::vector<double> residuals(const std::vector<Point>& points, double theta) const {
    std::vector<double> r;
    for (const Point& p : points) r.push_back(p.voltage - model_voltage(theta, p.time));
    return r;
  }
  double resistive(double theta) const { return pulse.empty() ? 0 : mean_of(residuals(pulse, theta)); }

  double sum_of_squares(double theta, bool with_pulse, bool with_relaxation) const {
    double sum = 0;
    if (with_pulse) {
      const std::vector<double> r = residuals(pulse, theta);
      const double mean = mean_of(r);
      for (const double v : r) sum += (v - mean) * (v - mean);
    }
    if (with_relaxation) {
      for (const double v : residuals(relaxation, theta)) sum += v * v;
    }
    return sum;
  }

  /// The same where E = E(0) + (E(1) - E(0)) (delta + k delta (delta - 1)), with the k that fits best: linear in k and
  /// in what the resistance takes.
  double sum_with_bend(double theta, double before, double change, bool with_pulse, bool with_relaxation) const {
    double rr = 0, rb = 0, bb = 0;
    const auto add = [&](const std::vector<Point>& points, bool centred) {
      std::vector<double> r, bend;
      for (const Point& p : points) {
        const double delta = surface_shift(theta, p.time, duration);
        r.push_back(p.voltage - before - change * delta);
        bend.push_back(change * delta * (delta - 1));
      }
      const double r0 = centred ? mean_of(r) : 0, b0 = centred ? mean_of(bend) : 0;
      for (std::size_t k = 0; k < r.size(); ++k) {
        rr += (r[k] - r0) * (r[k] - r0);
        rb += (r[k] - r0) * (bend[k] - b0);
        bb += (bend[k] - b0) * (bend[k] - b0);
      }
    };
    if (with_pulse) add(pulse, true);
    if (with_relaxation) add(relaxation, false);
    return bb > 0 ? rr - rb * rb / bb : rr;
  }

  /// Where the sum of squares is least. NaN at the ends of the range.
  double best_theta(bool with_pulse, bool with_relaxation) const {
    const double x = least([&](double v) { return sum_of_squares(std::exp(v), with_pulse, with_relaxation); },
                           std::log(smallest_theta), std::log(largest_theta), 110);
    return std::exp(x);
  }
  /// The same near a theta: how ln theta moves when a potential does. NaN beyond a factor 4.
  double moved_from(double theta, bool with_pulse, bool with_relaxation) const {
    const double from = std::log(theta), range = std::log(4.0);
    return least([&](double v) { return sum_of_squares(std::exp(v), with_pulse, with_relaxation); }, from - range,
                 from + range, 10) -
           from;
  }

  /// Standard uncertainty of ln theta from the residuals at theta.
  double row_uncertainty(double theta, bool with_pulse, bool with_relaxation) const {
    constexpr double step = 1e-3;
    double information = 0, squares = 0, lagged = 0, scores = 0;
    int count = -1;
    const auto add = [&](const std::vector<Point>& points, bool centred) {
      std::vector<double> r = residuals(points, theta), slope;
      const std::vector<double> up = residuals(points, theta * std::exp(step)),
                                down = residuals(points, theta * std::exp(-step));
      for (std::size_t k = 0; k < r.size(); ++k) slope.push_back((up[k] - down[k]) / (2 * step));
      if (centred) {
        const double mean_r = mean_of(r), mean_slope = mean_of(slope);
        for (double& v : r) v -= mean_r;
        for (double& v : slope) v -= mean_slope;
        --count;
      }
      for (std::size_t k = 0; k < r.size(); ++k) {
        information += slope[k] * slope[k];
        squares += r[k] * r[k];
        if (k > 0) lagged += r[k] * r[k - 1];
        ++count;
        // Points that tell most may scatter most: early ones are of few rows. Neighbours count together (Newey and
        // West, Econometrica 55, 703 (1987)).
        constexpr std::size_t lags = 3;
        scores += slope[k] * slope[k] * r[k] * r[k];
        for (std::size_t n = 1; n <= lags && n <= k; ++n) {
          scores += 2 * (1 - static_cast<double>(n) / (lags + 1)) * slope[k] * r[k] * slope[k - n] * r[k - n];
        }
      }
    };
    if (with_pulse) add(pulse, true);
    if (with_relaxation) add(relaxation, false);
    if (!(information > 0) || count < 1) return std::numeric_limits<double>::infinity();
    const double correlation = squares > 0 ? std::clamp(lagged / squares, 0.0, 0.95) : 0;
    const double pooled = squares / count / information * (1 + correlation) / (1 - correlation);
    return std::sqrt(std::max(pooled, scores / (information * information)));
  }
};

/// Without the rows, which would be copied in vain.
PulseRows potentials_of(const PulseRows& rows) {
  PulseRows p;
  p.before = rows.before;
  p.after = rows.after;
  p.other_rests = rows.other_rests;
  return p;
}

Transient transient_of(const PulseRows& rows) {
  Transient t{rows.duration, potential_of_shift(rows), {}, {}};
  t.pulse = averaged(rows.time, rows.voltage, rows.fit_from, rows.duration, root_of);
  t.relaxation = averaged(rows.rest_time, rows.rest_voltage, rows.fit_from, 3 * rows.duration, logarithm_of);
  for (Point& p : t.relaxation) p.time += rows.duration;
  return t;
}

}  // namespace

double sphere_ratio(double theta, double start) {
  return 3 * theta / (model::exact_step_response(theta) - model::exact_step_response(start * theta));
}

double sphere_theta(double ratio, double start) {
  if (!(ratio > 0 && ratio < 1 / (1 - start))) return nan;
  double lower = std::log(1e-12), upper = std::log(100);
  if (ratio <= sphere_ratio(std::exp(lower), start) || ratio >= sphere_ratio(std::exp(upper), start)) return nan;
  while (upper - lower > 1e-11) {
    const double middle = 0.5 * (lower + upper);
    (sphere_ratio(std::exp(middle), start) < ratio ? lower : upper) = middle;
  }
  return std::exp(0.5 * (lower + upper));
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

RestEnd rest_end(const std::vector<double>& time, const std::vector<double>& voltage, double resolution) {
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
  const Transient t = transient_of(rows);
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
    for (Point& p : t2.relaxation) p.voltage += relaxation_shift;
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
        least([&](double x) { return t.sum_with_bend(std::exp(x), rows.before, change, pulse, relaxation); },
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
