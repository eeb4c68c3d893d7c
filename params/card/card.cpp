#include "params/card/card.hpp"

#include <algorithm>

#include "model/constants.hpp"
#include "params/text/sha256.hpp"

namespace onegrain::params {

SourceFile source_file(std::string name, bool shipped, std::string text, std::string named_by, std::string named_as) {
  std::string digest = sha256(text);
  return {std::move(name),     shipped,
          std::move(digest),   std::make_shared<const std::string>(std::move(text)),
          std::move(named_by), std::move(named_as)};
}

void add_file(std::vector<SourceFile>& files, SourceFile file) {
  const bool there = std::any_of(files.begin(), files.end(), [&](const SourceFile& other) {
    return other.name == file.name && other.named_by == file.named_by;
  });
  if (!there) files.push_back(std::move(file));
}

const SourceFile* find_file_named(const std::vector<SourceFile>& files, const std::string& name) {
  const auto found =
      std::find_if(files.begin(), files.end(), [&](const SourceFile& file) { return file.name == name; });
  return found == files.end() ? nullptr : &*found;
}

std::vector<const SourceFile*> files_named_by(const std::vector<SourceFile>& files, const std::string& name) {
  std::vector<const SourceFile*> result;
  for (const SourceFile& file : files) {
    if (!name.empty() && file.named_by == name) result.push_back(&file);
  }
  return result;
}

std::optional<double> Material::sites() const {
  if (lithium_sites) return lithium_sites->si;
  if (formula && formula->count("Li") > 0) return formula->count("Li");
  return std::nullopt;
}

std::optional<double> Material::density() const {
  if (stated_density) return stated_density->si;
  if (crystal && formula) return crystal->density(formula->molar_mass());
  return std::nullopt;
}

std::optional<double> Material::crystal_concentration() const {
  const std::optional<double> n = sites();
  if (!crystal || !n) return std::nullopt;
  return crystal->site_concentration(*n);
}

double Material::maximum_concentration() const {
  if (stated_maximum_concentration) return stated_maximum_concentration->si;
  if (const std::optional<double> from_crystal = crystal_concentration()) return *from_crystal;
  return density().value() * sites().value() / formula.value().molar_mass();
}

std::optional<double> Material::theoretical_capacity() const {
  const std::optional<double> n = sites();
  if (!formula || !n) return std::nullopt;
  return *n * model::faraday_constant / formula->molar_mass();
}

model::Host Material::to_host(Temperatures temperatures) const {
  const PotentialCard& card_potential = open_circuit_potential;
  const model::Curve entropic =
      card_potential.entropic ? card_potential.entropic->curve(temperatures.at) : model::Curve::constant(0);
  std::optional<model::Stress> model_stress;
  if (stress) {
    model_stress = model::Stress{stress->partial_molar_volume.si, stress->youngs_modulus.si, stress->poisson_ratio.si,
                                 stress->fracture_strength.si};
  }
  return model::Host{
      .potential = model::OpenCircuitPotential(card_potential.potential.property(temperatures), entropic),
      .diffusivity = diffusion_coefficient.property(temperatures, diffusion_activation_energy.si),
      .maximum_concentration = maximum_concentration(),
      .exchange_current_density = exchange_current_density.property(temperatures, exchange_activation_energy.si),
      .anodic_transfer = anodic_transfer.si,
      .cathodic_transfer = cathodic_transfer.si,
      .stress = model_stress,
  };
}

model::LithiumMetal LithiumMetalCard::to_model(Temperatures temperatures) const {
  return {.exchange_current_density = exchange_current_density.property(temperatures, exchange_activation_energy.si),
          .anodic_transfer = anodic_transfer.si,
          .cathodic_transfer = cathodic_transfer.si,
          .double_layer = double_layer ? double_layer->si : assumed_double_layer};
}

model::Electrolyte ElectrolyteCard::to_model(Temperatures temperatures) const {
  return {.concentration = concentration.si,
          .conductivity = conductivity.property(temperatures, conductivity_activation_energy.si),
          .diffusivity = diffusion_coefficient.property(temperatures, diffusion_activation_energy.si),
          .transference_number = transference_number.property(temperatures),
          .thermodynamic_factor = thermodynamic_factor.property(temperatures)};
}

}  // namespace onegrain::params
