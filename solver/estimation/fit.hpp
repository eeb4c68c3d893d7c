#pragma once

#include <functional>
#include <limits>
#include <string>
#include <vector>

#include "solver/estimation/least_squares.hpp"
#include "solver/estimation/uncertainty.hpp"
#include "solver/step/replay.hpp"

/// Parameters of a cell from voltages that were measured: bounded least squares over several runs at once, with
/// derivatives by forward sensitivities, and what the data can and cannot tell.
///
/// Under a given current a single particle shows its grains only through R^2/D, the exchange current density per plate
/// area, the capacity, the filling at the start and the open-circuit potential; R and D apart, or a surface and an
/// exchange current density apart, leave no trace in any voltage.
namespace onegrain::solver {

enum class FreeQuantity {
  diffusion_time,            ///< R^2/D [s]; D is scaled, R kept
  exchange_current_density,  ///< [A/m2]; negative of a half cell: of the lithium
  capacity,                  ///< F eps L c_max [C/m2], through the active fraction, at constant diffusion time
  lithium,  ///< that both electrodes share, x_p Q_p + x_n Q_n [C/m2], kept when a capacity changes; full cells
  contact_resistance,  ///< [ohm m2]
  start,  ///< charge passed from FitCurve::start to where the run of one curve begins, charging positive [C/m2]
  other   ///< anything else, through FitProblem::rebuild; differentiated by central differences
};

/// One number to be estimated. The search goes over z = ln(value / nominal), or (value - nominal) / unit.
struct FreeParameter {
  std::string name;
  FreeQuantity quantity;
  bool negative = false;  ///< of the negative electrode
  double nominal;         ///< in the cell as given, SI
  double lower, upper;    ///< bounds, SI
  bool logarithmic = true;
  double unit = 1;                                         ///< where not logarithmic
  double prior = std::numeric_limits<double>::infinity();  ///< standard deviation of z that is known beforehand
  std::size_t curve = 0;                                   ///< of `start`: which curve; of none: beyond their number

  double value(double z) const;
  double coordinate(double value) const;
};

/// An open-circuit potential of which the shape is corrected: a cubic spline with evenly spaced knots is added.
struct FreePotential {
  std::string name;
  bool negative = false;
  int pieces = 24;
  double lower, upper;      ///< stoichiometries that the spline covers; beyond, it goes on along its end tangents
  double prior = 0.02;      ///< standard deviation of each coefficient around no correction [V]
  double roughness = 0.01;  ///< and of the difference between neighbours: where no data are, the correction goes on
                            ///< level [V]. Penalised splines: Eilers and Marx, Statist. Sci. 11, 89 (1996)

  int coefficients() const { return pieces + 3; }
};

/// The cubic spline of a FreePotential, sum_k coefficients[k] B_k(x), and its basis at x.
model::Curve potential_correction(const FreePotential& potential,
                                  const Eigen::Ref<const Eigen::VectorXd>& coefficients);
Eigen::RowVectorXd correction_basis(const FreePotential& potential, double x);

struct FitCurve {
  std::string name;
  Run run;
  Eigen::VectorXd voltage;  ///< measured at run.times [V]
  Start start;
  /// Relative weight of each voltage, 0..1; empty: all 1. See weights_by_slope().
  Eigen::VectorXd weight{};
};

/// Weights for voltages that run steeply with charge: where the charge itself is known to a share s_q of the capacity
/// only, a voltage is known to s_V^2 + (dV/dq s_q Q)^2 rather than to s_V^2,
///
///     w = 1 / sqrt( 1 + (dV/d(q/Q) s_q / s_V)^2 ),    s_q = 0.001, s_V = 2 mV.
///
/// Without them the last per cent of a discharge, where the voltage falls a hundred times as steeply, outweighs all the
/// rest. Effective variance: J. Orear, Am. J. Phys. 50, 912 (1982). s_q: the current accuracy of a good cycler, common
/// practice.
/// @param charge  passed since the start of the run, any sign [C]; dV/dq is taken over 0.5 % of its range on either
/// side
Eigen::VectorXd weights_by_slope(const std::vector<double>& charge, const Eigen::VectorXd& voltage);

struct FitProblem {
  model::Cell cell;
  model::ElectrolyteModel electrolyte = model::ElectrolyteModel::resolved;
  std::vector<FitCurve> curves;
  std::vector<FreeParameter> free;
  std::vector<FreePotential> potentials;
  Accuracy accuracy{};
  /// The cell for values of the parameters that are `other`, in their order; the other parameters are put in
  /// afterwards.
  std::function<model::Cell(const std::vector<double>& others)> rebuild{};
  /// uneven: what the reaction resolved over the depth of the layers adds to the voltages is added, with its
  /// derivatives by differences, from the values that have been reached (CellFit::resolve_reaction), and looked up anew
  /// until it is what those derivatives foretell.
  model::Reaction reaction = model::Reaction::even;
};

/// The problem as functions of z: the parameters first, then the coefficients of each potential.
class CellFit {
 public:
  /// Not for several threads at once.
  /// @throws std::runtime_error where the salt of the cell as given is used up in one of the runs
  explicit CellFit(FitProblem problem);

  const FitProblem& given() const { return problem_; }
  int size() const { return size_; }
  int voltage_count() const { return voltages_; }
  int residual_count() const;  ///< voltages, then what is known beforehand
  model::Cell cell(const Eigen::VectorXd& z) const;

