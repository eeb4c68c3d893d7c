#include "solver/step/segment.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace onegrain::solver {

namespace {

constexpr double decayed = 40;  // exp(-40) is below round-off of a stoichiometry

double missing_layer(const model::Grain& grain, double D, double age) {
  const double tau = D * age / (grain.radius() * grain.radius());
  return tau < grain.modes().resolved_after() ? grain.radius() / D * model::missing_step_response(grain.modes(), tau)
                                              : 0;
}

bool resolved(const model::Grain& grain, double D, double age) {
  return D * age >= grain.modes().resolved_after() * grain.radius() * grain.radius();
}

/// What a state made with `held` modes lacks for grains with another number of them. Of the layer of a recent jump it
/// holds what its own modes resolve, and a missing_layer() of the new ones will be added: what lies between, in
/// polynomials, is this. `slower`: every diffusivity is that much smaller.
Eigen::VectorXd carried_layers(const model::Grain& grain, int held, const std::vector<Jump>& jumps,
                               double Jump::*diffusivity, double outflow_per_current, double slower = 0) {
  Eigen::VectorXd result = Eigen::VectorXd::Zero(std::max(held, grain.count()));
  if (held < 2 || held == grain.count()) return result;
  const model::GrainModes& before = model::GrainModes::of(held);
  for (const Jump& jump : jumps) {
    const double D = jump.*diffusivity * (1 - slower), R = grain.radius(), tau = D * jump.age / (R * R);
    if (tau >= std::max(before.resolved_after(), grain.modes().resolved_after())) continue;
    const double scale = -outflow_per_current * jump.current * R / D;
    result.head(grain.count()) += scale * grain.modes().step_polynomials(tau);
    result.head(held) -= scale * before.step_polynomials(tau);
  }
  return result;
}

/// The uneven filling of a state for grains of another number of modes than it was made with.
Eigen::VectorXd filling_for(const model::Grain& grain, const Eigen::VectorXd& polynomials,
                            const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current) {
  const auto held = static_cast<int>(polynomials.size());
  if (held < 2 || held == grain.count()) return polynomials;
  Eigen::VectorXd result = carried_layers(grain, held, jumps, diffusivity, outflow_per_current);
  result.head(held) += polynomials;
  return result;
}

/// Its derivatives with respect to the parameters of the grain, in amplitudes: the carried layers grow with the
/// diffusion time as R j / D and age with it, and shrink with the capacity.
Eigen::MatrixXd slopes_for(const model::Grain& grain, const Eigen::MatrixXd& polynomials,
                           const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current) {
  Eigen::MatrixXd slopes = Eigen::MatrixXd::Zero(grain.count(), grain_parameters);
  if (polynomials.cols() == 0) return slopes;
  const auto held = static_cast<int>(polynomials.rows());
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(std::max(held, grain.count()), grain_parameters);
  all.topRows(held) = polynomials;
  if (held != grain.count()) {
    constexpr double h = 1e-4;
    const Eigen::VectorXd layers = carried_layers(grain, held, jumps, diffusivity, outflow_per_current);
    all.col(0) += (carried_layers(grain, held, jumps, diffusivity, outflow_per_current, h) - layers) / h;
    all.col(1) -= layers;
  }
  for (Eigen::Index k = 0; k < all.cols(); ++k) slopes.col(k) = grain.modes().amplitudes(all.col(k));
  return slopes;
}

}  // namespace

