#pragma once

#include <memory>
#include <vector>

#include "model/layer.hpp"
#include "model/single_particle.hpp"
#include "solver/step/closed_form.hpp"
#include "solver/step/state.hpp"

namespace onegrain::solver {

/// One of the two layers of a cell with grains at the points over its depth: where they stand in a step, and the
/// currents that flow into them. Local currents are counted into the grains.
///
/// Where a powder has several classes of grains, C of them, one of each stands at every point: class c at point k has
/// place k C + c, here called a seat. Grains that are alike are one class.
struct DepthLayer {
  struct Class {
    const model::Grain* grain;
    const model::Host* host;
    double outflow;   ///< from a grain (j / c_max, m/s) per current into this class, as if it flowed at every depth
    double capacity;  ///< [C/m2]
    double share;     ///< of the capacity of the layer
  };

  const model::Electrode* electrode = nullptr;
  const model::Grain* grain = nullptr;
  const model::LayerPoints* depth = nullptr;
  double sign = 1;      ///< of the current i of the cell, sign i goes into these grains
  double capacity = 1;  ///< of all classes [C/m2]
  std::vector<Class> classes;

  int means = 0;                         ///< place of the mean stoichiometries, less their start, in y
  int local = 0;                         ///< place of the local currents among the border unknowns
  std::vector<ClosedForm> modes;         ///< of the grain at every seat
  std::vector<std::vector<Jump>> jumps;  ///< recent ones of its local current
  Eigen::VectorXd means0, current0;      ///< of every seat, when the step starts

  /// From amplitudes of the salt to concentrations, their slopes along xi, and from local currents to the current that
  /// crosses the nodes of the salt. Empty where salt is at rest.
  Eigen::MatrixXd at_samples, slope_at_samples, at_points, crossing;

  /// As looked at last.
  Eigen::VectorXd surface, salt;  ///< stoichiometries of the seats; at the points [mol/m3]
  model::LayerDrop drop;
  model::LayerState spread;

  int count() const { return depth->count(); }
  int seats() const { return count() * static_cast<int>(classes.size()); }
  Eigen::Index point_of(Eigen::Index seat) const { return seat / static_cast<Eigen::Index>(classes.size()); }
  const Class& at(Eigen::Index seat) const { return classes[static_cast<std::size_t>(seat) % classes.size()]; }
  /// Share of the seat in a mean over the lithium sites of the layer; they add up to 1.
  double weight(Eigen::Index seat) const { return depth->weights()[point_of(seat)] * at(seat).share; }
  /// The local currents of the seats, as spread last.
  const Eigen::VectorXd& currents() const { return classes.size() > 1 ? spread.class_current : spread.current; }
  /// d Phi / d x_s of a seat at the current of its point, as spread last [V].
  double response(Eigen::Index seat) const {
    return classes.size() > 1 ? spread.response[seat] : spread.by_surface[seat];
  }
  /// Mean of the surfaces as looked at last.
  double mean_surface() const;
  /// @param of_positive  which of the two layers of the cell of `m`
  DepthLayer(const model::SingleParticle& m, const model::LayerPoints& points, bool of_positive);
  /// The grains as a state has left them, at these points, and the salt beside them.
  void take(const State& state, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T);
  /// The same of a state to come: what the grains are left with at (t, y).
  DepthFilling filling(double t, ConstVectorView y) const;
  /// Stoichiometry at rho = r / R, mean over the depth; of the largest grains, which are filled least evenly.
  Eigen::VectorXd profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const;
  /// The same of the grain at every point, one column per point.
  Eigen::MatrixXd profiles(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const;
  /// The local currents of a step that starts, once `spread` is solved for them: what changes at once is a jump.
  void begin();

  double mean(Eigen::Index k, double t, ConstVectorView y) const {
    return means0[k] + current0[k] * t / at(k).capacity + y[means + k];
  }
  /// Moves to (t, y): surfaces, and what the salt makes of the way through the pores.
  void look(double t, ConstVectorView y, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T);
  /// Spreads the current i of the cell over the depth. False where that has no solution.
  bool solve(double i, double T);

  /// Phi at the separator side and from there to the foil, [V] and what its parts are, means over the depth.
  struct Potentials {
    double separator_side, foil;              ///< Phi(1), phi_s at the foil against the pores at the separator
    double equilibrium, overpotential;        ///< U, eta
    double ohmic, concentration, electronic;  ///< from the mean of U + eta to the foil: foil is the sum of the five
    double foil_by_total, separator_side_by_total;  ///< by the current of the cell [ohm m2]
    double by_surface;
  };
  Potentials potentials() const;
  /// How far Phi(1) is from what two more points would make of the same filling, as looked at last [V].
  double error_of_points(double i, const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T) const;
  double solid() const { return solid_; }  ///< L / sigma; 0 where the conductivity is not given [ohm m2]

 private:
  void see_salt(const Eigen::VectorXd& amplitudes, const model::SingleParticle& m, double T);
  void see_mean_salt(const Eigen::VectorXd& amplitudes, const model::SingleParticle& m);
  bool solve_once(double i, double T);

  std::vector<model::LayerClass> surfaces_;  // of several classes
  Eigen::MatrixXd crossed_;                  // of w: its integral from a point to the separator, per local current
  Eigen::MatrixXd uneven0_;                  // amplitudes at the start, one column per point
  Eigen::VectorXd current_before_;           // local
  struct Finer;
  mutable std::shared_ptr<Finer> finer_;  // for error_of_points: made when first asked for
  double solid_ = 0;                      // L / sigma
  double T_of_drop_ = -1;                 // where the salt is at rest the drop changes with temperature alone
};

}  // namespace onegrain::solver
