#pragma once

#include <optional>
#include <string>
#include <vector>

#include "model/balance.hpp"
#include "params/sheet/sheet.hpp"

/// Bench arithmetic: from balance, micrometer, diffraction pattern and recipe to fractions, capacities and currents.
namespace onegrain::params {

/// A result with its uncertainty, SI.
struct BenchFigure {
  double value = 0;
  double plus_minus = 0;  ///< half-width of the 95 % interval; 0 where no input has a spread
  const Kind* kind = nullptr;

  /// "2.410 ± 0.086 mAh", to the second digit of the uncertainty; "2.41 mAh" with `digits` digits where there is none.
  std::string text(int digits = 4) const;
};

/// Masses and fractions are those of all that was weighed; capacities and stoichiometries those of the host that takes
/// part, the share `accessible_fraction` of it, so that they are what a cycler counts.
struct ElectrodeBench {
  std::string key;  ///< "positive", "negative", "working"
  std::string material;
  bool second_phases = false;                  ///< counted with carbon and binder
  std::optional<BenchFigure> coating_loading;  ///< dry coating per area
  std::optional<BenchFigure> active_loading;   ///< host per area
  std::optional<BenchFigure> active_mass;      ///< host in the cell
  BenchFigure thickness, active_fraction, porosity, inactive_fraction, tortuosity;
  std::optional<BenchFigure> sauter_radius, diffusion_radius;  ///< of grains that are not alike
  std::optional<BenchFigure> specific_surface;                 ///< of the grains per mass of host, smooth spheres
  std::string size_note;                                       ///< of what, and into how many classes; may be empty
  std::optional<BenchFigure> accessible_fraction;              ///< where it is stated, or not 1
  BenchFigure areal_capacity;                                  ///< F eps L c_max: grains full minus grains empty
  BenchFigure areal_capacity_in_window;                        ///< between the cut-offs of this cell
  std::optional<BenchFigure> theoretical_capacity;             ///< n F / M, per mass of the formula as written
  std::optional<BenchFigure> specific_capacity;                ///< areal_capacity over active_loading
  std::optional<BenchFigure> specific_capacity_in_window;
  BenchFigure maximum_concentration;
  std::optional<BenchFigure> crystal_concentration;
  std::optional<BenchFigure> density;
  BenchFigure stoichiometry_full, stoichiometry_empty;  ///< at the upper and the lower cut-off, at rest
};

/// A host that is full or empty at rest before a cut-off is met, in words and numbers.
struct RestEnd {
  std::string key;       ///< of the electrode: "positive", "negative", "working"
  bool upper;            ///< before the upper cut-off, or before the lower one
  bool host_full;        ///< or empty
  double cut_off;        ///< [V]
  double voltage;        ///< of the cell at rest there [V]
  double stoichiometry;  ///< of that host there
  std::string brief;     ///< "At rest the negative is empty before the lower cut-off is met."
  std::string text;      ///< the same with numbers, and what follows from it
};

struct RateRow {
  double c_rate;
  std::string name;                        ///< "C/5"
  double current;                          ///< [A]
  double current_density;                  ///< [A/m2]
  std::optional<double> specific_current;  ///< [A/kg] of the host of the positive (working) electrode
  double hours;                            ///< for the rated capacity
};

struct Bench {
  ElectrodeBench positive;  ///< working electrode of a half cell
  std::optional<ElectrodeBench> negative;
  std::optional<BenchFigure> capacity_ratio;  ///< N/P: room in the negative over the lithium of the first charge; with
                                              ///< a `charged_state` over the charge between the cut-offs
  BenchFigure plate_area;
  BenchFigure equilibrium_capacity;  ///< of the cell between the cut-offs [C]
  BenchFigure rated_capacity;        ///< stated, else the equilibrium one [C]
  bool rated_capacity_stated = false;
  BenchFigure one_c_current;  ///< [A]
  model::Window window{};
  std::vector<RestEnd>
      rest_ends;  ///< where a cut-off lies beyond what the hosts reach at rest; also among the assumptions
  std::vector<RateRow> rates;
  std::vector<std::string> warnings;  ///< what cannot be, each naming the measurement to repeat
  std::vector<std::string> doubts;    ///< those of them in the light of which no figure of the cell can be relied on
  std::vector<std::string> assumptions;
};

/// N/P of a cell that follows from a sheet, the one definition of every verb: what the negative can take over what it
/// must take. From powders as made that is all the lithium of the first charge; a sheet with a `charged_state` does not
/// tell the first charge: there it is the charge between the cut-offs (`capacity_ratio_basis`).
double capacity_ratio(const Sheet& sheet, const model::Cell& cell, const model::Window& window);
/// "the negative's room over the lithium of the first charge"
const char* capacity_ratio_basis(const Sheet& sheet);

/// All of it. Spreads of the sheet are propagated by central differences of one standard deviation, as independent,
/// combined in quadrature.
/// @throws model::ImpossibleBalance
Bench bench(const Sheet& sheet, const std::vector<double>& c_rates = {0.05, 0.1, 0.2, 1.0 / 3, 0.5, 1, 2, 3, 5});

}  // namespace onegrain::params
