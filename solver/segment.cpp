#include "solver/segment.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace onegrain::solver {

namespace {

constexpr double surface_limit = 1e-6;  // a grain surface is full or empty this close to 1 or 0
constexpr double decayed = 40;          // exp(-40) is below round-off of a stoichiometry

double missing_layer(const model::Grain& grain, double D, double age) {
  const double tau = D * age / (grain.radius() * grain.radius());
  return tau < grain.modes().resolved_after() ? grain.radius() / D * model::missing_step_response(grain.modes(), tau) : 0;
}

bool resolved(const model::Grain& grain, double D, double age) {
  return D * age >= grain.modes().resolved_after() * grain.radius() * grain.radius();
}

}  // namespace

Segment::Segment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step)
    : model_(std::move(model)),
      charge0_(start.charge),
      temperature_(start.temperature),
      current0_(0),
      jumps_(start.jumps),
      ends_(step.until),
      stop_time_(std::numeric_limits<double>::infinity()),
      jacobian_({}, 1, 0),
      last_current_(start.current) {
  const model::SingleParticle& m = *model_;
  if (const auto* hold = std::get_if<model::VoltageDrive>(&step.drive)) held_voltage_ = hold->voltage;

  const double mean_p = m.positive_mean(charge0_);
  const double mean_n = m.negative_mean(charge0_);
  positive_.offset = 1;
  positive_.count = m.positive().count();
  negative_.offset = 1 + positive_.count;
  negative_.count = m.negative() ? m.negative()->count() : 0;

  // Surface stoichiometries now, layers of earlier jumps included, give the current of a hold and the frozen diffusivities.
  const auto surface_of = [&](const model::Grain& grain, double mean, const Eigen::VectorXd& polynomials) {
    return polynomials.size() > 0 ? grain.surface_stoichiometry(mean, grain.modes().amplitudes(polynomials)) : mean;
  };
  double x_p = surface_of(m.positive(), mean_p, start.positive);
  double x_n = m.negative() ? surface_of(*m.negative(), mean_n, start.negative) : 0.0;
  for (const Jump& jump : jumps_) {
    x_p -= m.positive_outflow() * jump.current * missing_layer(m.positive(), jump.positive_diffusivity, jump.age);
    if (m.negative()) {
      x_n -= m.negative_outflow() * jump.current * missing_layer(*m.negative(), jump.negative_diffusivity, jump.age);
    }
  }
  current0_ = held_voltage_ ? m.current_at_voltage(x_p, x_n, *held_voltage_, temperature_, last_current_)
                            : std::get<model::CurrentDrive>(step.drive).current;
  last_current_ = current0_;
  positive_.D0 = m.positive().diffusivity(x_p, temperature_);
  if (m.negative()) negative_.D0 = m.negative()->diffusivity(x_n, temperature_);
  if (current0_ != start.current) {
    jumps_.push_back({0, current0_ - start.current, positive_.D0, negative_.D0});
  }
  prepare(positive_, m.positive(), m.positive_outflow(), start.positive);
  if (m.negative()) prepare(negative_, *m.negative(), m.negative_outflow(), start.negative);
  closed_form_ = !held_voltage_ && m.positive().decoupled() && (!m.negative() || m.negative()->decoupled());

  // Ends by the clock, and by charge at constant current, are known beforehand.
  if (ends_.time) stop_time_ = *ends_.time;
  if (ends_.capacity && !held_voltage_ && current0_ != 0) {
    const double at = *ends_.capacity / std::abs(current0_);
    if (at < stop_time_) {
      stop_time_ = at;
      stop_reason_ = Ended::capacity;
    }
  }
  // The others are roots.
  if (ends_.voltage && !held_voltage_) {
    const double V = m.terminal(x_p, x_n, current0_, temperature_).voltage;
    voltage_side_ = current0_ > 0 ? 1 : current0_ < 0 ? -1 : V < *ends_.voltage ? 1 : -1;
    roots_.push_back(Ended::voltage);
  }
  if (ends_.current && held_voltage_) roots_.push_back(Ended::current);
  if (ends_.capacity && held_voltage_) roots_.push_back(Ended::capacity);
  roots_.push_back(Ended::positive_surface_full);
  roots_.push_back(Ended::positive_surface_empty);
  if (m.negative()) {
    roots_.push_back(Ended::negative_surface_full);
    roots_.push_back(Ended::negative_surface_empty);
  }

  std::vector<int> sizes{positive_.count};
  if (negative_.grain) sizes.push_back(negative_.count);
  jacobian_ = Bordered(sizes, held_voltage_ ? 2 : 1, held_voltage_ ? 1 : 0);
  jacobian_.blocks()[0].diagonal = m.positive().decoupled();
  if (negative_.grain) jacobian_.blocks()[1].diagonal = m.negative()->decoupled();
}

