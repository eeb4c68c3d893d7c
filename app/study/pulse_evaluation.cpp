#include <algorithm>
#include <cmath>
#include <utility>

#include "app/study/pulse_steps.hpp"
#include "params/record/levels.hpp"

namespace onegrain::app::study {

namespace {

using What = PulseRemark::What;

constexpr double largest_factor = 3;    // a diffusion coefficient that is known less well is not offered
constexpr double largest_change = 0.1;  // [V] beyond this a step is no pulse
constexpr double largest_drift = 0.3;   // of the change from rest to rest
constexpr std::size_t fewest_rows = 8;
constexpr double first_counted = 0.5;  // [s] the square-root law leaves out the double layer

/// A step under current between its switches.
struct Driven {
  std::size_t first, last;  ///< rows that carry the full current
  double current;           ///< median [A]
  bool constant;            ///< nine rows of ten within 2 % of it
  double start, end;        ///< of the current: half way between the rows around each switch [s]
  double gap;               ///< the longer of the two intervals around the switches [s]
};

Driven driven(const PulseSteps& steps, std::size_t s) {
  const params::Record& r = steps.record;
  const params::RecordedStep& step = steps.list[s];
  const std::vector<double> currents(r.current.begin() + static_cast<std::ptrdiff_t>(step.first),
                                     r.current.begin() + static_cast<std::ptrdiff_t>(step.last + 1));
  Driven d{step.first, step.last, params::middle_of(currents), true, 0, 0, 0};
  const auto full = [&](std::size_t k) { return std::abs(r.current[k] - d.current) <= 0.1 * std::abs(d.current); };
  while (d.first < d.last && !full(d.first)) ++d.first;
  while (d.last > d.first && !full(d.last)) --d.last;
  const auto alike = std::count_if(currents.begin(), currents.end(),
                                   [&](double I) { return std::abs(I - d.current) <= 0.02 * std::abs(d.current); });
  d.constant = static_cast<double>(alike) >= 0.9 * static_cast<double>(currents.size()) - 1;
  const double before = d.first > 0 ? r.time[d.first] - r.time[d.first - 1] : 0;
  const double after = d.last + 1 < r.size() ? r.time[d.last + 1] - r.time[d.last] : 0;
  d.gap = std::max(before, after);
  d.start = r.time[d.first] - 0.5 * before;
  d.end = r.time[d.last] + 0.5 * after;
  return d;
}

/// Rows between two, times counted from `origin`.
void copy_rows(const params::Record& r, std::size_t first, std::size_t last, double origin, std::vector<double>& time,
               std::vector<double>& voltage) {
  for (std::size_t k = first; k <= last; ++k) {
    time.push_back(r.time[k] - origin);
    voltage.push_back(r.voltage[k]);
  }
}

/// Mean voltage over the last rows of the pulse, of 2 % of it [V].
double end_voltage(const solver::PulseRows& rows) {
  double sum = 0;
  int count = 0;
  for (std::size_t k = rows.time.size(); k-- > 0 && (count == 0 || rows.time[k] >= 0.98 * rows.duration);) {
    sum += rows.voltage[k];
    ++count;
  }
  return sum / count;
}

/// Rise of the voltage per second over the last `share` of a step [V/s], by a straight line; NaN for fewer than 5 rows.
double end_slope(const solver::PulseRows& rows, double share) {
  double n = 0, st = 0, sv = 0, stt = 0, stv = 0;
  for (std::size_t k = 0; k < rows.time.size(); ++k) {
    const double t = rows.time[k] - rows.duration, v = rows.voltage[k] - rows.voltage.back();
    if (t < -share * rows.duration) continue;
    n += 1, st += t, sv += v, stt += t * t, stv += t * v;
  }
  const double determinant = n * stt - st * st;
  return n < 5 || !(determinant > 0) ? NAN : (n * stv - st * sv) / determinant;
}

class Evaluation {
 public:
  Evaluation(const PulseReport& report, const Job& job, const PulseSteps& steps, std::size_t s)
      : report_(report), job_(job), steps_(steps), s_(s), d_(driven(steps, s)) {}

