#include "solver/step/uneven.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "model/kinetics.hpp"
#include "model/root_search.hpp"
#include "solver/step/layers.hpp"

namespace onegrain::solver {

namespace {
constexpr model::NewtonAccuracy holding{.argument = 1e-12, .value = 1e-11};  // [A/m2], [V]: what a spread is solved to
constexpr double share_of_what_is_left = 0.005, least_allowed = 5e-8;        // the local currents are not known better
constexpr double none = std::numeric_limits<double>::quiet_NaN();
}  // namespace

UnevenSegment::UnevenSegment(std::shared_ptr<const model::SingleParticle> model, const model::LayerPoints& points,
                             const State& start, const model::Step& step)
    : Segment(std::move(model), start, step),
      depth_(&points),
      run_start_(start.run_start),
      spread_for_(none),
      jacobian_({}, 1, 0) {
  layers_.emplace_back(*model_, *depth_, true);
  if (model_->negative()) layers_.emplace_back(*model_, *depth_, false);
  begin(start);
  lay_out();
  const Vector unknowns = starting_unknowns();
  prepare_ends(here(0, {unknowns.data(), unknowns.size()}));
  look_at_the_start();
}

/// Where things stand when the step starts, layers of earlier jumps included: gives the current of a hold, the local
/// currents and the frozen diffusivities.
void UnevenSegment::begin(const State& start) {
  const model::SingleParticle& m = *model_;
  if (m.salt()) {
    salt0_ = start.salt;
    if (salt0_.size() != m.salt()->count()) salt0_.setZero(m.salt()->count());
  }
  Here now;
  now.q = charge0_;
  now.T = temperature_;
  now.salt = salt0_;
  for (DepthLayer& layer : layers_) layer.take(start, salt0_, m, temperature_);
  if (is_hold()) current0_ = held_current(now, last_current_);
  last_current_ = current0_;
  spread(current0_, temperature_);
  for (DepthLayer& layer : layers_) layer.begin();
  for (const Jump& jump : start.jumps) jump_ages_.push_back(jump.age);
  jump_ages_.push_back(0);
}

/// Places in y: charge, temperature, means; then the blocks: modes of every point, and the salt.
void UnevenSegment::lay_out() {
  const model::SingleParticle& m = *model_;
  int algebraic = is_hold() ? 1 : 0;
  blocks_at_ = integrated_;
  for (DepthLayer& layer : layers_) {
    layer.means = blocks_at_;
    blocks_at_ += layer.seats();
    algebraic += layer.seats() + 1;
  }
  std::vector<int> sizes;
  int offset = blocks_at_;
  for (DepthLayer& layer : layers_) {
    for (ClosedForm& form : layer.modes) {
      form.offset = offset;
      offset += form.count;
      sizes.push_back(form.count);
    }
  }
  if (m.salt()) {
    salt_at_ = offset;
    salt_count_ = m.salt()->count();
    offset += salt_count_;
    sizes.push_back(salt_count_);
    crossing_between_ = m.salt()->share();
    const Eigen::Index per_layer = m.salt()->nodes_per_part();
    crossing_between_.tail(per_layer).setZero();
    if (m.negative()) crossing_between_.head(per_layer).setZero();
  }
  block_sizes_ = offset - blocks_at_;
  jacobian_ = Bordered(sizes, blocks_at_ + algebraic, algebraic);
  std::size_t which = 0;
  int local = blocks_at_;
  for (DepthLayer& layer : layers_) {
    layer.local = local;
    for (int k = 0; k < layer.seats(); ++k) {  // a grain feels its own mean and current, and charge transfer feels it
      Bordered::Block& block = jacobian_.blocks()[which++];
      block.diagonal = layer.at(k).grain->decoupled();
      block.feels = {layer.means + k, local + k};
      if (thermal_) block.feels.push_back(1);
      block.felt_by = {local + k};
    }
    local += layer.seats() + 1;
  }
  if (m.salt()) jacobian_.blocks().back().diagonal = false;
}

Segment::Here UnevenSegment::here(double t, ConstVectorView y) const {
  // Ends, estimates of error and points ask for the same moment one after the other.
  if (t == looked_at_time_ && y.size() == looked_at_.size() && y == looked_at_) {
    if (spread_for_ != seen_.i) spread(seen_.i, seen_.T);
    return seen_;
  }
  looked_at_time_ = none;
  seen_ = look(t, y);
  looked_at_time_ = t;
  looked_at_ = y;
  return seen_;
}

Segment::Here UnevenSegment::look(double t, ConstVectorView y) const {
  Here h;
  h.q = charge(t, y);
  h.T = temperature(t, y);
  h.salt = salt_amplitudes(t, y);
  for (DepthLayer& layer : layers_) {
    layer.look(t, y, h.salt, *model_, h.T);
    const bool of_positive = &layer == layers_.data();
    (of_positive ? h.x_p : h.x_n) = layer.mean_surface();
    (of_positive ? h.positive : h.negative) = Extremes{layer.surface.minCoeff(), layer.surface.maxCoeff()};
  }
  spread_for_ = none;
  h.i = given_current_ ? given_current_->at(t) : current0_;
  if (is_hold()) h.i = last_current_ = held_current(h, last_current_);
  return h;
}

void UnevenSegment::spread(double i, double T) const {
  if (spread_for_ == i) return;
  spread_for_ = none;
  for (DepthLayer& layer : layers_) {
    if (!layer.solve(i, T)) throw IntegrationFailure("the current finds no way to spread over a layer");
  }
  spread_for_ = i;
}

model::Terminal UnevenSegment::terminal(const Here& h) const {
  spread(h.i, h.T);
  const model::Cell& cell = model_->cell();
  const model::Ionic ionic = between_layers(h);
  const DepthLayer::Potentials p = layers_.front().potentials();
  model::Terminal t{};
  t.positive_potential = p.equilibrium;
  t.positive_overpotential = p.overpotential;
  t.electrolyte = p.ohmic + h.i * ionic.separator.resistance;
  t.concentration = p.concentration + ionic.separator.concentration;
  t.electronic = p.electronic;
  t.contact = h.i * cell.contact_resistance;
  t.by_current = p.foil_by_total + ionic.separator.resistance + cell.contact_resistance;
  t.by_positive_surface = p.by_surface;
  if (model_->negative()) {
    const DepthLayer::Potentials n = layers_.back().potentials();
    t.negative_potential = n.equilibrium;
    t.negative_overpotential = n.overpotential;
    t.electrolyte -= n.ohmic;
    t.concentration -= n.concentration;
    t.electronic -= n.electronic;
    t.by_current -= n.foil_by_total;
    t.by_negative_surface = -n.by_surface;
    t.separator_side = n.separator_side;
    t.separator_side_by_current = n.separator_side_by_total;
    t.separator_side_by_surface = n.by_surface;
  } else {
    const model::LithiumMetal& lithium = *cell.counter;
    const model::ExchangeCurrent i0 = model::exchange_current_density(lithium, ionic.negative_salt, h.T);
    const model::Overpotential eta =
        model::butler_volmer(-h.i, i0.value, h.T, lithium.anodic_transfer, lithium.cathodic_transfer);
    t.negative_overpotential = eta.value;
    t.by_current += eta.by_current;
    t.by_negative_salt = -eta.by_exchange * i0.by_concentration;
    t.by_negative_exchange = -eta.by_exchange * i0.value;
    t.separator_side = p.separator_side;
    t.separator_side_by_current = p.separator_side_by_total;
    t.separator_side_by_surface = p.by_surface;
  }
  t.voltage = t.positive_potential + t.positive_overpotential - t.negative_potential - t.negative_overpotential +
              t.electrolyte + t.concentration + t.electronic + t.contact;
  return t;
}

model::Ionic UnevenSegment::between_layers(const Here& h) const {
  return model_->salt() ? model_->salt()->ionic_between(h.salt, h.T) : model_->uniform(h.T);
}

double UnevenSegment::held_current(const Here& h, double guess) const {
  spread_for_ = none;
  if (held_temperature_) return current_at_constant_temperature(h, guess);
  Here at = h;
  return model::newton_root(
      [&](double i) -> model::ValueAndSlope {
        at.i = i;
        const model::Terminal t = terminal(at);
        if (held_voltage_) return {t.voltage - *held_voltage_, t.by_current};
        return {t.separator_side - *held_separator_side_, t.separator_side_by_current};
      },
      guess, holding);
}

Eigen::VectorXd UnevenSegment::crossing(double i) const {
  Eigen::VectorXd result = i * crossing_between_;
  for (const DepthLayer& layer : layers_) result.noalias() += layer.crossing * layer.spread.current;
  return result;
}

Evaluation UnevenSegment::rate(double t, ConstVectorView y, VectorView ydot) {
  Here h;
  try {
    h = here(t, y);
    spread(h.i, h.T);
    if (thermal_) ydot[1] = heating(h, terminal(h).voltage) / model_->cell().thermal->heat_capacity;
  } catch (const IntegrationFailure&) {
    return Evaluation::retry_smaller_step;
  }
  ydot[0] = given_current_ ? 0 : h.i - current0_;
  for (const DepthLayer& layer : layers_) {
    for (Eigen::Index k = 0; k < layer.seats(); ++k) {
      const ClosedForm& form = layer.modes[static_cast<std::size_t>(k)];
      const double extra = layer.currents()[k] - layer.current0[k];
      ydot[layer.means + k] = extra / layer.at(k).capacity;
      auto dydt = ydot.segment(form.offset, form.count);
      dydt.array() = -form.mu * y.segment(form.offset, form.count).array() + form.drive * extra;
      if (layer.at(k).grain->decoupled() && isothermal()) continue;
      form.amplitudes(t, y, a_);
      work_.resize(form.count);
      layer.at(k).grain->remainder(layer.mean(k, t, y), a_, h.T, form.D0, work_);
      dydt += work_;
    }
  }
  if (model_->salt()) {
    work_.resize(salt_count_);
    model_->salt()->rate(h.salt, crossing(h.i), h.T, work_);
    ydot.segment(salt_at_, salt_count_) = work_;
  }
  return ydot.allFinite() ? Evaluation::ok : Evaluation::retry_smaller_step;
}

/// Near a full or an empty grain, where its potential bends like a logarithm, a share of what is left of it is allowed:
/// some tenths of a millivolt.
void UnevenSegment::tighten(ConstVectorView /*y*/, VectorView allowed) {
  for (const DepthLayer& layer : layers_) {
    for (Eigen::Index k = 0; k < layer.seats(); ++k) {
      const double x = layer.surface[k], left = std::min(x, 1 - x);
      const double most = std::max(share_of_what_is_left * left, least_allowed);
      const ClosedForm& form = layer.modes[static_cast<std::size_t>(k)];
      allowed[layer.means + k] = std::min(allowed[layer.means + k], most);
      auto amplitudes = allowed.segment(form.offset, form.count);
      amplitudes = amplitudes.cwiseMin(most);
    }
  }
}

Vector UnevenSegment::absolute_tolerance() const {
  Vector tolerance = Vector::Constant(size(), depth_->is_even() ? 5e-7 : 5e-6);  // of an amplitude or a mean
  tolerance[0] = 1e-7 * layers_.front().capacity;
  if (model_->negative()) tolerance[0] = 1e-7 * std::min(layers_.front().capacity, layers_.back().capacity);
  if (thermal_) tolerance[1] = 1e-5;  // K
  if (salt_count_ > 0) {              // as in EvenSegment
    tolerance.segment(salt_at_, salt_count_)
        .setConstant((depth_->is_even() ? 1e-5 : 1e-4) * model_->salt()->mean() * std::sqrt(model_->salt()->length()));
  }
  return tolerance;
}

double UnevenSegment::truncation(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  spread(h.i, h.T);
  double result = 0;
  for (const DepthLayer& layer : layers_) {
    for (Eigen::Index k = 0; k < layer.seats(); ++k) {
      const ClosedForm& form = layer.modes[static_cast<std::size_t>(k)];
      const double tail = (layer.at(k).grain->modes().tail() * y.segment(form.offset, form.count)).cwiseAbs().sum();
      result += layer.depth->weights()[layer.point_of(k)] * std::abs(layer.response(k)) * tail;
    }
  }
  return result;
}

double UnevenSegment::unseen_layer(double t, ConstVectorView y) const {
  if (!is_hold() || t == 0) return 0;
  const Here h = here(t, y);
  spread(h.i, h.T);
  double result = 0;
  for (const DepthLayer& layer : layers_) {
    for (Eigen::Index k = 0; k < layer.seats(); ++k) {
      const DepthLayer::Class& its = layer.at(k);
      const auto potential = [&](double x) {
        return its.host->potential(std::clamp(x, surface_limit, 1 - surface_limit), h.T);
      };
      const double change = layer.currents()[k] - layer.current0[k];
      const double missing = missing_layer(*its.grain, layer.modes[static_cast<std::size_t>(k)].D0, 0.5 * t);
      const double x = layer.surface[k], thickness = std::abs(its.outflow * change) * missing, at = potential(x);
      result +=
          layer.weight(k) * std::max(std::abs(potential(x + thickness) - at), std::abs(potential(x - thickness) - at));
    }
  }
  return result;
}

double UnevenSegment::time_to_resolve(double t, ConstVectorView y) const {
  const double T = here(t, y).T;
  double longest = 0;
  for (const DepthLayer& layer : layers_) {
    for (Eigen::Index k = 0; k < layer.seats(); ++k) {
      const model::Grain& grain = *layer.at(k).grain;
      const double R = grain.radius(), after = grain.modes().resolved_after() * R * R;
      longest = std::max(longest, after / grain.diffusivity(layer.surface[k], T));
    }
  }
  return longest;
}

double UnevenSegment::depth_error(double t, ConstVectorView y) const {
  if (depth_->is_even()) return 0;
  const Here h = here(t, y);
  spread(h.i, h.T);
  double error = 0;
  for (const DepthLayer& layer : layers_) error += layer.error_of_points(h.i, h.salt, *model_, h.T);
  return error;
}

State UnevenSegment::state(double t, ConstVectorView y) const {
  const Here h = here(t, y);
  spread(h.i, h.T);
  State s;
  s.charge = h.q;
  s.temperature = h.T;
  s.current = h.i;
  s.run_start = run_start_;
  s.salt = h.salt;
  for (const DepthLayer& layer : layers_) {
    const bool of_positive = &layer == layers_.data();
    DepthFilling& depth = of_positive ? s.positive_depth : s.negative_depth;
    depth = layer.filling(t, y);
    Eigen::VectorXd weights(layer.seats());
    for (Eigen::Index k = 0; k < layer.seats(); ++k) weights[k] = layer.weight(k);
    (of_positive ? s.positive : s.negative) = depth.uneven * weights;
  }
  for (std::size_t j = 0; j < jump_ages_.size(); ++j) {
    Jump jump{jump_ages_[j] + t, 0, 0, 0, {}, {}};
    bool open = false;
    for (const DepthLayer& layer : layers_) {
      const bool of_positive = &layer == layers_.data();
      LocalJumps& local = of_positive ? jump.positive : jump.negative;
      local.current.resize(layer.seats());
      local.diffusivity.resize(layer.seats());
      double total = 0;
      for (Eigen::Index k = 0; k < layer.seats(); ++k) {
        const Jump& its = layer.jumps[static_cast<std::size_t>(k)][j];
        local.current[k] = its.current;
        local.diffusivity[k] = its.positive_diffusivity;
        total += depth_->weights()[layer.point_of(k)] * its.current;
        open = open || !resolved(*layer.at(k).grain, its.positive_diffusivity, jump.age);
      }
      jump.current = layer.sign * (layer.classes.size() > 1 ? total : depth_->weights().matrix().dot(local.current));
      (of_positive ? jump.positive_diffusivity : jump.negative_diffusivity) = local.diffusivity.mean();
    }
    if (open) s.jumps.push_back(std::move(jump));
  }
  return s;
}

Eigen::VectorXd UnevenSegment::positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  return layers_.front().profile(t, y, rho);
}

