#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

#include "solver/estimation/fit.hpp"

// A cell and its curves as functions of what is free.
namespace onegrain::solver {

namespace {

constexpr double edge = 1e-3;  // closer to full or empty, trial values meet a straight potential
constexpr double difference_step =
    0.02;  // of z, for what has no sensitivity: errors of 1e-4 by curvature, and of 1e-3 by tolerance

model::Host& host_of(model::Cell& cell, bool negative) { return negative ? cell.negative->host : cell.positive.host; }

void scale_exchange(model::Cell& cell, bool negative, double factor) {
  model::Property& i0 = negative && !cell.negative ? cell.counter->exchange_current_density
                                                   : host_of(cell, negative).exchange_current_density;
  i0 = i0.scaled(factor);
}

void put(const FreeParameter& p, double value, model::Cell& cell) {
  switch (p.quantity) {
    case FreeQuantity::diffusion_time:
      host_of(cell, p.negative).diffusivity = host_of(cell, p.negative).diffusivity.scaled(p.nominal / value);
      break;
    case FreeQuantity::exchange_current_density:
      scale_exchange(cell, p.negative, value / p.nominal);
      break;
    case FreeQuantity::capacity:
      (p.negative ? *cell.negative : cell.positive).active_fraction *= value / p.nominal;
      break;
    case FreeQuantity::lithium:
      break;  // when all capacities are known: see CellFit::cell()
    case FreeQuantity::contact_resistance:
      cell.contact_resistance = value;
      break;
    case FreeQuantity::start:
      break;  // of one curve: see CellFit::passed_before()
    case FreeQuantity::other:
      break;  // FitProblem::rebuild
  }
}

Sensitive sensitive_of(const FreeParameter& p) {
  switch (p.quantity) {
    case FreeQuantity::diffusion_time:
      return p.negative ? Sensitive::negative_diffusion_time : Sensitive::positive_diffusion_time;
    case FreeQuantity::exchange_current_density:
      return p.negative ? Sensitive::negative_exchange : Sensitive::positive_exchange;
    case FreeQuantity::capacity:
      return p.negative ? Sensitive::negative_capacity : Sensitive::positive_capacity;
    case FreeQuantity::lithium:
    case FreeQuantity::contact_resistance:
    case FreeQuantity::start:
    case FreeQuantity::other:
      break;
  }
  return Sensitive::contact_resistance;
}

/// How the stoichiometries at the start of a run follow what is free.
struct StartSlopes {
  double Qp, Qn;
  double rested, q0;  // charges passed to the rest, and to the start
  double up, un;      // dU/dx at the rest
  bool at_rest_voltage, full_cell;

  /// Moves of the two stoichiometries for moves of the inventory (dxp, dxn), of ln Q (dlp, dln) and of the potentials
  /// (dUp, dUn).
  std::array<double, 2> of(double dxp, double dxn, double dlp, double dln, double dUp, double dUn) const {
    const auto positive = [&](double q) { return dxp + q / Qp * dlp; };
    const auto negative = [&](double q) { return full_cell ? dxn - q / Qn * dln : 0.0; };
    double dq = 0;
    if (at_rest_voltage)
      dq = (up * positive(rested) - un * negative(rested) + dUp - dUn) / (up / Qp + (full_cell ? un / Qn : 0.0));
    return {positive(q0) - dq / Qp, full_cell ? negative(q0) + dq / Qn : 0.0};
  }
};

/// Derivatives of the voltages of a run, read off its response.
struct VoltageSlopes {
  const Response& response;
  const model::Cell& cell;                ///< before anything is passed
  const model::Stoichiometries& at_rest;  ///< where the run begins, less what FreeQuantity::start has passed
  std::size_t curve;
  StartSlopes start;
  bool lithium_kept;

  auto by(Sensitive what) const { return response.slopes.col(static_cast<Eigen::Index>(what)); }
  Eigen::VectorXd through_start(const std::array<double, 2>& moved) const {
    return by(Sensitive::positive_start) * moved[0] + by(Sensitive::negative_start) * moved[1];
  }