  MeasuredPulse run() {
    const params::Record& r = steps_.record;
    p_.start = d_.start;
    p_.duration = d_.end - d_.start;
    p_.current = d_.current;
    p_.charge = steps_.list[s_].charge;
    const bool rest_before = s_ > 0 && steps_.is_rest(s_ - 1), rest_after = steps_.is_rest(s_ + 1);
    if (rest_before) p_.on = jump(d_.first, d_.first - 1);
    if (rest_after) p_.off = jump(d_.last, d_.last + 1);
    if (rest_before) {
      before_ = steps_.rest_end(s_ - 1);
      before_length_ = rest_length(s_ - 1);
    } else if (d_.first > steps_.list[s_].first && std::abs(r.current[d_.first - 1]) <= 0.01 * std::abs(d_.current)) {
      // A record that begins with its current has one row before it, which opens the step.
      before_ = solver::RestingPotential{r.voltage[d_.first - 1], steps_.resolution / std::sqrt(12.0), 0};
      p_.on = jump(d_.first, d_.first - 1);
      p_.notes.push_back({What::row_for_rest, {}});
    }
    if (rest_after) after_ = steps_.rest_end(s_ + 1);
    if (before_) p_.before = before_->potential;
    if (after_) {
      p_.after = after_->potential;
      p_.relaxation = after_->potential - r.voltage[d_.last + 1];
    }
    p_.interruption = rest_after && (!before_ || std::abs(*p_.after - *p_.before) > largest_change);
    p_.rows.current = d_.current;
    p_.rows.duration = p_.duration;
    p_.rows.fit_from = std::max(1.0, std::min(report_.salt_settles, 0.1 * p_.duration));
    copy_rows(r, d_.first, d_.last, d_.start, p_.rows.time, p_.rows.voltage);
    if (rest_after)
      copy_rows(r, d_.last + 1, steps_.list[s_ + 1].last, d_.end, p_.rows.rest_time, p_.rows.rest_voltage);
    p_.interruption ? interrupt() : titrate();
    return std::move(p_);
  }

 private:
  JumpResistance jump(std::size_t with, std::size_t without) const {
    const params::Record& r = steps_.record;
    return {(r.voltage[with] - r.voltage[without]) / (r.current[with] - r.current[without]),
            std::abs(r.time[with] - r.time[without])};
  }
  void refuse(What why, std::array<double, 4> numbers = {}) { p_.reasons.push_back({why, numbers}); }
  double rest_length(std::size_t k) const { return steps_.list[k].duration; }

  /// What forbids any diffusion coefficient before the rows are looked at.
  void refuse_unfit() {
    if (report_.full_cell) refuse(What::full_cell);
    if (!p_.after) refuse(What::no_rest_after);
    if (!p_.interruption && !p_.before) refuse(What::no_rest_before);
    if (!d_.constant) refuse(What::current_varies);
    if (!p_.reasons.empty()) return;
    if (d_.gap > 0.05 * p_.duration) refuse(What::rows_apart, {d_.gap, p_.duration});
  }

  void titrate() {
    refuse_unfit();
    if (!p_.reasons.empty()) return;
    const double change = *p_.after - *p_.before, sign = p_.current > 0 ? 1 : -1;
    const double rest = rest_length(s_ + 1);
    // Equal drifts before and after cancel in the difference. A rest before of which too little is recorded is taken to
    // drift like the one after; that may be wrong by half of it.
    const bool both = before_length_ >= p_.duration;
    const double drift = both ? after_->drift - before_->drift : 0;
    const double uncertain_drift =
        both ? 0.5 * std::abs(drift) + 0.1 * std::max(std::abs(after_->drift), std::abs(before_->drift))
             : 0.5 * std::abs(after_->drift);
    const double corrected = change + drift;
    p_.change_uncertainty = std::hypot(before_->uncertainty, after_->uncertainty, uncertain_drift);
    const double known_within = normal_95 * p_.change_uncertainty;
    if (rest < p_.duration) return refuse(What::rest_short, {rest, p_.duration});
    const double slow = std::max(std::abs(after_->drift), both ? std::abs(before_->drift) : 0);
    if (slow > largest_drift * std::abs(change) && slow > 2 * steps_.resolution) {
      return refuse(What::rest_moves, {slow, std::abs(change)});
    }
    if (!(sign * corrected > 0) || known_within > 0.5 * std::abs(corrected) ||
        std::abs(corrected) < 2 * steps_.resolution) {
      return refuse(What::potential_flat, {change, known_within, steps_.resolution, slow});
    }
    const auto counted =
        std::count_if(p_.rows.time.begin(), p_.rows.time.end(), [&](double t) { return t >= p_.rows.fit_from; });
    if (static_cast<std::size_t>(counted) < fewest_rows) {
      return refuse(What::rows_few, {static_cast<double>(counted), p_.rows.fit_from, fewest_rows});
    }
    p_.rows.before = *p_.before;
    p_.rows.after = *p_.before + corrected;
    p_.rows.change_uncertainty = uncertain_drift;
    p_.rows.rest_uncertainty = std::max(before_->uncertainty, after_->uncertainty);
    gather_other_rests();
    if (p_.rows.fit_from < report_.salt_settles) {
      p_.notes.push_back({What::salt_not_settled, {report_.salt_settles}});
    }
    fit(std::abs(end_voltage(p_.rows) - voltage_at(p_.rows.fit_from)));
    two_points(corrected);
  }

  double voltage_at(double t) const {
    std::size_t k = 0;
    while (k + 1 < p_.rows.time.size() && p_.rows.time[k] < t) ++k;
    return p_.rows.voltage[k];
  }

