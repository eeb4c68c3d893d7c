#include "solver/step/depth_layer.hpp"

#include <cmath>

#include "solver/step/layers.hpp"

namespace onegrain::solver {

DepthLayer::DepthLayer(const model::SingleParticle& m, const model::LayerPoints& points, bool of_positive)
    : electrode(of_positive ? &m.cell().positive : &*m.cell().negative),
      depth(&points),
      sign(of_positive ? -1 : 1),
      capacity(of_positive ? m.positive_capacity() : m.negative_capacity()),
      crossed_(points.integral_to_separator() * points.share_at_samples()),
      solid_(electrode->electronic_conductivity > 0 ? electrode->thickness / electrode->electronic_conductivity : 0) {
  const std::vector<model::Grain>& grains = m.classes(of_positive);
  if (grains.empty()) {
    classes.push_back({of_positive ? &m.positive() : m.negative(), &electrode->host,
                       -std::abs(of_positive ? m.positive_outflow() : m.negative_outflow()), capacity, 1});
  }
  for (std::size_t c = 0; c < grains.size(); ++c) {
    const model::GrainClass& its = electrode->classes[c];
    const model::Host& host = electrode->host_of(its);
    const double volume = electrode->active_fraction * electrode->thickness * its.share;
    const double roughness = 3 * volume / grains[c].radius();
    const double charge = model::faraday_constant * volume * host.maximum_concentration;
    classes.push_back({&grains[c], &host, -1 / (roughness * model::faraday_constant * host.maximum_concentration),
                       charge, charge / capacity});
    surfaces_.push_back({&host, roughness, charge / capacity});
  }
  if (!m.salt()) return;
  // Places in the salt: the negative's foil is at 0, the positive's at the far end.
  const model::Salt& its = *m.salt();
  const double foil = of_positive ? its.length() : 0,
               towards = of_positive ? -electrode->thickness : electrode->thickness;
  at_samples = its.rows(foil + towards * points.samples(), false);
  slope_at_samples = towards * its.rows(foil + towards * points.samples(), true);
  at_points = its.rows(foil + towards * points.xi(), false);
  const Eigen::Index per_layer = its.nodes_per_part(), first = of_positive ? its.nodes().size() - per_layer : 0;
  crossing = Eigen::MatrixXd::Zero(its.nodes().size(), count());
  crossing.middleRows(first, per_layer) =
      sign * points.share_at((its.nodes().segment(first, per_layer) - foil) / towards);
}

double DepthLayer::mean_surface() const {
  if (classes.size() == 1) return depth->weights().matrix().dot(surface);
  double sum = 0;
  for (Eigen::Index s = 0; s < seats(); ++s) sum += weight(s) * surface[s];
  return sum;
}

namespace {

/// From seats at some points to seats at others: `moved` for each class.
Eigen::VectorXd moved_seats(const Eigen::MatrixXd& moved, const Eigen::VectorXd& local, Eigen::Index C) {
  if (C == 1) return moved * local;
  const Eigen::Map<const Eigen::MatrixXd> by_class(local.data(), C, local.size() / C);
  const Eigen::MatrixXd result = by_class * moved.transpose();
  return Eigen::Map<const Eigen::VectorXd>(result.data(), result.size());
}

}  // namespace

void DepthLayer::take(const State& state, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T) {
  const bool of_positive = sign < 0;
  const DepthFilling& filling = of_positive ? state.positive_depth : state.negative_depth;
  const Eigen::VectorXd& even = of_positive ? state.positive : state.negative;
  const auto C = static_cast<Eigen::Index>(classes.size());
  const Eigen::Index K = count(), S = seats(), held = filling.means.size() / C;
  Eigen::MatrixXd moved;  // from the points of the state to these
  if (held == K)
    moved = Eigen::MatrixXd::Identity(K, K);
  else if (held > 0)
    moved = depth->taken_from(model::LayerPoints::of(static_cast<int>(held)));
  const auto at_seats_of = [&](const Eigen::VectorXd& told, const auto& otherwise) -> Eigen::VectorXd {
    if (held > 0 && told.size() > 0) return moved_seats(moved, told, C);
    Eigen::VectorXd result(S);
    for (Eigen::Index s = 0; s < S; ++s) result[s] = otherwise(at(s));
    return result;
  };
  const double mean_of_all = of_positive ? m.positive_mean(state.charge) : m.negative_mean(state.charge);
  means0 = at_seats_of(filling.means, [&](const Class&) { return mean_of_all; });
  current_before_ = at_seats_of(filling.current, [&](const Class& its) { return sign * state.current * its.share; });
  jumps.assign(static_cast<std::size_t>(S), {});
  for (const Jump& jump : state.jumps) {
    const LocalJumps& layer = of_positive ? jump.positive : jump.negative;
    const double D_of_all = of_positive ? jump.positive_diffusivity : jump.negative_diffusivity;
    const Eigen::VectorXd change =
        at_seats_of(layer.current, [&](const Class& its) { return sign * jump.current * its.share; });
    const Eigen::VectorXd D = at_seats_of(layer.diffusivity, [&](const Class&) { return D_of_all; });
    for (Eigen::Index s = 0; s < S; ++s)
      jumps[static_cast<std::size_t>(s)].push_back({jump.age, change[s], D[s], D[s], {}, {}});
  }
  uneven0_ = Eigen::MatrixXd::Zero(classes.front().grain->count(), S);
  surface = means0;
  modes.assign(static_cast<std::size_t>(S), {});
  for (Eigen::Index s = 0; s < S; ++s) {
    const Class& its = at(s);
    const std::vector<Jump>& recent = jumps[static_cast<std::size_t>(s)];
    Eigen::VectorXd polynomials = even;
    if (filling.uneven.rows() > 0 && C == 1) {
      polynomials = filling.uneven * moved.row(s).transpose();
    } else if (filling.uneven.rows() > 0) {
      polynomials.setZero(filling.uneven.rows());
      for (Eigen::Index k = 0; k < held; ++k) polynomials += filling.uneven.col(k * C + s % C) * moved(point_of(s), k);
    }
    const Eigen::VectorXd here = filling_for(*its.grain, polynomials, recent, &Jump::positive_diffusivity, its.outflow);
    if (here.size() > 0) uneven0_.col(s) = its.grain->modes().amplitudes(here);
    surface[s] = its.grain->surface_stoichiometry(means0[s], uneven0_.col(s));
    for (const Jump& jump : recent)
      surface[s] -= its.outflow * jump.current * missing_layer(*its.grain, jump.positive_diffusivity, jump.age);
    modes[static_cast<std::size_t>(s)].take(*its.grain, its.outflow, surface[s], T);
  }
  see_salt(amplitudes, m, T);
}

void DepthLayer::begin() {
  current0 = currents();
  for (Eigen::Index s = 0; s < seats(); ++s) {
    ClosedForm& form = modes[static_cast<std::size_t>(s)];
    form.prepare(current0[s], uneven0_.col(s));
    jumps[static_cast<std::size_t>(s)].push_back({0, current0[s] - current_before_[s], form.D0, form.D0, {}, {}});
  }
}

void DepthLayer::see_salt(const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T) {
  const model::Electrolyte& electrolyte = m.cell().electrolyte;
  if (m.salt()) {
    drop = model::layer_drop(*depth, *electrode, electrolyte, (at_samples * amplitudes).array() + m.salt()->mean(),
                             slope_at_samples * amplitudes, T);
    if (depth->is_even())
      see_mean_salt(amplitudes, m);
    else
      salt = (at_points * amplitudes).array() + m.salt()->mean();
  } else if (T != T_of_drop_) {
    const Eigen::VectorXd even = Eigen::VectorXd::Constant(depth->samples().size(), electrolyte.concentration);
    drop = model::layer_drop(*depth, *electrode, electrolyte, even, 0 * even, T);
    salt.setConstant(count(), electrolyte.concentration);
    T_of_drop_ = T;
  }
}

/// Of an even reaction the mean exchange current counts: that at the mean of c^aa, to the power 1/aa.
void DepthLayer::see_mean_salt(const Eigen::VectorXd& amplitudes, const model::SingleParticle& m) {
  constexpr double least = 1;  // mol/m3, as in model::layer_drop
  const double power = electrode->host.anodic_transfer;
  const Eigen::ArrayXd c = ((at_samples * amplitudes).array() + m.salt()->mean()).max(least);
  const Eigen::ArrayXd& weights = depth->sample_weights();
  const double mean = std::pow((weights * c.pow(power)).sum(), 1 / power);
  salt.setConstant(1, mean);
  at_points = (weights * (c / mean).pow(power - 1)).matrix().transpose() * at_samples;
}

void DepthLayer::look(double t, ConstVectorView y, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m,
                      double T) {
  for (Eigen::Index s = 0; s < seats(); ++s) {
    const Class& its = at(s);
    double x = modes[static_cast<std::size_t>(s)].surface(mean(s, t, y), t, y, false);
    for (const Jump& jump : jumps[static_cast<std::size_t>(s)])
      x -= its.outflow * jump.current * missing_layer(*its.grain, jump.positive_diffusivity, jump.age + t);
    surface[s] = x;
  }
  see_salt(amplitudes, m, T);
}

bool DepthLayer::solve_once(double i, double T) {
  if (classes.size() > 1) return model::solve_layer(*depth, surfaces_, drop, surface, salt, sign * i, T, spread);
  return model::solve_layer(*depth, *electrode, drop, surface, salt, sign * i, T, spread);
}

bool DepthLayer::solve(double i, double T) {
  const Eigen::VectorXd before = spread.current, of_classes = spread.class_current;
  if (solve_once(i, T)) return true;
  spread.current.resize(0);  // once more, from an even spread
  if (solve_once(i, T)) return true;
  spread.current = before;
  spread.class_current = of_classes;
  return false;
}

struct DepthLayer::Finer {
  DepthLayer layer;
  Eigen::MatrixXd from_coarse;
  Finer(const DepthLayer& coarse, const model::SingleParticle& m)
      : layer(m, model::LayerPoints::of(std::min(coarse.count() + 2, model::LayerPoints::most)), coarse.sign < 0),
        from_coarse(coarse.depth->values_at(layer.depth->xi())) {}
};

double DepthLayer::error_of_points(double i, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m,
                                   double T) const {
  if (!finer_) finer_ = std::make_shared<Finer>(*this, m);
  DepthLayer& fine = finer_->layer;
  const auto C = static_cast<Eigen::Index>(classes.size());
  fine.surface = moved_seats(finer_->from_coarse, surface, C);
  fine.see_salt(amplitudes, m, T);
  fine.spread.current = finer_->from_coarse * spread.current;
  if (C > 1) fine.spread.class_current = moved_seats(finer_->from_coarse, spread.class_current, C);
  fine.spread.separator_side = spread.separator_side;
  if (!fine.solve(i, T)) return 1;
  return std::abs(fine.spread.separator_side - spread.separator_side);
}

DepthLayer::Potentials DepthLayer::potentials() const {
  const auto weights = depth->weights().matrix();
  const Eigen::VectorXd& s = spread.current;
  const double i = weights.dot(s);
  const Eigen::VectorXd to_foil = (depth->weights() * (1 - depth->xi())).matrix();  // int w dxi = to_foil . s / i
  const double dropped = weights.dot(drop.drop * s), in_solid = solid_ * weights.dot(crossed_ * s);
  const double solid = solid_ * (i - to_foil.dot(s));
  Potentials p{};
  p.separator_side = spread.separator_side;
  p.foil = spread.separator_side - solid;
  p.equilibrium = weights.dot(spread.equilibrium);
  p.concentration = -weights.dot(drop.diffusion);
  p.ohmic = in_solid - dropped;
  p.electronic = i * weights.dot(drop.solid) - in_solid - solid;
  p.overpotential = p.foil - p.equilibrium - p.concentration - p.ohmic - p.electronic;
  p.separator_side_by_total = sign * spread.separator_side_by_total;
  p.foil_by_total = sign * (spread.separator_side_by_total - solid_ * (1 - to_foil.dot(spread.by_total)));
  if (classes.size() == 1) {
    p.by_surface = weights.dot(spread.by_surface);
  } else {
    for (Eigen::Index seat = 0; seat < seats(); ++seat)
      p.by_surface += depth->weights()[point_of(seat)] * response(seat);
  }
  return p;
}

DepthFilling DepthLayer::filling(double t, ConstVectorView y) const {
  DepthFilling result;
  result.means.resize(seats());
  result.uneven.resize(classes.front().grain->count(), seats());
  Eigen::VectorXd a;
  for (Eigen::Index s = 0; s < seats(); ++s) {
    result.means[s] = mean(s, t, y);
    modes[static_cast<std::size_t>(s)].amplitudes(t, y, a);
    result.uneven.col(s) = at(s).grain->modes().polynomials(a);
  }
  result.current = currents();
  return result;
}

Eigen::MatrixXd DepthLayer::profiles(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  std::size_t largest = 0;
  for (std::size_t c = 1; c < classes.size(); ++c) {
    if (classes[c].grain->radius() > classes[largest].grain->radius()) largest = c;
  }
  const Eigen::MatrixXd values = classes[largest].grain->modes().values(rho);
  Eigen::MatrixXd result(rho.size(), count());
  Eigen::VectorXd a;
  for (Eigen::Index k = 0; k < count(); ++k) {
    const auto s = k * static_cast<Eigen::Index>(classes.size()) + static_cast<Eigen::Index>(largest);
    modes[static_cast<std::size_t>(s)].amplitudes(t, y, a);
    result.col(k) = (values * a).array() + mean(s, t, y);
  }
  return result;
}

Eigen::VectorXd DepthLayer::profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  return profiles(t, y, rho) * depth->weights().matrix();
}

}  // namespace onegrain::solver
