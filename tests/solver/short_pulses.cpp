// A current above what the salt can carry for long is no fault of a short pulse.

#include <Eigen/Dense>
#include <cmath>
#include <vector>

#include "solver/step/trust.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;

namespace {

model::Cell half_cell() {
  model::Cell cell = tests::published_cell();
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  return cell;
}

/// Time constant of the slowest change of the salt [s], from the lowest eigenvalue above zero of diffusion between
/// closed ends on a grid of cells: eps h dc/dt = sum of fluxes.
double slowest_time(const model::Cell& cell) {
  struct Layer {
    double thickness, porosity, tortuosity;
  };
  std::vector<Layer> layers;
  if (cell.negative) layers.push_back({cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity});
  layers.push_back({cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity});
  layers.push_back({cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity});
  constexpr int per_layer = 60;
  const double D = cell.electrolyte.diffusivity(cell.electrolyte.concentration, 298.15);
  std::vector<double> content, resistance;  // of each cell; from its middle to its face
  for (const Layer& l : layers) {
    const double h = l.thickness / per_layer;
    for (int k = 0; k < per_layer; ++k) {
      content.push_back(l.porosity * h);
      resistance.push_back(h / 2 * l.tortuosity / (l.porosity * D));
    }
  }
  const auto n = static_cast<Eigen::Index>(content.size());
  Eigen::MatrixXd A = Eigen::MatrixXd::Zero(n, n);  // made symmetric by the roots of the contents
  for (Eigen::Index k = 0; k + 1 < n; ++k) {
    const auto at = static_cast<std::size_t>(k);
    const double g = 1 / (resistance[at] + resistance[at + 1]);
    A(k, k) += g / content[at];
    A(k + 1, k + 1) += g / content[at + 1];
    A(k, k + 1) -= g / std::sqrt(content[at] * content[at + 1]);
    A(k + 1, k) = A(k, k + 1);
  }
  return 1 / Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(A, Eigen::EigenvaluesOnly).eigenvalues()[1];
}

}  // namespace

TEST_CASE("the grid knows the slowest time of a single layer, L^2 / (pi^2 D_eff)", "[solver][trust]") {
  model::Cell cell = half_cell();
  cell.positive.porosity = cell.separator.porosity;  // one layer of 87.6 um
  cell.positive.tortuosity = cell.separator.tortuosity;
  const double L = cell.positive.thickness + cell.separator.thickness;
  const double D = 1.7694e-10 / cell.separator.tortuosity;
  CHECK_THAT(slowest_time(cell), WithinRel(L * L / (M_PI * M_PI * D), 1e-3));
}

TEST_CASE("a current above the limiting one counts by how far the salt has followed it", "[solver][trust]") {
  // The part of the slowest mode, 1 - exp(-t / tau), with tau from the grid. The program takes tau of layers in a row
  // as one, right within a fifth: shares agree within that of their approach.
  const bool full = GENERATE(false, true);
  const model::Cell cell = full ? tests::published_cell() : half_cell();
  const double tau = slowest_time(cell);
  const double i = 1.2 * solver::limiting_current(cell, false, 298.15);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);  // uniform salt: nothing but the clock tells that a pulse is short
  for (const double times : {0.05, 0.2, 0.6, 4.0}) {
    model::Step step{model::CurrentDrive{-i}, {}, "a pulse"};
    step.until.time = times * tau;
    const solver::StepSolution pulse = simulator.run(simulator.at_rest(0), step);
    CAPTURE(full, tau, times);
    REQUIRE(pulse.ended_by() == solver::Ended::time);
    const solver::Trust trust = solver::judge(pulse);
    const double followed = 1 - std::exp(-times);
    CHECK_THAT(trust.limiting_current_share, WithinRel(1.2 * followed, 0.2));
    const bool complains = [&] {
      for (const std::string& reason : trust.reasons) {
        if (reason.find("what the salt can carry") != std::string::npos) return true;
      }
      return false;
    }();
    CHECK(complains == (1.2 * followed > 0.75));
  }
}