void Segment::prepare(Modal& modal, const model::Grain& grain, double outflow_per_current,
                      const Eigen::VectorXd& polynomials) {
  modal.grain = &grain;
  modal.outflow_per_current = outflow_per_current;
  const Eigen::ArrayXd surface = grain.modes().surface();
  modal.mu = modal.D0 / (grain.radius() * grain.radius()) * grain.modes().decay();
  modal.steady = grain.drive() * (outflow_per_current * current0_) / modal.mu;
  modal.transient = -modal.steady;
  if (polynomials.size() > 0) modal.transient += grain.modes().amplitudes(polynomials).array();
  modal.steady_surface = (surface * modal.steady).sum();
  modal.transient_surface = surface * modal.transient;
}

void Segment::Modal::amplitudes(double t, ConstVectorView y, Eigen::VectorXd& a) const {
  a = steady.matrix() + y.segment(offset, count);
  for (Eigen::Index n = 0; n < count && mu[n] * t < decayed; ++n) a[n] += transient[n] * std::exp(-mu[n] * t);
}

double Segment::Modal::surface(double mean, double t, ConstVectorView y, bool closed) const {
  double x = mean + steady_surface;
  for (Eigen::Index n = 0; n < count && mu[n] * t < decayed; ++n) x += transient_surface[n] * std::exp(-mu[n] * t);
  if (!closed) x += grain->modes().surface().matrix().dot(y.segment(offset, count));
  return x;
}

void Segment::surfaces(double t, ConstVectorView y, double& x_p, double& x_n) const {
  const model::SingleParticle& m = *model_;
  const double q = charge(t, y);
  x_p = positive_.surface(m.positive_mean(q), t, y, closed_form_);
  x_n = negative_.grain ? negative_.surface(m.negative_mean(q), t, y, closed_form_) : 0.0;
  for (const Jump& jump : jumps_) {
    x_p -= m.positive_outflow() * jump.current *
           missing_layer(m.positive(), jump.positive_diffusivity, jump.age + t);
    if (negative_.grain) {
      x_n -= m.negative_outflow() * jump.current *
             missing_layer(*negative_.grain, jump.negative_diffusivity, jump.age + t);
    }
  }
}

double Segment::current_now(double x_p, double x_n) const {
  if (!held_voltage_) return current0_;
  last_current_ = model_->current_at_voltage(x_p, x_n, *held_voltage_, temperature_, last_current_);
  return last_current_;
}

Rate Segment::rate(double t, ConstVectorView y, VectorView ydot) {
  const model::SingleParticle& m = *model_;
  double extra_current = 0;
  if (held_voltage_) {
    double x_p = 0, x_n = 0;
    surfaces(t, y, x_p, x_n);
    extra_current = current_now(x_p, x_n) - current0_;
  }
  ydot[0] = extra_current;
  const double q = charge(t, y);
  for (Modal* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    auto dydt = ydot.segment(modal->offset, modal->count);
    dydt.array() = -modal->mu * y.segment(modal->offset, modal->count).array();
    if (extra_current != 0) dydt.array() += modal->grain->drive() * (modal->outflow_per_current * extra_current);
    if (!modal->grain->decoupled()) {
      modal->amplitudes(t, y, a_);
      work_.resize(modal->count);
      modal->grain->remainder(modal == &positive_ ? m.positive_mean(q) : m.negative_mean(q), a_, temperature_,
                              modal->D0, work_);
      dydt += work_;
    }
  }
  return ydot.allFinite() ? Rate::ok : Rate::retry_smaller_step;
}

