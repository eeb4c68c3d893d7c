#include "model/impedance.hpp"

#include <cmath>
#include <numbers>

#include "model/kinetics.hpp"

namespace onegrain::model {

namespace {

constexpr double full_turn = 2 * std::numbers::pi;

double transfer_resistance(double i0, double T, double aa, double ac) {
  return gas_constant * T / (faraday_constant * (aa + ac) * i0);
}

SurfaceElement surface_of(const Electrode& layer, double x, double salt, double T) {
  const Host& host = layer.host;
  const double i0 = exchange_current_density(host, x, salt, T).value, D = host.diffusivity(x, T),
               R = layer.particle_radius;
  SurfaceElement element;
  element.transfer = transfer_resistance(i0, T, host.anodic_transfer, host.cathodic_transfer);
  element.diffusion = -host.potential.at(x, T).by_composition * R / (faraday_constant * D * host.maximum_concentration);
  element.diffusion_time = R * R / D;
  element.double_layer = layer.double_layer;
  return element;
}

PorousElement porous(const Electrode& layer, const Electrolyte& electrolyte, double x, double T) {
  const double c = electrolyte.concentration, pores = layer.porosity / layer.tortuosity;
  PorousElement element;
  element.thickness = layer.thickness;
  element.surface = layer.specific_surface();
  element.ionic = 1 / (electrolyte.conductivity(c, T) * pores);
  element.solid = layer.electronic_conductivity > 0 ? 1 / layer.electronic_conductivity : 0;
  element.porosity = layer.porosity;
  element.salt_diffusivity = electrolyte.diffusivity(c, T) * pores;
  element.grain = surface_of(layer, x, c, T);
  return element;
}

}  // namespace

Impedance::Impedance(const Cell& cell, Stoichiometries at, ElectrolyteModel electrolyte, Reaction reaction)
    : plate_area_(cell.plate_area),
      inductance_(cell.inductance),
      contact_(cell.contact_resistance),
      separator_thickness_(cell.separator.thickness),
      separator_porosity_(cell.separator.porosity),
      even_(reaction == Reaction::even),
      positive_(porous(cell.positive, cell.electrolyte, at.positive, cell.temperature)) {
  const double T = cell.temperature, c = cell.electrolyte.concentration,
               pores = cell.separator.porosity / cell.separator.tortuosity;
  separator_ionic_ = 1 / (cell.electrolyte.conductivity(c, T) * pores);
  separator_diffusivity_ = cell.electrolyte.diffusivity(c, T) * pores;
  positive_slope_ = cell.positive.host.potential.at(at.positive, T).by_composition;
  if (cell.negative) {
    negative_ = porous(*cell.negative, cell.electrolyte, at.negative, T);
    negative_slope_ = cell.negative->host.potential.at(at.negative, T).by_composition;
  } else {
    const LithiumMetal& metal = *cell.counter;
    const double i0 = exchange_current_density(metal, c, T).value;
    lithium_ = SurfaceElement{.transfer = transfer_resistance(i0, T, metal.anodic_transfer, metal.cathodic_transfer),
                              .double_layer = metal.double_layer};
  }
  if (electrolyte == ElectrolyteModel::uniform) return;
  const double anions = 1 - cell.electrolyte.transference_number(c, T);
  salt_potential_ = 2 * gas_constant * T / faraday_constant * anions * cell.electrolyte.thermodynamic_factor(c, T) / c;
  salt_production_ = anions / faraday_constant;
  for (PorousElement* layer : {&positive_, negative_ ? &*negative_ : nullptr}) {
    if (layer == nullptr) continue;
    layer->salt_potential = salt_potential_;
    layer->salt_production = salt_production_;
  }
  constexpr int degree = 6;
  slowest_salt_ = Salt(cell, degree).decay()[0] * cell.electrolyte.diffusivity(c, T);
}

/// The layers joined by the salt that passes between them, for i = 1.
struct Impedance::Joined {
  double omega;
  LayerImpedance positive;
  std::optional<LayerImpedance> negative;
  Complex flux_in{}, flux_out{};  ///< D dc/dx where the separator begins and where it ends, from negative to positive
  Complex salt_rise{};            ///< of c over the separator
};

Impedance::Joined Impedance::joined(double frequency) const {
  const double omega = full_turn * frequency;
  Joined j{omega, LayerImpedance(positive_, omega, even_), {}};
  if (negative_) j.negative.emplace(*negative_, omega, even_);
  if (salt_production_ == 0) return j;
  // In the separator c at an end is near * flux out of it less far * flux into the other. In the positive z runs
  // against x and the current I = -1.
  const double L = separator_thickness_, D = separator_diffusivity_;
  const Complex decay(0, omega * separator_porosity_ / D), mean = 1.0 / (decay * L);
  const Complex near = (near_end(decay, L) + mean) / D, far = (far_end(decay, L) + mean) / D;
  const LayerEnds& p = j.positive.ends();
  const Complex out_of_positive = near + p.salt_by_flux;
  if (j.negative) {
    // -near in + far out = c_n + n in,   -far in + near out = -c_p - p out
    const LayerEnds& n = j.negative->ends();
    const Complex into_negative = near + n.salt_by_flux;
    const Complex determinant = into_negative * out_of_positive - far * far;
    j.flux_in = -(n.salt_by_current * out_of_positive + p.salt_by_current * far) / determinant;
    j.flux_out = -(p.salt_by_current * into_negative + n.salt_by_current * far) / determinant;
  } else {
    j.flux_in = salt_production_;  // no anion crosses the surface of the lithium
    j.flux_out = (far * j.flux_in - p.salt_by_current) / out_of_positive;
  }
  j.salt_rise = (near_end(decay, L) - far_end(decay, L)) / D * (j.flux_in + j.flux_out);
  return j;
}

Complex Impedance::operator()(double frequency) const {
  const Joined j = joined(frequency);
  const LayerEnds& p = j.positive.ends();
  Complex Z = Complex(contact_ + separator_ionic_ * separator_thickness_, j.omega * inductance_ * plate_area_) +
              salt_potential_ * j.salt_rise - p.foil_by_current - p.foil_by_flux * j.flux_out;
  if (j.negative) return Z - j.negative->ends().foil_by_current - j.negative->ends().foil_by_flux * j.flux_in;
  return Z + 1.0 / lithium_->admittance(j.omega);
}

PartImpedances Impedance::parts(double frequency) const {
  const Joined j = joined(frequency);
  PartImpedances all{};
  const auto part = [&](ImpedancePart which) -> Complex& { return all[static_cast<std::size_t>(which)]; };
  using enum ImpedancePart;
  part(leads) = Complex(0, j.omega * inductance_ * plate_area_);
  part(contact) = contact_;
  part(separator) = separator_ionic_ * separator_thickness_;
  const LayerParts p = j.positive.parts(-1, -j.flux_out);
  part(positive_pores) = p.pores;
  part(positive_solid) = p.solid;
  part(positive_transfer) = p.transfer;
  part(positive_grains) = p.grains;
  part(salt) = salt_potential_ * j.salt_rise + p.salt;
  if (j.negative) {
    const LayerParts n = j.negative->parts(1, j.flux_in);
    part(negative_pores) = n.pores;
    part(negative_solid) = n.solid;
    part(negative_transfer) = n.transfer;
    part(negative_grains) = n.grains;
    part(salt) += n.salt;
  } else {
    part(negative_transfer) = 1.0 / lithium_->admittance(j.omega);
  }
  return all;
}

std::array<PartFigure, impedance_parts> Impedance::figures() const {
  std::array<PartFigure, impedance_parts> all{};
  const auto part = [&](ImpedancePart which) -> PartFigure& { return all[static_cast<std::size_t>(which)]; };
  using enum ImpedancePart;
  const auto top_of_arc = [](const SurfaceElement& s) -> std::optional<double> {
    if (!(s.double_layer > 0)) return std::nullopt;
    return 1 / (full_turn * s.transfer * s.double_layer);
  };
  double for_salt = separator_thickness_ / separator_diffusivity_;
  const auto take = [&](const PorousElement& layer, ImpedancePart pores, ImpedancePart solid, ImpedancePart transfer,
                        ImpedancePart grains) {
    const double area = layer.surface * layer.thickness, whole = layer.ionic * layer.thickness;
    part(pores).resistance = whole / 3;
    if (layer.grain.double_layer > 0) part(pores).at = 1 / (full_turn * whole * area * layer.grain.double_layer);
    part(solid).resistance = layer.solid * layer.thickness / 3;
    part(transfer) = {layer.grain.transfer / area, top_of_arc(layer.grain)};
    part(grains) = {layer.grain.diffusion / (5 * area), 9 / (full_turn * layer.grain.diffusion_time)};
    for_salt += layer.thickness / (3 * layer.salt_diffusivity);
  };
  part(contact).resistance = contact_;
  part(separator).resistance = separator_ionic_ * separator_thickness_;
  take(positive_, positive_pores, positive_solid, positive_transfer, positive_grains);
  if (negative_) {
    take(*negative_, negative_pores, negative_solid, negative_transfer, negative_grains);
  } else {
    part(negative_transfer) = {lithium_->transfer, top_of_arc(*lithium_)};
  }
  if (salt_production_ > 0) part(salt) = {salt_potential_ * salt_production_ * for_salt, slowest_salt_ / full_turn};
  return all;
}

double Impedance::elastance() const {
  const auto of = [](const PorousElement& layer) {
    const SurfaceElement& grain = layer.grain;
    return 3 * grain.diffusion / (grain.diffusion_time * layer.surface * layer.thickness);
  };
  return of(positive_) + (negative_ ? of(*negative_) : 0.0);
}

}  // namespace onegrain::model
