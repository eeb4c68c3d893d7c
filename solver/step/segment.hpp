#pragma once

#include <cmath>
#include <memory>
#include <optional>
#include <vector>

#include "model/protocol.hpp"
#include "model/single_particle.hpp"
#include "solver/ode/cvode.hpp"
#include "solver/step/ends.hpp"
#include "solver/step/state.hpp"

namespace onegrain::solver {

/// A grain surface at one moment, and its derivatives with respect to the grain's three parameters.
struct SurfaceSlopes {
  Eigen::Vector3d positive = Eigen::Vector3d::Zero(), negative = Eigen::Vector3d::Zero();
};

/// The least and the most of a quantity over the depth of a layer; one number where the reaction is taken as even.
struct Extremes {
  double lowest = 0, highest = 0;
};

/// One moment of a step, complete.
struct Point {
  double time = 0;                                    ///< since the start of the step [s]
  double current = 0;                                 ///< [A/m2]
  double charge = 0;                                  ///< [C/m2], as State::charge
  double positive_surface = 0, negative_surface = 0;  ///< stoichiometries; means over the depth of the layer
  Extremes positive_surfaces, negative_surfaces;
  double positive_mean = 0, negative_mean = 0;
  double temperature = 0;
  double lowest_salt = 0, highest_salt = 0;  ///< [mol/m3]
  model::Terminal terminal{};
};

/// One step of a protocol as the integrator sees it: what drives it, what ends it, its heat, and from the derived class
/// how the current finds its way to the grains. Unknowns: first the charge, less what a constant current passes, then
/// the temperature where the cell has a heat balance, then those of the derived class.
///
/// Heat (D. Bernardi et al., J. Electrochem. Soc. 132, 5 (1985), lumped, without mixing terms), per plate area:
///     C dT/dt = i (V - U) + i T dU/dT - h (T - T_amb),    U: equilibrium voltage of the evenly filled grains
class Segment : public OdeSystem {
 public:
  int root_count() const override { return static_cast<int>(ends_looked_for_.size()); }
  void roots(double t, ConstVectorView y, double* g) override;

  /// Derivatives by the parameters of the grains, where they are integrated; see EvenSegment.
  virtual std::vector<Vector> starting_sensitivities() const { return {}; }
  /// @param s  as integrated, one per grain parameter
  virtual SurfaceSlopes surface_slopes(double /*t*/, ConstVectorView /*y*/, const std::vector<Vector>& /*s*/) const {
    return {};
  }
  /// Adds the derivatives to a state.
  virtual void add_slopes(State& /*state*/, const std::vector<Vector>& /*s*/) const {}

  virtual model::Reaction reaction() const = 0;
  /// True where y stays zero.
  virtual bool closed_form() const { return false; }
  double starting_current() const { return current0_; }
  /// Unknowns at t = 0: all zero, the temperature being counted from that of the start.
  Vector starting_unknowns() const { return Vector::Zero(size()); }
  virtual Vector absolute_tolerance() const = 0;
  double longest_step() const;
  /// Time at which a clock or the charge at constant current ends the step, and which of them; infinite if neither.
  double stop_time() const { return stop_time_; }
  Ended stop_reason() const { return stop_reason_; }
  /// The next moment after t at which the given current bends: no step may reach across it, or a short peak goes
  /// unseen.
  double next_bend(double t) const;
  Ended root_reason(const std::vector<int>& found) const;
  /// The end that is met already when the step starts, if any: one that was asked for and holds, or a grain surface or
  /// the salt at its limit that the step drives further into it. A step that leads away from a limit goes on.
  std::optional<Ended> ended_at_start() const { return ended_at_start_; }
  struct VoltageEnd {
    double distance;  ///< [V]; zero or below where it is met
    Ended reason;
  };
  /// Of the voltages that may end the step, the one that is nearest to it at (t, y); nothing if none may.
  std::optional<VoltageEnd> nearest_voltage_end(double t, ConstVectorView y) const;

  Point point(double t, ConstVectorView y) const;
  virtual State state(double t, ConstVectorView y) const = 0;
  /// Stoichiometry at rho = r / R in 0..1 inside the positive and the negative grain, mean over the depth of its layer.
  virtual Eigen::VectorXd positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const = 0;
  virtual Eigen::VectorXd negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const = 0;
  /// Over the depth of a layer, at places from 0 at the foil to 1 at the separator: the mean stoichiometry of the
  /// grains there, and the local current over its mean (1 where none flows). Constants where the reaction is even.
  struct OverDepth {
    Eigen::ArrayXd filling, reaction;
  };
  virtual OverDepth over_depth(double t, ConstVectorView y, bool of_positive, const Eigen::ArrayXd& places) const = 0;
  /// Stoichiometry at rho = r / R inside the grains that stand at places over the depth: rho x places.
  virtual Eigen::MatrixXd grains_over_depth(double t, ConstVectorView y, bool of_positive, const Eigen::ArrayXd& rho,
                                            const Eigen::ArrayXd& places) const = 0;
  /// Salt concentration at positions x [m] from the negative's foil (half cell: from the lithium) [mol/m3].
  Eigen::VectorXd salt_profile(double t, ConstVectorView y, const Eigen::ArrayXd& x) const;
  /// Amplitudes of model::Salt; empty where there is none.
  virtual Eigen::VectorXd salt_amplitudes(double t, ConstVectorView y) const = 0;
  double temperature_at(double t, ConstVectorView y) const { return temperature(t, y); }

