#include "params/sheet/temperature.hpp"

#include <algorithm>

namespace onegrain::params {

namespace {

bool known(const PropertyValue& property, const Value& activation_energy) {
  return activation_energy.si > 0 || (property.function && property.function->shape().depends_on_temperature);
}

void add(std::vector<ThermalProcess>& list, const ElectrodeSheet& electrode, bool takes_lithium) {
  const std::string of = electrode.key == "working" ? "working electrode" : electrode.key;
  const Material& m = electrode.material;
  list.push_back({electrode.key, "diffusion in the grains of the " + of,
                  known(m.diffusion_coefficient, m.diffusion_activation_energy), takes_lithium});
  list.push_back({electrode.key, "charge transfer at the grains of the " + of,
                  known(m.exchange_current_density, m.exchange_activation_energy), takes_lithium});
}

}  // namespace

std::vector<ThermalProcess> thermal_processes(const Sheet& sheet) {
  std::vector<ThermalProcess> list;
  add(list, sheet.positive, !sheet.negative);
  if (sheet.negative) add(list, *sheet.negative, true);
  if (sheet.counter) {
    list.push_back({"counter", "charge transfer at the lithium",
                    known(sheet.counter->exchange_current_density, sheet.counter->exchange_activation_energy), false});
  }
  const ElectrolyteCard& e = sheet.electrolyte;
  list.push_back(
      {"electrolyte", "conduction in the electrolyte", known(e.conductivity, e.conductivity_activation_energy), false});
  list.push_back(
      {"electrolyte", "diffusion of the salt", known(e.diffusion_coefficient, e.diffusion_activation_energy), false});
  return list;
}

std::string unknown_over_temperature(const Sheet& sheet) {
  std::vector<std::string> names;
  for (const ThermalProcess& p : thermal_processes(sheet)) {
    if (!p.known) names.push_back(p.name);
  }
  std::string text;
  for (std::size_t k = 0; k < names.size(); ++k)
    text += (k == 0 ? "" : k + 1 == names.size() ? " and " : ", ") + names[k];
  return text;
}

bool tells_of_temperature(const Sheet& sheet) {
  const std::vector<ThermalProcess> list = thermal_processes(sheet);
  return std::any_of(list.begin(), list.end(), [](const ThermalProcess& p) { return p.decisive && p.known; });
}

}  // namespace onegrain::params
