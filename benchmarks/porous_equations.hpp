#pragma once

#include <Eigen/Dense>
#include <memory>
#include <optional>
#include <vector>

#include "benchmarks/porous_electrode.hpp"
#include "model/grain.hpp"

/// The equations of porous_electrode.hpp on a grid: residual F(y, dy/dt) = 0, its linearisation, and what is read from
/// y.
namespace onegrain::benchmarks {

/// LU of a banded matrix with partial pivoting, rows scaled by their largest entry.
class BandedMatrix {
 public:
  BandedMatrix(int size, int bandwidth);  ///< entries |row - column| <= bandwidth
  void set_zero() { entries_.setZero(); }
  double& operator()(int row, int column) { return entries_(column - row + bandwidth_, row); }
  bool factor();  ///< in place; false where singular or not finite
  void solve(Eigen::Ref<Eigen::VectorXd> b) const;

 private:
  int size_, bandwidth_;
  Eigen::MatrixXd entries_;  // one column per row of the matrix; room for the fill of pivoting
  Eigen::VectorXd scale_;
  std::vector<int> pivot_;
};

/// Unknowns: for every cell of the grid c, phi_e and, in electrodes, phi_s, i_n; then for every cell of an electrode
/// its grain: mean stoichiometry and amplitudes. Equations in the same order: salt, ionic charge, electronic charge,
/// kinetics; diffusion. phi_s = 0 at the collector of the negative, or on the lithium metal of a half cell.
class PorousEquations {
 public:
  PorousEquations(const model::Cell& cell, const Grid& grid, double current);

  int size() const { return size_; }

  /// False where y is outside the physics (no salt left).
  bool residual(const Eigen::Ref<const Eigen::VectorXd>& y, const Eigen::Ref<const Eigen::VectorXd>& rate,
                Eigen::Ref<Eigen::VectorXd> r);

  /// Factors dF/dy + alpha dF/d(rate) at y; `solve` then overwrites b with its solution. The grains are eliminated cell
  /// by cell, which leaves a banded matrix.
  bool factor(const Eigen::Ref<const Eigen::VectorXd>& y, double alpha);
  void solve(Eigen::Ref<Eigen::VectorXd> b);

  /// Consistent y and rates just after the current is switched on: salt at rest, grains evenly filled.
  /// @throws CalculationFailure where Newton's method finds no potentials
  void start(model::Stoichiometries x, Eigen::VectorXd& y, Eigen::VectorXd& rate);

  /// Absolute tolerances for a relative one.
  Eigen::VectorXd absolute_tolerances(double relative) const;

  double voltage(const Eigen::Ref<const Eigen::VectorXd>& y) const;
  Point point(double t, const Eigen::Ref<const Eigen::VectorXd>& y);

 private:
  struct Layer {
    const model::Electrode* electrode;  // none in the separator
    double porosity, transport;         // transport: eps / tau
    double conductivity, surface;       // sigma, a
    double flux_to_outflow;             // i_n -> j / c_max
    std::optional<model::Grain> grain;
    int first, count;  // cells
  };
  struct Node {
    int layer;
    double width;
    int at;     // of c in y
    int grain;  // of the mean stoichiometry in y; -1 in the separator
  };
  /// Effective properties in a cell at its salt concentration, and their derivatives by it.
  struct Salt {
    double c, D, D_c, kappa, kappa_c, t, t_c, theta, theta_c;  // theta = 2 (RT/F) (1 - t+) chi  [V]
  };
  /// What passes between two cells: i_e and the flux of lithium ions, with derivatives by c, phi_e left and right.
  struct Face {
    double i, N;
    double i_by[4], N_by[4];  // c left, phi left, c right, phi right
  };

  bool evaluate_salt(const Eigen::Ref<const Eigen::VectorXd>& y);
  Face face(int left, const Eigen::Ref<const Eigen::VectorXd>& y) const;
  bool lithium_face(const Eigen::Ref<const Eigen::VectorXd>& y, Face& f) const;
  double lithium_salt() const;
  double electronic_conductance(int left) const;
  const Layer& layer_of(const Node& n) const { return layers_[static_cast<std::size_t>(n.layer)]; }

  model::Cell cell_;
  double current_, T_;
  int modes_;
  std::vector<Layer> layers_;
  std::vector<Node> nodes_;
  int coupled_ = 0, size_ = 0;  // unknowns before the grains; all
  std::vector<Salt> salt_;

  BandedMatrix matrix_;
  /// Eliminated grain: P = alpha - A, w = P^-1 b with b = d(rate)/d(i_n); kinetics see q (1, Phi(1)) . grain.
  struct Eliminated {
    double q;
    Eigen::VectorXd w;
    Eigen::VectorXd diagonal;                    // of P, where the modes decouple
    Eigen::PartialPivLU<Eigen::MatrixXd> dense;  // of P, otherwise
  };
  std::vector<Eliminated> eliminated_;
  void solve_grain(const Eliminated& e, const Layer& layer, Eigen::Ref<Eigen::VectorXd> b) const;
};

}  // namespace onegrain::benchmarks
