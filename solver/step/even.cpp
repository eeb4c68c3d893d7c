#include "solver/step/even.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "solver/step/layers.hpp"

namespace onegrain::solver {

EvenSegment::EvenSegment(std::shared_ptr<const model::SingleParticle> model, const State& start,
                         const model::Step& step, bool sensitivities)
    : Segment(std::move(model), start, step),
      sensitivities_(sensitivities),
      run_start_(start.run_start),
      jumps_(start.jumps),
      jacobian_({}, 1, 0) {
  const model::SingleParticle& m = *model_;
  Here now = stands_at(start);
  if (is_hold()) current0_ = held_current(now, last_current_);
  last_current_ = now.i = current0_;
  prepare_modes(now);
  if (current0_ != start.current) jumps_.push_back({0, current0_ - start.current, positive_.D0, negative_.D0});
  closed_form_ = !is_hold() && !given_current_ && isothermal() && m.positive().decoupled() &&
                 (!m.negative() || m.negative()->decoupled()) && (!m.salt() || m.salt()->decoupled());
  prepare_ends(now);
  if (sensitivities_) prepare_sensitivities(start);
  prepare_jacobian();
  look_at_the_start();
}

/// Where things stand when the step starts, layers of earlier jumps included: gives the current of a hold and the
/// frozen diffusivities.
Segment::Here EvenSegment::stands_at(const State& start) {
  const model::SingleParticle& m = *model_;
  filling_p_ = filling_for(m.positive(), start.positive, jumps_, &Jump::positive_diffusivity, m.positive_outflow());
  filling_n_ = m.negative() ? filling_for(*m.negative(), start.negative, jumps_, &Jump::negative_diffusivity,
                                          m.negative_outflow())
                            : Eigen::VectorXd();
  const auto surface_of = [&](const model::Grain& grain, double mean, const Eigen::VectorXd& polynomials) {
    return polynomials.size() > 0 ? grain.surface_stoichiometry(mean, grain.modes().amplitudes(polynomials)) : mean;
  };
  Here now;
  now.q = charge0_;
  now.T = temperature_;
  now.x_p = surface_of(m.positive(), m.positive_mean(charge0_), filling_p_);
  if (m.negative()) now.x_n = surface_of(*m.negative(), m.negative_mean(charge0_), filling_n_);
  for (const Jump& jump : jumps_) {
    now.x_p -= m.positive_outflow() * jump.current * missing_layer(m.positive(), jump.positive_diffusivity, jump.age);
    if (m.negative()) {
      now.x_n -=
          m.negative_outflow() * jump.current * missing_layer(*m.negative(), jump.negative_diffusivity, jump.age);
    }
  }
  Eigen::VectorXd salt = start.salt;
  if (m.salt() && salt.size() != m.salt()->count()) salt.setZero(m.salt()->count());
  now.salt = salt;
  return now;
}

void EvenSegment::prepare_modes(const Here& now) {
  const model::SingleParticle& m = *model_;
  positive_.offset = integrated_;
  positive_.take(m.positive(), m.positive_outflow(), now.x_p, temperature_);
  positive_.prepare(current0_, filling_p_.size() > 0 ? Eigen::VectorXd(m.positive().modes().amplitudes(filling_p_))
                                                     : Eigen::VectorXd());
  negative_.offset = positive_.offset + positive_.count;
  if (m.negative()) {
    negative_.take(*m.negative(), m.negative_outflow(), now.x_n, temperature_);
    negative_.prepare(current0_, filling_n_.size() > 0 ? Eigen::VectorXd(m.negative()->modes().amplitudes(filling_n_))
                                                       : Eigen::VectorXd());
  }
  salt_.offset = negative_.offset + negative_.count;
  if (m.salt()) {
    salt_.count = m.salt()->count();
    salt_.D0 = m.salt()->diffusivity(m.salt()->mean(), temperature_);
    transference0_ = m.salt()->transference_number(m.salt()->mean(), temperature_);
    salt_.mu = salt_.D0 * m.salt()->decay();
    salt_.drive = (1 - transference0_) * m.salt()->drive();
    salt_.prepare(current0_, now.salt);
  }
}

void EvenSegment::prepare_sensitivities(const State& start) {
  const model::SingleParticle& m = *model_;
  if (is_hold() || thermal_)
    throw IntegrationFailure("sensitivities are known where the current and the temperature are given");
  positive_slopes0_ =
      slopes_for(m.positive(), start.positive_slopes, start.jumps, &Jump::positive_diffusivity, m.positive_outflow());
  if (m.negative()) {
    negative_slopes0_ = slopes_for(*m.negative(), start.negative_slopes, start.jumps, &Jump::negative_diffusivity,
                                   m.negative_outflow());
  }
}

void EvenSegment::prepare_jacobian() {
  std::vector<int> sizes;
  for (const ClosedForm* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count > 0) sizes.push_back(modal->count);
  }
  jacobian_ = Bordered(sizes, integrated_ + (is_hold() ? 1 : 0), is_hold() ? 1 : 0);
  std::size_t block = 0;
  for (const ClosedForm* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count > 0)
      jacobian_.blocks()[block++].diagonal = modal->grain ? modal->grain->decoupled() : model_->salt()->decoupled();
  }
}