Segment::Segment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step,
                 bool sensitivities)
    : model_(std::move(model)),
      given_temperature_(step.temperature),
      thermal_(model_->cell().thermal.has_value() && !given_temperature_),
      integrated_(thermal_ ? 2 : 1),
      charge0_(start.charge),
      temperature_(given_temperature_ ? given_temperature_->at(0) : start.temperature),
      current0_(0),
      current_before_(start.current),
      beyond_surfaces_(step.beyond_surfaces),
      sensitivities_(sensitivities),
      run_start_(start.run_start),
      jumps_(start.jumps),
      ends_(step.until),
      stop_time_(std::numeric_limits<double>::infinity()),
      jacobian_({}, 1, 0),
      last_current_(start.current) {
  const model::SingleParticle& m = *model_;
  if (const auto* course = std::get_if<model::CourseDrive>(&step.drive)) given_current_ = course->current;
  if (given_current_) {
    const model::Course& c = *given_current_;
    given_charges_.assign(1, c.value.front() * c.time.front());
    for (std::size_t k = 1; k < c.time.size(); ++k) {
      given_charges_.push_back(given_charges_.back() +
                               0.5 * (c.value[k - 1] + c.value[k]) * (c.time[k] - c.time[k - 1]));
    }
  }
  if (const auto* hold = std::get_if<model::VoltageDrive>(&step.drive)) held_voltage_ = hold->voltage;
  if (const auto* hold = std::get_if<model::SeparatorSideDrive>(&step.drive)) held_separator_side_ = hold->potential;

  if (const auto* hold = std::get_if<model::TemperatureDrive>(&step.drive)) {
    if (!thermal_) throw IntegrationFailure("a temperature is held in a cell without a heat balance");
    held_temperature_ = true;
    if (last_current_ == 0 || (last_current_ > 0) != hold->charge) {
      const double C5 = model_->positive_capacity() / 3600 / 5;
      last_current_ = hold->charge ? C5 : -C5;
    }
  }

  // Where things stand now, layers of earlier jumps included: gives the current of a hold and the frozen diffusivities.
  const Eigen::VectorXd filling_p =
      filling_for(m.positive(), start.positive, jumps_, &Jump::positive_diffusivity, m.positive_outflow());
  const Eigen::VectorXd filling_n = m.negative() ? filling_for(*m.negative(), start.negative, jumps_,
                                                               &Jump::negative_diffusivity, m.negative_outflow())
                                                 : Eigen::VectorXd();
  const auto surface_of = [&](const model::Grain& grain, double mean, const Eigen::VectorXd& polynomials) {
    return polynomials.size() > 0 ? grain.surface_stoichiometry(mean, grain.modes().amplitudes(polynomials)) : mean;
  };
  Here now{charge0_, 0, 0, temperature_, 0, {}, {}};
  now.x_p = surface_of(m.positive(), m.positive_mean(charge0_), filling_p);
  if (m.negative()) now.x_n = surface_of(*m.negative(), m.negative_mean(charge0_), filling_n);
  for (const Jump& jump : jumps_) {
    now.x_p -= m.positive_outflow() * jump.current * missing_layer(m.positive(), jump.positive_diffusivity, jump.age);
    if (m.negative()) {
      now.x_n -=
          m.negative_outflow() * jump.current * missing_layer(*m.negative(), jump.negative_diffusivity, jump.age);
    }
  }
  Eigen::VectorXd salt = start.salt;
  if (m.salt() && salt.size() != m.salt()->count()) salt.setZero(m.salt()->count());
  now.ionic = m.salt() ? m.salt()->ionic(salt, temperature_) : m.uniform(temperature_);
  now.salt = salt;
  current0_ = is_hold()        ? held_current(now, last_current_)
              : given_current_ ? given_current_->at(0)
                               : std::get<model::CurrentDrive>(step.drive).current;
  last_current_ = now.i = current0_;

  positive_.offset = integrated_;
  prepare_grain(positive_, m.positive(), m.positive_outflow(), now.x_p, temperature_);
  positive_.prepare(current0_, filling_p.size() > 0 ? Eigen::VectorXd(m.positive().modes().amplitudes(filling_p))
                                                    : Eigen::VectorXd());
  negative_.offset = positive_.offset + positive_.count;
  if (m.negative()) {
    prepare_grain(negative_, *m.negative(), m.negative_outflow(), now.x_n, temperature_);
    negative_.prepare(current0_, filling_n.size() > 0 ? Eigen::VectorXd(m.negative()->modes().amplitudes(filling_n))
                                                      : Eigen::VectorXd());
  }
  salt_.offset = negative_.offset + negative_.count;
  if (m.salt()) {
    salt_.count = m.salt()->count();
    salt_.D0 = m.salt()->diffusivity(m.salt()->mean(), temperature_);
    transference0_ = m.salt()->transference_number(m.salt()->mean(), temperature_);
    salt_.mu = salt_.D0 * m.salt()->decay();
    salt_.drive = (1 - transference0_) * m.salt()->drive();
    salt_.prepare(current0_, salt);
  }
  if (current0_ != start.current) jumps_.push_back({0, current0_ - start.current, positive_.D0, negative_.D0});
  closed_form_ = !is_hold() && !given_current_ && isothermal() && m.positive().decoupled() &&
                 (!m.negative() || m.negative()->decoupled()) && (!m.salt() || m.salt()->decoupled());
  prepare_ends(now);
  if (sensitivities_) {
    if (is_hold() || thermal_)
      throw IntegrationFailure("sensitivities are known where the current and the temperature are given");
    positive_slopes0_ =
        slopes_for(m.positive(), start.positive_slopes, start.jumps, &Jump::positive_diffusivity, m.positive_outflow());
    if (m.negative()) {
      negative_slopes0_ = slopes_for(*m.negative(), start.negative_slopes, start.jumps, &Jump::negative_diffusivity,
                                     m.negative_outflow());
    }
  }

  std::vector<int> sizes;
  for (const Modal* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count > 0) sizes.push_back(modal->count);
  }
  jacobian_ = Bordered(sizes, integrated_ + (is_hold() ? 1 : 0), is_hold() ? 1 : 0);
  std::size_t block = 0;
  for (const Modal* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count > 0)
      jacobian_.blocks()[block++].diagonal = modal->grain ? modal->grain->decoupled() : m.salt()->decoupled();
  }
  look_at_the_start();
}

