#pragma once

#include <Eigen/Dense>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "model/balance.hpp"
#include "model/cell.hpp"
#include "model/making.hpp"
#include "params/card/card.hpp"
#include "params/sheet/grain_sizes.hpp"
#include "params/sheet/phases.hpp"

/// The cell sheet: what the bench knows of one cell, each value with its unit, spread, source and place.
namespace onegrain::params {

enum class Arrangement { full_cell, half_cell };

/// Of a cell, on the sheet and on the command line: below, no carbonate electrolyte is liquid; above, none is stable
/// [K].
constexpr double coldest = 273.15 - 60, hottest = 273.15 + 120;

/// Mass fractions of the dry coating, and densities of what is not the host.
struct Recipe {
  Given<Fraction> active, carbon, binder;
  Given<Density> carbon_density, binder_density;  ///< shipped values unless `densities` states them
  std::optional<Given<Density>> active_density;   ///< `densities.active`; else that of the material
};

/// What the bench knows of a layer.
struct Coating {
  std::optional<Given<Loading>> loading;  ///< dry coating mass per area, foil subtracted; or the next two
  std::optional<Given<Mass>> coated_disc_mass, foil_mass;
  std::optional<Given<Length>> disc_diameter;  ///< of the weighed disc, where it is not that of the cell
  Given<Length> thickness;                     ///< foil subtracted
  Recipe recipe;
};

/// What a paper reports of a layer.
struct Layer {
  Given<Length> thickness;
  Given<Fraction> active_fraction, porosity;
};

/// One electrode: either `coating` or `layer` is set.
struct ElectrodeSheet {
  std::string key;  ///< "positive", "negative" or "working"
  Material material;
  std::optional<Coating> coating;
  std::optional<Layer> layer;
  Given<Length> particle_radius;          ///< of all grains; with `grain_sizes` their R32
  std::optional<GrainSizes> grain_sizes;  ///< classes in proportion to `particle_radius`
  std::optional<Phases> phases;           ///< of the powder, where it is not the host alone
  /// Share of the host that takes part in the test [1], > 0: below 1 grains are lost or cut off from the carbon, above
  /// 1 a mass was measured too low. Multiplies the host of the cell; masses, porosity and tortuosity stay as measured.
  Given<Fraction> accessible_fraction = assumed<Fraction>(1, "accessible_fraction", "all of the host takes part");
  std::optional<Given<Number>> tortuosity;  ///< else porosity^-0.5
  std::optional<Given<Conductivity>> electronic_conductivity;
  std::optional<Given<SurfaceCapacitance>> double_layer;  ///< per grain surface; else that of the material

