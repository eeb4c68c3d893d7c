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
  const double density = recipe.active_density ? recipe.active_density->si : electrode.material.density().value();
  return {recipe.active.si / density,
          recipe.carbon.si / recipe.carbon_density.si + recipe.binder.si / recipe.binder_density.si};
}

model::Electrode to_electrode(const ElectrodeSheet& electrode, double plate_area, Temperatures temperatures) {
  return {.host = electrode.material.to_host(temperatures),
          .thickness = electrode.thickness(),
          .active_fraction = electrode.active_fraction(plate_area) * electrode.accessible_fraction.si,
          .porosity = electrode.porosity(plate_area),
          .tortuosity = electrode.tortuosity_value(plate_area),
          .particle_radius = electrode.particle_radius.si,
          .electronic_conductivity = electrode.electronic_conductivity ? electrode.electronic_conductivity->si : 0};
}

}  // namespace

double ElectrodeSheet::thickness() const { return coating ? coating->thickness.si : layer->thickness.si; }

std::optional<double> ElectrodeSheet::loading(double plate_area) const {
  if (!coating) return std::nullopt;
  if (coating->loading) return coating->loading->si;
  const double area = coating->disc_diameter ? disc_area(coating->disc_diameter->si) : plate_area;
  return (coating->coated_disc_mass->si - coating->foil_mass->si) / area;
}

std::optional<double> ElectrodeSheet::active_loading(double plate_area) const {
  if (coating) return *loading(plate_area) * coating->recipe.active.si;
  const std::optional<double> density = material.density();
  if (!density) return std::nullopt;
  return layer->active_fraction.si * layer->thickness.si * *density;
}

double ElectrodeSheet::active_fraction(double plate_area) const {
  if (layer) return layer->active_fraction.si;
  return *loading(plate_area) * specific_volumes(*this).active / coating->thickness.si;
}

double ElectrodeSheet::inactive_fraction(double plate_area) const {
  if (layer) return 1 - layer->active_fraction.si - layer->porosity.si;
  return *loading(plate_area) * specific_volumes(*this).rest / coating->thickness.si;
}

double ElectrodeSheet::porosity(double plate_area) const {
  if (layer) return layer->porosity.si;
  return 1 - active_fraction(plate_area) - inactive_fraction(plate_area);
}

double ElectrodeSheet::tortuosity_value(double plate_area) const {
  if (tortuosity) return tortuosity->si;
  return 1 / std::sqrt(std::max(porosity(plate_area), 1e-3));  // where there are no pores the number means nothing
}

double Sheet::plate_area() const { return stated_plate_area ? stated_plate_area->si : disc_area(disc_diameter->si); }

model::Cell to_cell_of_any_porosity(const Sheet& sheet) {
  const double area = sheet.plate_area();
  const Temperatures temperatures{sheet.temperature.si, sheet.thermal.has_value()};
  model::Cell cell{
      .plate_area = area,
      .temperature = sheet.temperature.si,
      .contact_resistance = sheet.contact_resistance.si,
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
    cell.inventory = *cell.charged_state;
  } else if (sheet.formation_loss) {
    cell.inventory = model::after_formation(cell, sheet.formation_loss->si);
  } else {
    const model::OpenCircuitPotential& potential = cell.positive.host.potential;
    cell.inventory = {0.5 * (potential.lower() + potential.upper()), 0};
  }
  return cell;
}

model::Cell to_cell(const Sheet& sheet) {
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
  return to_cell_of_any_porosity(sheet);
}

// ---------------------------------------------------------------------------------------------------------------

namespace {

using Visit = std::function<void(const std::string&, Value&)>;

class Walk {
 public:
  explicit Walk(const Visit& visit) : visit_(visit) {}

  void sheet(Sheet& s) {
    one("temperature", s.temperature);
    maybe("disc_diameter", s.disc_diameter);
    maybe("plate_area", s.stated_plate_area);
    one("voltage_window.lower", s.lower_voltage);
    one("voltage_window.upper", s.upper_voltage);
    maybe("rated_capacity", s.rated_capacity);
    one("contact_resistance", s.contact_resistance);
    electrode(s.positive);
    if (s.negative) electrode(*s.negative);
    if (s.counter) {
      one("counter.material.exchange_current_density", s.counter->exchange_current_density);
      one("counter.material.exchange_activation_energy", s.counter->exchange_activation_energy);
      one("counter.material.transfer_coefficients.anodic", s.counter->anodic_transfer);
      one("counter.material.transfer_coefficients.cathodic", s.counter->cathodic_transfer);
    }
    maybe("formation_loss", s.formation_loss);
    if (s.charged_state) {
      one("charged_state." + s.positive.key, s.charged_state->positive);
      maybe("charged_state.negative", s.charged_state->negative);
    }
    one("separator.thickness", s.separator.thickness);
    one("separator.porosity", s.separator.porosity);
    maybe("separator.tortuosity", s.separator.tortuosity);
    one("electrolyte.concentration", s.electrolyte.concentration);
    one("electrolyte.conductivity", s.electrolyte.conductivity);
    one("electrolyte.diffusion_coefficient", s.electrolyte.diffusion_coefficient);
    one("electrolyte.transference_number", s.electrolyte.transference_number);
    one("electrolyte.thermodynamic_factor", s.electrolyte.thermodynamic_factor);
    one("electrolyte.conductivity_activation_energy", s.electrolyte.conductivity_activation_energy);
    one("electrolyte.diffusion_activation_energy", s.electrolyte.diffusion_activation_energy);
    if (s.thermal) {
      one("thermal.mass", s.thermal->mass);
      one("thermal.heat_capacity", s.thermal->heat_capacity);
      one("thermal.heat_transfer_coefficient", s.thermal->heat_transfer_coefficient);
      one("thermal.cooled_area", s.thermal->cooled_area);
    }
  }