double EvenSegment::mean_of(const ClosedForm& modal, double q) const {
  return &modal == &positive_ ? model_->positive_mean(q) : model_->negative_mean(q);
}

void EvenSegment::surfaces(double t, ConstVectorView y, double& x_p, double& x_n) const {
  const model::SingleParticle& m = *model_;
  const double q = charge(t, y);
  x_p = positive_.surface(m.positive_mean(q), t, y, closed_form_);
  x_n = negative_.grain ? negative_.surface(m.negative_mean(q), t, y, closed_form_) : 0.0;
  for (const Jump& jump : jumps_) {
    x_p -= m.positive_outflow() * jump.current * missing_layer(m.positive(), jump.positive_diffusivity, jump.age + t);
    if (negative_.grain) {
      x_n -= m.negative_outflow() * jump.current *
             missing_layer(*negative_.grain, jump.negative_diffusivity, jump.age + t);
    }
  }
}

Segment::Here EvenSegment::here(double t, ConstVectorView y) const {
  Here h{};
  h.q = charge(t, y);
  h.T = temperature(t, y);
  surfaces(t, y, h.x_p, h.x_n);
  h.positive = {h.x_p, h.x_p};
  h.negative = {h.x_n, h.x_n};
  if (model_->salt()) salt_.amplitudes(t, y, h.salt);
  h.i = given_current_ ? given_current_->at(t) : current0_;
  if (is_hold()) h.i = last_current_ = held_current(h, last_current_);
  return h;
}

const model::Ionic& EvenSegment::ionic(const Here& h) const {
  if (!h.ionic) h.ionic = model_->salt() ? model_->salt()->ionic(h.salt, h.T) : model_->uniform(h.T);
  return *h.ionic;
}

Evaluation EvenSegment::rate(double t, ConstVectorView y, VectorView ydot) {
  const model::SingleParticle& m = *model_;
  const double q = charge(t, y), T = temperature(t, y);
  double extra_current = given_current_ ? given_current_->at(t) - current0_ : 0;
  if (is_hold() || thermal_) {
    const Here h = here(t, y);
    extra_current = h.i - current0_;
    if (thermal_) ydot[1] = heating(h, terminal(h).voltage) / m.cell().thermal->heat_capacity;
  }
  ydot[0] = given_current_ ? 0 : extra_current;
  for (const ClosedForm* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count == 0) continue;
    auto dydt = ydot.segment(modal->offset, modal->count);
    dydt.array() = -modal->mu * y.segment(modal->offset, modal->count).array();
    if (extra_current != 0) dydt.array() += modal->drive * extra_current;
    if (modal->grain ? modal->grain->decoupled() && isothermal() : m.salt()->decoupled() && isothermal()) continue;
    modal->amplitudes(t, y, a_);
    work_.resize(modal->count);
    if (modal->grain) {
      modal->grain->remainder(mean_of(*modal, q), a_, T, modal->D0, work_);
    } else {
      m.salt()->remainder(a_, current0_ + extra_current, T, modal->D0, transference0_, work_);
    }
    dydt += work_;
  }
  return ydot.allFinite() ? Evaluation::ok : Evaluation::retry_smaller_step;
}

