#include "params/sheet/sheet.hpp"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

namespace onegrain::params {

namespace {

double disc_area(double diameter) { return std::numbers::pi / 4 * diameter * diameter; }

/// Volume of each part of the recipe per mass of coating, and all of them [m3/kg].
struct SpecificVolumes {
  double active, rest;
};
SpecificVolumes specific_volumes(const ElectrodeSheet& electrode) {
  const Recipe& recipe = electrode.coating->recipe;
  SpecificVolumes volumes{recipe.active.si / electrode.host_density().value(),
                          recipe.carbon.si / recipe.carbon_density.si + recipe.binder.si / recipe.binder_density.si};
  if (electrode.phases) {
    volumes.active *= electrode.phases->host_share();
    volumes.rest += recipe.active.si * electrode.phases->volume_of_others();
  }
  return volumes;
}

model::Electrode to_electrode(const ElectrodeSheet& electrode, double plate_area, Temperatures temperatures) {
  std::vector<model::GrainClass> classes;
  if (electrode.grain_sizes && electrode.grain_sizes->classes.size() > 1) {
    const double r32 = size_means(electrode.grain_sizes->classes).r32;
    for (const SizeClass& its : electrode.grain_sizes->classes)
      classes.push_back({0.5 * its.diameter / r32, its.volume, nullptr});
  }
  return {.host = electrode.material.to_host(temperatures),
          .thickness = electrode.thickness(),
          .active_fraction = electrode.active_fraction(plate_area) * electrode.accessible_fraction.si,
          .porosity = electrode.porosity(plate_area),
          .tortuosity = electrode.tortuosity_value(plate_area),
          .particle_radius = electrode.particle_radius.si,
          .electronic_conductivity = electrode.electronic_conductivity ? electrode.electronic_conductivity->si : 0,
          .double_layer = electrode.double_layer_value(),
          .classes = std::move(classes)};
}

}  // namespace

double ElectrodeSheet::thickness() const { return coating ? coating->thickness.si : layer->thickness.si; }

std::optional<double> ElectrodeSheet::loading(double plate_area) const {
  if (!coating) return std::nullopt;
  if (coating->loading) return coating->loading->si;
  const double area = coating->disc_diameter ? disc_area(coating->disc_diameter->si) : plate_area;
  return (coating->coated_disc_mass->si - coating->foil_mass->si) / area;
}

std::optional<double> ElectrodeSheet::host_density() const {
  if (coating && coating->recipe.active_density) return coating->recipe.active_density->si;
  return material.density();
}

double ElectrodeSheet::host_volume_share() const {
  if (!phases) return 1;
  const double host = phases->host_share() / host_density().value();
  return host / (host + phases->volume_of_others());
}

std::optional<double> ElectrodeSheet::active_loading(double plate_area) const {
  if (coating) return *loading(plate_area) * coating->recipe.active.si * (phases ? phases->host_share() : 1);
  const std::optional<double> density = material.density();
  if (!density) return std::nullopt;
  return active_fraction(plate_area) * layer->thickness.si * *density;
}

std::optional<double> ElectrodeSheet::powder_loading(double plate_area) const {
  const std::optional<double> host = active_loading(plate_area);
  return host && phases ? *host / phases->host_share() : host;
}

model::Coating ElectrodeSheet::on_the_foil(double plate_area) const {
  if (layer) {
    const double thickness = layer->thickness.si, active = layer->active_fraction.si * host_volume_share();
    return {active * thickness, (1 - active - layer->porosity.si) * thickness, thickness};
  }
  const double mass = *loading(plate_area);
  const SpecificVolumes volumes = specific_volumes(*this);
  return {mass * volumes.active, mass * volumes.rest, coating->thickness.si};
}

double ElectrodeSheet::active_fraction(double plate_area) const {
  return layer ? layer->active_fraction.si * host_volume_share() : on_the_foil(plate_area).active_fraction();
}

double ElectrodeSheet::inactive_fraction(double plate_area) const {
  return layer ? 1 - active_fraction(plate_area) - layer->porosity.si : on_the_foil(plate_area).other_fraction();
}

double ElectrodeSheet::porosity(double plate_area) const {
  return layer ? layer->porosity.si : on_the_foil(plate_area).porosity();
}

double ElectrodeSheet::tortuosity_value(double plate_area) const {
  return tortuosity ? tortuosity->si : model::usual_tortuosity(porosity(plate_area));
}

double ElectrodeSheet::diffusion_radius() const {
  if (!grain_sizes) return particle_radius.si;
  const SizeMeans means = size_means(grain_sizes->classes);
  return particle_radius.si * means.diffusion / means.r32;
}

std::optional<double> ElectrodeSheet::specific_surface() const {
  const std::optional<double> density = host_density();
  if (!density) return std::nullopt;
  return 3 / (particle_radius.si * *density);
}

const Given<SurfaceCapacitance>* ElectrodeSheet::known_double_layer() const {
  return double_layer ? &*double_layer : material.double_layer ? &*material.double_layer : nullptr;
}

double ElectrodeSheet::double_layer_value() const {
  const Given<SurfaceCapacitance>* known = known_double_layer();
  return known != nullptr ? known->si : assumed_double_layer;
}

double Sheet::plate_area() const { return stated_plate_area ? stated_plate_area->si : disc_area(disc_diameter->si); }

namespace {

std::optional<double> loss_of(const Sheet& sheet) {
  return sheet.formation_loss ? std::optional(sheet.formation_loss->si) : std::nullopt;
}

model::Cell cell_at(const Sheet& sheet, Temperatures temperatures) {
  const double area = sheet.plate_area();
  model::Cell cell{
      .plate_area = area,
      .temperature = sheet.temperature.si,
      .contact_resistance = sheet.contact_resistance.si,
      .inductance = sheet.inductance ? sheet.inductance->si : 0,
      .lower_voltage = sheet.lower_voltage.si,
      .upper_voltage = sheet.upper_voltage.si,
      .positive = to_electrode(sheet.positive, area, temperatures),
      .negative = {},
      .counter = {},
      .separator = {.thickness = sheet.separator.thickness.si,
                    .porosity = sheet.separator.porosity.si,
                    .tortuosity = sheet.separator.tortuosity ? sheet.separator.tortuosity->si
                                                             : 1 / std::sqrt(sheet.separator.porosity.si)},
      .electrolyte = sheet.electrolyte.to_model(temperatures),
      .thermal = {},
      .inventory = {0.5, 0},
      .charged_state = {},
      .rated_capacity = sheet.rated_capacity ? sheet.rated_capacity->si / area : 0,
  };
  if (sheet.negative) cell.negative = to_electrode(*sheet.negative, area, temperatures);
  if (sheet.counter) cell.counter = sheet.counter->to_model(temperatures);
  if (sheet.thermal) {
    cell.thermal = model::Thermal{
        .heat_capacity = sheet.thermal->mass.si * sheet.thermal->heat_capacity.si / area,
        .heat_transfer = sheet.thermal->heat_transfer_coefficient.si * sheet.thermal->cooled_area.si / area,
        .ambient_temperature = sheet.temperature.si};
  }
  if (sheet.charged_state) {
    cell.charged_state = model::Stoichiometries{sheet.charged_state->positive.si,
                                                sheet.charged_state->negative ? sheet.charged_state->negative->si : 0};
  }
  cell.inventory = model::lithium_of(cell, loss_of(sheet));
  return cell;
}

/// @throws model::ImpossibleBalance for a porosity that no pores can have
void require_pores(const Sheet& sheet) {
  const double area = sheet.plate_area();
  for (const ElectrodeSheet* electrode : {&sheet.positive, sheet.negative ? &*sheet.negative : nullptr}) {
    if (electrode == nullptr) continue;
    const double porosity = electrode->porosity(area);
    if (!(porosity > 0.01)) {
      throw model::ImpossibleBalance(
          fmt::format("the porosity of the {} electrode comes out as {:.3g} %: its loading does not fit its thickness; "
                      "measure both again",
                      electrode->key, 100 * porosity));
    }
  }
}

model::ElectrodeMaking making_of(const ElectrodeSheet& electrode, double plate_area) {
  return {electrode.on_the_foil(plate_area), electrode.accessible_fraction.si, !electrode.tortuosity};
}

}  // namespace

model::Cell to_cell_of_any_porosity(const Sheet& sheet) {
  return cell_at(sheet, {sheet.temperature.si, sheet.thermal.has_value()});
}

model::Cell to_cell(const Sheet& sheet) {
  require_pores(sheet);
  return to_cell_of_any_porosity(sheet);
}

model::MadeCell to_made_cell(const Sheet& sheet, bool any_temperature) {
  require_pores(sheet);
  const double area = sheet.plate_area();
  return {cell_at(sheet, {sheet.temperature.si, any_temperature || sheet.thermal.has_value()}),
          making_of(sheet.positive, area), sheet.negative ? making_of(*sheet.negative, area) : model::ElectrodeMaking{},
          loss_of(sheet)};
}

Value* find_value(Sheet& sheet, const std::string& path) {
  Value* found = nullptr;
  for_each_value(sheet, [&](const std::string& at, Value& value) {
    if (at == path) found = &value;
  });
  return found;
}

}  // namespace onegrain::params