  /// By the parameter, or by its logarithm: see per_coordinate().
  Eigen::VectorXd of(const FreeParameter& p) const {
    if (p.quantity == FreeQuantity::start) {
      const double moves = p.curve == curve ? 1 : 0;
      return through_start({-moves / start.Qp, start.full_cell ? moves / start.Qn : 0});
    }
    if (p.quantity == FreeQuantity::lithium) return through_start(start.of(0, 1 / start.Qn, 0, 0, 0, 0));
    if (p.quantity != FreeQuantity::capacity) return by(sensitive_of(p));
    // at constant lithium the filling of the negative makes up for it
    const double dxn = !lithium_kept ? 0.0
                       : p.negative  ? -cell.inventory.negative
                                     : -cell.inventory.positive * start.Qp / start.Qn;
    return by(sensitive_of(p)) + through_start(start.of(0, dxn, p.negative ? 0 : 1, p.negative ? 1 : 0, 0, 0));
  }

  /// By the coefficients of a potential, a column each.
  void of(const FreePotential& p, Eigen::Ref<Eigen::MatrixXd> columns) const {
    const Eigen::VectorXd& surface = p.negative ? response.negative_surface : response.positive_surface;
    const double sign = p.negative ? -1 : 1;
    for (Eigen::Index row = 0; row < surface.size(); ++row) columns.row(row) = sign * correction_basis(p, surface[row]);
    if (!start.at_rest_voltage) return;
    const Eigen::RowVectorXd at_start = correction_basis(p, p.negative ? at_rest.negative : at_rest.positive);
    columns += through_start(start.of(0, 0, 0, 0, p.negative ? 0 : 1, p.negative ? 1 : 0)) * at_start;
  }
};

/// From the derivative by what VoltageSlopes goes by to that by z.
double per_coordinate(const FreeParameter& p, double value) {
  const bool by_logarithm = p.quantity == FreeQuantity::diffusion_time ||
                            p.quantity == FreeQuantity::exchange_current_density ||
                            p.quantity == FreeQuantity::capacity;
  if (by_logarithm) return p.logarithmic ? 1 : p.unit / value;
  return p.logarithmic ? value : p.unit;
}

}  // namespace

double FreeParameter::value(double z) const { return logarithmic ? nominal * std::exp(z) : nominal + unit * z; }
double FreeParameter::coordinate(double at) const {
  return logarithmic ? std::log(at / nominal) : (at - nominal) / unit;
}

CellFit::CellFit(FitProblem problem) : problem_(std::move(problem)) {
  size_ = static_cast<int>(problem_.free.size());
  for (const FreePotential& p : problem_.potentials) size_ += p.coefficients();
  for (FitCurve& c : problem_.curves) {
    voltages_ += static_cast<int>(c.voltage.size());
    if (c.weight.size() == 0) c.weight = Eigen::VectorXd::Ones(c.voltage.size());
  }
  const Eigen::VectorXd as_given = Eigen::VectorXd::Zero(size_);
  for (std::size_t c = 0; c < problem_.curves.size(); ++c) {
    const ElectrolyteCourse& course = electrolyte(c, as_given, cell(as_given));
    if (course.at.size() < problem_.curves[c].run.times.size()) {
      throw std::runtime_error(problem_.curves[c].name +
                               ": the electrolyte of the sheet cannot carry the measured current: " +
                               (course.cut_short.empty() ? std::string("the run ends early") : course.cut_short) +
                               "; check the plate area, the coating thickness and the porosity");
    }
  }
}

int CellFit::residual_count() const {
  int count = voltages_ + size_;
  for (const FreePotential& p : problem_.potentials) count += p.coefficients() - 1;
  return count;
}

std::vector<double> CellFit::others(const Eigen::VectorXd& z) const {
  std::vector<double> values;
  for (std::size_t k = 0; k < problem_.free.size(); ++k) {
    const FreeParameter& p = problem_.free[k];
    if (p.quantity == FreeQuantity::other) values.push_back(p.value(z[static_cast<Eigen::Index>(k)]));
  }
  return values;
}

model::Cell CellFit::cell(const Eigen::VectorXd& z) const {
  const std::vector<double> rebuilt = others(z);
  model::Cell cell = rebuilt.empty() ? problem_.cell : problem_.rebuild(rebuilt);
  Eigen::Index k = 0;
  const FreeParameter* lithium = nullptr;
  double content = 0;
  for (const FreeParameter& p : problem_.free) {
    const double value = p.value(z[k++]);
    put(p, value, cell);
    if (p.quantity == FreeQuantity::lithium) {
      lithium = &p;
      content = value;
    }
  }
  // Any state with this much lithium will do: where a run starts along the line of charge, its voltage tells.
  if (lithium)
    cell.inventory.negative =
        (content - cell.inventory.positive * cell.positive.capacity()) / cell.negative->capacity();
  for (const FreePotential& p : problem_.potentials) {
    model::OpenCircuitPotential& U = host_of(cell, p.negative).potential;
    U = U.plus(potential_correction(p, z.segment(k, p.coefficients())));
    k += p.coefficients();
  }
  return cell;
}

/// With potentials that stay moderate for trial grains fuller than full.
model::Cell CellFit::gentle_cell(const Eigen::VectorXd& z) const {
  model::Cell gentle = cell(z);
  gentle.positive.host.potential = gentle.positive.host.potential.with_edge(edge);
  if (gentle.negative) gentle.negative->host.potential = gentle.negative->host.potential.with_edge(edge);
  return gentle;
}

double CellFit::passed_before(std::size_t index, const Eigen::VectorXd& z) const {
  double passed = 0;
  for (std::size_t k = 0; k < problem_.free.size(); ++k) {
    const FreeParameter& p = problem_.free[k];
    if (p.quantity == FreeQuantity::start && p.curve == index) passed += p.value(z[static_cast<Eigen::Index>(k)]);
  }
  return passed;
}

const ElectrolyteCourse& CellFit::electrolyte(std::size_t index, const Eigen::VectorXd& z,
                                              const model::Cell& cell) const {
  std::vector<double> now = others(z);
  if (remembered_.courses.empty() || remembered_.others != now) {
    remembered_ = {std::move(now), std::vector<std::optional<ElectrolyteCourse>>(problem_.curves.size())};
  }
  std::optional<ElectrolyteCourse>& course = remembered_.courses[index];
  if (!course)
    course = electrolyte_course(cell, problem_.curves[index].run, workspace_, problem_.electrolyte, problem_.accuracy);
  return *course;
}

bool CellFit::curve(std::size_t index, const Eigen::VectorXd& z, const model::Cell& cell,
                    Eigen::Ref<Eigen::VectorXd> difference, Eigen::MatrixXd* jacobian) const {
  const FitCurve& curve = problem_.curves[index];
  const bool full = cell.is_full_cell();
  StartSlopes start{cell.positive.capacity(),
                    full ? cell.negative->capacity() : 1,
                    starting_charge(cell, curve.start),
                    0,
                    0,
                    0,
                    curve.start.rest_voltage.has_value(),
                    full};
  start.q0 = start.rested + passed_before(index, z);
  const auto after = [&](double q) {
    return model::Stoichiometries{cell.inventory.positive - q / start.Qp,
                                  full ? cell.inventory.negative + q / start.Qn : cell.inventory.negative};
  };
  const model::Stoichiometries at_rest = after(start.rested);
  const model::Cell begins = beginning_of(index, z, cell);
  Accuracy accuracy = problem_.accuracy;
  accuracy.sensitivities = jacobian != nullptr;
  const Response r = respond(begins, curve.run, workspace_, electrolyte(index, z, cell), accuracy, true);
  if (!r.complete || !r.voltage.allFinite()) return false;
  difference = r.voltage - curve.voltage;
  for (Eigen::Index k = 0; k < difference.size() && !added_.empty(); ++k) difference[k] += added(index, k, z);
  if (!jacobian) return true;

  const double T = cell.temperature;
  start.up = cell.positive.host.potential.at(at_rest.positive, T).by_composition;
  if (full) start.un = cell.negative->host.potential.at(at_rest.negative, T).by_composition;
  const bool lithium_kept = std::any_of(problem_.free.begin(), problem_.free.end(),
                                        [](const FreeParameter& p) { return p.quantity == FreeQuantity::lithium; });
  const VoltageSlopes slopes{r, cell, at_rest, index, start, lithium_kept};
  jacobian->resize(difference.size(), size_);
  Eigen::Index k = 0;
  for (const FreeParameter& p : problem_.free) {
    if (p.quantity == FreeQuantity::other) {
      Eigen::VectorXd moved = z, above(difference.size()), below(difference.size());
      moved[k] = z[k] + difference_step;
      if (!this->curve(index, moved, gentle_cell(moved), above, nullptr)) return false;
      moved[k] = z[k] - difference_step;
      if (!this->curve(index, moved, gentle_cell(moved), below, nullptr)) return false;
      jacobian->col(k) = (above - below) / (2 * difference_step);
    } else {
      jacobian->col(k) = slopes.of(p) * per_coordinate(p, p.value(z[k]));
      if (!added_slopes_.empty()) jacobian->col(k) += added_slopes_[index].col(k);
    }
    ++k;
  }
  for (const FreePotential& p : problem_.potentials) {
    slopes.of(p, jacobian->middleCols(k, p.coefficients()));
    k += p.coefficients();
  }
  return true;
}

bool CellFit::voltages(const Eigen::VectorXd& z, Eigen::VectorXd& difference, Eigen::MatrixXd* jacobian) const {
  difference.resize(voltages_);
  if (jacobian) jacobian->resize(voltages_, size_);
  Eigen::Index row = 0;
  try {
    const model::Cell now = gentle_cell(z);
    Eigen::MatrixXd part;
    for (std::size_t c = 0; c < problem_.curves.size(); ++c) {
      const Eigen::Index n = problem_.curves[c].voltage.size();
      if (!curve(c, z, now, difference.segment(row, n), jacobian ? &part : nullptr)) return false;
      if (jacobian) jacobian->middleRows(row, n) = part;
      row += n;
    }
  } catch (const model::ImpossibleBalance&) {
    return false;
  } catch (const IntegrationFailure&) {
    return false;
  }
  return true;
}

LeastSquaresProblem CellFit::weighted(const std::vector<double>& deviation) const {
  LeastSquaresProblem p;
  p.residuals = residual_count();
  Eigen::VectorXd weight(voltages_);
  Eigen::Index row = 0;
  for (std::size_t c = 0; c < problem_.curves.size(); ++c) {
    const Eigen::Index n = problem_.curves[c].voltage.size();
    weight.segment(row, n) = problem_.curves[c].weight / deviation[c];
    row += n;
  }
  p.lower.resize(size_);
  p.upper.resize(size_);
  Eigen::MatrixXd known = Eigen::MatrixXd::Zero(residual_count() - voltages_, size_);  // times z: residuals
  Eigen::Index k = 0;
  for (const FreeParameter& f : problem_.free) {
    p.lower[k] = f.coordinate(f.lower);
    p.upper[k] = f.coordinate(f.upper);
    known(k, k) = 1 / f.prior;
    ++k;
  }
  row = size_;
  for (const FreePotential& f : problem_.potentials) {
    const Eigen::Index n = f.coefficients();
    p.lower.segment(k, n).setConstant(-1);  // V
    p.upper.segment(k, n).setConstant(1);
    known.block(k, k, n, n).diagonal().setConstant(1 / f.prior);
    for (Eigen::Index j = 0; j + 1 < n; ++j) {
      known(row, k + j) = -1 / f.roughness;
      known(row++, k + j + 1) = 1 / f.roughness;
    }
    k += n;
  }
  p.evaluate = [this, weight, known](const Eigen::VectorXd& z, Eigen::VectorXd& r, Eigen::MatrixXd* jacobian) {
    Eigen::VectorXd difference;
    Eigen::MatrixXd slopes;
    if (!voltages(z, difference, jacobian ? &slopes : nullptr)) return false;
    r.resize(residual_count());
    r.head(voltages_) = weight.cwiseProduct(difference);
    r.tail(known.rows()) = known * z;
    if (jacobian) {
      jacobian->resize(residual_count(), size_);
      jacobian->topRows(voltages_) = weight.asDiagonal() * slopes;
      jacobian->bottomRows(known.rows()) = known;
    }
    return true;
  };
  return p;
}

}  // namespace onegrain::solver
