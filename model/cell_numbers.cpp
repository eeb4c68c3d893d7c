// A cell as a row of numbers, and back.

#include <cmath>
#include <stdexcept>

#include "model/making.hpp"

namespace onegrain::model {

namespace {

constexpr double form = 1;  // rises when the row changes its meaning
constexpr double absent = Changes::none;

double taken(std::span<const double>& numbers) {
  if (numbers.empty()) throw std::invalid_argument("the numbers of a cell end too early");
  const double number = numbers.front();
  numbers = numbers.subspan(1);
  return number;
}

void append(std::vector<double>& numbers, const ElectrodeMaking& making) {
  const Coating& c = making.coating;
  numbers.insert(numbers.end(), {c.active_volume, c.other_volume, c.thickness, making.accessible,
                                 making.usual_tortuosity ? 1.0 : 0.0});
}

ElectrodeMaking taken_making(std::span<const double>& numbers) {
  ElectrodeMaking making;
  making.coating.active_volume = taken(numbers);
  making.coating.other_volume = taken(numbers);
  making.coating.thickness = taken(numbers);
  making.accessible = taken(numbers);
  making.usual_tortuosity = taken(numbers) != 0;
  return making;
}

void append(std::vector<double>& numbers, const Electrode& e) {
  numbers.insert(numbers.end(), {e.thickness, e.active_fraction, e.porosity, e.tortuosity, e.particle_radius,
                                 e.electronic_conductivity, e.host.maximum_concentration, e.host.anodic_transfer,
                                 e.host.cathodic_transfer});
  e.host.potential.append_to(numbers);
  e.host.diffusivity.append_to(numbers);
  e.host.exchange_current_density.append_to(numbers);
}

Electrode taken_electrode(std::span<const double>& numbers) {
  const double thickness = taken(numbers), active = taken(numbers), porosity = taken(numbers),
               tortuosity = taken(numbers), radius = taken(numbers), conductivity = taken(numbers),
               sites = taken(numbers), anodic = taken(numbers), cathodic = taken(numbers);
  OpenCircuitPotential potential = OpenCircuitPotential::taken_from(numbers);
  Property diffusivity = Property::taken_from(numbers);
  Property exchange = Property::taken_from(numbers);
  return {.host = {.potential = std::move(potential),
                   .diffusivity = std::move(diffusivity),
                   .maximum_concentration = sites,
                   .exchange_current_density = std::move(exchange),
                   .anodic_transfer = anodic,
                   .cathodic_transfer = cathodic,
                   .stress = {}},
          .thickness = thickness,
          .active_fraction = active,
          .porosity = porosity,
          .tortuosity = tortuosity,
          .particle_radius = radius,
          .electronic_conductivity = conductivity};
}

void append(std::vector<double>& numbers, const Electrolyte& e) {
  numbers.push_back(e.concentration);
  for (const Property* property : {&e.conductivity, &e.diffusivity, &e.transference_number, &e.thermodynamic_factor})
    property->append_to(numbers);
}

Electrolyte taken_electrolyte(std::span<const double>& numbers) {
  const double concentration = taken(numbers);
  Property conductivity = Property::taken_from(numbers), diffusivity = Property::taken_from(numbers);
  Property transference = Property::taken_from(numbers), factor = Property::taken_from(numbers);
  return {concentration, std::move(conductivity), std::move(diffusivity), std::move(transference), std::move(factor)};
}

LithiumMetal taken_metal(std::span<const double>& numbers) {
  const double anodic = taken(numbers), cathodic = taken(numbers);
  return {Property::taken_from(numbers), anodic, cathodic};
}

}  // namespace

std::vector<double> numbers_of(const MadeCell& made) {
  const Cell& c = made.cell;
  const Stoichiometries charged = c.charged_state.value_or(Stoichiometries{absent, absent});
  const Thermal thermal = c.thermal.value_or(Thermal{absent, absent, absent});
  std::vector<double> numbers{form,
                              c.plate_area,
                              c.temperature,
                              c.contact_resistance,
                              c.lower_voltage,
                              c.upper_voltage,
                              c.rated_capacity,
                              c.separator.thickness,
                              c.separator.porosity,
                              c.separator.tortuosity,
                              c.inventory.positive,
                              c.inventory.negative,
                              charged.positive,
                              charged.negative,
                              made.formation_loss.value_or(absent),
                              thermal.heat_capacity,
                              thermal.heat_transfer,
                              thermal.ambient_temperature,
                              c.negative ? 1.0 : 0.0};
  append(numbers, made.positive);
  append(numbers, c.positive);
  append(numbers, c.electrolyte);
  if (c.negative) {
    append(numbers, made.negative);
    append(numbers, *c.negative);
  } else {
    numbers.insert(numbers.end(), {c.counter->anodic_transfer, c.counter->cathodic_transfer});
    c.counter->exchange_current_density.append_to(numbers);
  }
  return numbers;
}

MadeCell cell_of(std::span<const double> numbers) {
  if (taken(numbers) != form) throw std::invalid_argument("these numbers are no cell");
  double row[18];
  for (double& number : row) number = taken(numbers);
  const ElectrodeMaking positive = taken_making(numbers);
  Electrode layer = taken_electrode(numbers);
  MadeCell made{.cell = {.plate_area = row[0],
                         .temperature = row[1],
                         .contact_resistance = row[2],
                         .lower_voltage = row[3],
                         .upper_voltage = row[4],
                         .positive = std::move(layer),
                         .negative = {},
                         .counter = {},
                         .separator = {.thickness = row[6], .porosity = row[7], .tortuosity = row[8]},
                         .electrolyte = taken_electrolyte(numbers),
                         .thermal = {},
                         .inventory = {row[9], row[10]},
                         .charged_state = {},
                         .rated_capacity = row[5]},
                .positive = positive,
                .negative = {},
                .formation_loss = {}};
  if (!std::isnan(row[11])) made.cell.charged_state = Stoichiometries{row[11], row[12]};
  if (!std::isnan(row[13])) made.formation_loss = row[13];
  if (!std::isnan(row[14])) made.cell.thermal = Thermal{row[14], row[15], row[16]};
  if (row[17] != 0) {
    made.negative = taken_making(numbers);
    made.cell.negative = taken_electrode(numbers);
  } else {
    made.cell.counter = taken_metal(numbers);
  }
  if (!numbers.empty()) throw std::invalid_argument("these numbers are more than a cell");
  return made;
}

}  // namespace onegrain::model
