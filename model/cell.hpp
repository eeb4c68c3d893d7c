#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "model/constants.hpp"
#include "model/curve.hpp"
#include "model/potential.hpp"

/// What the physics must be told, in SI units, moles, kelvin and volts. Plain data: whoever fills these structs has
/// checked the values; nothing here knows a file or a unit.
namespace onegrain::model {

/// Numbers for the stress that uneven filling raises in a grain; all or nothing.
struct Stress {
  double partial_molar_volume;  ///< of lithium in the host [m3/mol]
  double youngs_modulus;        ///< [Pa]
  double poisson_ratio;         ///< [1], below 1/2
  double fracture_strength;     ///< tensile [Pa]
};

/// An insertion host: what is true of the material, whatever the electrode made of it.
struct Host {
  OpenCircuitPotential potential;
  Property diffusivity;               ///< D(x, T) > 0 [m2/s]
  double maximum_concentration;       ///< lithium sites c_max [mol/m3]
  Property exchange_current_density;  ///< i0 at half filling and 1 mol/L salt [A/m2]; depends on T only
  double anodic_transfer = 0.5;       ///< aa
  double cathodic_transfer = 0.5;     ///< ac
  std::optional<Stress> stress;
};

/// Grains of one size, and of one host, among others of the same layer, with whom they share the potential of the
/// solid.
struct GrainClass {
  double radius_ratio;               ///< radius over `particle_radius` of the electrode, > 0
  double share;                      ///< of the active volume, > 0
  std::shared_ptr<const Host> host;  ///< of a blend; null: that of the electrode
};

/// A porous layer of grains of one size, or of several classes of them.
struct Electrode {
  Host host;
  double thickness;                    ///< L [m]
  double active_fraction;              ///< eps_s, volume of host per volume of layer [1]
  double porosity;                     ///< eps, volume of electrolyte per volume of layer [1]
  double tortuosity;                   ///< tau >= 1: transport in the pores is bulk * eps / tau
  double particle_radius;              ///< R [m]
  double electronic_conductivity = 0;  ///< of the layer [S/m]; 0: not given, no electronic drop
  double double_layer = 0;             ///< capacitance per grain surface; what Impedance alone feels [F/m2]
  /// Empty: all grains are alike. Otherwise shares add up to 1, and so do share / radius_ratio: `particle_radius` is
  /// that of one size with the surface of them all (R32). Hosts of a blend: `host` is what all of them make together.
  std::vector<GrainClass> classes{};

  /// Grain surface per volume of layer a = 3 eps_s / R [m^-1].
  double specific_surface() const { return 3 * active_fraction / particle_radius; }
  /// Grain surface per plate area a L [1].
  double roughness() const { return specific_surface() * thickness; }
  /// Charge between empty and full grains per plate area, F eps_s L c_max [C/m2].
  double capacity() const { return faraday_constant * active_fraction * thickness * host.maximum_concentration; }
  const Host& host_of(const GrainClass& grains) const { return grains.host ? *grains.host : host; }
};

/// Lithium metal as the counter electrode of a half cell: potential 0, kinetics on its plate area.
struct LithiumMetal {
  Property exchange_current_density;  ///< at 1 mol/L salt [A/m2]; depends on T only
  double anodic_transfer = 0.5;
  double cathodic_transfer = 0.5;
  double double_layer = 0;  ///< capacitance per plate area; what Impedance alone feels [F/m2]
};

struct Separator {
  double thickness;   ///< [m]
  double porosity;    ///< [1]
  double tortuosity;  ///< >= 1
};

/// Binary salt in a solvent. Properties take the salt concentration in mol/m3 and the temperature in K.
struct Electrolyte {
  double concentration;           ///< at rest [mol/m3]
  Property conductivity;          ///< [S/m]
  Property diffusivity;           ///< of the salt [m2/s]
  Property transference_number;   ///< of the lithium ion [1]
  Property thermodynamic_factor;  ///< 1 + dln f/dln c [1]
};

/// Lumped heat balance; absent: the cell keeps its temperature.
struct Thermal {
  double heat_capacity;        ///< m c_p of the whole cell per plate area [J K^-1 m^-2]
  double heat_transfer;        ///< h A per plate area [W K^-1 m^-2]
  double ambient_temperature;  ///< [K]
};

/// Stoichiometries of both electrodes in one state. A half cell has no negative: that number is 0 there.
struct Stoichiometries {
  double positive;
  double negative;
};

/// A cell: two layers of grains, or one against lithium metal, per plate area.
///
/// `positive` is the electrode at the positive terminal: the oxide of a full cell, the working electrode (of either
/// kind) of a half cell. Either `negative` or `counter` is set, never both.
struct Cell {
  double plate_area;              ///< [m2]
  double temperature;             ///< at start, and ambient [K]
  double contact_resistance = 0;  ///< per plate area [ohm m2]
  double inductance = 0;          ///< of the leads; what Impedance alone feels [H]
  double lower_voltage;           ///< cut-off [V]
  double upper_voltage;           ///< cut-off [V]
  Electrode positive;
  std::optional<Electrode> negative;
  std::optional<LithiumMetal> counter;
  Separator separator;
  Electrolyte electrolyte;
  std::optional<Thermal> thermal;

  /// The state that lithium conservation allows, from which the windows between the cut-offs follow: as made and
  /// formed, or as the sheet states it. In a half cell only `positive` counts and any value may stand.
  Stoichiometries inventory;
  /// Where a discharge starts, if not from the equilibrium at the upper cut-off.
  std::optional<Stoichiometries> charged_state;
  /// 1C is this charge in one hour, per plate area [C/m2]; 0: the equilibrium capacity between the cut-offs.
  double rated_capacity = 0;

  bool is_full_cell() const { return negative.has_value(); }
};

}  // namespace onegrain::model