  double thickness() const;  ///< [m]
  /// Dry coating mass per area [kg/m2]; absent for a layer.
  std::optional<double> loading(double plate_area) const;
  /// Mass of host per area [kg/m2], without second phases; absent for a layer of which the density is not known.
  std::optional<double> active_loading(double plate_area) const;
  /// What lies on the foil, of a coating or of a layer; second phases among what is no host.
  model::Coating on_the_foil(double plate_area) const;
  /// Mass of powder per area, second phases with the host [kg/m2]; absent as active_loading() is.
  std::optional<double> powder_loading(double plate_area) const;
  /// [kg/m3] of the host: `densities.active`, else that of the material; absent where neither tells.
  std::optional<double> host_density() const;
  /// Volume of host per volume of powder [1]; 1 without second phases.
  double host_volume_share() const;
  /// loading w_active / (rho_active thickness), or as stated, less second phases: all of the host, whether it takes
  /// part or not   [1]
  double active_fraction(double plate_area) const;
  /// Volume of carbon, binder and second phases per volume of layer [1]; 1 - active - porosity for a layer.
  double inactive_fraction(double plate_area) const;
  /// 1 - all solids, or as stated. May be negative where measurements contradict each other.
  double porosity(double plate_area) const;
  double tortuosity_value(double plate_area) const;
  /// sqrt <R^2>, mean by volume: the radius that slow diffusion sees [m].
  double diffusion_radius() const;
  /// Surface of the grains per mass of host, as smooth spheres [m2/kg]; absent where its density is not known.
  std::optional<double> specific_surface() const;
  /// Per grain surface, of sheet or card; where neither knows it, assumed_double_layer [F/m2].
  double double_layer_value() const;
  /// Where it is not assumed: the value of the sheet, or else of the card.
  const Given<SurfaceCapacitance>* known_double_layer() const;
};

struct SeparatorSheet {
  Given<Length> thickness;
  Given<Fraction> porosity;
  std::optional<Given<Number>> tortuosity;
};

struct ThermalSheet {
  Given<Mass> mass;
  Given<SpecificHeat> heat_capacity;
  Given<HeatTransfer> heat_transfer_coefficient;
  Given<Area> cooled_area;
};

struct ChargedState {
  Given<Fraction> positive;  ///< of the working electrode in a half cell
  std::optional<Given<Fraction>> negative;
};

/// A quantity that tests tell, by the name under which a fit estimates it: "negative.diffusion_time", R^2/D at half
/// filling and 25 degC; "negative.exchange_current_density", for the grain surface that the values of the sheet make;
/// "positive.capacity", "lithium" (per plate area); "contact_resistance"; or any value by its path. `value.spread` is
/// how well it is known by itself.
struct KnownQuantity {
  std::string name;
  Value value;
};

/// What is known of several quantities together: it goes before the spreads of the values that they are made of. See
/// app/study/uncertain_cell.hpp.
struct JointKnowledge {
  std::vector<KnownQuantity> of;
  Eigen::MatrixXd correlation;  ///< of the quantities (of their logarithms where the spread is a factor), dimension
                                ///< of.size()
  std::string source;
  Place place;
};

struct Sheet {
  std::string file;  ///< as asked for
  std::string name;
  std::string note;
  Arrangement arrangement = Arrangement::full_cell;
  Given<Temperature> temperature;
  std::optional<Given<Length>> disc_diameter;  ///< or
  std::optional<Given<Area>> stated_plate_area;
  Given<Voltage> lower_voltage, upper_voltage;
  std::optional<Given<Charge>> rated_capacity;  ///< of the cell
  Given<ArealResistance> contact_resistance;
  std::optional<Given<Inductance>> inductance;  ///< of the leads
  ElectrodeSheet positive;                      ///< the working electrode of a half cell
  std::optional<ElectrodeSheet> negative;       ///< full cell
  std::optional<LithiumMetalCard> counter;      ///< half cell
  std::optional<Given<Fraction>> formation_loss;
  std::optional<ChargedState> charged_state;
  SeparatorSheet separator;
  ElectrolyteCard electrolyte;
  std::optional<ThermalSheet> thermal;
  std::vector<JointKnowledge> knowledge;

  std::vector<std::string> assumptions;  ///< defaults taken, as sentences for a report
  std::vector<SourceFile> files;         ///< the sheet first, then its cards and tables

  double plate_area() const;  ///< [m2]
  bool is_full_cell() const { return arrangement == Arrangement::full_cell; }
};

/// Reads a sheet from a file, or a shipped one by name ("nmc811_graphite"). Cards are looked for beside the sheet
/// first, then among the shipped. Every fault of the sheet and its cards is collected. A sound sheet has been made into
/// a cell and balanced once; what is then impossible is among the faults.
Loaded<Sheet> load_sheet(const std::string& path);

/// The same from text; `file` is the name for messages, cards are looked for in `folder`.
Loaded<Sheet> read_sheet(const std::string& text, const std::string& file, const std::string& folder);

/// The sheet as the physics wants it, in SI units.
/// @throws model::ImpossibleBalance (also for a porosity that no pores can have), std::domain_error (a formula that is
/// not
///         finite at this temperature)
model::Cell to_cell(const Sheet& sheet);

/// The same for arithmetic that needs no pores: a porosity of any value passes.
model::Cell to_cell_of_any_porosity(const Sheet& sheet);

/// The cell with how it was made.
/// @param any_temperature  formulas of the temperature are sampled over -30..70 degC, good to some 1e-5, instead of at
/// that of the sheet
/// @throws as to_cell
model::MadeCell to_made_cell(const Sheet& sheet, bool any_temperature);

/// Calls `visit` with every number of the sheet and its cards, in a fixed order, with a path like
/// "positive.coating.loading", "negative.material.diffusion_coefficient", "electrolyte.conductivity".
void for_each_value(Sheet& sheet, const std::function<void(const std::string& path, Value& value)>& visit);
void for_each_value(const Sheet& sheet, const std::function<void(const std::string& path, const Value& value)>& visit);
/// The same with every card: "positive.material", "electrolyte", and the name of the file that it stands in.
void for_each_card(const Sheet& sheet,
                   const std::function<void(const std::string& path, const std::string& file)>& visit);

/// The value at a path, or nullptr.
Value* find_value(Sheet& sheet, const std::string& path);

}  // namespace onegrain::params
