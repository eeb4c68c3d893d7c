// What is held: a voltage, a potential at the separator's side, a temperature. The current is then an unknown that the
// constraint fixes.

#include <cmath>
#include <limits>

#include "solver/step/even.hpp"

namespace onegrain::solver {

double EvenSegment::held_current(const Here& h, double guess) const {
  if (held_temperature_) return current_at_constant_temperature(h, guess);
  return held_voltage_ ? model_->current_at_voltage(h.x_p, h.x_n, *held_voltage_, h.T, guess, ionic(h))
                       : model_->current_at_separator_side(h.x_p, h.x_n, *held_separator_side_, h.T, guess, ionic(h));
}

void EvenSegment::linearise_hold(const Here& h) {
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
  for (const ClosedForm* modal : {&positive_, &negative_, &salt_}) {
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
