#include "app/study/pulses.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "app/render/table.hpp"
#include "model/root_search.hpp"
#include "params/record/record.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app {

namespace {

constexpr double largest_factor = 3;    // a diffusion coefficient that is known less well is not offered
constexpr double largest_change = 0.1;  // [V] beyond this a step is no pulse
constexpr double largest_drift = 0.3;   // of the change from rest to rest
constexpr std::size_t fewest_rows = 8;
constexpr double first_counted = 0.5;           // [s] the square-root law leaves out the double layer
constexpr double potential_error = 5e-3;        // [V] of a card against a measured rest
constexpr double certain = 0.02, usable = 0.1;  // of a stoichiometry read from a potential

std::string in_words(double factor) { return factor < 1000 ? digits(factor, 2) : "of more than 1000"; }
std::string millivolts(double volts) { return fmt::format("{:.2f} mV", 1e3 * volts); }

/// Time in which a jump of the salt's profile has died down to 5 %: three times that of the slowest mode of a slab as
/// long as the path of diffusion is, (3 / pi^2) (sum_k L_k sqrt(tau_k / D))^2   [s].
double salt_settling_time(const model::Cell& cell) {
  const double D = cell.electrolyte.diffusivity(cell.electrolyte.concentration, cell.temperature);
  double path = cell.separator.thickness * std::sqrt(cell.separator.tortuosity / D);
  path += cell.positive.thickness * std::sqrt(cell.positive.tortuosity / D);
  if (cell.negative) path += cell.negative->thickness * std::sqrt(cell.negative->tortuosity / D);
  return 3 / (M_PI * M_PI) * path * path;
}

/// The steps of a record with what passed before each.
struct Steps {
  const params::Record& record;
  std::vector<params::RecordedStep> list;
  std::vector<double> charge_before;  ///< [C]
  double resolution;