  /// The square-root law, and the sphere from the same two numbers.
  void two_points(double change) {
    if (!p_.reasons.empty()) return;
    std::size_t k = 0;
    while (p_.rows.time[k] < first_counted) ++k;  // there are rows later than that
    const double during = end_voltage(p_.rows) - p_.rows.voltage[k], ratio = change / during;
    const double relative = std::hypot(p_.change_uncertainty / change, steps_.resolution / std::sqrt(6.0) / during);
    if (!(ratio > 0)) return;
    p_.by_square_root = {solver::square_root_theta(ratio) / p_.duration, std::exp(normal_95 * 2 * relative)};
    const double theta = solver::sphere_theta(ratio, p_.rows.time[k] / p_.duration);
    if (std::isfinite(theta)) p_.by_two_points = theta / p_.duration;
  }

  void fit(double moved) {
    p_.fit = solver::fit_pulse(p_.rows);
    const solver::PulseFit& f = p_.fit;
    if (!f.found) return refuse(What::no_sphere, {p_.duration});
    if (std::isfinite(f.resistance)) p_.fitted_resistance = f.resistance;
    if (f.misfit > 0.2 * moved) return refuse(What::noise, {f.misfit, moved});
    const double factor = std::exp(f.half_width), per_second = f.theta / p_.duration;
    if (factor > largest_factor) {
      if (f.from_shape > 0.7 * f.half_width)
        return refuse(What::two_spheres, {f.pulse_theta / p_.duration, f.relaxation_theta / p_.duration});
      if (f.from_bend > 0.7 * f.half_width) return refuse(What::potential_bends, {factor});
      if (f.theta > 0.2) return refuse(What::pulse_long, {p_.duration, 1 / per_second});
      return refuse(What::uncertain, {factor});
    }
    p_.by_fit = {per_second, factor};
  }

  /// Rests of the same series of pulses, none of them turning back.
  void gather_other_rests() {
    const double q = steps_.charge_before[s_], own = p_.charge;
    const auto same_way = [&](std::size_t k) { return steps_.is_driven(k) && steps_.list[k].charge * own > 0; };
    const auto add = [&](std::size_t rest) {
      const double delta = (steps_.charge_before[rest] - q) / own;
      const solver::RestingPotential end = steps_.rest_end(rest);
      const bool rested = rest_length(rest) >= p_.duration &&
                          std::abs(end.drift) <= largest_drift * std::abs(p_.rows.after - p_.rows.before);
      if (rested && delta > -3 && delta < 8) p_.rows.other_rests.push_back({delta, end.potential});
    };
    for (std::size_t k = s_ + 2; same_way(k) && steps_.is_rest(k + 1) && (steps_.charge_before[k] - q) / own < 8;
         k += 2)
      add(k + 1);
    for (std::size_t k = s_;
         k >= 3 && same_way(k - 2) && steps_.is_rest(k - 3) && (steps_.charge_before[k - 3] - q) / own > -3; k -= 2)
      add(k - 3);
    std::sort(p_.rows.other_rests.begin(), p_.rows.other_rests.end());
  }

  /// A rest after a long step: D / R^2 from the relaxation, its size against the slope that the voltage had.
  void interrupt() {
    refuse_unfit();
    if (!p_.reasons.empty()) return;
    const double slope = end_slope(p_.rows, 0.1), earlier = end_slope(p_.rows, 0.2), sign = p_.current > 0 ? 1 : -1;
    const double rest = rest_length(s_ + 1);
    if (!std::isfinite(slope)) return refuse(What::no_slope);
    if (!(sign * slope > 0)) return refuse(What::slope_flat);
    const double uncertain = std::max(0.05, std::abs(slope / earlier - 1));
    if (!(uncertain < 0.5)) return refuse(What::slope_bends);
    const double drift = std::abs(after_->drift);
    if (drift > largest_drift * std::abs(*p_.relaxation) || rest < 60) {
      return refuse(What::relaxation_short, {rest, drift, std::abs(*p_.relaxation)});
    }
    solver::PulseRows only_rest = p_.rows;
    only_rest.time.clear();
    only_rest.voltage.clear();
    only_rest.fit_from = std::max(1.0, report_.salt_settles);
    only_rest.after = *p_.after;
    only_rest.before = *p_.after - slope * p_.duration;
    only_rest.change_uncertainty = uncertain * std::abs(slope * p_.duration);
    only_rest.rest_uncertainty = 0;
    const solver::PulseRows all = std::exchange(p_.rows, only_rest);
    fit(std::abs(*p_.relaxation));
    if (p_.by_fit) p_.notes.push_back({What::relaxation_alone, {}});
    p_.rows.time = all.time;
    p_.rows.voltage = all.voltage;
  }

  const PulseReport& report_;
  const Job& job_;
  const PulseSteps& steps_;
  std::size_t s_;
  Driven d_;
  MeasuredPulse p_;
  std::optional<solver::RestingPotential> before_, after_;
  double before_length_ = 0;  ///< of the rest before, as far as it is recorded [s]
};

}  // namespace

MeasuredPulse evaluated(const PulseReport& report, const Job& job, const PulseSteps& steps, std::size_t s) {
  return Evaluation(report, job, steps, s).run();
}

}  // namespace onegrain::app::study
