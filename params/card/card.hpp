#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "model/cell.hpp"
#include "params/card/crystal.hpp"
#include "params/card/function.hpp"
#include "params/number/value.hpp"
#include "params/text/faults.hpp"
#include "params/text/formula.hpp"

/// Cards: what is true of a material or an electrolyte, whatever the cell made of it.
namespace onegrain::params {

/// A file that took part, for the record of a result.
struct SourceFile {
  std::string name;      ///< as asked for: "coin07.yaml", "materials/graphite.yaml"
  bool shipped = false;  ///< comes with the program
  std::string sha256;    ///< of its bytes, 64 hexadecimal digits
  /// The bytes, as they were read, of a sheet, a card, a table or a protocol; nullptr for measured data.
  std::shared_ptr<const std::string> text;
  std::string named_by;  ///< `name` of the file that refers to it; empty for the file that was asked for
  std::string named_as;  ///< as it stands there: "graphite", "graphite_ocp.csv"
};

/// A file with its SHA-256.
SourceFile source_file(std::string name, bool shipped, std::string text, std::string named_by = {},
                       std::string named_as = {});
/// Adds a file unless the same file named by the same other is there already.
void add_file(std::vector<SourceFile>& files, SourceFile file);
/// The file of this name, or nullptr.
const SourceFile* find_file_named(const std::vector<SourceFile>& files, const std::string& name);
/// The files to which the file `name` refers, in the order of reading: the cards of a sheet, the tables of a card.
std::vector<const SourceFile*> files_named_by(const std::vector<SourceFile>& files, const std::string& name);

/// Capacitance of the double layer per surface of a grain or of the metal where nobody has stated one: common practice,
/// 10 to 20 uF/cm2 of bare electrodes in concentrated electrolytes (from memory: Bard and Faulkner, Electrochemical
/// Methods, 2nd ed. (2001), ch. 1 and 13) [F/m2].
constexpr double assumed_double_layer = 0.2;

enum class Role { positive, negative, lithium_metal };

struct StressCard {
  Given<MolarVolume> partial_molar_volume;
  Given<Pressure> youngs_modulus;
  Given<Number> poisson_ratio;
  Given<Pressure> fracture_strength;
};

struct PotentialCard {
  PropertyValue potential;                ///< function against stoichiometry [V]; its value is a shift [V]
  std::optional<PropertyValue> entropic;  ///< dU/dT [V/K]
  double lower = 0, upper = 1;            ///< range where it was measured
};

/// An insertion host.
struct Material {
  std::string name;  ///< as shown
  std::string card;  ///< as found: "graphite"
  std::string file;  ///< `name` of its file among the files that were read; that of the sheet where it stands there
  Role role = Role::positive;
  std::string note, source;
  std::optional<Formula> formula;
  std::optional<Crystal> crystal;
  std::optional<Given<Number>> lithium_sites;  ///< per formula unit; default: lithium atoms of the formula
  std::optional<Given<Density>> stated_density;
  std::optional<Given<SiteConcentration>> stated_maximum_concentration;
  PotentialCard open_circuit_potential;
  PropertyValue diffusion_coefficient;
  Given<MolarEnergy> diffusion_activation_energy;
  PropertyValue exchange_current_density;  ///< at half filling, 1 mol/L
  Given<MolarEnergy> exchange_activation_energy;
  Given<Number> anodic_transfer, cathodic_transfer;
  std::optional<Given<SurfaceCapacitance>> double_layer;  ///< per grain surface
  std::optional<StressCard> stress;

  /// Lithium sites per formula unit: stated, else counted in the formula; absent if neither can tell.
  std::optional<double> sites() const;
  /// [kg/m3] stated, else from the crystal; absent if neither can tell.
  std::optional<double> density() const;
  /// [mol/m3] of the unit cell; absent without crystal or formula.
  std::optional<double> crystal_concentration() const;
  /// [mol/m3] stated, else from the crystal, else from density and formula. The reader of cards has made sure.
  double maximum_concentration() const;
  /// n F / M   [C/kg], M of the formula as written; absent without formula.
  std::optional<double> theoretical_capacity() const;

  model::Host to_host(Temperatures temperatures) const;
};

struct LithiumMetalCard {
  std::string name, card, file;  ///< as in Material
  std::string note, source;
  PropertyValue exchange_current_density;
  Given<MolarEnergy> exchange_activation_energy;
  Given<Number> anodic_transfer, cathodic_transfer;
  std::optional<Given<SurfaceCapacitance>> double_layer;  ///< per plate area

  model::LithiumMetal to_model(Temperatures temperatures) const;
};

struct ElectrolyteCard {
  std::string name, card, file;  ///< as in Material
  std::string note, source;
  Given<Concentration> concentration;
  PropertyValue conductivity, diffusion_coefficient, transference_number, thermodynamic_factor;
  Given<MolarEnergy> conductivity_activation_energy, diffusion_activation_energy;

  model::Electrolyte to_model(Temperatures temperatures) const;
};

/// What reading gave: the thing where it is sound, and every fault and warning either way.
template <class T>
struct Loaded {
  std::optional<T> value;  ///< absent if there is any error
  Faults faults;
  std::vector<SourceFile> files;
  std::vector<std::string> assumptions;
};

/// Reads a card by file name, or by name among the shipped ones.
Loaded<Material> load_material(const std::string& name_or_path);
Loaded<LithiumMetalCard> load_lithium_metal(const std::string& name_or_path);
Loaded<ElectrolyteCard> load_electrolyte(const std::string& name_or_path);

/// One line for each shipped card.
struct ShippedCard {
  std::string folder;  ///< "materials", "electrolytes", "cells"
  std::string name;    ///< "graphite"
  std::string title;   ///< its `name`
  std::string text;    ///< the whole file
};
std::vector<ShippedCard> shipped_cards();

}  // namespace onegrain::params
