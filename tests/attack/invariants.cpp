#include "tests/attack/invariants.hpp"

#include <fmt/format.h>

#include <cmath>

#include "solver/step/curves.hpp"
#include "tests/quadrature.hpp"

namespace onegrain::attack {

namespace {

using solver::Ended;
using solver::Point;

constexpr double volts_of_a_cutoff = 1e-4;     // issue 8
constexpr double shortest = 1e-6;              // s; a step below this counts as one of no length
constexpr double beyond_the_last_site = 2e-4;  // a cut-off of 5 V beyond it, on a slope of (R T / F) / 1e-6
constexpr double surface_limit = 1e-6;         // model: a surface this close to 0 or 1 is empty or full
constexpr double used_up = 0.005;              // model: share of the mean salt at which it is used up
constexpr double absurd_voltage =
    20;  // V: no open-circuit potential, overpotential and drop of a cell made by hand add up to it
constexpr double absurd_current = 1e6;  // A/m2: a volt over a micrometre of electrolyte
constexpr double conserved = 1e-9;      // of a stoichiometry, of the mean salt

/// Checks of one step, each adding the sentences that are its own.
class Check {
 public:
  Check(const RunStep& run, const RunStep* before, Findings& findings)
      : step_(*run.step),
        solution_(*run.solution),
        name_(run.name),
        before_(before),
        findings_(findings),
        cell_(solution_.model().cell()),
        first_(solution_.first()),
        last_(solution_.last()) {}

  void all() {
    if (!finite()) return;  // nothing else means anything then
    length();
    if (solution_.ended_by() != Ended::time && solution_.duration() < shortest) return;  // passed over
    possible();
    limits();
    lithium();
    salt();
    end();
    on_the_way();
    boundary();
    ++findings_.frequencies["ended by " + solver::name_of(solution_.ended_by())];
  }

 private:
  template <class... Args>
  void fault(fmt::format_string<Args...> text, Args&&... args) {
    findings_.violation(name_ + ": " + fmt::format(text, std::forward<Args>(args)...));
  }

  std::vector<double> moments() const { return solver::moments(solution_, 40, true); }

  bool finite() {
    const double duration = solution_.duration();
    if (!(std::isfinite(duration) && duration >= 0)) {
      fault("the duration is {}", duration);
      return false;
    }
    double before = -1;
    for (const double t : moments()) {
      if (!(t > before)) fault("times do not rise: {} s after {} s", t, before);
      before = t;
      const Point p = solution_.at(t);
      const model::Terminal& v = p.terminal;
      for (const double value :
           {p.current, p.charge, p.positive_surface, p.negative_surface, p.positive_mean, p.negative_mean,
            p.temperature, p.lowest_salt, p.highest_salt, v.voltage, v.positive_potential, v.negative_potential,
            v.positive_overpotential, v.negative_overpotential, v.electrolyte, v.concentration, v.electronic, v.contact,
            v.separator_side}) {
        if (std::isfinite(value)) continue;
        fault("a number at {:.6g} of {:.6g} s is not finite (V = {}, i = {} A/m2, surfaces {} and {}, salt {})", t,
              duration, v.voltage, p.current, p.positive_surface, p.negative_surface, p.lowest_salt);
        return false;
      }
    }
    return true;
  }

  void possible() {
    for (const double t : moments()) {
      const Point p = solution_.at(t);
      if (std::abs(p.terminal.voltage) < absurd_voltage && std::abs(p.current) < absurd_current) continue;
      return fault("no cell shows {:.4g} V at {:.4g} A/m2, as this one at {:.4g} of {:.4g} s", p.terminal.voltage,
                   p.current, t, solution_.duration());
    }
  }

