// What is held: a voltage, a potential at the separator's side, a temperature. The current is then an unknown that the
// constraint fixes.

#include <cmath>
#include <limits>

#include "solver/step/segment.hpp"

namespace onegrain::solver {

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

void Segment::linearise_hold(const Here& h) {
  const model::SingleParticle& m = *model_;
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
  std::size_t block = 0;
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
}

}  // namespace onegrain::solver
