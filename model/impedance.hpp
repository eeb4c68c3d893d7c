#pragma once

#include <array>
#include <optional>

#include "model/layer_impedance.hpp"
#include "model/single_particle.hpp"

/// The impedance of a cell: its equations linearised about rest at one state of charge. Exact in x, in r and in
/// frequency; no mesh, no time step.
namespace onegrain::model {

/// Where an alternating current meets resistance.
enum class ImpedancePart {
  leads,    ///< their inductance
  contact,  ///< stated on the sheet
  separator,
  positive_pores,  ///< ions in the pores of the layer
  positive_solid,  ///< electrons in its solid
  positive_transfer,
  negative_pores,
  negative_solid,
  negative_transfer,  ///< half cell: of the lithium
  salt,
  positive_grains,  ///< lithium in them: diffusion, and filling them as a whole
  negative_grains
};
constexpr std::size_t impedance_parts = 12;

/// Per part and plate area [ohm m2].
using PartImpedances = std::array<Complex, impedance_parts>;

/// One part in numbers.
struct PartFigure {
  double resistance;         ///< what it adds to the real part as the frequency goes to zero [ohm m2]
  std::optional<double> at;  ///< about where its own course is [Hz], see Impedance::figures
};

/// The sheet's equations (single_particle.hpp, layer.hpp, salt.hpp), for amplitudes of exp(i omega t) about rest: the
/// sphere in closed form, charge transfer as RT / ((aa + ac) F i0) with the double layer beside it, salt in the layers
/// and the separator, the reaction resolved over the depth of the layers or taken as even. `ElectrolyteModel::uniform`
/// keeps the salt as it is. The lithium of a half cell has its charge transfer and its double layer.
///
/// Valid for amplitudes small against RT/F = 26 mV, and for a cell at rest.
/// Sources: M. Doyle, J. P. Meyers, J. Newman, J. Electrochem. Soc. 147, 99 (2000) for the porous electrode with salt;
/// G. Paasch, K. Micka, P. Gersdorf, Electrochim. Acta 38, 2653 (1993) for the layer; both from memory.
class Impedance {
 public:
  /// @param at  where the cell rests
  Impedance(const Cell& cell, Stoichiometries at, ElectrolyteModel electrolyte, Reaction reaction);

  /// Z per plate area, the imaginary part negative where capacitive [ohm m2].
  /// @param frequency  > 0 [Hz]
  Complex operator()(double frequency) const;

  /// The same part by part; their sum is Z. In every element drop times current (Tellegen's theorem), so that a part is
  /// what its own element has: where two elements act on each other a part need not be an arc of its own.
  PartImpedances parts(double frequency) const;

  /// What each part comes to at low frequency, in closed form, and about where: charge transfer at 1 / (2 pi R_ct C),
  /// the top of its arc; pores at 1 / (2 pi R C) of the whole layer, above which the current stays near the separator
  /// (the line of 45 degrees); salt at the rate of its slowest mode; grains where the line of 45 degrees meets the
  /// upright one, 9 D / (2 pi R^2).
  std::array<PartFigure, impedance_parts> figures() const;

  /// -omega Im Z as omega goes to 0: dV/dq of the open circuit, V per charge and plate area [V m2/C].
  double elastance() const;

  /// dU/dx of the electrodes where they rest [V]; below zero where rest is stable.
  double positive_slope() const { return positive_slope_; }
  double negative_slope() const { return negative_slope_; }
  /// The layers as elements; `negative` of full cells alone.
  const PorousElement& positive() const { return positive_; }
  const std::optional<PorousElement>& negative() const { return negative_; }
  /// Charge transfer and double layer of the lithium, per plate area; half cells alone.
  const std::optional<SurfaceElement>& lithium() const { return lithium_; }

 private:
  struct Joined;
  Joined joined(double frequency) const;

  double plate_area_, inductance_, contact_;
  double separator_thickness_, separator_ionic_, separator_porosity_, separator_diffusivity_;
  double salt_potential_ = 0, salt_production_ = 0, slowest_salt_ = 0;
  bool even_;
  PorousElement positive_;
  std::optional<PorousElement> negative_;
  std::optional<SurfaceElement> lithium_;
  double positive_slope_ = 0, negative_slope_ = 0;
};

}  // namespace onegrain::model
