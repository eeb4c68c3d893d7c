#include "solver/step/segment.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace onegrain::solver {

Segment::Segment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step)
    : model_(std::move(model)),
      given_temperature_(step.temperature),
      thermal_(model_->cell().thermal.has_value() && !given_temperature_),
      integrated_(thermal_ ? 2 : 1),
      charge0_(start.charge),
      temperature_(given_temperature_ ? given_temperature_->at(0) : start.temperature),
      current0_(0),
      current_before_(start.current),
      last_current_(start.current),
      beyond_surfaces_(step.beyond_surfaces),
      ends_(step.until),
      stop_time_(std::numeric_limits<double>::infinity()) {
  know_the_drive(step.drive);
  if (given_current_) current0_ = given_current_->at(0);
  if (const auto* constant = std::get_if<model::CurrentDrive>(&step.drive)) current0_ = constant->current;
}

void Segment::know_the_drive(const model::Drive& drive) {
  if (const auto* course = std::get_if<model::CourseDrive>(&drive)) given_current_ = course->current;
  if (given_current_) {
    const model::Course& c = *given_current_;
    given_charges_.assign(1, c.value.front() * c.time.front());
    for (std::size_t k = 1; k < c.time.size(); ++k) {
      given_charges_.push_back(given_charges_.back() +
                               0.5 * (c.value[k - 1] + c.value[k]) * (c.time[k] - c.time[k - 1]));
    }
  }
  if (const auto* hold = std::get_if<model::VoltageDrive>(&drive)) held_voltage_ = hold->voltage;
  if (const auto* hold = std::get_if<model::SeparatorSideDrive>(&drive)) held_separator_side_ = hold->potential;

  if (const auto* hold = std::get_if<model::TemperatureDrive>(&drive)) {
    if (!thermal_) throw IntegrationFailure("a temperature is held in a cell without a heat balance");
    held_temperature_ = true;
    if (last_current_ == 0 || (last_current_ > 0) != hold->charge) {
      const double C5 = model_->positive_capacity() / 3600 / 5;
      last_current_ = hold->charge ? C5 : -C5;
    }
  }
}

double Segment::next_bend(double t) const {
  if (!given_current_) return std::numeric_limits<double>::infinity();
  const std::vector<double>& bends = given_current_->time;
  const auto next = std::upper_bound(bends.begin(), bends.end(), t * (1 + 1e-12) + 1e-9);
  return next == bends.end() ? std::numeric_limits<double>::infinity() : *next;
}

double Segment::given_charge(double t) const {
  const model::Course& c = *given_current_;
  const auto next = std::upper_bound(c.time.begin(), c.time.end(), t);
  if (next == c.time.begin()) return c.value.front() * t;
  const auto k = static_cast<std::size_t>(next - c.time.begin()) - 1;
  return given_charges_[k] + 0.5 * (c.value[k] + c.at(t)) * (t - c.time[k]);
}

double Segment::longest_step() const {
  // At constant current the ends are looked for at least at every 1/40 of the smaller electrode's charge.
  if (given_current_) return stop_time_ / 20;
  if (is_hold() || current0_ == 0) return 0;  // no limit
  double Q = model_->positive_capacity();
  if (model_->negative()) Q = std::min(Q, model_->negative_capacity());
  return Q / 40 / std::abs(current0_);
}

double Segment::current_at_constant_temperature(Here h, double guess) const {
  // The heat of reaction makes this no monotone function of the current: Newton's method on its own side of zero.
  h.i = guess;
  for (int k = 0; k < 60; ++k) {
    const model::Terminal v = terminal(h);
    const double step = -heating(h, v.voltage) / heating_slopes(h, v).by_current;
    if (std::abs(step) <= 1e-13 * std::abs(h.i)) return h.i;
    h.i = (h.i + step > 0) == (guess > 0) ? h.i + step : 0.3 * h.i;
  }
  return std::numeric_limits<double>::quiet_NaN();  // the integrator tries a nearer state
}

double Segment::heating(const Here& h, double voltage) const {
  const model::Cell& cell = model_->cell();
  const model::Thermal& thermal = *cell.thermal;
  const model::Property::Value p = cell.positive.host.potential.at(model_->positive_mean(h.q), h.T);
  double U = p.value, dUdT = p.by_temperature;
  if (cell.negative) {
    const model::Property::Value n = cell.negative->host.potential.at(model_->negative_mean(h.q), h.T);
    U -= n.value;
    dUdT -= n.by_temperature;
  }
  return h.i * (voltage - U) + h.i * h.T * dUdT - thermal.heat_transfer * (h.T - thermal.ambient_temperature);
}

Segment::HeatingSlopes Segment::heating_slopes(const Here& h, const model::Terminal& v) const {
  const model::Cell& cell = model_->cell();
  const model::Property::Value p = cell.positive.host.potential.at(model_->positive_mean(h.q), h.T);
  double U = p.value, dUdT = p.by_temperature, dUdq = -p.by_composition / model_->positive_capacity();
  if (cell.negative) {
    const model::Property::Value n = cell.negative->host.potential.at(model_->negative_mean(h.q), h.T);
    U -= n.value;
    dUdT -= n.by_temperature;
    dUdq -= n.by_composition / model_->negative_capacity();
  }
  return {v.voltage - U + h.i * v.by_current + h.T * dUdT, -h.i * dUdq};
}

Point Segment::point(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  Point p;
  p.time = t;
  p.charge = h.q;
  p.current = h.i;
  p.positive_surface = h.x_p;
  p.negative_surface = h.x_n;
  p.positive_surfaces = h.positive;
  p.negative_surfaces = h.negative;
  p.positive_mean = model_->positive_mean(h.q);
  p.negative_mean = model_->negative() ? model_->negative_mean(h.q) : 0;
  p.temperature = h.T;
  p.lowest_salt = p.highest_salt = model_->cell().electrolyte.concentration;
  if (model_->salt()) model_->salt()->extremes(h.salt, p.lowest_salt, p.highest_salt);
  p.lowest_salt = std::max(p.lowest_salt, 0.0);  // polynomials waver where there is none left
  p.terminal = terminal(h);
  return p;
}

Eigen::VectorXd Segment::salt_profile(double t, ConstVectorView y, const Eigen::ArrayXd& x) const {
  if (!model_->salt()) return Eigen::VectorXd::Constant(x.size(), model_->cell().electrolyte.concentration);
  return model_->salt()->profile(salt_amplitudes(t, y), x);
}

}  // namespace onegrain::solver