Rate Segment::linearise(double t, ConstVectorView y) {
  const model::SingleParticle& m = *model_;
  jacobian_.set_zero();
  const double q = charge(t, y);
  std::size_t block = 0;
  for (Modal* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    Bordered::Block& b = jacobian_.blocks()[block++];
    if (modal->grain->decoupled()) {
      b.diagonal_values = -modal->mu;
    } else {
      const bool is_positive = modal == &positive_;
      modal->amplitudes(t, y, a_);
      Eigen::VectorXd by_mean(modal->count), by_temperature(modal->count);
      modal->grain->remainder_jacobian(is_positive ? m.positive_mean(q) : m.negative_mean(q), a_, temperature_,
                                       modal->D0, b.values, by_mean, by_temperature);
      b.values.diagonal() -= modal->mu.matrix();
      const double mean_by_charge = is_positive ? -1 / m.positive_capacity() : 1 / m.negative_capacity();
      jacobian_.columns().col(0).segment(b.offset, b.size) = by_mean * mean_by_charge;
    }
  }
  if (held_voltage_) {
    double x_p = 0, x_n = 0;
    surfaces(t, y, x_p, x_n);
    const model::Terminal terminal = m.terminal(x_p, x_n, current_now(x_p, x_n), temperature_);
    jacobian_.corner()(0, 1) = 1;  // d(dq/dt)/di
    // constraint V(q, y, i) = held voltage, as the last border row
    jacobian_.corner()(1, 0) = -terminal.by_positive_surface / m.positive_capacity();
    jacobian_.corner()(1, 1) = terminal.by_current;
    if (negative_.grain) jacobian_.corner()(1, 0) += terminal.by_negative_surface / m.negative_capacity();
    block = 0;
    for (Modal* modal : {&positive_, &negative_}) {
      if (!modal->grain) continue;
      const Bordered::Block& b = jacobian_.blocks()[block++];
      const double by_surface = modal == &positive_ ? terminal.by_positive_surface : terminal.by_negative_surface;
      jacobian_.rows().row(1).segment(b.offset, b.size) = by_surface * modal->grain->modes().surface().matrix().transpose();
      jacobian_.columns().col(1).segment(b.offset, b.size) = modal->outflow_per_current * modal->grain->drive().matrix();
    }
  }
  return Rate::ok;
}

void Segment::roots(double t, ConstVectorView y, double* g) {
  double x_p = 0, x_n = 0;
  surfaces(t, y, x_p, x_n);
  const double i = current_now(x_p, x_n);
  for (const Ended reason : roots_) {
    switch (reason) {
      case Ended::voltage: *g++ = model_->terminal(x_p, x_n, i, temperature_).voltage - *ends_.voltage; break;
      case Ended::current: *g++ = std::abs(i) - *ends_.current; break;
      case Ended::capacity: *g++ = std::abs(charge(t, y) - charge0_) - *ends_.capacity; break;
      case Ended::positive_surface_full: *g++ = 1 - surface_limit - x_p; break;
      case Ended::positive_surface_empty: *g++ = x_p - surface_limit; break;
      case Ended::negative_surface_full: *g++ = 1 - surface_limit - x_n; break;
      case Ended::negative_surface_empty: *g++ = x_n - surface_limit; break;
      case Ended::time:
      case Ended::temperature: break;  // time is the stop time; a cell without heat balance keeps its temperature
    }
  }
}

Ended Segment::root_reason(const std::vector<int>& found) const {
  for (std::size_t k = 0; k < found.size(); ++k) {
    if (found[k] != 0) return roots_[k];
  }
  return Ended::time;
}