  explicit Steps(const params::Record& r)
      : record(r), list(params::recorded_steps(r)), resolution(solver::recorder_resolution(r.voltage)) {
    join_rests();
    double sum = 0;
    for (const params::RecordedStep& s : list) {
      charge_before.push_back(sum);
      sum += s.charge;
    }
  }
  /// A protocol may rest twice in a row.
  void join_rests() {
    std::vector<params::RecordedStep> joined;
    for (const params::RecordedStep& s : list) {
      if (!joined.empty() && s.kind == params::StepKind::rest && joined.back().kind == params::StepKind::rest) {
        params::RecordedStep& rest = joined.back();
        rest.last = s.last;
        rest.duration = record.time[s.last] - rest.start;
        rest.charge += s.charge;
        rest.last_voltage = s.last_voltage;
      } else {
        joined.push_back(s);
      }
    }
    list = std::move(joined);
  }
  bool is_rest(std::size_t k) const { return k < list.size() && list[k].kind == params::StepKind::rest; }
  bool is_driven(std::size_t k) const {
    return k < list.size() && (list[k].kind == params::StepKind::charge || list[k].kind == params::StepKind::discharge);
  }
  solver::RestEnd rest_end(std::size_t k) const {
    const auto [first, last] =
        std::pair(static_cast<std::ptrdiff_t>(list[k].first), static_cast<std::ptrdiff_t>(list[k].last + 1));
    return solver::rest_end({record.time.begin() + first, record.time.begin() + last},
                            {record.voltage.begin() + first, record.voltage.begin() + last}, resolution);
  }
};

/// A step under current between its switches.
struct Driven {
  std::size_t first, last;  ///< rows that carry the full current
  double current;           ///< median [A]
  bool constant;            ///< nine rows of ten within 2 % of it
  double start, end;        ///< of the current: half way between the rows around each switch [s]
  double gap;               ///< the longer of the two intervals around the switches [s]
};

Driven driven(const Steps& steps, std::size_t s) {
  const params::Record& r = steps.record;
  const params::RecordedStep& step = steps.list[s];
  std::vector<double> currents(r.current.begin() + static_cast<std::ptrdiff_t>(step.first),
                               r.current.begin() + static_cast<std::ptrdiff_t>(step.last + 1));
  std::nth_element(currents.begin(), currents.begin() + static_cast<std::ptrdiff_t>(currents.size() / 2),
                   currents.end());
  Driven d{step.first, step.last, currents[currents.size() / 2], true, 0, 0, 0};
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
  Evaluation(PulseReport& report, const Job& job, const Steps& steps, std::size_t s)
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
      before_ = solver::RestEnd{r.voltage[d_.first - 1], steps_.resolution / std::sqrt(12.0), 0};
      p_.on = jump(d_.first, d_.first - 1);
      p_.notes.emplace_back("the record begins with it: the row before the current stands for the rest");
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
  Jump jump(std::size_t with, std::size_t without) const {
    const params::Record& r = steps_.record;
    return {(r.voltage[with] - r.voltage[without]) / (r.current[with] - r.current[without]),
            std::abs(r.time[with] - r.time[without])};
  }
  void refuse(const std::string& reason) { p_.reasons.push_back(reason); }
  double rest_length(std::size_t k) const { return steps_.list[k].duration; }

  /// What forbids any diffusion coefficient before the rows are looked at.
  void refuse_unfit() {
    if (report_.full_cell)
      refuse("full cell: the voltage is that of two electrodes; a half cell tells the diffusion in one");
    if (!p_.after) refuse("no rest follows");
    if (!p_.interruption && !p_.before) refuse("no rest goes before");
    if (!d_.constant) refuse("the current is not constant");
    if (!p_.reasons.empty()) return;
    if (d_.gap > 0.05 * p_.duration) {
      refuse(fmt::format("too few rows: {} lie between the rows around a switch of the current, the pulse lasts {}",
                         duration(d_.gap), duration(p_.duration)));
    }
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
    if (rest < p_.duration) {
      return refuse(fmt::format("incomplete rest: it lasts {}, the pulse {}", duration(rest), duration(p_.duration)));
    }
    const double slow = std::max(std::abs(after_->drift), both ? std::abs(before_->drift) : 0);
    if (slow > largest_drift * std::abs(change) && slow > 2 * steps_.resolution) {
      return refuse(fmt::format(
          "incomplete rest: its second half still moves the voltage by {}, the pulse the potential at rest by {}",
          millivolts(slow), millivolts(std::abs(change))));
    }
    if (!(sign * corrected > 0) || known_within > 0.5 * std::abs(corrected) ||
        std::abs(corrected) < 2 * steps_.resolution) {
      return refuse(
          fmt::format("flat potential: the pulse moves the potential at rest by {}, known to within {} (recorder step "
                      "{}, drift in the "
                      "second half of the rest {})",
                      millivolts(change), millivolts(known_within), millivolts(steps_.resolution), millivolts(slow)));
    }
    const auto counted =
        std::count_if(p_.rows.time.begin(), p_.rows.time.end(), [&](double t) { return t >= p_.rows.fit_from; });
    if (static_cast<std::size_t>(counted) < fewest_rows) {
      return refuse(fmt::format("too few rows: {} in the pulse from {} on, {} are needed", counted,
                                duration(p_.rows.fit_from), fewest_rows));
    }
    p_.rows.before = *p_.before;
    p_.rows.after = *p_.before + corrected;
    p_.rows.change_uncertainty = uncertain_drift;
    p_.rows.rest_uncertainty = std::max(before_->uncertainty, after_->uncertainty);
    gather_other_rests();
    if (p_.rows.fit_from < report_.salt_settles) {
      p_.notes.push_back(fmt::format(
          "short against the salt in the pores, which settles in {} by the sheet; part of what is fitted may be salt",
          duration(report_.salt_settles)));
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
    if (!f.found) {
      return refuse(
          fmt::format("no sphere fits: the rows of the pulse and the change from rest to rest contradict each other, "
                      "or the pulse of {} is long against "
                      "R2/D",
                      duration(p_.duration)));
    }
    if (std::isfinite(f.resistance)) p_.fitted_resistance = f.resistance;
    if (f.misfit > 0.2 * moved) {
      return refuse(fmt::format("noise: the rows scatter by {} about the fit, the pulse moves them by {}",
                                millivolts(f.misfit), millivolts(moved)));
    }
    const double factor = std::exp(f.half_width), per_second = f.theta / p_.duration;
    if (factor > largest_factor) {
      if (f.from_shape > 0.7 * f.half_width) {
        return refuse(fmt::format("not one sphere: the pulse gives D/R2 = {} 1/s, the relaxation after it {} 1/s",
                                  digits(f.pulse_theta / p_.duration, 2), digits(f.relaxation_theta / p_.duration, 2)));
      }
      if (f.from_bend > 0.7 * f.half_width) {
        return refuse(
            fmt::format("curved potential: it bends so much between the rests around this pulse that D/R2 would be "
                        "known only within a factor {}; "
                        "shorter pulses tell more",
                        in_words(factor)));
      }
      if (f.theta > 0.2) {
        return refuse(fmt::format(
            "long pulse: it lasts {}, R2/D is about {}; its shape no longer tells the diffusion coefficient",
            duration(p_.duration), duration(1 / per_second)));
      }
      return refuse(fmt::format("too uncertain: D/R2 would be known only within a factor {}", in_words(factor)));
    }
    p_.by_fit = {per_second, factor};
  }

  /// Rests of the same series of pulses, none of them turning back.
  void gather_other_rests() {
    const double q = steps_.charge_before[s_], own = p_.charge;
    const auto same_way = [&](std::size_t k) { return steps_.is_driven(k) && steps_.list[k].charge * own > 0; };
    const auto add = [&](std::size_t rest) {
      const double delta = (steps_.charge_before[rest] - q) / own;
      const solver::RestEnd end = steps_.rest_end(rest);
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
    if (!std::isfinite(slope)) return refuse("too few rows: the slope before the interruption cannot be read");
    if (!(sign * slope > 0))
      return refuse("flat potential: the voltage before the interruption does not move with the current");
    const double uncertain = std::max(0.05, std::abs(slope / earlier - 1));
    if (!(uncertain < 0.5)) return refuse("the voltage before the interruption bends too much for one slope");
    const double drift = std::abs(after_->drift);
    if (drift > largest_drift * std::abs(*p_.relaxation) || rest < 60) {
      return refuse(
          fmt::format("incomplete rest: it lasts {}, its second half still moves the voltage by {}, all of it by {}",
                      duration(rest), millivolts(drift), millivolts(std::abs(*p_.relaxation))));
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
    if (p_.by_fit) p_.notes.emplace_back("from the relaxation alone, with the slope that the voltage had before");
    p_.rows.time = all.time;
    p_.rows.voltage = all.voltage;
  }

  PulseReport& report_;
  const Job& job_;
  const Steps& steps_;
  std::size_t s_;
  Driven d_;
  MeasuredPulse p_;
  std::optional<solver::RestEnd> before_, after_;
  double before_length_ = 0;  ///< of the rest before, as far as it is recorded [s]
};

/// Where the potential of the card is `E`, if at one place only, with the half-width that 5 mV make; {} otherwise.
struct Place {
  double x, spread;
};
std::optional<Place> place_at(const Job& job, double E) {
  const model::OpenCircuitPotential& U = job.cell.positive.host.potential;
  const double T = job.cell.temperature;
  constexpr int steps = 2000;
  std::optional<double> found;
  const double width = (U.upper() - U.lower()) / steps;
  for (int n = 0; n < steps; ++n) {
    const double a = U.lower() + n * width, b = a + width;
    if ((U(a, T) > E) == (U(b, T) > E)) continue;
    if (found) return std::nullopt;
    found = model::bracketed_root([&](double x) { return U(x, T) - E; }, a, b);
  }
  if (!found) return std::nullopt;
  // By the potential 5 mV either way, which a plateau beside a steep place cannot hide from.
  double lower = *found, upper = *found;
  while (lower > U.lower() && std::abs(U(lower, T) - E) < potential_error) lower -= width;
  while (upper < U.upper() && std::abs(U(upper, T) - E) < potential_error) upper += width;
  return Place{*found, std::max(*found - lower, upper - *found)};
}

/// The axis of the plots: read from the potential where that is steep, counted from there elsewhere.
void place_pulses(const Job& job, const Steps& steps, const std::vector<std::size_t>& origin,
                  std::vector<MeasuredPulse>& pulses, std::size_t first) {
  if (job.cell.is_full_cell()) return;
  const double capacity = job.cell.positive.capacity() * job.plate_area();
  const auto charge_at = [&](std::size_t n) {  // where the pulse is placed
    const MeasuredPulse& p = pulses[first + n];
    return steps.charge_before[origin[n]] + (p.interruption ? 1 : 0.5) * steps.list[origin[n]].charge;
  };
  struct Anchor {
    std::size_t n;
    Place place;  ///< at charge_at(n)
    double potential;
  };
  std::vector<Anchor> anchors;
  for (std::size_t n = 0; n < origin.size(); ++n) {
    const MeasuredPulse& p = pulses[first + n];
    const std::optional<double> rest = p.interruption ? p.after : p.before;
    if (!rest) continue;
    if (auto place = place_at(job, *rest)) {
      if (!p.interruption) place->x -= 0.5 * p.charge / capacity;
      anchors.push_back({n, *place, *rest});
    }
  }
  double limit = certain;
  if (std::none_of(anchors.begin(), anchors.end(), [&](const Anchor& a) { return a.place.spread <= limit; }))
    limit = usable;
  anchors.erase(std::remove_if(anchors.begin(), anchors.end(), [&](const Anchor& a) { return a.place.spread > limit; }),
                anchors.end());
  for (std::size_t n = 0; n < origin.size(); ++n) {
    MeasuredPulse& p = pulses[first + n];
    const Anchor* best = nullptr;  // the last one before, else the first one after
    for (const Anchor& a : anchors) {
      if (a.n <= n || best == nullptr) best = &a;
    }
    if (best == nullptr) {
      p.stoichiometry_from =
          "not known: no rest of this record lies where the potential of the card is steep and found at one place only";
      continue;
    }
    const double counted = (charge_at(n) - charge_at(best->n)) / capacity;
    p.stoichiometry = best->place.x - counted;
    p.stoichiometry_spread = best->place.spread + 0.03 * std::abs(counted);
    p.stoichiometry_from = best->n == n
                               ? "the potential at rest, by the card"
                               : fmt::format("charge, counted from pulse {} with its potential at rest of {} V",
                                             best->n + 1, digits(best->potential, 4));
  }
}

}  // namespace

void add_pulses(PulseReport& report, const Job& job, const std::string& file, const params::Record& record) {
  report.full_cell = job.cell.is_full_cell();
  report.salt_settles = salt_settling_time(job.cell);
  if (!report.full_cell) {
    report.radius = job.cell.positive.particle_radius;
    const params::Spread& spread = job.sheet.positive.particle_radius.spread;
    if (spread.form == params::Spread::Form::absolute) report.radius_factor = std::exp(spread.size / report.radius);
    if (spread.form == params::Spread::Form::factor) report.radius_factor = spread.size;
  }
  const Steps steps(record);
  report.resolution = std::max(report.resolution, steps.resolution);
  const std::size_t first = report.pulses.size();
  std::vector<std::size_t> origin;
  for (std::size_t s = 0; s < steps.list.size(); ++s) {
    if (!steps.is_driven(s) || !(steps.is_rest(s + 1) || (s > 0 && steps.is_rest(s - 1)))) continue;
    MeasuredPulse pulse = Evaluation(report, job, steps, s).run();
    pulse.file = params::one_line(file);
    pulse.number = static_cast<int>(origin.size()) + 1;
    report.pulses.push_back(std::move(pulse));
    origin.push_back(s);
  }
  if (origin.empty()) {
    throw UnsoundInput(file + ": no pulse: no charge or discharge has a rest before or after it; 'onegrain check " +
                       file + "' prints the steps\n");
  }
  place_pulses(job, steps, origin, report.pulses, first);
}

}  // namespace onegrain::app