void Segment::prepare_grain(Modal& modal, const model::Grain& grain, double outflow_per_current, double x_surface,
                            double T) {
  modal.grain = &grain;
  modal.count = grain.count();
  modal.outflow_per_current = outflow_per_current;
  modal.D0 = grain.diffusivity(x_surface, T);
  modal.mu = modal.D0 / (grain.radius() * grain.radius()) * grain.modes().decay();
  modal.drive = outflow_per_current * grain.drive();
}

void Segment::Modal::prepare(double current, const Eigen::VectorXd& start) {
  steady = drive * current / mu;
  transient = -steady;
  if (start.size() > 0) transient += start.array();
  if (!grain) return;
  const Eigen::ArrayXd& surface_values = grain->modes().surface();
  steady_surface = (surface_values * steady).sum();
  transient_surface = surface_values * transient;
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

double Segment::mean_of(const Modal& modal, double q) const {
  return &modal == &positive_ ? model_->positive_mean(q) : model_->negative_mean(q);
}

void Segment::surfaces(double t, ConstVectorView y, double& x_p, double& x_n) const {
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

Segment::Here Segment::here(double t, ConstVectorView y) const {
  Here h{};
  h.q = charge(t, y);
  h.T = temperature(t, y);
  surfaces(t, y, h.x_p, h.x_n);
  if (model_->salt()) {
    salt_.amplitudes(t, y, h.salt);
    h.ionic = model_->salt()->ionic(h.salt, h.T);
  } else {
    h.ionic = model_->uniform(h.T);
  }
  h.i = given_current_ ? given_current_->at(t) : current0_;
  if (is_hold()) h.i = last_current_ = held_current(h, last_current_);
  return h;
}

double Segment::current_at_constant_temperature(Here h, double guess) const {
  h.i = guess;
  for (int k = 0; k < 60; ++k) {
    const model::Terminal v = terminal(h);
    const double step = -heating(h, v.voltage) / heating_slopes(h, v).by_current;
    if (std::abs(step) <= 1e-13 * std::abs(h.i)) break;
    h.i = (h.i + step > 0) == (guess > 0) ? h.i + step : 0.3 * h.i;  // stays on its side of zero
  }
  return h.i;
}

double Segment::held_current(const Here& h, double guess) const {
  if (held_temperature_) return current_at_constant_temperature(h, guess);
  return held_voltage_ ? model_->current_at_voltage(h.x_p, h.x_n, *held_voltage_, h.T, guess, h.ionic)
                       : model_->current_at_separator_side(h.x_p, h.x_n, *held_separator_side_, h.T, guess, h.ionic);
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

Rate Segment::rate(double t, ConstVectorView y, VectorView ydot) {
  const model::SingleParticle& m = *model_;
  const double q = charge(t, y), T = temperature(t, y);
  double extra_current = given_current_ ? given_current_->at(t) - current0_ : 0;
  if (is_hold() || thermal_) {
    const Here h = here(t, y);
    extra_current = h.i - current0_;
    if (thermal_) ydot[1] = heating(h, terminal(h).voltage) / m.cell().thermal->heat_capacity;
  }
  ydot[0] = given_current_ ? 0 : extra_current;
  for (const Modal* modal : {&positive_, &negative_, &salt_}) {
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
  return ydot.allFinite() ? Rate::ok : Rate::retry_smaller_step;
}

Rate Segment::linearise(double t, ConstVectorView y) {
  const model::SingleParticle& m = *model_;
  jacobian_.set_zero();
  const Here h = here(t, y);
  std::size_t block = 0;
  for (const Modal* modal : {&positive_, &negative_, &salt_}) {
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
  if (!is_hold()) return Rate::ok;

  // The constraint (held quantity = its value) as the last border row.
  const model::Terminal v = terminal(h);
  const bool half = !m.negative();
  const bool by_voltage = !held_separator_side_;  // a held temperature sees the state through i V
  const double times = held_temperature_ ? h.i : 1;
  const double by_positive = by_voltage ? times * v.by_positive_surface : half ? v.separator_side_by_surface : 0.0;
  const double by_negative = by_voltage ? times * v.by_negative_surface : half ? 0.0 : v.separator_side_by_surface;
  const Eigen::Index row = integrated_;
  jacobian_.corner()(0, row) = 1;  // d(dq/dt)/di
  jacobian_.corner()(row, 0) =
      -by_positive / m.positive_capacity() + (half ? 0.0 : by_negative / m.negative_capacity());
  jacobian_.corner()(row, row) = by_voltage ? v.by_current : v.separator_side_by_current;
  if (held_temperature_) {
    const HeatingSlopes slopes = heating_slopes(h, v);
    jacobian_.corner()(row, 0) += slopes.by_charge;
    jacobian_.corner()(row, row) = slopes.by_current;
  }
  if (thermal_) {
    const double dT = 1e-3;
    Here warmer = h;
    warmer.T += dT;
    const model::Terminal w = terminal(warmer);
    const double moved = held_temperature_ ? heating(warmer, w.voltage) - heating(h, v.voltage)
                         : by_voltage      ? w.voltage - v.voltage
                                           : w.separator_side - v.separator_side;
    jacobian_.corner()(row, 1) = moved / dT;
  }
  block = 0;
  for (const Modal* modal : {&positive_, &negative_, &salt_}) {
    if (modal->count == 0) continue;
    const Bordered::Block& b = jacobian_.blocks()[block++];
    auto cells = jacobian_.rows().row(row).segment(b.offset, b.size);
    if (modal->grain) {
      cells = (modal == &positive_ ? by_positive : by_negative) * modal->grain->modes().surface().matrix().transpose();
      continue;
    }
    const model::Salt::Gradient g = m.salt()->ionic_gradient(h.salt, h.i, h.T);
    if (by_voltage) {
      cells = times * (g.negative + g.separator + g.positive + v.by_positive_salt * g.positive_salt +
                       v.by_negative_salt * g.negative_salt)
                          .transpose();
    } else if (half) {
      cells = (g.positive + v.separator_side_by_salt * g.positive_salt).transpose();
    } else {
      cells = (-g.negative + v.separator_side_by_salt * g.negative_salt).transpose();
    }
  }
  return Rate::ok;
}

std::vector<Vector> Segment::starting_sensitivities() const {
  std::vector<Vector> s(static_cast<std::size_t>(sensitivity_count()), Vector::Zero(size()));
  for (std::size_t k = 0; k < s.size(); ++k) {
    const auto column = static_cast<Eigen::Index>(k);
    s[k].segment(positive_.offset, positive_.count) = positive_slopes0_.col(column);
    if (negative_.grain) s[k].segment(negative_.offset, negative_.count) = negative_slopes0_.col(column);
  }
  return s;
}

Rate Segment::sensitivity_rates(double t, ConstVectorView y, const std::vector<ConstVectorView>& s,
                                std::vector<VectorView>& sdot) {
  const double q = charge(t, y), T = temperature(t, y), i = given_current_ ? given_current_->at(t) : current0_;
  for (VectorView& rates : sdot) rates.setZero();
  for (const Modal* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    const model::Grain& grain = *modal->grain;
    const Eigen::Index n = modal->count;
    modal->amplitudes(t, y, a_);
    Eigen::VectorXd diffusion = -modal->mu * a_.array();  // da/dt less what the current brings
    const bool plain = grain.decoupled() && isothermal();
    Eigen::MatrixXd by_amplitudes;
    Eigen::VectorXd by_mean = Eigen::VectorXd::Zero(n);
    if (!plain) {
      const double mean = mean_of(*modal, q);
      by_amplitudes.resize(n, n);
      Eigen::VectorXd by_temperature(n);
      work_.resize(n);
      grain.remainder(mean, a_, T, modal->D0, work_);
      grain.remainder_jacobian(mean, a_, T, modal->D0, by_amplitudes, by_mean, by_temperature);
      diffusion += work_;
    }
    for (std::size_t k = 0; k < s.size(); ++k) {
      const auto slopes = s[k].segment(modal->offset, n);
      auto rates = sdot[k].segment(modal->offset, n);
      rates.array() = -modal->mu * slopes.array();
      if (!plain) rates += by_amplitudes * slopes;
    }
    sdot[0].segment(modal->offset, n) -= diffusion;
    sdot[1].segment(modal->offset, n) += by_mean * mean_by_capacity(*modal, q) - (modal->drive * i).matrix();
    sdot[2].segment(modal->offset, n) += by_mean;
  }
  return Rate::ok;
}

double Segment::mean_by_capacity(const Modal& modal, double q) const {
  return &modal == &positive_ ? (q - run_start_) / model_->positive_capacity()
                              : -(q - run_start_) / model_->negative_capacity();
}

SurfaceSlopes Segment::surface_slopes(double t, ConstVectorView y, const std::vector<Vector>& s) const {
  const double q = charge(t, y);
  SurfaceSlopes result;
  for (const Modal* modal : {&positive_, &negative_}) {
    if (!modal->grain) continue;
    const model::Grain& grain = *modal->grain;
    Eigen::Vector3d& slopes = modal == &positive_ ? result.positive : result.negative;
    for (std::size_t k = 0; k < s.size(); ++k) {
      slopes[static_cast<Eigen::Index>(k)] =
          grain.modes().surface().matrix().dot(s[k].segment(modal->offset, modal->count));
    }
    slopes[1] += mean_by_capacity(*modal, q);
    slopes[2] += 1;
    for (const Jump& jump : jumps_) {  // -(R j / D) missing(D t / R^2), with R j / D = diffusion time i / 3 Q
      const double D = modal == &positive_ ? jump.positive_diffusivity : jump.negative_diffusivity;
      const double layer = -modal->outflow_per_current * jump.current * missing_layer(grain, D, jump.age + t);
      if (layer == 0) continue;
      constexpr double h = 1e-4;
      const double slower =
          -modal->outflow_per_current * jump.current * missing_layer(grain, D * (1 - h), jump.age + t);
      slopes[0] += (slower - layer) / h;
      slopes[1] -= layer;
    }
  }
  return result;
}

void Segment::add_slopes(State& state, const std::vector<Vector>& s) const {
  const auto in_polynomials = [&](const Modal& modal) {
    Eigen::MatrixXd slopes(modal.count, grain_parameters);
    for (std::size_t k = 0; k < s.size(); ++k) {
      slopes.col(static_cast<Eigen::Index>(k)) =
          modal.grain->modes().polynomials(s[k].segment(modal.offset, modal.count));
    }
    return slopes;
  };
  state.positive_slopes = in_polynomials(positive_);
  if (negative_.grain) state.negative_slopes = in_polynomials(negative_);
}

Vector Segment::absolute_tolerance() const {
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

double Segment::longest_step() const {
  // At constant current the ends are looked for at least at every 1/40 of the smaller electrode's charge.
  if (given_current_) return stop_time_ / 20;
  if (is_hold() || current0_ == 0) return 0;  // no limit
  double Q = model_->positive_capacity();
  if (negative_.grain) Q = std::min(Q, model_->negative_capacity());
  return Q / 40 / std::abs(current0_);
}

Point Segment::point(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  Point p;
  p.time = t;
  p.charge = h.q;
  p.current = h.i;
  p.positive_surface = h.x_p;
  p.negative_surface = h.x_n;
  p.positive_mean = model_->positive_mean(h.q);
  p.negative_mean = negative_.grain ? model_->negative_mean(h.q) : 0;
  p.temperature = h.T;
  p.lowest_salt = p.highest_salt = model_->cell().electrolyte.concentration;
  if (model_->salt()) model_->salt()->extremes(h.salt, p.lowest_salt, p.highest_salt);
  p.terminal = terminal(h);
  return p;
}

State Segment::state(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  State s;
  s.charge = h.q;
  s.temperature = h.T;
  s.current = h.i;
  s.run_start = run_start_;
  positive_.amplitudes(t, y, a_);
  s.positive = positive_.grain->modes().polynomials(a_);
  if (negative_.grain) {
    negative_.amplitudes(t, y, a_);
    s.negative = negative_.grain->modes().polynomials(a_);
  }
  if (salt_.count > 0) salt_.amplitudes(t, y, s.salt);
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

Eigen::VectorXd Segment::salt_profile(double t, ConstVectorView y, const Eigen::ArrayXd& x) const {
  if (!model_->salt()) return Eigen::VectorXd::Constant(x.size(), model_->cell().electrolyte.concentration);
  salt_.amplitudes(t, y, a_);
  return model_->salt()->profile(a_, x);
}

Eigen::VectorXd Segment::salt_amplitudes(double t, ConstVectorView y) const {
  if (!model_->salt()) return {};
  salt_.amplitudes(t, y, a_);
  return a_;
}

double Segment::truncation(double t, ConstVectorView y) const {
  if (closed_form_ || (positive_.grain->decoupled() && (!negative_.grain || negative_.grain->decoupled()) &&
                       !is_hold() && !given_current_ && isothermal()))
    return 0;
  const model::Terminal v = terminal(here(t, y));
  const auto tail = [&](const Modal& modal) {
    return (modal.grain->modes().tail() * y.segment(modal.offset, modal.count)).cwiseAbs().sum();
  };
  double result = std::abs(v.by_positive_surface) * tail(positive_);
  if (negative_.grain) result += std::abs(v.by_negative_surface) * tail(negative_);
  return result;
}

double Segment::time_to_resolve(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  const auto longest = [&](const model::Grain& grain, double x) {
    return grain.modes().resolved_after() * grain.radius() * grain.radius() / grain.diffusivity(x, h.T);
  };
  const double positive = longest(*positive_.grain, h.x_p);
  return negative_.grain ? std::max(positive, longest(*negative_.grain, h.x_n)) : positive;
}

}  // namespace onegrain::solver