std::optional<Ended> Segment::ended_at_start() const {
  const Vector zero = Vector::Zero(size());
  const Point p = point(0, ConstVectorView(zero.data(), zero.size()));
  if (ends_.voltage && voltage_side_ * (p.terminal.voltage - *ends_.voltage) >= 0 && !held_voltage_) return Ended::voltage;
  if (ends_.current && held_voltage_ && std::abs(p.current) <= *ends_.current) return Ended::current;
  // A surface at its limit ends a step that drives it further.
  if (p.positive_surface >= 1 - surface_limit && p.current < 0) return Ended::positive_surface_full;
  if (p.positive_surface <= surface_limit && p.current > 0) return Ended::positive_surface_empty;
  if (negative_.grain && p.negative_surface >= 1 - surface_limit && p.current > 0) return Ended::negative_surface_full;
  if (negative_.grain && p.negative_surface <= surface_limit && p.current < 0) return Ended::negative_surface_empty;
  return std::nullopt;
}

Vector Segment::absolute_tolerance() const {
  Vector tolerance = Vector::Constant(size(), 1e-8);  // of an amplitude; 1e-8 is below a microvolt on a slope of 10 V
  tolerance[0] = 1e-8 * (negative_.grain ? std::min(model_->positive_capacity(), model_->negative_capacity())
                                         : model_->positive_capacity());
  return tolerance;
}

double Segment::longest_step() const {
  // At constant current the ends are looked for at least at every 1/40 of the smaller electrode's charge.
  if (held_voltage_ || current0_ == 0) return 0;  // no limit
  double Q = model_->positive_capacity();
  if (negative_.grain) Q = std::min(Q, model_->negative_capacity());
  return Q / 40 / std::abs(current0_);
}

Point Segment::point(double t, ConstVectorView y) const {
  Point p;
  surfaces(t, y, p.positive_surface, p.negative_surface);
  p.time = t;
  p.charge = charge(t, y);
  p.current = current_now(p.positive_surface, p.negative_surface);
  p.positive_mean = model_->positive_mean(p.charge);
  p.negative_mean = negative_.grain ? model_->negative_mean(p.charge) : 0;
  p.temperature = temperature_;
  p.terminal = model_->terminal(p.positive_surface, p.negative_surface, p.current, temperature_);
  return p;
}

State Segment::state(double t, ConstVectorView y) const {
  State s;
  s.charge = charge(t, y);
  positive_.amplitudes(t, y, a_);
  s.positive = positive_.grain->modes().polynomials(a_);
  if (negative_.grain) {
    negative_.amplitudes(t, y, a_);
    s.negative = negative_.grain->modes().polynomials(a_);
  }
  s.temperature = temperature_;
  double x_p = 0, x_n = 0;
  surfaces(t, y, x_p, x_n);
  s.current = current_now(x_p, x_n);
  for (Jump jump : jumps_) {
    jump.age += t;
    if (!resolved(*positive_.grain, jump.positive_diffusivity, jump.age) ||
        (negative_.grain && !resolved(*negative_.grain, jump.negative_diffusivity, jump.age))) {
      s.jumps.push_back(jump);
    }
  }
  return s;
}

Eigen::VectorXd Segment::positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  positive_.amplitudes(t, y, a_);
  return (positive_.grain->modes().values(rho) * a_).array() + model_->positive_mean(charge(t, y));
}

Eigen::VectorXd Segment::negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  negative_.amplitudes(t, y, a_);
  return (negative_.grain->modes().values(rho) * a_).array() + model_->negative_mean(charge(t, y));
}

double Segment::truncation(double t, ConstVectorView y) const {
  if (closed_form_) return 0;
  const Point p = point(t, y);
  const auto tail = [&](const Modal& modal) {
    return (modal.grain->modes().tail() * y.segment(modal.offset, modal.count)).cwiseAbs().sum();
  };
  double result = std::abs(p.terminal.by_positive_surface) * tail(positive_);
  if (negative_.grain) result += std::abs(p.terminal.by_negative_surface) * tail(negative_);
  return result;
}

}  // namespace onegrain::solver
