#pragma once

#include <memory>

#include "model/layer.hpp"
#include "solver/step/simulator.hpp"

/// A correction of the single-particle model: grains at several depths of the layer that takes lithium up, each with
/// its own share of the current, and the salt that this spread of the reaction makes. It answers one question, how low
/// the potential at the separator side falls, which an even reaction answers wrongly wherever the potential is steep or
/// flat in the stoichiometry: the grains at the separator run ahead of the mean. The other electrode stays a single
/// particle.
namespace onegrain::solver {

/// The grains at the points of the layer.
struct UnevenState {
  Eigen::VectorXd means;       ///< stoichiometries; empty: evenly filled
  Eigen::MatrixXd amplitudes;  ///< of the modes, one column per point
  Eigen::VectorXd salt;        ///< amplitudes of model::Salt; empty: even
};

struct UnevenStep {
  UnevenState end;
  std::vector<double> times, separator_side;  ///< at every step of the integrator [s], [V]
  double lowest_separator_side = 0;           ///< at any moment of the step [V]
  double time_of_lowest = 0;                  ///< since its start [s]
  double largest_share = 1;                   ///< largest local current over the mean, at any moment
  double lowest_salt = 0;          ///< anywhere, at any moment; infinite where the salt is not resolved [mol/m3]
  double time_of_lowest_salt = 0;  ///< [s]
  Counts counts;
  double highest_surface = 0;  ///< stoichiometry at any grain surface, at any moment
};

class UnevenLayer {
 public:
  /// @param points  across the layer: with 6 the plating onset of the published cells lies within 0.5 % of that with 10
  /// @param modes   in each grain
  UnevenLayer(const model::Cell& cell, Workspace& workspace, int points = 6, int modes = 6);

  /// Follows a step of constant current that puts lithium into the layer: the charge of a full cell (its negative), the
  /// discharge of a half cell (its working electrode).
  /// @param start  left by the step before; means empty: all grains at the mean that `step` starts with
  /// @throws IntegrationFailure
  UnevenStep follow(const StepSolution& step, const UnevenState& start) const;

 private:
  class Equations;
  model::Cell cell_;
  Workspace* workspace_;
  model::LayerPoints points_;
  int modes_;
};

}  // namespace onegrain::solver
