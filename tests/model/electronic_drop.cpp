// Which end of a layer the drop in its solid belongs to.

#include <cmath>

#include "model/layer.hpp"
#include "model/single_particle.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;

namespace {

/// A layer as two chains of resistors, solid and pores, with the same current passing from one to the other at each of
/// many rungs (Ohm's and Kirchhoff's laws, nothing else). Electrons come from the foil, ions from the separator.
/// Returns the potential of the solid against the pores at the separator, less its mean over the layer [V].
/// @param i  into the grains, positive where they take lithium up [A/m2]
double separator_less_mean(double thickness, double sigma, double kappa, double i) {
  constexpr int rungs = 4000;
  const double h = thickness / rungs, each = i / rungs;
  double solid = 0, pores = 0, sum = 0;  // against the middle of the first rung, at the foil
  for (int n = 0; n < rungs; ++n) {
    sum += solid - pores;
    // Between the rungs n and n+1 the pores carry what the rungs up to n took, the solid the rest. On charge both
    // currents flow towards the foil: the potential rises away from it.
    const double in_pores = (n + 1) * each, in_solid = i - in_pores;
    const double span = n + 1 < rungs ? h : h / 2;  // from the last rung half a step to the face
    solid += in_solid * span / sigma;
    pores += in_pores * span / kappa;
  }
  return (solid - pores) - sum / rungs;
}

}  // namespace

TEST_CASE("a chain of resistors has the closed form of an evenly spread reaction", "[model][layer]") {
  // Phi(1) - mean = int xi dPhi/dxi dxi = i L (1/(6 sigma) - 1/(3 kappa)), by parts, for w = xi
  for (const auto& [sigma, kappa] : {std::pair{0.5, 0.2}, {1e9, 0.2}, {0.5, 1e9}}) {
    CHECK_THAT(separator_less_mean(1e-4, sigma, kappa, 30),
               WithinRel(30 * 1e-4 * (1 / (6 * sigma) - 1 / (3 * kappa)), 1e-3));
  }
}

TEST_CASE("the solid of a coating brings its separator side nearer to its mean than the pores alone would",
          "[model][terminal]") {
  model::Cell cell = tests::published_cell();
  cell.negative->electronic_conductivity = 0.4;  // poor, so that the drop is millivolts
  cell.positive.electronic_conductivity = 0.7;
  const double kappa = cell.electrolyte.conductivity(1000, 298.15);
  const auto in_pores = [&](const model::Electrode& e) { return kappa * e.porosity / e.tortuosity; };
  const model::SingleParticle full(cell, 6, 6, 0);
  model::Cell half_cell = cell;
  half_cell.negative.reset();
  half_cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  const model::SingleParticle half(half_cell, 6, 6, 0);
  for (const double i : {-60.0, 25.0, 80.0}) {
    CAPTURE(i);
    const model::Electrode& n = *cell.negative;
    const model::Terminal t = full.terminal(0.5, 0.5, i, 298.15, full.uniform(298.15));
    CHECK_THAT(t.separator_side - (t.negative_potential + t.negative_overpotential),
               WithinRel(separator_less_mean(n.thickness, n.electronic_conductivity, in_pores(n), i), 1e-3));
    const model::Electrode& p = cell.positive;  // against lithium it is filled by a discharge, i < 0
    const model::Terminal u = half.terminal(0.5, 0, i, 298.15, half.uniform(298.15));
    CHECK_THAT(u.separator_side - (u.positive_potential + u.positive_overpotential),
               WithinRel(separator_less_mean(p.thickness, p.electronic_conductivity, in_pores(p), -i), 1e-3));
  }
}

TEST_CASE("at every depth the potential of solid against pores is that of the chain of resistors", "[model][layer]") {
  // dPhi/dxi from the foil: i (1 - xi) L / sigma - i xi L / kappa; integrated by hand from xi to 1
  model::Cell cell = tests::published_cell();
  model::Electrode layer = *cell.negative;
  layer.electronic_conductivity = 0.4;
  const model::LayerPoints points(6);
  const auto samples = points.samples().size();
  const model::LayerDrop drop =
      model::layer_drop(points, layer, cell.electrolyte, Eigen::VectorXd::Constant(samples, 1000.0),
                        Eigen::VectorXd::Zero(samples), 298.15);
  const double i = 40, L = layer.thickness, kappa = 0.9487 * layer.porosity / layer.tortuosity;  // S/m, as in the cell
  const Eigen::VectorXd ohmic = drop.drop * Eigen::VectorXd::Constant(6, i) - i * drop.solid;
  for (Eigen::Index k = 0; k < 6; ++k) {
    const double xi = points.xi()[k], rest = 1 - xi;
    const double expected = i * L * ((1 - xi * xi) / (2 * kappa) - rest * rest / (2 * layer.electronic_conductivity));
    CAPTURE(xi);
    CHECK_THAT(ohmic[k], WithinAbs(expected, 1e-9));
  }
}