Evaluation EvenSegment::linearise(double t, ConstVectorView y) {
  const model::SingleParticle& m = *model_;
  jacobian_.set_zero();
  const Here h = here(t, y);
  std::size_t block = 0;
  for (const ClosedForm* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count == 0) continue;
    Bordered::Block& b = jacobian_.blocks()[block++];
    auto columns = jacobian_.columns().middleRows(b.offset, b.size);
    if (is_hold()) columns.col(integrated_) = modal->drive.matrix();
    const bool decoupled = modal->grain ? modal->grain->decoupled() : m.salt()->decoupled();
    if (decoupled && isothermal()) {
      b.diagonal_values = -modal->mu;
      continue;
    }
    modal->amplitudes(t, y, a_);
    Eigen::VectorXd by_first(modal->count), by_temperature(modal->count);
    if (modal->grain) {
      modal->grain->remainder_jacobian(mean_of(*modal, h.q), a_, h.T, modal->D0, b.values, by_first, by_temperature);
      columns.col(0) = by_first * (modal == &positive_ ? -1 / m.positive_capacity() : 1 / m.negative_capacity());
    } else {
      m.salt()->remainder_jacobian(a_, h.i, h.T, modal->D0, transference0_, b.values, by_first, by_temperature);
      if (is_hold()) columns.col(integrated_) += by_first;
    }
    b.values.diagonal() -= modal->mu.matrix();
    if (decoupled) b.diagonal_values = b.values.diagonal();
    if (thermal_) columns.col(1) = by_temperature;
  }
  if (thermal_) {
    // The heat balance changes slowly: its own cooling is what the integrator must know.
    jacobian_.corner()(1, 1) = -m.cell().thermal->heat_transfer / m.cell().thermal->heat_capacity;
  }
  if (is_hold()) linearise_hold(h);
  return Evaluation::ok;
}

Vector EvenSegment::absolute_tolerance() const {
  Vector tolerance = Vector::Constant(size(), 1e-8);  // of an amplitude; 1e-8 is below a microvolt on a slope of 10 V
  tolerance[0] = 1e-8 * (negative_.grain ? std::min(model_->positive_capacity(), model_->negative_capacity())
                                         : model_->positive_capacity());
  if (thermal_) tolerance[1] = 1e-5;  // K
  if (salt_.count > 0) {
    // Modes are scaled to int eps Psi^2 dx = 1: of the size 1/sqrt(pore volume per area). 1e-6 of the mean: 0.1 uV.
    tolerance.segment(salt_.offset, salt_.count)
        .setConstant(1e-6 * model_->salt()->mean() * std::sqrt(model_->salt()->length()));
  }
  return tolerance;
}

double EvenSegment::truncation(double t, ConstVectorView y) const {
  if (closed_form_ || (positive_.grain->decoupled() && (!negative_.grain || negative_.grain->decoupled()) &&
                       !is_hold() && !given_current_ && isothermal()))
    return 0;
  const model::Terminal v = terminal(here(t, y));
  const auto tail = [&](const ClosedForm& modal) {
    return (modal.grain->modes().tail() * y.segment(modal.offset, modal.count)).cwiseAbs().sum();
  };
  double result = std::abs(v.by_positive_surface) * tail(positive_);
  if (negative_.grain) result += std::abs(v.by_negative_surface) * tail(negative_);
  return result;
}

double EvenSegment::unseen_layer(double t, ConstVectorView y) const {
  if (!is_hold() || t == 0) return 0;
  const Here h = here(t, y);
  const auto cost = [&](const ClosedForm& modal, const model::Host& host, double x) {
    const double layer =
        std::abs(modal.outflow_per_current * (h.i - current0_)) * missing_layer(*modal.grain, modal.D0, 0.5 * t);
    const auto potential = [&](double at) {
      return host.potential(std::clamp(at, surface_limit, 1 - surface_limit), h.T);
    };
    return std::max(std::abs(potential(x + layer) - potential(x)), std::abs(potential(x - layer) - potential(x)));
  };
  double result = cost(positive_, model_->cell().positive.host, h.x_p);
  if (negative_.grain) result += cost(negative_, model_->cell().negative->host, h.x_n);
  return result;
}

double EvenSegment::time_to_resolve(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  const auto longest = [&](const model::Grain& grain, double x) {
    return grain.modes().resolved_after() * grain.radius() * grain.radius() / grain.diffusivity(x, h.T);
  };
  const double positive = longest(*positive_.grain, h.x_p);
  return negative_.grain ? std::max(positive, longest(*negative_.grain, h.x_n)) : positive;
}

}  // namespace onegrain::solver