  /// A held voltage is held; no surface lies beyond full or empty, no salt below used up, unless the step began so.
  void limits() {
    const auto* hold = std::get_if<model::VoltageDrive>(&step_.drive);
    const double least = std::min(used_up * cell_.electrolyte.concentration, first_.lowest_salt);
    for (const double t : moments()) {
      if (t < solution_.unresolved_until()) continue;  // told to be of the right order only
      const Point p = solution_.at(t);
      if (hold && !(std::abs(p.terminal.voltage - hold->voltage) <= volts_of_a_cutoff))
        return fault("it holds {:.6f} V instead, at {:.6g} of {:.6g} s, {:.4g} A/m2", p.terminal.voltage, t,
                     solution_.duration(), p.current);
      // where the reaction is resolved, a front of used-up salt is gone through, and told
      const bool goes_on = solution_.reaction() == model::Reaction::uneven;
      if (!goes_on &&
          !(p.lowest_salt >= 0.45 * least))  // a step that starts at the limit may use up half of what is left
        return fault("the salt falls to {:.4g} of its start, unseen, at {:.6g} of {:.6g} s",
                     p.lowest_salt / cell_.electrolyte.concentration, t, solution_.duration());
      // Steep as the potential is there, a surface of many may stand off by the integrator's own error in the last
      // moment.
      const double off = solution_.reaction() == model::Reaction::uneven ? 1.1e-3 : beyond_the_last_site;
      for (const auto& [x, before] : {std::pair(p.positive_surfaces, first_.positive_surfaces),
                                      std::pair(p.negative_surfaces, first_.negative_surfaces)}) {
        if (!(x.lowest >= std::min(-off, before.lowest) && x.highest <= std::max(1 + off, before.highest)))
          return fault("grain surfaces are at {:.6f} to {:.6f} at {:.6g} of {:.6g} s", x.lowest, x.highest, t,
                       solution_.duration());
      }
    }
  }

  void lithium() {
    const double Qp = cell_.positive.capacity(), Qn = cell_.negative ? cell_.negative->capacity() : 1;
    const auto* current = std::get_if<model::CurrentDrive>(&step_.drive);
    for (const double t : moments()) {
      const Point p = solution_.at(t);
      const double x_p = cell_.inventory.positive - p.charge / Qp;
      if (!(std::abs(p.positive_mean - x_p) <= conserved))
        return fault("lithium is lost: mean of the positive {:.12f}, by charge {:.12f}, at {:.6g} s", p.positive_mean,
                     x_p, t);
      if (cell_.negative) {
        const double x_n = cell_.inventory.negative + p.charge / Qn;
        if (!(std::abs(p.negative_mean - x_n) <= conserved))
          return fault("lithium is lost: mean of the negative {:.12f}, by charge {:.12f}, at {:.6g} s", p.negative_mean,
                       x_n, t);
      }
      if (current && !(std::abs(p.charge - first_.charge - current->current * t) <= conserved * Qp))
        return fault("the charge at {:.6g} s is {:.12g}, by the current {:.12g} C/m2", t, p.charge - first_.charge,
                     current->current * t);
      if (!(p.positive_mean >= -beyond_the_last_site && p.positive_mean <= 1 + beyond_the_last_site &&
            p.negative_mean >= -beyond_the_last_site && p.negative_mean <= 1 + beyond_the_last_site))
        return fault("a mean stoichiometry outside 0..1: {} and {} at {:.6g} s", p.positive_mean, p.negative_mean, t);
    }
    // The shape of the filling, integrated by a rule of its own (exact for 63 even polynomials and fewer).
    static const tests::GrainAverage average;
    if (solution_.model().positive().count() > 60) return;
    const double t = solution_.duration();
    const double x_p = average(solution_.positive_profile(t, average.nodes).array());
    if (!(std::abs(x_p - last_.positive_mean) <= conserved))
      fault("the positive's grain holds {:.12f} on average, not {:.12f}", x_p, last_.positive_mean);
    if (!cell_.negative) return;
    const double x_n = average(solution_.negative_profile(t, average.nodes).array());
    if (!(std::abs(x_n - last_.negative_mean) <= conserved))
      fault("the negative's grain holds {:.12f} on average, not {:.12f}", x_n, last_.negative_mean);
  }

  void salt() {
    if (!solution_.model().salt() || !cell_.negative) return;  // half cell: pieces of the separator are its own affair
    double amount = 0, pores = 0, from = 0;
    for (const auto& [L, porosity] : {std::pair(cell_.negative->thickness, cell_.negative->porosity),
                                      std::pair(cell_.separator.thickness, cell_.separator.porosity),
                                      std::pair(cell_.positive.thickness, cell_.positive.porosity)}) {
      const auto at = [&](double x) {
        return solution_.salt_profile(solution_.duration(), Eigen::ArrayXd::Constant(1, x))[0];
      };
      amount += porosity * tests::integral(at, from, from + L, 64);
      pores += porosity * L;
      from += L;
    }
    const double mean = amount / pores, c0 = cell_.electrolyte.concentration;
    if (!(std::abs(mean / c0 - 1) <= conserved)) fault("salt is lost: {:.12g} of it is left", mean / c0);
  }

