#pragma once

#include <cmath>
#include <memory>
#include <optional>
#include <vector>

#include "model/protocol.hpp"
#include "model/single_particle.hpp"
#include "solver/ode/bordered.hpp"
#include "solver/ode/cvode.hpp"
#include "solver/step/ends.hpp"
#include "solver/step/state.hpp"

namespace onegrain::solver {

/// A grain surface at one moment, and its derivatives with respect to the grain's three parameters.
struct SurfaceSlopes {
  Eigen::Vector3d positive = Eigen::Vector3d::Zero(), negative = Eigen::Vector3d::Zero();
};

/// One moment of a step, complete.
struct Point {
  double time = 0;                                    ///< since the start of the step [s]
  double current = 0;                                 ///< [A/m2]
  double charge = 0;                                  ///< [C/m2], as State::charge
  double positive_surface = 0, negative_surface = 0;  ///< stoichiometries
  double positive_mean = 0, negative_mean = 0;
  double temperature = 0;
  double lowest_salt = 0, highest_salt = 0;  ///< [mol/m3]
  model::Terminal terminal{};
};

/// The equations of one step of a protocol, written for what is left after the closed-form part.
///
/// With the diffusivities frozen at D0, their values at the grain surfaces when the step starts, and the current at
/// i0, its value then, the amplitudes have the closed form
///
///     A_n(t) = A_n(oo) + (a_n(0) - A_n(oo)) exp(-mu_n t),    mu_n = D0 Lambda_n / R^2,
///
/// and CVODE integrates the rest y = a - A, which starts at zero and stays smooth where a itself would start like the
/// square root of time: dy/dt = -mu y + drive (outflow(t) - outflow_0) + remainder (see Grain). For constant
/// diffusivity and current y stays zero and the answer is exact in time. The salt of a resolved electrolyte is treated
/// in the same way. Unknowns: charge, temperature where the cell has a heat balance, then the amplitudes of positive
/// and negative grains and of the salt. In a hold the current is an algebraic unknown, solved inside the right-hand
/// side.
///
/// With sensitivities, the derivatives of a (of which A, taken at the given parameters, is no function) obey
///     ds/dt = J s + df/dp,   one right-hand side for both grains at once: neither feels the other's parameters where
///     the
/// current is given. They are integrated for given currents only.
///
/// Heat (D. Bernardi et al., J. Electrochem. Soc. 132, 5 (1985), lumped, without mixing terms), per plate area:
///     C dT/dt = i (V - U) + i T dU/dT - h (T - T_amb),    U: equilibrium voltage of the evenly filled grains
class Segment final : public OdeSystem {
 public:
  /// @param sensitivities  integrate them too; only where the step is driven by a current and has no heat balance
  Segment(std::shared_ptr<const model::SingleParticle> model, const State& start, const model::Step& step,
          bool sensitivities = false);

  int size() const override { return integrated_ + positive_.count + negative_.count + salt_.count; }
  Evaluation rate(double t, ConstVectorView y, VectorView ydot) override;
  Evaluation linearise(double t, ConstVectorView y) override;
  bool factor(double gamma) override { return jacobian_.factor(gamma); }
  void solve(VectorView b) override { jacobian_.solve(b); }
  int root_count() const override { return static_cast<int>(ends_looked_for_.size()); }
  void roots(double t, ConstVectorView y, double* g) override;
  int sensitivity_count() const override { return sensitivities_ ? grain_parameters : 0; }
  Evaluation sensitivity_rates(double t, ConstVectorView y, const std::vector<ConstVectorView>& s,
                               std::vector<VectorView>& sdot) override;
  std::vector<Vector> starting_sensitivities() const;
  /// @param s  as integrated, one per grain parameter
  SurfaceSlopes surface_slopes(double t, ConstVectorView y, const std::vector<Vector>& s) const;
  /// Adds the derivatives to a state.
  void add_slopes(State& state, const std::vector<Vector>& s) const;

  /// True where y stays zero.
  bool closed_form() const { return closed_form_; }
  double starting_current() const { return current0_; }
  /// Unknowns at t = 0: all zero, the temperature being counted from that of the start.
  Vector starting_unknowns() const { return Vector::Zero(size()); }
  Vector absolute_tolerance() const;
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
  State state(double t, ConstVectorView y) const;
  /// Stoichiometry at rho = r / R in 0..1 inside the positive and the negative grain.
  Eigen::VectorXd positive_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const;
  Eigen::VectorXd negative_profile(double t, ConstVectorView y, const Eigen::ArrayXd& rho) const;
  /// Salt concentration at positions x [m] from the negative's foil (half cell: from the lithium) [mol/m3].
  Eigen::VectorXd salt_profile(double t, ConstVectorView y, const Eigen::ArrayXd& x) const;

  Eigen::VectorXd salt_amplitudes(double t, ConstVectorView y) const;  ///< of model::Salt; empty where there is none
  double temperature_at(double t, ConstVectorView y) const { return temperature(t, y); }

  /// Bound on what the number of modes costs: the last two polynomials of y, times dV/dx at the surfaces [V].
  double truncation(double t, ConstVectorView y) const;
  /// What the layers may cost that a hold makes by changing its current, as far as no mode sees them [V]: the whole
  /// change is taken to be half as old as the hold, and the potentials are asked where the surfaces may be instead, for
  /// a flat one says nothing by its slope. 0 where the current is given.
  double unseen_layer(double t, ConstVectorView y) const;
  /// Time after which the modes resolve a layer that begins at (t, y): the longer one of the two grains [s].
  double time_to_resolve(double t, ConstVectorView y) const;

