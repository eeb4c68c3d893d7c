#include <algorithm>
#include <cmath>

#include "app/study/pulse_steps.hpp"
#include "model/root_search.hpp"

namespace onegrain::app::study {

namespace {

constexpr double potential_error = 5e-3;        // [V] of a card against a measured rest
constexpr double certain = 0.02, usable = 0.1;  // of a stoichiometry read from a potential

/// Where the potential of the card is `E`, if at one place only, with the half-width that 5 mV make; {} otherwise.
struct Place {
  double x, spread;
};
std::optional<Place> place_at(const Job& job, double E) {
  const model::OpenCircuitPotential& U = job.cell.positive.host.potential;
  const double T = job.cell.temperature;
  constexpr int steps = 2000;
  std::optional<double> found;
  const double width = (U.upper() - U.lower()) / steps;
  for (int n = 0; n < steps; ++n) {
    const double a = U.lower() + n * width, b = a + width;
    if ((U(a, T) > E) == (U(b, T) > E)) continue;
    if (found) return std::nullopt;
    found = model::bracketed_root([&](double x) { return U(x, T) - E; }, a, b);
  }
  if (!found) return std::nullopt;
  // By the potential 5 mV either way, which a plateau beside a steep place cannot hide from.
  double lower = *found, upper = *found;
  while (lower > U.lower() && std::abs(U(lower, T) - E) < potential_error) lower -= width;
  while (upper < U.upper() && std::abs(U(upper, T) - E) < potential_error) upper += width;
  return Place{*found, std::max(*found - lower, upper - *found)};
}

}  // namespace

void place_pulses(const Job& job, const PulseSteps& steps, const std::vector<std::size_t>& origin,
                  std::vector<MeasuredPulse>& pulses, std::size_t first) {
  if (job.cell.is_full_cell()) return;
  const double capacity = job.cell.positive.capacity() * job.plate_area();
  const auto charge_at = [&](std::size_t n) {  // where the pulse is placed
    const MeasuredPulse& p = pulses[first + n];
    return steps.charge_before[origin[n]] + (p.interruption ? 1 : 0.5) * steps.list[origin[n]].charge;
  };
  struct Known {
    std::size_t n;
    Place place;  ///< at charge_at(n)
    double potential;
  };
  std::vector<Known> anchors;
  for (std::size_t n = 0; n < origin.size(); ++n) {
    const MeasuredPulse& p = pulses[first + n];
    const std::optional<double> rest = p.interruption ? p.after : p.before;
    if (!rest) continue;
    if (auto place = place_at(job, *rest)) {
      if (!p.interruption) place->x -= 0.5 * p.charge / capacity;
      anchors.push_back({n, *place, *rest});
    }
  }
  double limit = certain;
  if (std::none_of(anchors.begin(), anchors.end(), [&](const Known& a) { return a.place.spread <= limit; }))
    limit = usable;
  anchors.erase(std::remove_if(anchors.begin(), anchors.end(), [&](const Known& a) { return a.place.spread > limit; }),
                anchors.end());
  for (std::size_t n = 0; n < origin.size(); ++n) {
    MeasuredPulse& p = pulses[first + n];
    const Known* best = nullptr;  // the last one before, else the first one after
    for (const Known& a : anchors) {
      if (a.n <= n || best == nullptr) best = &a;
    }
    if (best == nullptr) continue;
    const double counted = (charge_at(n) - charge_at(best->n)) / capacity;
    const double x = best->place.x - counted;
    p.stoichiometry_from = {static_cast<int>(best->n) + 1, best->potential, best->n == n, !(x >= 0 && x <= 1)};
    if (p.stoichiometry_from.beyond) continue;
    p.stoichiometry = x;
    p.stoichiometry_spread = best->place.spread + 0.03 * std::abs(counted);
  }
}

}  // namespace onegrain::app::study
