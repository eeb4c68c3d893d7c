#pragma once

#include <string>
#include <vector>

#include "params/card/card.hpp"
#include "params/card/property_reader.hpp"
#include "params/keys/tree.hpp"

/// Every key of a card, once: kind, limits, whether it is needed, what it means. See keys/tree.hpp.
namespace onegrain::params {

/// What no crystal, no powder and no electrolyte has: a slip of the unit shows here.
namespace reason {
inline const Limits lattice = limits::between(0.5e-10, 200e-10);
inline const Limits angle = {.lower = 0.1, .upper = 3.1};
inline const Limits density = limits::between(100, 25000);
inline const Limits concentration = limits::between(100, 400e3);
inline const Limits diffusivity = limits::between(1e-25, 1e-4);
inline const Limits exchange_current = limits::between(1e-8, 1e6);
inline const Limits activation_energy = limits::between(0, 300e3);
inline const Limits double_layer = limits::between(0, 100);
inline const Limits salt = limits::between(1, 10e3);
inline const Limits entropic = limits::between(-0.05, 0.05);
}  // namespace reason

inline const std::vector<std::string> crystal_systems = {"cubic",    "tetragonal",   "orthorhombic", "hexagonal",
                                                         "trigonal", "rhombohedral", "monoclinic",   "triclinic"};

/// @param is_file  it is a file with a version and needs a name; else it stands inside a sheet
template <class V>
void keys_of_names(V& v, const char* version, std::string& name, std::string& note, std::string& source, bool is_file) {
  if (is_file) v.version(version);
  v.text("name", &name, is_file, "a name for reports", "a name for reports");
  v.text("note", &note, false, "", "anything worth knowing");
  v.text("source", &source, false, "", "where the numbers come from");
  std::string attribution;
  v.text("attribution", &attribution, false, "", "what the licence of the data wants named");
  v.reading([&](Fields&, bool) {
    if (!attribution.empty()) source += (source.empty() ? "" : "; ") + attribution;
  });
}

template <class V>
void keys_of_activation_energy(V& v, const std::string& key, Given<MolarEnergy>& energy, const PropertyValue& property,
                               const std::string& of_what) {
  v.value_or(key, energy, reason::activation_energy, 0,
             "not stated: " + of_what + " taken as independent of temperature", "of " + of_what + ", from 25 degC");
  v.reading([&](Fields& fields, bool) {
    if (fields.has(key) && energy.si != 0 && property.function && property.function->shape().depends_on_temperature)
      fields.error(key, "the expression holds the temperature already; an activation energy would count it twice");
  });
}

template <class V>
void keys_of_transfer(V& v, Given<Number>& anodic, Given<Number>& cathodic) {
  v.group_or("transfer_coefficients", "two numbers, such as {anodic: 0.5, cathodic: 0.5}",
             "of the reaction at the grain surface", [&](auto& of) {
               const std::string why = "common practice: one half each";
               of.value_or("anodic", anodic, limits::open_share, 0.5, why, "while lithium leaves");
               of.value_or("cathodic", cathodic, limits::open_share, 0.5, why, "while lithium enters");
               of.reading([&](Fields& fields, bool) {  // both or none
                 for (const char* key : {"anodic", "cathodic"}) {
                   if (fields.here().line > 0 && !fields.has(key)) fields.required<Number>(key, limits::open_share);
                 }
               });
             });
}

template <class V>
void keys_of_double_layer(V& v, std::optional<Given<SurfaceCapacitance>>& double_layer) {
  v.value("double_layer", double_layer, reason::double_layer,
          "capacitance per surface, felt by an impedance spectrum alone; otherwise 0.2 F/m2 (common practice)");
}

/// What the system of a crystal needs and what it fixes.
void check_crystal(Fields& fields, Crystal& crystal, bool sound);
/// Reads the CIF that the crystal names; a formula that the card does not give is that of the file, and formula units
/// become those of the formula of the card.
void read_crystal_from_cif(Fields& fields, Crystal& crystal, Material& material);

/// Whether a mapping that is being read has this key; other visitors have none.
template <class V>
bool says(V& v, const char* key) {
  if constexpr (requires { v.fields(); }) return v.fields().has(key);
  return false;
}
/// Whether this visitor reads a mapping.
template <class V>
constexpr bool reads = requires(V& v) {
  v.fields();
};

template <class V>
void keys(V& v, Crystal& c, Material& m) {
  v.text("cif", &c.cif, false, "", "a CIF beside the card, such as my_oxide.cif, instead of the cell in numbers");
  v.text("block", &c.block, false, "", "its data block, where several hold a unit cell");
  const Alternatives cell_or_file = {
      .sets = {{{"system", "a", "formula_units"}, {"b", "c", "alpha", "beta", "gamma"}}, {{"cif"}, {"block"}}},
      .several = "either the unit cell in numbers or a 'cif', not both",
      .none = "a unit cell, or 'cif' with the name of a file",
      .partly = "a unit cell, or 'cif' with the name of a file"};
  if (says(v, "cif")) {
    v.reading([&](Fields& fields, bool sound) {
      if (sound) read_crystal_from_cif(fields, c, m);
    });
    return;
  }
  v.choice("system", crystal_systems, "trigonal: hexagonal axes; rhombohedral: rhombohedral axes",
           [&](std::size_t k) { c.system = static_cast<CrystalSystem>(k); });
  v.value("a", c.a, reason::lattice, "edge", "angstrom");
  v.value("b", c.b, reason::lattice, "edge, where the system does not fix it", "angstrom");
  v.value("c", c.c, reason::lattice, "edge, where the system does not fix it", "angstrom");
  v.value("alpha", c.alpha, reason::angle, "angle, where the system does not fix it");
  v.value("beta", c.beta, reason::angle, "angle, where the system does not fix it");
  v.value("gamma", c.gamma, reason::angle, "angle, where the system does not fix it");
  v.value("formula_units", c.formula_units, {.lower = 0, .upper = 1000, .lower_open = true}, "per unit cell (Z)");
  if constexpr (!reads<V>) v.alternatives(cell_or_file);
  v.reading([&](Fields& fields, bool sound) { check_crystal(fields, c, sound); });
}

template <class V>
void keys(V& v, StressCard& s) {
  v.value("partial_molar_volume", s.partial_molar_volume, limits::between(-20e-6, 20e-6), "of lithium in the host");
  v.value("youngs_modulus", s.youngs_modulus, limits::between(1e6, 2e12), "of the grain", "GPa");
  v.value("poisson_ratio", s.poisson_ratio, {.lower = 0, .upper = 0.5, .upper_open = true}, "of the grain");
  v.value("fracture_strength", s.fracture_strength, limits::between(1e4, 1e11), "of the grain", "MPa");
}

/// Takes the key `formula` apart.
void read_formula(Fields& fields, Material& material);

/// What hangs on a potential, beside its formula or table.
template <class V>
void keys_of_potential(V& v, PotentialCard& card) {
  PropertyRules rules = host_rules(EntropicCoefficientKind::kind, reason::entropic);
  rules.temperature = false;
  v.property("entropic_coefficient", card.entropic, rules, "change of the potential with temperature");
}

inline PropertyRules exchange_rules() {
  PropertyRules rules = host_rules(CurrentDensityKind::kind, reason::exchange_current);
  rules.composition = "";
  return rules;
}

template <class V>
void keys(V& v, Material& m, bool is_file) {
  keys_of_names(v, "onegrain_material", m.name, m.note, m.source, is_file);
  v.text("formula", nullptr, false, "", "chemical formula with its lithium: LiNi0.6Mn0.2Co0.2O2");
  v.reading([&](Fields& fields, bool) { read_formula(fields, m); });
  v.choice("role", {"positive", "negative", "lithium_metal"}, "which electrode it is made for",
           [&](std::size_t k) { m.role = k == 0 ? Role::positive : Role::negative; });
  v.value("lithium_sites", m.lithium_sites, {.lower = 0, .upper = 100, .lower_open = true},
          "per formula unit; otherwise the lithium of the formula");
  v.group("crystal", m.crystal,
          "a unit cell, such as {system: cubic, a: 8.24 angstrom, formula_units: 8} or {cif: my_oxide.cif}",
          "unit cell; with the formula it gives density and lithium sites",
          [&](auto& of, Crystal& crystal) { keys(of, crystal, m); });
  v.value("density", m.stated_density, reason::density, "of the crystal; otherwise from the unit cell");
  v.value("maximum_concentration", m.stated_maximum_concentration, reason::concentration,
          "lithium sites per volume; otherwise from the unit cell, or from density and formula");
  v.potential("open_circuit_potential", m.open_circuit_potential,
              "against lithium metal over the filled share of the sites x");
  v.property("diffusion_coefficient", m.diffusion_coefficient, host_rules(DiffusivityKind::kind, reason::diffusivity),
             "of lithium in the grain");
  keys_of_activation_energy(v, "diffusion_activation_energy", m.diffusion_activation_energy, m.diffusion_coefficient,
                            "diffusion");
  v.property("exchange_current_density", m.exchange_current_density, exchange_rules(),
             "per grain surface, half filled, in 1 mol/L electrolyte");
  keys_of_activation_energy(v, "exchange_activation_energy", m.exchange_activation_energy, m.exchange_current_density,
                            "the exchange current density");
  keys_of_transfer(v, m.anodic_transfer, m.cathodic_transfer);
  keys_of_double_layer(v, m.double_layer);
  v.group("stress", m.stress, "partial_molar_volume, youngs_modulus, poisson_ratio and fracture_strength",
          "what cracks a grain", [&](auto& of, StressCard& stress) { keys(of, stress); });
}

template <class V>
void keys(V& v, LithiumMetalCard& c, bool is_file) {
  keys_of_names(v, "onegrain_material", c.name, c.note, c.source, is_file);
  v.choice("role", {"lithium_metal"}, "lithium metal", [](std::size_t) {});
  v.text("formula", nullptr, false, "", "Li");
  v.property("exchange_current_density", c.exchange_current_density, exchange_rules(),
             "per surface of the metal, in 1 mol/L electrolyte");
  keys_of_activation_energy(v, "exchange_activation_energy", c.exchange_activation_energy, c.exchange_current_density,
                            "the exchange current density");
  keys_of_transfer(v, c.anodic_transfer, c.cathodic_transfer);
  keys_of_double_layer(v, c.double_layer);
}

template <class V>
void keys(V& v, ElectrolyteCard& c, bool is_file) {
  keys_of_names(v, "onegrain_electrolyte", c.name, c.note, c.source, is_file);
  v.value("concentration", c.concentration, reason::salt, "of the salt");
  v.property("conductivity", c.conductivity, electrolyte_rules(ConductivityKind::kind, limits::between(0, 1000)),
             "for ions");
  v.property("diffusion_coefficient", c.diffusion_coefficient,
             electrolyte_rules(DiffusivityKind::kind, limits::between(1e-16, 1e-6)), "of the salt");
  v.property("transference_number", c.transference_number, electrolyte_rules(NumberKind::kind, limits::between(-1, 1)),
             "of lithium");
  v.property("thermodynamic_factor", c.thermodynamic_factor,
             electrolyte_rules(NumberKind::kind, limits::between(1e-3, 100)), "1 + dln f / dln c");
  keys_of_activation_energy(v, "conductivity_activation_energy", c.conductivity_activation_energy, c.conductivity,
                            "the conductivity");
  keys_of_activation_energy(v, "diffusion_activation_energy", c.diffusion_activation_energy, c.diffusion_coefficient,
                            "salt diffusion");
}

}  // namespace onegrain::params