Eigen::VectorXd UnevenSegment::negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  return layers_.back().profile(t, y, rho);
}

Segment::OverDepth UnevenSegment::over_depth(double t, ConstVectorView y, bool of_positive,
                                             const Eigen::ArrayXd& places) const {
  const Here h = here(t, y);
  spread(h.i, h.T);
  const DepthLayer& layer = of_positive ? layers_.front() : layers_.back();
  Eigen::VectorXd means = Eigen::VectorXd::Zero(layer.count());
  for (Eigen::Index k = 0; k < layer.seats(); ++k) means[layer.point_of(k)] += layer.at(k).share * layer.mean(k, t, y);
  const Eigen::MatrixXd values = depth_->values_at(places);
  OverDepth result{(values * means).array(), Eigen::ArrayXd::Ones(places.size())};
  if (h.i != 0) result.reaction = (values * layer.spread.current).array() / (layer.sign * h.i);
  return result;
}

Eigen::MatrixXd UnevenSegment::grains_over_depth(double t, ConstVectorView y, bool of_positive,
                                                 const Eigen::ArrayXd& rho, const Eigen::ArrayXd& places) const {
  const DepthLayer& layer = of_positive ? layers_.front() : layers_.back();
  return layer.profiles(t, y, rho) * depth_->values_at(places).transpose();
}

Eigen::VectorXd UnevenSegment::salt_amplitudes(double /*t*/, ConstVectorView y) const {
  if (!model_->salt()) return {};
  return salt0_ + y.segment(salt_at_, salt_count_);
}

}  // namespace onegrain::solver