 private:
  void one(const std::string& path, Value& value) { visit_(path, value); }
  template <class T>
  void maybe(const std::string& path, std::optional<T>& value) {
    if (value) visit_(path, *value);
  }

  void electrode(ElectrodeSheet& e) {
    const std::string& key = e.key;
    if (e.coating) {
      Coating& c = *e.coating;
      maybe(key + ".coating.loading", c.loading);
      maybe(key + ".coating.coated_disc_mass", c.coated_disc_mass);
      maybe(key + ".coating.foil_mass", c.foil_mass);
      maybe(key + ".coating.disc_diameter", c.disc_diameter);
      one(key + ".coating.thickness", c.thickness);
      one(key + ".coating.recipe.active", c.recipe.active);
      one(key + ".coating.recipe.carbon", c.recipe.carbon);
      one(key + ".coating.recipe.binder", c.recipe.binder);
      maybe(key + ".coating.densities.active", c.recipe.active_density);
      one(key + ".coating.densities.carbon", c.recipe.carbon_density);
      one(key + ".coating.densities.binder", c.recipe.binder_density);
    } else if (e.layer) {
      one(key + ".layer.thickness", e.layer->thickness);
      one(key + ".layer.active_fraction", e.layer->active_fraction);
      one(key + ".layer.porosity", e.layer->porosity);
    }
    const std::string form = key + (e.coating ? ".coating" : ".layer");
    maybe(form + ".tortuosity", e.tortuosity);
    maybe(form + ".electronic_conductivity", e.electronic_conductivity);
    one(key + ".particle_radius", e.particle_radius);
    one(key + ".accessible_fraction", e.accessible_fraction);
    material(key + ".material", e.material);
  }

  void material(const std::string& key, Material& m) {
    maybe(key + ".lithium_sites", m.lithium_sites);
    if (m.crystal) {
      Crystal& crystal = *m.crystal;
      one(key + ".crystal.a", crystal.a);
      maybe(key + ".crystal.b", crystal.b);
      maybe(key + ".crystal.c", crystal.c);
      maybe(key + ".crystal.alpha", crystal.alpha);
      maybe(key + ".crystal.beta", crystal.beta);
      maybe(key + ".crystal.gamma", crystal.gamma);
      one(key + ".crystal.formula_units", crystal.formula_units);
    }
    maybe(key + ".density", m.stated_density);
    maybe(key + ".maximum_concentration", m.stated_maximum_concentration);
    one(key + ".open_circuit_potential", m.open_circuit_potential.potential);
    maybe(key + ".open_circuit_potential.entropic_coefficient", m.open_circuit_potential.entropic);
    one(key + ".diffusion_coefficient", m.diffusion_coefficient);
    one(key + ".diffusion_activation_energy", m.diffusion_activation_energy);
    one(key + ".exchange_current_density", m.exchange_current_density);
    one(key + ".exchange_activation_energy", m.exchange_activation_energy);
    one(key + ".transfer_coefficients.anodic", m.anodic_transfer);
    one(key + ".transfer_coefficients.cathodic", m.cathodic_transfer);
    if (m.stress) {
      one(key + ".stress.partial_molar_volume", m.stress->partial_molar_volume);
      one(key + ".stress.youngs_modulus", m.stress->youngs_modulus);
      one(key + ".stress.poisson_ratio", m.stress->poisson_ratio);
      one(key + ".stress.fracture_strength", m.stress->fracture_strength);
    }
  }

  const Visit& visit_;
};

}  // namespace

void for_each_value(Sheet& sheet, const std::function<void(const std::string&, Value&)>& visit) {
  Walk(visit).sheet(sheet);
}

void for_each_value(const Sheet& sheet, const std::function<void(const std::string&, const Value&)>& visit) {
  const Visit as_const = [&](const std::string& path, Value& value) { visit(path, value); };
  Walk(as_const).sheet(const_cast<Sheet&>(sheet));  // NOLINT: the visitor sees constants
}

Value* find_value(Sheet& sheet, const std::string& path) {
  Value* found = nullptr;
  for_each_value(sheet, [&](const std::string& at, Value& value) {
    if (at == path) found = &value;
  });
  return found;
}

}  // namespace onegrain::params