  /// The surface of an end, and which way it is driven there: +1 full, -1 empty.
  double surface_of(Ended ended) const {
    const bool of_positive = ended == Ended::positive_surface_full || ended == Ended::positive_surface_empty;
    const solver::Extremes& surfaces = of_positive ? last_.positive_surfaces : last_.negative_surfaces;
    return ended == Ended::positive_surface_full || ended == Ended::negative_surface_full ? surfaces.highest
                                                                                          : surfaces.lowest;
  }

  void end() {
    const model::Ends& until = step_.until;
    const double V = last_.terminal.voltage, t = solution_.duration();
    const bool instant = t < shortest;
    const std::string reason = solver::name_of(solution_.ended_by());
    const auto unasked = [&] { fault("it ended by {}, which is no end of it", reason); };
    switch (solution_.ended_by()) {
      case Ended::voltage:
        if (!until.voltage) return unasked();
        if (!(instant && met_and_driven_into()) && !(std::abs(V - *until.voltage) <= volts_of_a_cutoff))
          fault("it ended by voltage at {:.6f} V, {:.3f} mV from its cut-off", V, 1e3 * (V - *until.voltage));
        return;
      case Ended::time:
        if (!until.time) return unasked();
        if (!(std::abs(t / *until.time - 1) <= 1e-9)) fault("it ended by time after {} of {} s", t, *until.time);
        return;
      case Ended::current:
        if (!until.current) return unasked();
        if (!(std::abs(last_.current) <= *until.current * (1 + 1e-3)))
          fault("it ended by current at {:.6g} instead of {:.6g} A/m2", last_.current, *until.current);
        return;
      case Ended::capacity: {
        if (!until.capacity) return unasked();
        const double passed = std::abs(last_.charge - first_.charge);
        if (!(std::abs(passed / *until.capacity - 1) <= 1e-5))
          fault("it ended by capacity after {:.8g} of {:.8g} C/m2", passed, *until.capacity);
        return;
      }
      case Ended::temperature:
        if (!until.temperature) return unasked();
        if (!instant && !(std::abs(last_.temperature - *until.temperature) <= 0.01))
          fault("it ended by temperature at {:.4f} instead of {:.4f} K", last_.temperature, *until.temperature);
        return;
      case Ended::separator_side:
        return unasked();  // no file can ask for it
      case Ended::salt_used_up:
        if (!(last_.lowest_salt <= 1.1 * used_up * cell_.electrolyte.concentration))
          fault("the salt is called used up at {:.4f} of its start",
                last_.lowest_salt / cell_.electrolyte.concentration);
        return;
      case Ended::positive_surface_full:
      case Ended::negative_surface_full:
        if (!(surface_of(solution_.ended_by()) >= 1 - 1.5 * surface_limit))
          fault("'{}' at {:.9f}", reason, surface_of(solution_.ended_by()));
        return;
      case Ended::positive_surface_empty:
      case Ended::negative_surface_empty:
        if (!(surface_of(solution_.ended_by()) <= 1.5 * surface_limit))
          fault("'{}' at {:.9f}", reason, surface_of(solution_.ended_by()));
        return;
      default:
        fault("it ended by '{}', of which these checks know nothing", reason);
    }
  }

  /// Which way a current drives the voltage of a step towards its cut-off; 0 for a rest or a hold.
  double sense() const {
    const auto* current = std::get_if<model::CurrentDrive>(&step_.drive);
    return !current || current->current == 0 ? 0 : current->current > 0 ? 1 : -1;
  }

  void on_the_way() {
    if (!step_.until.voltage || sense() == 0 || solution_.duration() < shortest) return;
    double worst = 0, when = 0;
    for (const double t : solver::moments(solution_, 300, true)) {
      const double over = sense() * (solution_.at(t).terminal.voltage - *step_.until.voltage);
      if (over > worst) {
        worst = over;
        when = t;
      }
    }
    if (worst > volts_of_a_cutoff)
      fault("its cut-off is passed by {:.3f} mV at {:.6g} of {:.6g} s, unseen", 1e3 * worst, when,
            solution_.duration());
  }

