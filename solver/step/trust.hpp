#pragma once

#include <string>
#include <vector>

#include "solver/step/simulator.hpp"

/// Where a single-particle description stops being one.
namespace onegrain::solver {

/// The limits beyond which a result is shown but not believed.
struct TrustLimits {
  /// Salt anywhere below this share of its starting concentration. Judgement: the transport data of LiPF6 electrolytes
  /// are measured from about 0.1 mol/L upwards.
  double lowest_salt_share = 0.1;
  /// Unless salt and reaction are both resolved: current above this share of the steady limiting current of the
  /// electrolyte. Judgement, held against full
  /// porous-electrode calculations: below it the resolved model stays within about 25 mV of them.
  double limiting_current_share = 0.75;
  /// Even reaction: it is in truth uneven across a layer where its ionic plus electronic resistance exceeds that of
  /// charge transfer by this factor and the drop across it exceeds 2RT/F. Source of the ratio: Newman and Balsara,
  /// Electrochemical Systems, ch. 22.
  double unevenness = 1.0;
  /// Resolved reaction: what the points over the depth of the layers may cost after all [V].
  double depth_error = 5e-3;
};

/// The verdict on a step, with the numbers behind it.
struct Trust {
  std::vector<std::string> reasons;  ///< empty: trusted. Sentences for a user
  double highest_salt = 0;           ///< anywhere, at any moment [mol/m3]
  double lowest_salt_share = 1;      ///< of the starting concentration, anywhere, at any moment
  double limiting_current_share =
      0;                  ///< largest |i| over the limiting current of its direction, once the salt has followed
  double unevenness = 0;  ///< largest ratio met
  double layer_drop = 0;  ///< largest drop across a layer with that ratio exceeded [V]

  bool trusted() const { return reasons.empty(); }
};

Trust judge(const StepSolution& step, const TrustLimits& limits = {});

/// Current density at which salt runs out at the far end of one electrode in the steady state, with transport
/// properties at the starting concentration, and the reaction spread evenly (positive electrode on discharge, negative
/// on charge; half cell: working electrode on discharge, lithium side on charge)  [A/m2]:
///
///     c_far = c_0 - [ sum of eps L times the mean rise of c above the far end ] / sum(eps L) = 0
///
/// Derived by quadrature of the steady parabolas; see S. G. Marquis et al., J. Electrochem. Soc. 166, A3693 (2019).
double limiting_current(const model::Cell& cell, bool charge, double T);

}  // namespace onegrain::solver
