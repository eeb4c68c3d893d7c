#include "solver/step/losses.hpp"

#include <cmath>
#include <numeric>

#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using namespace onegrain::solver;

TEST_CASE("Shapley values are those of worked games", "[losses]") {
  // The glove game (one left glove, two right ones): 2/3, 1/6, 1/6. The airport game (runways of cost 8, 11, 13, 18):
  // 2, 3, 4,
  // 9. Textbook examples: Littlechild and Owen, Management Science 20 (1973) 370, for the airport; both follow by hand.
  std::vector<double> glove(8, 0.0);
  glove[0b011] = glove[0b101] = glove[0b111] = 1;
  const std::vector<double> g = shapley_values(3, glove);
  CHECK_THAT(g[0], WithinAbs(2.0 / 3, 1e-14));
  CHECK_THAT(g[1], WithinAbs(1.0 / 6, 1e-14));
  CHECK_THAT(g[2], WithinAbs(1.0 / 6, 1e-14));
  const double cost[] = {8, 11, 13, 18};
  std::vector<double> airport(16, 0.0);
  for (std::size_t set = 1; set < 16; ++set) {
    for (int i = 0; i < 4; ++i) {
      if (set >> i & 1) airport[set] = std::max(airport[set], cost[i]);
    }
  }
  const std::vector<double> a = shapley_values(4, airport);
  for (const auto& [k, expected] : {std::pair{0, 2.0}, std::pair{1, 3.0}, std::pair{2, 4.0}, std::pair{3, 9.0}}) {
    CHECK_THAT(a[static_cast<std::size_t>(k)], WithinAbs(expected, 1e-13));
  }
  CHECK_THROWS_AS(shapley_values(3, airport), std::invalid_argument);
}

TEST_CASE("Shapley values add up, treat equals alike and give nothing to a player who brings nothing", "[losses]") {
  // The axioms: Shapley (1953). A pseudo-random game of six players in which 1 and 4 are alike and 3 brings nothing.
  std::vector<double> worth(64);
  for (std::size_t set = 0; set < 64; ++set) {
    std::size_t seen = set & ~std::size_t{0b001000};
    const bool one = set >> 1 & 1, four = set >> 4 & 1;
    seen &= ~std::size_t{0b010010};
    const int alike = one + four;
    worth[set] = std::sin(1.7 * static_cast<double>(seen) + 3.1 * alike) * 5 + 2 * alike * alike;
  }
  const std::vector<double> v = shapley_values(6, worth);
  CHECK_THAT(std::accumulate(v.begin(), v.end(), 0.0), WithinAbs(worth[63] - worth[0], 1e-12));
  CHECK_THAT(v[1], WithinAbs(v[4], 1e-12));
  CHECK_THAT(v[3], WithinAbs(0, 1e-12));
}

TEST_CASE("the shares of a budget add up to what is missing, in capacity and in energy", "[losses]") {
  const model::Cell cell = tests::nmc811_graphite_siox();
  const model::Window window = model::equilibrium_window(cell);
  Workspace workspace;
  const double one_c = window.capacity / 3600;
  for (const double rate : {-1.0, -0.1, 0.5}) {
    const LossBudget b = loss_budget(cell, window, rate * one_c, workspace, model::ElectrolyteModel::resolved);
    INFO(rate);
    double capacity = 0, energy = 0;
    for (const LossShare& s : b.shares) {
      capacity += s.capacity;
      energy += s.energy;
      CHECK(s.capacity > -1e-3 * b.ideal_capacity);  // no loss gives capacity back worth speaking of
    }
    CHECK_THAT(capacity, WithinRel(b.missing_capacity, 1e-9));
    CHECK_THAT(energy, WithinRel(b.missing_energy, 1e-9));
    CHECK(b.missing_capacity > 0);
    // With every loss off the cell gives its equilibrium capacity (thermodynamics): from charged_state here on
    // discharge.
    const double start = rate < 0 ? (cell.inventory.positive - cell.charged_state->positive)
                                  : (cell.inventory.positive - window.empty.positive);
    const double end =
        rate < 0 ? (cell.inventory.positive - window.empty.positive) : (cell.inventory.positive - window.full.positive);
    CHECK_THAT(b.ideal_capacity, WithinRel(std::abs(end - start) * cell.positive.capacity(), 2e-3));
  }
}

TEST_CASE("a loss that is not there has no share", "[losses]") {
  model::Cell cell = tests::nmc811_graphite_siox();
  cell.positive.host.diffusivity = model::Property::constant(1e-9);
  const model::Window window = model::equilibrium_window(cell);
  Workspace workspace;
  const LossBudget b = loss_budget(cell, window, -window.capacity / 3600, workspace, model::ElectrolyteModel::resolved);
  REQUIRE(b.shares[0].loss == Loss::positive_diffusion);
  CHECK(std::abs(b.shares[0].capacity) < 1e-3 * b.missing_capacity);
  cell.contact_resistance = 0;
  cell.positive.electronic_conductivity = 0;
  cell.negative->electronic_conductivity = 0;
  CHECK(losses_of(cell, model::Reaction::even).size() == 5);
}

TEST_CASE("an uneven reaction has a share of its own where the pores conduct badly, and none where they conduct well",
          "[losses]") {
  // Newman and Balsara, Electrochemical Systems, ch. 22: as the conductivities grow the reaction becomes even.
  model::Cell cell = tests::nmc811_graphite_siox();
  const auto share = [&](double conductivity) {
    cell.electrolyte.conductivity = tests::nmc811_graphite_siox().electrolyte.conductivity.scaled(conductivity);
    cell.electrolyte.diffusivity = tests::nmc811_graphite_siox().electrolyte.diffusivity.scaled(conductivity);
    const model::Window window = model::equilibrium_window(cell);
    Workspace workspace;
    const LossBudget b = loss_budget(cell, window, -window.capacity / 3600, workspace,
                                     model::ElectrolyteModel::resolved, model::Reaction::uneven);
    double energy = 0, capacity = 0;
    for (const LossShare& s : b.shares) {
      energy += s.energy;
      capacity += s.capacity;
    }
    CHECK_THAT(energy, WithinRel(b.missing_energy, 1e-9));
    CHECK_THAT(capacity, WithinRel(b.missing_capacity, 1e-9));
    REQUIRE(b.shares.back().loss == Loss::uneven_reaction);
    return b.shares.back().energy / b.missing_energy;
  };
  const double as_it_is = share(1), well = share(300);
  CHECK(as_it_is > 2e-3);
  CHECK(std::abs(well) < 0.1 * as_it_is);
}
