#pragma once

#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "benchmarks/porous_cells.hpp"

/// Cells for the comparison of descriptions: variations of the cells from papers, half cells, LiFePO4 on graphite.
namespace onegrain::benchmarks {

/// Even random numbers in [0, 1), the same everywhere: splitmix64 (public domain, S. Vigna).
class EvenNumbers {
 public:
  explicit EvenNumbers(std::uint64_t seed) : state_(seed) {}
  double share() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15ULL);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
  }
  double between(double a, double b) { return a + (b - a) * share(); }
  double log_between(double a, double b) { return a * std::pow(b / a, share()); }

 private:
  std::uint64_t state_;
};

/// The cells from papers in turns with other numbers, at their ratio of capacities: layers of 30 to 110 um, porosity 20
/// to 45 %, grains of 1 to 12 um, diffusivities within a factor of 5, exchange currents within a factor of 3, an
/// electrolyte that conducts and diffuses 0.3 to 2 times as well.
inline std::vector<NamedCell> varied_cells(int count, std::uint64_t seed) {
  EvenNumbers random(seed);
  std::vector<NamedCell> result;
  const std::vector<NamedCell> papers = cells_from_papers();
  while (static_cast<int>(result.size()) < count) {
    NamedCell n = papers[result.size() % papers.size()];
    model::Cell& c = n.cell;
    const double ratio = c.negative->capacity() / c.positive.capacity();
    for (model::Electrode* e : {&c.positive, &*c.negative}) {
      const double solid = e->active_fraction / (1 - e->porosity);
      e->porosity = random.between(0.20, 0.45);
      e->active_fraction = solid * (1 - e->porosity);
      e->tortuosity = 1 / std::sqrt(e->porosity);
      e->thickness = random.between(30e-6, 110e-6);
      e->particle_radius = random.log_between(1e-6, 12e-6);
      e->host.diffusivity = e->host.diffusivity.scaled(random.log_between(0.2, 5));
      e->host.exchange_current_density = e->host.exchange_current_density.scaled(random.log_between(1.0 / 3, 3));
    }
    const double electrolyte = random.log_between(0.3, 2);
    c.electrolyte.conductivity = c.electrolyte.conductivity.scaled(electrolyte);
    c.electrolyte.diffusivity = c.electrolyte.diffusivity.scaled(electrolyte);
    c.negative->thickness *= ratio / (c.negative->capacity() / c.positive.capacity());
    c.rated_capacity = 0;
    if (c.negative->thickness < 30e-6 || c.negative->thickness > 110e-6) continue;
    n.name += "~" + std::to_string(result.size());
    result.push_back(n);
  }
  return result;
}

/// The positive of a cell against lithium; 8.1 A/m2 for lithium at 1 mol/L is invented.
inline NamedCell half_cell_of(NamedCell n) {
  n.cell.negative.reset();
  n.cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  n.cell.charged_state.reset();
  n.name += "|Li";
  return n;
}

/// LiFePO4 on the graphite of the demo cell, N/P 1.15, 8 % of the first charge lost: an invented cell of the shipped
/// cards.
inline NamedCell lfp_graphite(double thickness, double particle_radius) {
  NamedCell n = cell_of_sheet("lfp|gr", "demo");
  const NamedCell lfp = cell_of_sheet("lfp", "lfp_half_cell");
  model::Cell& c = n.cell;
  c.positive = lfp.cell.positive;
  c.positive.thickness = thickness;
  c.positive.particle_radius = particle_radius;
  c.negative->thickness *= 1.15 * c.positive.capacity() / c.negative->capacity();
  c.charged_state.reset();
  c.rated_capacity = 0;
  c.lower_voltage = 2.5;
  c.upper_voltage = 3.65;
  c.inventory = model::after_formation(c, 0.08);
  return n;
}

}  // namespace onegrain::benchmarks