  /// Bound on what the number of modes costs: the last two polynomials of y, times dV/dx at the surfaces [V].
  virtual double truncation(double t, ConstVectorView y) const = 0;
  /// What the layers may cost that a hold makes by changing its current, as far as no mode sees them [V]: the whole
  /// change is taken to be half as old as the hold, and the potentials are asked where the surfaces may be instead, for
  /// a flat one says nothing by its slope. 0 where the current is given.
  virtual double unseen_layer(double t, ConstVectorView y) const = 0;
  /// What the number of points over the depth of the layers costs at (t, y) [V]: the potentials that a finer set of
  /// points would have with the same filling, interpolated. 0 where the reaction is even.
  virtual double depth_error(double /*t*/, ConstVectorView /*y*/) const { return 0; }
  /// Time after which the modes resolve a layer that begins at (t, y): the longer one of the two grains [s].
  virtual double time_to_resolve(double t, ConstVectorView y) const = 0;

  const model::SingleParticle& model() const { return *model_; }

 protected:
  Segment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step);

  /// What the ends, the heat and the terminals need to know of the state at (t, y).
  struct Here {
    double q = 0, T = 0, i = 0;
    double x_p = 0, x_n = 0;  ///< at the grain surfaces; means over the depth of the layer
    Extremes positive, negative;
    Eigen::VectorXd salt;                       ///< amplitudes of model::Salt; empty where there is none
    mutable std::optional<model::Ionic> ionic;  ///< of EvenSegment, once it was asked for: most callers need none
  };
  virtual Here here(double t, ConstVectorView y) const = 0;
  /// At the current h.i, whatever `here` has said of it.
  virtual model::Terminal terminal(const Here& h) const = 0;

  /// To be called by the derived class, in this order, when it can answer `here` and `terminal` at the start.
  void prepare_ends(const Here& now);
  void look_at_the_start();

  bool is_hold() const { return held_voltage_ || held_separator_side_ || held_temperature_; }
  double charge(double t, ConstVectorView y) const {
    return given_current_ ? charge0_ + given_charge(t) : charge0_ + current0_ * t + y[0];
  }
  double temperature(double t, ConstVectorView y) const {
    return thermal_ ? temperature_ + y[1] : given_temperature_ ? given_temperature_->at(t) : temperature_;
  }
  double given_charge(double t) const;  ///< integral of the given current, exact
  bool isothermal() const { return !thermal_ && !given_temperature_; }
  /// The current at which the cell gives off what it sheds: Newton's method.
  double current_at_constant_temperature(Here h, double guess) const;
  /// Heat taken up per plate area [W/m2].
  double heating(const Here& h, double voltage) const;
  /// d heating / d current [V] and, at constant surfaces, d heating / d charge [V m2/C] beside it.
  struct HeatingSlopes {
    double by_current, by_charge;
  };
  HeatingSlopes heating_slopes(const Here& h, const model::Terminal& v) const;

  std::shared_ptr<const model::SingleParticle> model_;
  std::optional<model::Course> given_current_, given_temperature_;
  bool thermal_;
  int integrated_;  // unknowns of this class: charge, temperature
  double charge0_, temperature_, current0_, current_before_;
  std::optional<double> held_voltage_, held_separator_side_;
  bool held_temperature_ = false;
  mutable double last_current_;  // of a hold: from which the next search starts

 private:
  /// An end that is looked for while the step runs: its value is above zero until it is met.
  struct LookedFor {
    Ended reason;
    double (Segment::*value)(const Here& h) const;
    double limit, side;  ///< most are met where `side` times a quantity has risen to `side` times `limit`
  };

  void know_the_drive(const model::Drive& drive);
  /// Whether this step drives a grain surface or the salt, at its limit when it starts, further into it.
  bool drives_further(Ended limit) const;
  void look_for(Ended reason, double (Segment::*value)(const Here&) const, double limit, double side);
  double value_of(const LookedFor& end, const Here& h) const { return end.side * (end.limit - (this->*end.value)(h)); }
  double terminal_voltage(const Here& h) const { return terminal(h).voltage; }
  double separator_side(const Here& h) const { return terminal(h).separator_side; }
  double current_passed(const Here& h) const { return std::abs(h.i); }
  double charge_passed(const Here& h) const { return std::abs(h.q - charge0_); }
  double temperature_reached(const Here& h) const { return h.T; }
  double lowest_salt_share(const Here& h) const {
    double lowest = 0, highest = 0;
    model_->salt()->extremes(h.salt, lowest, highest);
    return lowest / model_->salt()->mean();
  }
  double fullest_positive(const Here& h) const { return h.positive.highest; }
  double emptiest_positive(const Here& h) const { return h.positive.lowest; }
  double fullest_negative(const Here& h) const { return h.negative.highest; }
  double emptiest_negative(const Here& h) const { return h.negative.lowest; }

  std::vector<double> given_charges_;  // up to each moment of the given current
  bool beyond_surfaces_;
  model::Ends ends_;
  double stop_time_;
  Ended stop_reason_ = Ended::time;
  std::vector<LookedFor> ends_looked_for_;
  std::optional<Ended> ended_at_start_;
};

}  // namespace onegrain::solver
