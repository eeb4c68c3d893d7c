// Newton's matrix of a step whose reaction is resolved over the depth of the layers.

#include "model/kinetics.hpp"
#include "solver/step/uneven.hpp"

namespace onegrain::solver {

Evaluation UnevenSegment::linearise(double t, ConstVectorView y) {
  jacobian_.set_zero();
  Here h;
  try {
    h = here(t, y);
    spread(h.i, h.T);
  } catch (const IntegrationFailure&) {
    return Evaluation::retry_smaller_step;
  }
  if (thermal_) {
    // The heat balance changes slowly: its own cooling is what the integrator must know.
    jacobian_.corner()(1, 1) = -model_->cell().thermal->heat_transfer / model_->cell().thermal->heat_capacity;
  }
  if (is_hold()) jacobian_.corner()(0, jacobian_.corner().cols() - 1) = 1;  // d(dq/dt)/di
  for (std::size_t which = 0; which < layers_.size(); ++which) linearise_layer(which, t, y, h);
  if (model_->salt()) linearise_salt(h);
  if (is_hold()) linearise_hold(h);
  return Evaluation::ok;
}

void UnevenSegment::linearise_layer(std::size_t which, double t, ConstVectorView y, const Here& h) {
  const DepthLayer& layer = layers_[which];
  const int S = layer.seats(), local = layer.local, potential = local + S;
  const auto C = static_cast<int>(layer.classes.size());
  Eigen::MatrixXd& corner = jacobian_.corner();
  const std::size_t first = which == 0 ? 0 : static_cast<std::size_t>(layers_.front().seats());
  for (int k = 0; k < S; ++k) {
    const model::Grain& grain = *layer.at(k).grain;
    const ClosedForm& form = layer.modes[static_cast<std::size_t>(k)];
    Bordered::Block& block = jacobian_.blocks()[first + static_cast<std::size_t>(k)];
    auto columns = jacobian_.columns().middleRows(block.offset, block.size);
    if (grain.decoupled() && isothermal()) {
      block.diagonal_values = -form.mu;
    } else {
      Eigen::VectorXd by_mean(form.count), by_temperature(form.count);
      form.amplitudes(t, y, a_);
      grain.remainder_jacobian(layer.mean(k, t, y), a_, h.T, form.D0, block.values, by_mean, by_temperature);
      block.values.diagonal() -= form.mu.matrix();
      if (grain.decoupled()) block.diagonal_values = block.values.diagonal();
      columns.col(layer.means + k) = by_mean;
      if (thermal_) columns.col(1) = by_temperature;
    }
    columns.col(local + k) = form.drive.matrix();
    corner(layer.means + k, local + k) = 1 / layer.at(k).capacity;
    // charge transfer at the point: U + eta - Phi(1) - drop s + i solid - diffusion = 0
    corner(local + k, layer.means + k) = layer.spread.by_surface[k];
    jacobian_.rows().row(local + k).segment(block.offset, block.size) =
        layer.spread.by_surface[k] * grain.modes().surface().matrix().transpose();
    const Eigen::Index point = layer.point_of(k);
    if (C == 1) {
      corner.row(local + k).segment(local, S) = -layer.drop.drop.row(k);
    } else {
      for (int other = 0; other < S; ++other)
        corner(local + k, local + other) = -layer.drop.drop(point, layer.point_of(other));
    }
    corner(local + k, local + k) += layer.spread.by_current[k];
    corner(local + k, potential) = -1;
    if (is_hold()) corner(local + k, corner.cols() - 1) = layer.sign * layer.drop.solid[point];
  }
  for (int k = 0; k < S; ++k) corner(potential, local + k) = layer.depth->weights()[layer.point_of(k)];
  if (is_hold()) corner(potential, corner.cols() - 1) = -layer.sign;
}

void UnevenSegment::linearise_salt(const Here& h) {
  const model::Salt& salt = *model_->salt();
  Bordered::Block& block = jacobian_.blocks().back();
  Eigen::MatrixXd by_crossing;
  salt.rate_jacobian(h.salt, crossing(h.i), h.T, block.values, by_crossing);
  auto columns = jacobian_.columns().middleRows(block.offset, block.size);
  if (is_hold()) columns.col(columns.cols() - 1) = by_crossing * crossing_between_;
  for (const DepthLayer& layer : layers_) {
    const Eigen::MatrixXd by_points = by_crossing * layer.crossing;
    // On a flat potential it is the salt that shares the current out: without these rows Newton's iteration fails.
    const Eigen::MatrixXd drop_by_salt = model::layer_drop_by_salt(
        *layer.depth, *layer.electrode, model_->cell().electrolyte, (layer.at_samples * h.salt).array() + salt.mean(),
        layer.slope_at_samples * h.salt, layer.spread.current, h.T, layer.at_samples, layer.slope_at_samples);
    for (int k = 0; k < layer.seats(); ++k) {
      const Eigen::Index point = layer.point_of(k);
      columns.col(layer.local + k) = by_points.col(point);
      jacobian_.rows().row(layer.local + k).segment(block.offset, block.size) =
          layer.spread.by_salt[k] * layer.at_points.row(point) - drop_by_salt.row(point);
    }
  }
}

void UnevenSegment::linearise_hold(const Here& h) {
  Eigen::MatrixXd& corner = jacobian_.corner();
  const Eigen::Index row = corner.cols() - 1;  // its own column too
  if (held_separator_side_) {
    corner(row, layers_.back().local + layers_.back().seats()) = 1;
    return;
  }
  // V = (phi_s at the foil of the positive) - (of the negative) + what lies between; a held temperature sees i V
  const model::Terminal v = terminal(h);
  const double times = held_temperature_ ? h.i : 1;
  const model::Ionic ionic = between_layers(h);
  double by_current = ionic.separator.resistance + model_->cell().contact_resistance;
  for (const DepthLayer& layer : layers_) {
    const double solid = layer.solid(), of_positive = -layer.sign;  // + for the positive, - for the negative
    corner(row, layer.local + layer.seats()) = times * of_positive;
    for (int k = 0; k < layer.seats(); ++k) {
      const Eigen::Index point = layer.point_of(k);
      corner(row, layer.local + k) =
          times * of_positive * solid * (layer.depth->weights()[point] * (1 - layer.depth->xi()[point]));
    }
    by_current += solid;
  }
  if (!model_->negative())
    by_current += v.by_current - ionic.separator.resistance - model_->cell().contact_resistance -
                  layers_.front().potentials().foil_by_total;
  corner(row, row) = times * by_current;
  if (held_temperature_) {
    const HeatingSlopes slopes = heating_slopes(h, v);
    corner(row, 0) += slopes.by_charge;
    corner(row, row) += slopes.by_current - h.i * v.by_current;  // V - U + T dU/dT
  }
  if (!model_->salt()) return;
  const Bordered::Block& block = jacobian_.blocks().back();
  const model::Salt::Gradient g = model_->salt()->ionic_gradient(h.salt, h.i, h.T);
  Eigen::VectorXd by_salt = g.separator;
  if (!model_->negative()) by_salt += v.by_negative_salt * g.negative_salt;
  jacobian_.rows().row(row).segment(block.offset, block.size) = times * by_salt.transpose();
}

}  // namespace onegrain::solver
