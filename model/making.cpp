#include "model/making.hpp"

#include <cmath>
#include <stdexcept>
#include <string>

#include "model/balance.hpp"

namespace onegrain::model {

Stoichiometries lithium_of(const Cell& cell, std::optional<double> formation_loss) {
  if (cell.charged_state) return *cell.charged_state;
  if (formation_loss) return after_formation(cell, *formation_loss);
  const OpenCircuitPotential& potential = cell.positive.host.potential;
  return {0.5 * (potential.lower() + potential.upper()), 0};
}

void fill_layer(Electrode& electrode, const ElectrodeMaking& making) {
  electrode.thickness = making.coating.thickness;
  electrode.active_fraction = making.coating.active_fraction() * making.accessible;
  electrode.porosity = making.coating.porosity();
  if (making.usual_tortuosity) electrode.tortuosity = usual_tortuosity(electrode.porosity);
}

namespace {

bool given(double value) { return !std::isnan(value); }

void require(bool sound, const char* what) {
  if (!sound) throw std::invalid_argument(what);
}

void change(Electrode& electrode, ElectrodeMaking making, const Changes::OfElectrode& changes) {
  if (given(changes.particle_radius)) {
    require(changes.particle_radius > 0, "a grain needs a radius above zero");
    electrode.particle_radius = changes.particle_radius;
  }
  if (given(changes.diffusivity)) {
    require(changes.diffusivity > 0, "a diffusivity must lie above zero");
    electrode.host.diffusivity = electrode.host.diffusivity.scaled(changes.diffusivity);
  }
  if (given(changes.exchange_current)) {
    require(changes.exchange_current > 0, "an exchange current must lie above zero");
    electrode.host.exchange_current_density = electrode.host.exchange_current_density.scaled(changes.exchange_current);
  }
  if (!given(changes.thickness) && !given(changes.porosity)) return;
  if (given(changes.thickness)) {
    require(changes.thickness > 0, "a coating needs a thickness above zero");
    making.coating = making.coating.thicker(changes.thickness);
  }
  if (given(changes.porosity)) {
    require(changes.porosity > 0.01 && changes.porosity < 0.99, "a porosity must lie between 1 and 99 %");
    making.coating = making.coating.pressed(changes.porosity);
  }
  fill_layer(electrode, making);
}

}  // namespace

Cell remade(const MadeCell& made, const Changes& changes) {
  Cell cell = made.cell;
  if (given(changes.temperature)) {
    require(changes.temperature > 0, "a temperature must lie above absolute zero");
    cell.temperature = changes.temperature;
    if (cell.thermal) cell.thermal->ambient_temperature = changes.temperature;
  }
  if (given(changes.lower_voltage)) cell.lower_voltage = changes.lower_voltage;
  if (given(changes.upper_voltage)) cell.upper_voltage = changes.upper_voltage;
  require(cell.lower_voltage < cell.upper_voltage, "the lower cut-off must lie below the upper one");
  if (given(changes.contact_resistance)) {
    require(changes.contact_resistance >= 0, "a resistance cannot lie below zero");
    cell.contact_resistance = changes.contact_resistance;
  }
  if (given(changes.counter_exchange_current) && cell.counter) {
    require(changes.counter_exchange_current > 0, "an exchange current must lie above zero");
    cell.counter->exchange_current_density =
        cell.counter->exchange_current_density.scaled(changes.counter_exchange_current);
  }
  change(cell.positive, made.positive, changes.positive);
  if (cell.negative) change(*cell.negative, made.negative, changes.negative);
  cell.inventory = lithium_of(cell, made.formation_loss);
  return cell;
}

}  // namespace onegrain::model
