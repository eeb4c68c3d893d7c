#include "solver/step/depth_layer.hpp"

#include "solver/step/layers.hpp"

namespace onegrain::solver {

DepthLayer::DepthLayer(const model::SingleParticle& m, const model::LayerPoints& points, bool of_positive)
    : electrode(of_positive ? &m.cell().positive : &*m.cell().negative),
      grain(of_positive ? &m.positive() : m.negative()),
      depth(&points),
      sign(of_positive ? -1 : 1),
      outflow(-std::abs(of_positive ? m.positive_outflow() : m.negative_outflow())),
      capacity(of_positive ? m.positive_capacity() : m.negative_capacity()),
      crossed_(points.integral_to_separator() * points.share_at_samples()),
      solid_(electrode->electronic_conductivity > 0 ? electrode->thickness / electrode->electronic_conductivity : 0) {
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

void DepthLayer::take(const State& state, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T) {
  const bool of_positive = sign < 0;
  const DepthFilling& filling = of_positive ? state.positive_depth : state.negative_depth;
  const Eigen::VectorXd& even = of_positive ? state.positive : state.negative;
  const Eigen::Index K = count(), held = filling.means.size();
  Eigen::MatrixXd moved;  // from the points of the state to these
  if (held == K)
    moved = Eigen::MatrixXd::Identity(K, K);
  else if (held > 0)
    moved = depth->taken_from(model::LayerPoints::of(static_cast<int>(held)));
  const auto at_points_of = [&](const Eigen::VectorXd& local, double otherwise) -> Eigen::VectorXd {
    return held > 0 && local.size() > 0 ? Eigen::VectorXd(moved * local) : Eigen::VectorXd::Constant(K, otherwise);
  };
  means0 = at_points_of(filling.means, of_positive ? m.positive_mean(state.charge) : m.negative_mean(state.charge));
  current_before_ = at_points_of(filling.current, sign * state.current);
  jumps.assign(static_cast<std::size_t>(K), {});
  for (const Jump& jump : state.jumps) {
    const LocalJumps& local = of_positive ? jump.positive : jump.negative;
    const Eigen::VectorXd change = at_points_of(local.current, sign * jump.current);
    const Eigen::VectorXd D =
        at_points_of(local.diffusivity, of_positive ? jump.positive_diffusivity : jump.negative_diffusivity);
    for (Eigen::Index k = 0; k < K; ++k) {
      jumps[static_cast<std::size_t>(k)].push_back({jump.age, change[k], D[k], D[k], {}, {}});
    }
  }
  uneven0_ = Eigen::MatrixXd::Zero(grain->count(), K);
  surface = means0;
  modes.assign(static_cast<std::size_t>(K), {});
  for (Eigen::Index k = 0; k < K; ++k) {
    const std::vector<Jump>& recent = jumps[static_cast<std::size_t>(k)];
    const Eigen::VectorXd polynomials =
        filling.uneven.rows() > 0 ? Eigen::VectorXd(filling.uneven * moved.row(k).transpose()) : even;
    const Eigen::VectorXd here = filling_for(*grain, polynomials, recent, &Jump::positive_diffusivity, outflow);
    if (here.size() > 0) uneven0_.col(k) = grain->modes().amplitudes(here);
    surface[k] = grain->surface_stoichiometry(means0[k], uneven0_.col(k));
    for (const Jump& jump : recent)
      surface[k] -= outflow * jump.current * missing_layer(*grain, jump.positive_diffusivity, jump.age);
    modes[static_cast<std::size_t>(k)].take(*grain, outflow, surface[k], T);
  }
  see_salt(amplitudes, m, T);
}

void DepthLayer::begin() {
  current0 = spread.current;
  for (Eigen::Index k = 0; k < count(); ++k) {
    ClosedForm& form = modes[static_cast<std::size_t>(k)];
    form.prepare(current0[k], uneven0_.col(k));
    jumps[static_cast<std::size_t>(k)].push_back({0, current0[k] - current_before_[k], form.D0, form.D0, {}, {}});
  }
}

void DepthLayer::see_salt(const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T) {
  const model::Electrolyte& electrolyte = m.cell().electrolyte;
  if (m.salt()) {
    drop = model::layer_drop(*depth, *electrode, electrolyte, (at_samples * amplitudes).array() + m.salt()->mean(),
                             slope_at_samples * amplitudes, T);
    salt = (at_points * amplitudes).array() + m.salt()->mean();
  } else if (T != T_of_drop_) {
    const Eigen::VectorXd even = Eigen::VectorXd::Constant(depth->samples().size(), electrolyte.concentration);
    drop = model::layer_drop(*depth, *electrode, electrolyte, even, 0 * even, T);
    salt.setConstant(count(), electrolyte.concentration);
    T_of_drop_ = T;
  }
}

void DepthLayer::look(double t, ConstVectorView y, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m,
                      double T) {
  for (Eigen::Index k = 0; k < count(); ++k) {
    double x = modes[static_cast<std::size_t>(k)].surface(mean(k, t, y), t, y, false);
    for (const Jump& jump : jumps[static_cast<std::size_t>(k)])
      x -= outflow * jump.current * missing_layer(*grain, jump.positive_diffusivity, jump.age + t);
    surface[k] = x;
  }
  see_salt(amplitudes, m, T);
}

bool DepthLayer::solve(double i, double T) {
  const Eigen::VectorXd before = spread.current;
  if (model::solve_layer(*depth, *electrode, drop, surface, salt, sign * i, T, spread)) return true;
  spread.current.resize(0);  // once more, from an even spread
  if (model::solve_layer(*depth, *electrode, drop, surface, salt, sign * i, T, spread)) return true;
  spread.current = before;
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
  fine.surface = finer_->from_coarse * surface;
  fine.see_salt(amplitudes, m, T);
  fine.spread.current = finer_->from_coarse * spread.current;
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
  p.by_surface = weights.dot(spread.by_surface);
  return p;
}

DepthFilling DepthLayer::filling(double t, ConstVectorView y) const {
  DepthFilling result;
  result.means.resize(count());
  result.uneven.resize(grain->count(), count());
  Eigen::VectorXd a;
  for (Eigen::Index k = 0; k < count(); ++k) {
    result.means[k] = mean(k, t, y);
    modes[static_cast<std::size_t>(k)].amplitudes(t, y, a);
    result.uneven.col(k) = grain->modes().polynomials(a);
  }
  result.current = spread.current;
  return result;
}

Eigen::MatrixXd DepthLayer::profiles(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  const Eigen::MatrixXd values = grain->modes().values(rho);
  Eigen::MatrixXd result(rho.size(), count());
  Eigen::VectorXd a;
  for (Eigen::Index k = 0; k < count(); ++k) {
    modes[static_cast<std::size_t>(k)].amplitudes(t, y, a);
    result.col(k) = (values * a).array() + mean(k, t, y);
  }
  return result;
}

Eigen::VectorXd DepthLayer::profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const {
  return profiles(t, y, rho) * depth->weights().matrix();
}

}  // namespace onegrain::solver
