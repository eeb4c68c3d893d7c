#pragma once

#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "model/balance.hpp"
#include "model/layer.hpp"
#include "solver/step/segment.hpp"

namespace onegrain::solver {

constexpr double doubtful_layer = 5e-3;  ///< what an unresolved layer may cost before it is told [V]

/// A step that has been integrated: a continuous solution that can be asked for any moment.
class StepSolution {
 public:
  double duration() const { return duration_; }  ///< [s]; 0 if an end held already at the start
  Ended ended_by() const { return ended_; }
  Point at(double t) const;  ///< 0 <= t <= duration
  Point first() const { return at(0); }
  Point last() const { return at(duration_); }
  State final_state() const;
  Eigen::VectorXd positive_profile(double t, const Eigen::ArrayXd& rho) const;
  Eigen::VectorXd negative_profile(double t, const Eigen::ArrayXd& rho) const;
  Eigen::VectorXd salt_profile(double t, const Eigen::ArrayXd& x) const;
  /// See Segment::over_depth; a half cell has the positive alone.
  Segment::OverDepth over_depth(double t, bool of_positive, const Eigen::ArrayXd& places) const;
  /// See Segment::grains_over_depth.
  Eigen::MatrixXd grains_over_depth(double t, bool of_positive, const Eigen::ArrayXd& rho,
                                    const Eigen::ArrayXd& places) const;

  Eigen::VectorXd salt_amplitudes(double t) const;  ///< of model::Salt; empty where there is none
  double temperature(double t) const;               ///< [K]

  /// Derivatives of the grain surfaces; of a step that was run with sensitivities.
  SurfaceSlopes surface_slopes(double t) const;

  /// int V i dt over the step [J/m2]: positive into the cell. Gauss points in the square root of time; 1e-5 relative,
  /// where the voltage falls steeply at the end, better elsewhere.
  double energy() const;

  /// Largest of Segment::truncation over the step [V].
  double truncation() const { return truncation_; }
  /// Largest of Segment::depth_error over the step [V].
  double depth_error() const { return depth_error_; }
  /// Until when the layer under the grain surfaces is thinner than the modes resolve, by more than `doubtful_layer`:
  /// what is told of that time is of the right order only [s]; 0: never.
  double unresolved_until() const { return unresolved_until_; }
  const Counts& counts() const { return counts_; }
  const model::SingleParticle& model() const { return segment_->model(); }
  model::Reaction reaction() const { return segment_->reaction(); }

 private:
  friend class Simulator;
  /// y(t) = sum_k coefficients.col(k) (t - origin)^k up to `end`. No pieces: y stays as it starts.
  struct Piece {
    double end, origin;
    Eigen::MatrixXd coefficients;
    std::vector<Eigen::MatrixXd> sensitivities;
  };
  ConstVectorView unknowns(double t) const;
  const Piece& piece_at(double t) const;
  std::vector<Vector> sensitivities(double t) const;

  std::shared_ptr<const Segment> segment_;
  std::vector<Piece> pieces_;
  double duration_ = 0;
  Ended ended_ = Ended::time;
  bool coarse_salt_ = false;  // more polynomials are wanted for it
  double truncation_ = 0, depth_error_ = 0, unresolved_until_ = 0;
  UnresolvedLayer left_unresolved_;
  Counts counts_;
  mutable Vector y_;
};

/// Integrators of several sizes, kept for reuse. One per thread.
class Workspace {
 public:
  Cvode& integrator(int size, int sensitivities = 0);

 private:
  std::map<std::pair<int, int>, Cvode> integrators_;
};

struct Accuracy {
  double relative_tolerance = 1e-5;  ///< of CVODE, on the part that has no closed form
  double absolute_factor = 2;        ///< multiplies Segment::absolute_tolerance
  double truncation = 5e-5;          ///< more modes are taken until Segment::truncation stays below [V]
  int fewest_modes = 12;
  int salt_degree = 8;  ///< of the polynomials for the salt in each layer; three more than points at least, and with
                        ///< the reaction resolved more where a front of used-up salt asks for them
  bool sensitivities = false;  ///< also the derivatives with respect to the grain parameters; see EvenSegment
  int fewest_points = 4;       ///< over the depth of a layer, where the reaction is resolved
  double depth = 6e-4;         ///< more points are taken until Segment::depth_error stays below [V]
};

/// What a description takes unless told otherwise. With the reaction resolved many local currents share an error, and
/// the points over the depth set what can be had: measured against full porous-electrode calculations, 0.03 to 0.3 mV.
Accuracy usual_accuracy(model::Reaction reaction);

/// Runs steps on one cell. Not for several threads at once; cheap to make.
class Simulator {
 public:
  Simulator(const model::Cell& cell, Workspace& workspace, Accuracy accuracy = {},
            model::ElectrolyteModel electrolyte = model::ElectrolyteModel::uniform,
            model::Reaction reaction = model::Reaction::even);
  /// With the accuracy that is usual.
  Simulator(const model::Cell& cell, Workspace& workspace, model::ElectrolyteModel electrolyte,
            model::Reaction reaction)
      : Simulator(cell, workspace, usual_accuracy(reaction), electrolyte, reaction) {}

  const model::Cell& cell() const { return cell_; }
  int points() const { return points_; }  ///< over the depth of a layer, as the last run took them
  /// Forgets that earlier runs have asked for more points over the depth, and for finer salt.
  void start_coarse();

  /// At rest, grains evenly filled, after charge q from `cell.inventory` [C/m2].
  State at_rest(double q) const;
  State at_rest(model::Stoichiometries x) const;

  /// Integrates one step. The numbers of modes and of points over the depth rise until the estimates of their errors
  /// are below the accuracy asked for.
  /// @throws IntegrationFailure, also where no end is ever met
  StepSolution run(const State& start, const model::Step& step);

 private:
  /// An estimate of error with the reaction resolved counts where it is small, or lasts: the fall down the wall of a
  /// potential is over in a moment, and makes volts of anything.
  struct Lasting {
    double small_at = 0;  ///< when it was last small [s]
    bool counts(double error, double small, double t);
  };
  struct Doubts {
    Lasting depth, modes;
    int unlooked = 0, absurd_steps = 0;
  };
  StepSolution attempt(const State& start, const model::Step& step);
  bool fine_enough(const Segment& segment, double t, ConstVectorView y, bool goes_on, Doubts& doubts,
                   StepSolution& solution) const;
  void add_unresolved(const UnresolvedLayer& before, StepSolution& solution);
  void make_model();
  bool wants_more_points(double depth_error) const {
    return depth_error > accuracy_.depth && points_ < points_allowed_;
  }
  void take_more_points(double depth_error);
  int salt_degree() const;
  bool salt_is_coarse(const Segment& segment, double t, ConstVectorView y) const;
  /// With the salt in the polynomials of this model, whatever those were that it was made with.
  State with_own_salt(const State& start) const;

  model::Cell cell_;
  Workspace* workspace_;
  Accuracy accuracy_;
  model::ElectrolyteModel electrolyte_;
  model::Reaction reaction_;
  int modes_, points_, salt_degree_;
  int points_allowed_;  ///< in this run
  std::shared_ptr<const model::SingleParticle> model_;
  const model::LayerPoints* depth_ = nullptr;  ///< none where the reaction is even
};

}  // namespace onegrain::solver