  /// Whether the end of a step without length was met when it began and is driven further into, or truly lies that
  /// near.
  bool met_and_driven_into() const {
    const double i = first_.current, V = first_.terminal.voltage;
    const double earlier = before_ ? before_->solution->last().current : 0;
    const bool further = i * earlier > 0 && std::abs(i) > 0.5 * std::abs(earlier);  // salt falls on
    // Not met at the start, and met at the end: within a microsecond.
    if (solution_.ended_by() == Ended::voltage && sense() * (V - *step_.until.voltage) < 0) return true;
    if (solution_.ended_by() == Ended::current && std::abs(i) > *step_.until.current) return true;
    switch (solution_.ended_by()) {
      case Ended::voltage:
        return step_.until.voltage && sense() * (V - *step_.until.voltage) >= -volts_of_a_cutoff &&
               (sense() != 0 || std::abs(V - *step_.until.voltage) <= volts_of_a_cutoff);
      case Ended::current:
        return step_.until.current && std::abs(i) <= *step_.until.current * (1 + 1e-9);
      case Ended::temperature:
        return step_.until.temperature && std::abs(first_.temperature - *step_.until.temperature) < 0.01;
      case Ended::time:
        return step_.until.time && *step_.until.time < shortest;
      case Ended::capacity:
        return step_.until.capacity && *step_.until.capacity < std::abs(i) * shortest;
      case Ended::salt_used_up:
        return further;
      case Ended::positive_surface_full:
        return last_.positive_surfaces.highest >= 1 - 2 * surface_limit && i < 0;
      case Ended::positive_surface_empty:
        return last_.positive_surfaces.lowest <= 2 * surface_limit && i > 0;
      case Ended::negative_surface_full:
        return last_.negative_surfaces.highest >= 1 - 2 * surface_limit && i > 0;
      case Ended::negative_surface_empty:
        return last_.negative_surfaces.lowest <= 2 * surface_limit && i < 0;
      default:
        return false;
    }
  }

  void length() {
    if (solution_.duration() >= shortest) return;
    ++findings_.frequencies["no length: " + solver::name_of(solution_.ended_by())];
    if (!met_and_driven_into())
      fault(
          "it is skipped: it ends after {:.3g} s by {}, at {:.4f} V and {:.4g} A/m2, surfaces {:.9f} and {:.9f}, salt "
          "{:.4f} of its start",
          solution_.duration(), solver::name_of(solution_.ended_by()), first_.terminal.voltage, first_.current,
          first_.positive_surface, first_.negative_surface, first_.lowest_salt / cell_.electrolyte.concentration);
  }

  void boundary() {
    if (!before_) return;
    const Point then = before_->solution->last();
    const double Q = cell_.positive.capacity();
    if (!(std::abs(then.charge - first_.charge) <= 1e-12 * Q))
      fault("the charge jumps by {:.3g} of the capacity where it begins", (first_.charge - then.charge) / Q);
    if (!(std::abs(then.temperature - first_.temperature) <= 1e-9 * then.temperature))
      fault("the temperature jumps by {:.3g} K where it begins", first_.temperature - then.temperature);
    const double dx = std::max(std::abs(then.positive_surface - first_.positive_surface),
                               std::abs(then.negative_surface - first_.negative_surface));
    const double dU = std::abs(then.terminal.positive_potential - first_.terminal.positive_potential) +
                      std::abs(then.terminal.negative_potential - first_.terminal.negative_potential);
    if (!(dx <= 1e-4 || dU <= 1e-4))
      fault("a grain surface jumps by {:.3g} where it begins, and its potential by {:.3f} mV ({} modes, then {})", dx,
            1e3 * dU, before_->solution->model().positive().count(), solution_.model().positive().count());
    const double dc = std::abs(then.lowest_salt - first_.lowest_salt) / cell_.electrolyte.concentration;
    // of polynomials of another degree it is looked for at other places
    if (!(dc <= (solution_.reaction() == model::Reaction::uneven ? 2e-3 : 1e-6)))
      fault("the lowest salt jumps by {:.3g} of the mean where it begins", dc);
  }

  const model::Step& step_;
  const solver::StepSolution& solution_;
  const std::string name_;
  const RunStep* before_;
  Findings& findings_;
  const model::Cell& cell_;
  const Point first_, last_;
};

}  // namespace

void check_step(const RunStep& run, const RunStep* before, Findings& findings) { Check(run, before, findings).all(); }

}  // namespace onegrain::attack