  /// Calculated minus measured voltages of all curves [V], one after the other, and their derivatives.
  /// @return false where the model has no answer
  bool voltages(const Eigen::VectorXd& z, Eigen::VectorXd& difference, Eigen::MatrixXd* jacobian) const;

  /// What the resolved reaction adds to each curve at these values.
  std::vector<ReactionCourse> reaction(const Eigen::VectorXd& z) const;
  /// Adds it to all voltages from now on, z + dz: as it is at z, and its derivative times dz.
  /// @param slopes  false: without the derivative, for large dz
  /// @return how far it is off what was added at z before, of the curve where it is furthest, rms [V]
  double resolve_reaction(const Eigen::VectorXd& z, bool slopes = true) const;
  /// As it was looked up last, by curve; empty: nothing is added.
  const std::vector<ReactionCourse>& added() const { return added_; }

  /// Residuals in units of their standard deviation: differences over `deviation` of their curve [V], then what was
  /// known beforehand: z of the parameters, the coefficients of the potentials, and the differences between neighbours
  /// of these.
  LeastSquaresProblem weighted(const std::vector<double>& deviation) const;

 private:
  bool curve(std::size_t index, const Eigen::VectorXd& z, const model::Cell& cell,
             Eigen::Ref<Eigen::VectorXd> difference, Eigen::MatrixXd* jacobian) const;
  model::Cell gentle_cell(const Eigen::VectorXd& z) const;
  /// The cell where the run of a curve begins.
  model::Cell beginning_of(std::size_t index, const Eigen::VectorXd& z, const model::Cell& cell) const;
  /// By FreeQuantity::start of that curve [C/m2].
  double passed_before(std::size_t index, const Eigen::VectorXd& z) const;
  /// The values of the parameters that are `other`.
  std::vector<double> others(const Eigen::VectorXd& z) const;
  /// Of that curve in that cell: from the last time, unless something changed that the electrolyte may feel.
  const ElectrolyteCourse& electrolyte(std::size_t index, const Eigen::VectorXd& z, const model::Cell& cell) const;

  FitProblem problem_;
  int size_ = 0, voltages_ = 0;
  mutable Workspace workspace_;
  struct Remembered {
    std::vector<double> others;
    std::vector<std::optional<ElectrolyteCourse>> courses;  // by curve
  };
  mutable Remembered remembered_;
  /// What the resolved reaction adds to a voltage, and its derivative.
  double added(std::size_t index, Eigen::Index row, const Eigen::VectorXd& z) const;
  Eigen::MatrixXd reaction_slopes(std::size_t index, const Eigen::VectorXd& z, const ReactionCourse& here) const;
  mutable std::vector<ReactionCourse> added_;
  mutable std::vector<Eigen::MatrixXd> added_slopes_;  ///< of each curve: rows x parameters; empty: none
  mutable Eigen::VectorXd added_at_;
};

struct FitOptions {
  std::vector<Eigen::VectorXd> starts{};  ///< further ones than z = 0
  double confidence = 0.95;
  bool profiles = true;  ///< profile-likelihood intervals
  int rounds = 4;        ///< of weights and estimates
  std::function<bool()> interrupted{};
  std::function<void(const std::string&)> progress{};
};

struct Estimate {
  std::string name;
  double value;             ///< SI
  Interval linearised;      ///< SI
  ProfileInterval profile;  ///< SI; as `linearised` where it was not asked for
  double prior_share;       ///< of what is known afterwards, how much was known beforehand: 0..1
  bool at_bound;
};

/// How one curve is met.
struct CurveMisfit {
  std::string name;
  double rms, mean, largest;  ///< calculated minus measured [V]
  double correlation_time;    ///< of the residuals, in points
};

struct FitResult {
  Eigen::VectorXd z;                ///< `CellFit::cell(z)` is the cell with the estimates
  std::vector<Estimate> estimates;  ///< of the parameters
  Uncertainty uncertainty;          ///< in z, parameters and coefficients
  std::vector<Direction> untold;    ///< combinations that the data alone, without prior knowledge, do not tell
  std::vector<CurveMisfit> misfits;
  double noise;               ///< standard deviation of the residuals [V]
  double independent_points;  ///< number of residuals that count, after correlation
  double degrees_of_freedom;
  int starts, starts_agreeing;  ///< tried, and arriving at the same sum of squares
  int evaluations;
  bool converged;
  std::string ended_by;
  std::vector<double> deviation;  ///< of each curve, as weighted [V]
};

/// Least squares from every start; then the noise and its correlation from what is left, weights anew, until they
/// agree.
///
/// Residuals of a model that is not quite right hang together along a curve. Each curve is therefore weighted with its
/// correlation_time: intervals count independent points, not rows.
/// @throws std::runtime_error where no start has an answer
FitResult fit(const CellFit& problem, const FitOptions& options = {});

/// Standard errors (in z) that would remain if a further test were made, with the noise of the fit.
/// @param further  the same free parameters and potentials; names are matched, missing ones are not seen by that test
Eigen::VectorXd standard_errors_with(const CellFit& problem, const FitResult& result, const CellFit& further,
                                     const Eigen::VectorXd& further_z);

}  // namespace onegrain::solver
