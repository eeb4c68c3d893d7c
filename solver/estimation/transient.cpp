#include "solver/estimation/transient.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/grain.hpp"

namespace onegrain::solver {

namespace {

constexpr double smallest_theta = 1e-8, largest_theta = 1000;

using Point = Transient::Point;

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

}  // namespace

double mean_of(const std::vector<double>& values) {
  double sum = 0;
  for (const double v : values) sum += v;
  return sum / static_cast<double>(values.size());
}

double surface_shift(double theta, double t, double duration) {
  double h = model::exact_step_response(theta * t / duration);
  if (t > duration) h -= model::exact_step_response(theta * (t - duration) / duration);
  return h / (3 * theta);
}

model::Curve potential_of_shift(const PulseRows& rows, bool straight) {
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

double minimum_between(const std::function<double(double)>& f, double lower, double upper, int steps) {
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
  if (best == 0 || best == steps) return std::numeric_limits<double>::quiet_NaN();
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

Transient Transient::of(const PulseRows& rows) {
  Transient t{rows.duration, potential_of_shift(rows), {}, {}};
  t.pulse = averaged(rows.time, rows.voltage, rows.fit_from, rows.duration, root_of);
  t.relaxation = averaged(rows.rest_time, rows.rest_voltage, rows.fit_from, 3 * rows.duration, logarithm_of);
  for (Point& p : t.relaxation) p.time += rows.duration;
  return t;
}

std::vector<double> Transient::residuals(const std::vector<Point>& points, double theta) const {
  std::vector<double> r;
  for (const Point& p : points) r.push_back(p.voltage - model_voltage(theta, p.time));
  return r;
}

double Transient::sum_of_squares(double theta, bool with_pulse, bool with_relaxation) const {
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

double Transient::sum_with_bend(double theta, double before, double change, bool with_pulse,
                                bool with_relaxation) const {
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

double Transient::best_theta(bool with_pulse, bool with_relaxation) const {
  const double x = minimum_between([&](double v) { return sum_of_squares(std::exp(v), with_pulse, with_relaxation); },
                                   std::log(smallest_theta), std::log(largest_theta), 110);
  return std::exp(x);
}

double Transient::moved_from(double theta, bool with_pulse, bool with_relaxation) const {
  const double from = std::log(theta), range = std::log(4.0);
  return minimum_between([&](double v) { return sum_of_squares(std::exp(v), with_pulse, with_relaxation); },
                         from - range, from + range, 10) -
         from;
}

double Transient::row_uncertainty(double theta, bool with_pulse, bool with_relaxation) const {
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

}  // namespace onegrain::solver