  const model::SingleParticle& model() const { return *model_; }

 private:
  /// The closed-form part of one set of modes.
  struct Modal {
    const model::Grain* grain = nullptr;  // null: no such grain, or the salt
    int count = 0, offset = 0;            // place of the amplitudes in y
    double D0 = 1, outflow_per_current = 0;
    Eigen::ArrayXd drive;                  // d(amplitude rate) / d(current)
    Eigen::ArrayXd mu, steady, transient;  // A = steady + transient exp(-mu t)
    double steady_surface = 0;             // grains: sum Phi_n(1) steady_n
    Eigen::ArrayXd transient_surface;      // grains: Phi_n(1) transient_n

    void prepare(double current, const Eigen::VectorXd& start);
    void amplitudes(double t, ConstVectorView y, Eigen::VectorXd& a) const;
    double surface(double mean, double t, ConstVectorView y, bool closed_form) const;
  };

  /// What the terminals need to know of the state at (t, y).
  struct Here {
    double q, x_p, x_n, T, i;
    model::Ionic ionic;
    Eigen::VectorXd salt;  ///< amplitudes of model::Salt; empty where there is none
  };

  /// An end that is looked for while the step runs: its value is above zero until it is met.
  struct LookedFor {
    Ended reason;
    double (Segment::*value)(const Here& h) const;
    double limit, side;  ///< most are met where `side` times a quantity has risen to `side` times `limit`
  };

  void know_the_drive(const model::Drive& drive);
  Here stands_at(const State& start);
  void prepare_modes(const Here& now);
  void prepare_sensitivities(const State& start);
  void prepare_jacobian();
  /// The constraint (held quantity = its value) as the last border row of the Jacobian.
  void linearise_hold(const Here& h);
  void prepare_grain(Modal& modal, const model::Grain& grain, double outflow_per_current, double x_surface, double T);
  void prepare_ends(const Here& now);
  /// Whether this step drives a grain surface or the salt, at its limit when it starts, further into it.
  bool drives_further(Ended limit) const;
  void look_at_the_start();
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
  double positive_surface(const Here& h) const { return h.x_p; }
  double negative_surface(const Here& h) const { return h.x_n; }
  bool is_hold() const { return held_voltage_ || held_separator_side_ || held_temperature_; }
  double charge(double t, ConstVectorView y) const {
    return given_current_ ? charge0_ + given_charge(t) : charge0_ + current0_ * t + y[0];
  }
  double given_charge(double t) const;  ///< integral of the given current, exact
  double temperature(double t, ConstVectorView y) const {
    return thermal_ ? temperature_ + y[1] : given_temperature_ ? given_temperature_->at(t) : temperature_;
  }
  bool isothermal() const { return !thermal_ && !given_temperature_; }
  double mean_of(const Modal& modal, double q) const;
  double mean_by_capacity(const Modal& modal, double q) const;  ///< d mean / d ln Q
  /// Surface stoichiometries at (t, y), with the layers of recent jumps.
  void surfaces(double t, ConstVectorView y, double& x_p, double& x_n) const;
  Here here(double t, ConstVectorView y) const;
  double held_current(const Here& h, double guess) const;
  /// The current at which the cell gives off what it sheds: Newton's method.
  double current_at_constant_temperature(Here h, double guess) const;
  /// Heat taken up per plate area [W/m2].
  double heating(const Here& h, double voltage) const;
  /// d heating / d current [V] and, at constant surfaces, d heating / d charge [V m2/C] beside it.
  struct HeatingSlopes {
    double by_current, by_charge;
  };
  HeatingSlopes heating_slopes(const Here& h, const model::Terminal& v) const;
  model::Terminal terminal(const Here& h) const { return model_->terminal(h.x_p, h.x_n, h.i, h.T, h.ionic); }

  std::shared_ptr<const model::SingleParticle> model_;
  Modal positive_, negative_, salt_;
  double transference0_ = 0;
  std::optional<model::Course> given_current_, given_temperature_;
  std::vector<double> given_charges_;  // up to each moment of the given current
  bool thermal_;
  int integrated_;  // border unknowns that are integrated: charge, temperature
  double charge0_, temperature_, current0_, current_before_;
  std::optional<double> held_voltage_, held_separator_side_;
  bool held_temperature_ = false;
  bool beyond_surfaces_, sensitivities_;
  double run_start_;
  Eigen::VectorXd filling_p_, filling_n_;                // uneven filling at the start, in polynomials
  Eigen::MatrixXd positive_slopes0_, negative_slopes0_;  // amplitudes x grain parameters
  std::vector<Jump> jumps_;
  model::Ends ends_;
  bool closed_form_ = false;
  double stop_time_;
  Ended stop_reason_ = Ended::time;
  std::vector<LookedFor> ends_looked_for_;
  std::optional<Ended> ended_at_start_;
  Bordered jacobian_;
  mutable double last_current_;
  mutable Eigen::VectorXd a_, work_;
};

}  // namespace onegrain::solver
