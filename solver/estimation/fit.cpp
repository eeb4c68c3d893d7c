#include "solver/estimation/fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

namespace onegrain::solver {

namespace {

constexpr double edge = 1e-3;  // closer to full or empty, trial values meet a straight potential
constexpr double difference_step =
    0.02;  // of z, for what has no sensitivity: errors of 1e-4 by curvature, and of 1e-3 by tolerance
constexpr double first_deviation = 0.005;  // V; of the first round

model::Host& host_of(model::Cell& cell, bool negative) { return negative ? cell.negative->host : cell.positive.host; }

void scale_exchange(model::Cell& cell, bool negative, double factor) {
  model::Property& i0 = negative && !cell.negative ? cell.counter->exchange_current_density
                                                   : host_of(cell, negative).exchange_current_density;
  i0 = i0.scaled(factor);
}

void put(const FreeParameter& p, double value, model::Cell& cell) {
  switch (p.quantity) {
    case Quantity::diffusion_time:
      host_of(cell, p.negative).diffusivity = host_of(cell, p.negative).diffusivity.scaled(p.nominal / value);
      break;
    case Quantity::exchange_current_density:
      scale_exchange(cell, p.negative, value / p.nominal);
      break;
    case Quantity::capacity:
      (p.negative ? *cell.negative : cell.positive).active_fraction *= value / p.nominal;
      break;
    case Quantity::lithium:
      break;  // when all capacities are known: see CellFit::cell()
    case Quantity::contact_resistance:
      cell.contact_resistance = value;
      break;
    case Quantity::other:
      break;  // FitProblem::rebuild
  }
}

Sensitive sensitive_of(const FreeParameter& p) {
  switch (p.quantity) {
    case Quantity::diffusion_time:
      return p.negative ? Sensitive::negative_diffusion_time : Sensitive::positive_diffusion_time;
    case Quantity::exchange_current_density:
      return p.negative ? Sensitive::negative_exchange : Sensitive::positive_exchange;
    case Quantity::capacity:
      return p.negative ? Sensitive::negative_capacity : Sensitive::positive_capacity;
    case Quantity::lithium:
    case Quantity::contact_resistance:
    case Quantity::other:
      break;
  }
  return Sensitive::contact_resistance;
}

/// The cell with potentials that stay moderate for trial grains fuller than full.
model::Cell gentle(model::Cell cell) {
  cell.positive.host.potential = cell.positive.host.potential.with_edge(edge);
  if (cell.negative) cell.negative->host.potential = cell.negative->host.potential.with_edge(edge);
  return cell;
}

/// How the stoichiometries at the start of a run follow what is free.
struct StartSlopes {
  double Qp, Qn, q0;
  double up, un;  // dU/dx there
  bool at_rest_voltage, full_cell;

  /// Moves of the two stoichiometries for moves of the inventory (dxp, dxn), of ln Q (dlp, dln) and of the potentials
  /// (dUp, dUn).
  std::array<double, 2> of(double dxp, double dxn, double dlp, double dln, double dUp, double dUn) const {
    const double ap = dxp + q0 / Qp * dlp, an = full_cell ? dxn - q0 / Qn * dln : 0.0;
    double dq = 0;
    if (at_rest_voltage) dq = (up * ap - un * an + dUp - dUn) / (up / Qp + (full_cell ? un / Qn : 0.0));
    return {ap - dq / Qp, full_cell ? an + dq / Qn : 0.0};
  }
};

}  // namespace

double FreeParameter::value(double z) const { return logarithmic ? nominal * std::exp(z) : nominal + unit * z; }
double FreeParameter::coordinate(double at) const {
  return logarithmic ? std::log(at / nominal) : (at - nominal) / unit;
}

model::Curve potential_correction(const FreePotential& potential, const Eigen::Ref<const Eigen::VectorXd>& c) {
  const double h = (potential.upper - potential.lower) / potential.pieces;
  std::vector<double> breaks;
  std::vector<std::vector<double>> pieces;
  for (int j = 0; j <= potential.pieces; ++j) breaks.push_back(potential.lower + h * j);
  for (int j = 0; j < potential.pieces; ++j) {  // uniform cubic B-splines in powers of (x - break)
    const double c0 = c[j], c1 = c[j + 1], c2 = c[j + 2], c3 = c[j + 3];
    pieces.push_back({(c0 + 4 * c1 + c2) / 6, (c2 - c0) / (2 * h), (c0 - 2 * c1 + c2) / (2 * h * h),
                      (c3 - 3 * c2 + 3 * c1 - c0) / (6 * h * h * h)});
  }
  return model::Curve::pieces(std::move(breaks), pieces, model::Curve::Beyond::tangent);
}

Eigen::RowVectorXd correction_basis(const FreePotential& potential, double x) {
  Eigen::RowVectorXd basis = Eigen::RowVectorXd::Zero(potential.coefficients());
  const double h = (potential.upper - potential.lower) / potential.pieces;
  const double wanted = (x - potential.lower) / h, at = std::clamp(wanted, 0.0, static_cast<double>(potential.pieces));
  const int j = std::min(static_cast<int>(at), potential.pieces - 1);
  const double u = at - j, v = 1 - u, beyond = wanted - at;
  basis.segment(j, 4) << v * v * v / 6, (3 * u * u * u - 6 * u * u + 4) / 6, (3 * v * v * v - 6 * v * v + 4) / 6,
      u * u * u / 6;
  if (beyond != 0) {  // along the tangent at the end
    Eigen::RowVector4d slope;
    slope << -v * v / 2, (3 * u * u - 4 * u) / 2, (-3 * v * v + 4 * v) / 2, u * u / 2;
    basis.segment(j, 4) += beyond * slope;
  }
  return basis;
}

Eigen::VectorXd weights_by_slope(const std::vector<double>& charge, const Eigen::VectorXd& voltage) {
  constexpr double charge_share = 1e-3, voltage_error = 2e-3, reach = 5e-3;
  const Eigen::Index n = voltage.size();
  const auto [low, high] = std::minmax_element(charge.begin(), charge.end());
  const double range = charge.empty() ? 0 : *high - *low;
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(n);
  for (Eigen::Index k = 0; range > 0 && k < n; ++k) {
    const auto q = [&](Eigen::Index j) { return charge[static_cast<std::size_t>(j)]; };
    const Eigen::Index before = std::max<Eigen::Index>(k - 1, 0), after = std::min<Eigen::Index>(k + 1, n - 1);
    if (std::abs(q(after) - q(before)) < 1e-9 * range) continue;  // in a rest the voltage is as good as it is
    Eigen::Index a = k, b = k;
    while (a > 0 && (a == k || std::abs(q(k) - q(a)) < reach * range)) --a;
    while (b + 1 < n && (b == k || std::abs(q(b) - q(k)) < reach * range)) ++b;
    const double passed = std::abs(q(b) - q(a)) / range;
    const double slope = passed > 0.1 * reach ? (voltage[b] - voltage[a]) / passed : 0;
    weight[k] = 1 / std::sqrt(1 + std::pow(slope * charge_share / voltage_error, 2));
  }
  return weight;
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
    if (p.quantity == Quantity::other) values.push_back(p.value(z[static_cast<Eigen::Index>(k)]));
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
    if (p.quantity == Quantity::lithium) {
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
                    curve.start.rest_voltage.has_value(),
                    full};
  model::Cell begins = cell;
  begins.inventory.positive -= start.q0 / start.Qp;
  if (full) begins.inventory.negative += start.q0 / start.Qn;
  Accuracy accuracy = problem_.accuracy;
  accuracy.sensitivities = jacobian != nullptr;
  const Response r = respond(begins, curve.run, workspace_, electrolyte(index, z, cell), accuracy, true);
  if (!r.complete || !r.voltage.allFinite()) return false;
  difference = r.voltage - curve.voltage;
  if (!jacobian) return true;

  const double T = cell.temperature;
  start.up = cell.positive.host.potential.at(begins.inventory.positive, T).by_composition;
  if (full) start.un = cell.negative->host.potential.at(begins.inventory.negative, T).by_composition;
  const auto column = [&](Sensitive what) { return r.slopes.col(static_cast<Eigen::Index>(what)); };
  const auto through_start = [&](const std::array<double, 2>& moved) -> Eigen::VectorXd {
    return column(Sensitive::positive_start) * moved[0] + column(Sensitive::negative_start) * moved[1];
  };
  jacobian->resize(difference.size(), size_);
  const bool lithium_kept = std::any_of(problem_.free.begin(), problem_.free.end(),
                                        [](const FreeParameter& p) { return p.quantity == Quantity::lithium; });
  Eigen::Index k = 0;
  for (const FreeParameter& p : problem_.free) {
    Eigen::VectorXd slope;  // dV/dz
    switch (p.quantity) {
      case Quantity::diffusion_time:
      case Quantity::exchange_current_density:
      case Quantity::contact_resistance:
        slope = column(sensitive_of(p));
        break;
      case Quantity::capacity: {
        // at constant lithium the filling of the negative makes up for it
        const double dxn = !lithium_kept ? 0.0
                           : p.negative  ? -cell.inventory.negative
                                         : -cell.inventory.positive * start.Qp / start.Qn;
        slope = column(sensitive_of(p)) + through_start(start.of(0, dxn, p.negative ? 0 : 1, p.negative ? 1 : 0, 0, 0));
        break;
      }
      case Quantity::lithium:
        slope = through_start(start.of(0, 1 / start.Qn, 0, 0, 0, 0));
        break;
      case Quantity::other: {
        Eigen::VectorXd moved = z, above(difference.size()), below(difference.size());
        moved[k] = z[k] + difference_step;
        if (!this->curve(index, moved, gentle(this->cell(moved)), above, nullptr)) return false;
        moved[k] = z[k] - difference_step;
        if (!this->curve(index, moved, gentle(this->cell(moved)), below, nullptr)) return false;
        jacobian->col(k++) = (above - below) / (2 * difference_step);
        continue;
      }
    }
    const bool by_logarithm = p.quantity == Quantity::diffusion_time ||
                              p.quantity == Quantity::exchange_current_density || p.quantity == Quantity::capacity;
    const double value = p.value(z[k]);
    if (by_logarithm && !p.logarithmic) slope *= p.unit / value;
    if (!by_logarithm) slope *= p.logarithmic ? value : p.unit;
    jacobian->col(k++) = slope;
  }
  for (const FreePotential& p : problem_.potentials) {
    const Eigen::VectorXd& surface = p.negative ? r.negative_surface : r.positive_surface;
    const double sign = p.negative ? -1 : 1;
    const Eigen::RowVectorXd at_start =
        correction_basis(p, p.negative ? begins.inventory.negative : begins.inventory.positive);
    for (Eigen::Index row = 0; row < surface.size(); ++row)
      jacobian->row(row).segment(k, p.coefficients()) = sign * correction_basis(p, surface[row]);
    if (start.at_rest_voltage) {
      const Eigen::VectorXd moved = through_start(start.of(0, 0, 0, 0, p.negative ? 0 : 1, p.negative ? 1 : 0));
      jacobian->middleCols(k, p.coefficients()) += moved * at_start;
    }
    k += p.coefficients();
  }
  return true;
}

bool CellFit::voltages(const Eigen::VectorXd& z, Eigen::VectorXd& difference, Eigen::MatrixXd* jacobian) const {
  difference.resize(voltages_);
  if (jacobian) jacobian->resize(voltages_, size_);
  Eigen::Index row = 0;
  try {
    const model::Cell now = gentle(cell(z));
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

namespace {

/// What a change of each z must be to matter: a factor of 2 either way within two standard errors, 20 mV of a
/// potential.
Eigen::VectorXd useful_scale(const FitProblem& p, int size) {
  Eigen::VectorXd scale = Eigen::VectorXd::Constant(size, 0.02);  // V, of a potential
  for (std::size_t k = 0; k < p.free.size(); ++k) {
    const FreeParameter& f = p.free[k];
    scale[static_cast<Eigen::Index>(k)] = f.logarithmic ? 0.35 : 1.0;
  }
  return scale;
}

struct Noise {
  double standard_deviation = 0, independent = 0;
  std::vector<double> correlation, deviation;
};

/// @param difference  calculated minus measured, of all curves [V]
Noise noise_of(const FitProblem& problem, const Eigen::VectorXd& difference, Eigen::Index parameters) {
  Noise noise;
  double squares = 0, points = 0;
  Eigen::Index row = 0;
  for (const FitCurve& c : problem.curves) {
    const Eigen::VectorXd part = difference.segment(row, c.voltage.size()).cwiseProduct(c.weight);
    const double tau = correlation_time(part), count = c.weight.squaredNorm();
    noise.correlation.push_back(tau);
    noise.independent += count / tau;
    squares += part.squaredNorm();
    points += count;
    row += part.size();
  }
  noise.standard_deviation =
      std::max(1e-6, std::sqrt(squares / std::max(1.0, points - static_cast<double>(parameters))));
  for (const double tau : noise.correlation) noise.deviation.push_back(noise.standard_deviation * std::sqrt(tau));
  return noise;
}

}  // namespace

FitResult fit(const CellFit& problem, const FitOptions& options) {
  const FitProblem& given = problem.given();
  const Eigen::Index size = problem.size();
  const auto say = [&](const std::string& what) {
    if (options.progress) options.progress(what);
  };
  const auto stop = [&] { return options.interrupted && options.interrupted(); };
  FitResult result;

  // From every start, roughly: first what each electrode holds, as a cell that holds too little says nothing of the
  // rest.
  std::vector<double> deviation(given.curves.size(), first_deviation);
  LeastSquaresProblem weighted = problem.weighted(deviation), holding = weighted;
  std::vector<Eigen::VectorXd> starts = options.starts;
  starts.insert(starts.begin(), Eigen::VectorXd::Zero(size));
  LeastSquaresOptions rough;
  rough.most_iterations = 60;
  rough.function_tolerance = 1e-5;
  rough.parameter_tolerance = 1e-5;
  bool holds = false;
  std::vector<LeastSquaresResult> reached;
  result.evaluations = 0;
  for (const Eigen::VectorXd& start : starts) {
    if (stop()) break;
    try {
      holding.lower = holding.upper = start;
      for (std::size_t k = 0; k < given.free.size(); ++k) {
        const auto at = static_cast<Eigen::Index>(k);
        const Quantity q = given.free[k].quantity;
        if (q != Quantity::capacity && q != Quantity::lithium) continue;
        holding.lower[at] = weighted.lower[at];
        holding.upper[at] = weighted.upper[at];
        holds = true;
      }
      LeastSquaresResult tried;
      tried.parameters = start;
      if (holds) {
        tried = least_squares(holding, start, rough);
        result.evaluations += tried.evaluations;
      }
      reached.push_back(least_squares(weighted, tried.parameters, rough));
      result.evaluations += reached.back().evaluations;
    } catch (const NoAnswer&) {  // nothing to start from
    }
    say("start " + std::to_string(reached.size()) + " of " + std::to_string(starts.size()));
  }
  if (reached.empty()) {
    throw std::runtime_error(
        "the model cannot follow the measured current from any start: the electrodes of the sheet hold less charge "
        "than was passed, or the start of the test is not the one assumed");
  }
  std::stable_sort(reached.begin(), reached.end(),
                   [](const auto& x, const auto& y) { return x.sum_of_squares < y.sum_of_squares; });
  // Residuals are known to about 1e-5 of themselves: a sum of squares that changes by less has settled.
  LeastSquaresOptions fine;
  fine.most_iterations = 400;
  fine.function_tolerance = 1e-7;
  fine.gradient_tolerance = 1e-10;
  fine.parameter_tolerance = 1e-6;
  LeastSquaresResult best = reached.front();
  for (std::size_t k = 0; k < std::min<std::size_t>(3, reached.size()) && !stop(); ++k) {
    reached[k] = least_squares(weighted, reached[k].parameters, fine);
    result.evaluations += reached[k].evaluations;
    if (reached[k].sum_of_squares < best.sum_of_squares) best = reached[k];
  }
  result.starts = static_cast<int>(starts.size());
  result.starts_agreeing = static_cast<int>(std::count_if(reached.begin(), reached.end(), [&](const auto& r) {
    return r.sum_of_squares < best.sum_of_squares * 1.02 + 1e-3;
  }));

  Noise noise;
  for (int round = 0; round < options.rounds && !stop(); ++round) {
    best = least_squares(weighted, best.parameters, fine);
    result.evaluations += best.evaluations;
    Eigen::VectorXd difference;
    if (!problem.voltages(best.parameters, difference, nullptr)) break;
    noise = noise_of(given, difference, size);
    double change = 0;
    for (std::size_t c = 0; c < deviation.size(); ++c)
      change = std::max(change, std::abs(std::log(noise.deviation[c] / deviation[c])));
    result.misfits.clear();
    Eigen::Index row = 0;
    for (std::size_t c = 0; c < given.curves.size(); ++c) {
      const auto part = difference.segment(row, given.curves[c].voltage.size());
      result.misfits.push_back({given.curves[c].name, std::sqrt(part.squaredNorm() / static_cast<double>(part.size())),
                                part.mean(), part.cwiseAbs().maxCoeff(), noise.correlation[c]});
      row += part.size();
    }
    if (change < 0.02) break;
    deviation = noise.deviation;
    weighted = problem.weighted(deviation);
    say("weights, round " + std::to_string(round + 1));
  }
  best = least_squares(weighted, best.parameters, fine);
  result.evaluations += best.evaluations;
  result.noise = noise.standard_deviation;
  result.independent_points = noise.independent;
  result.degrees_of_freedom = std::max(2.0, noise.independent - static_cast<double>(size));
  result.deviation = deviation;

  IdentifiabilityOptions identifiability;
  identifiability.scale = useful_scale(given, static_cast<int>(size));
  const auto assess = [&] {
    result.uncertainty = linearised(best, result.degrees_of_freedom, options.confidence, identifiability);
  };
  assess();
  std::vector<ProfileInterval> profiles;
  const auto parameters = static_cast<int>(given.free.size());
  for (int k = 0; options.profiles && k < parameters && !stop(); ++k) {
    say("interval of " + given.free[static_cast<std::size_t>(k)].name);
    ProfileOptions quick;  // ends within 3 % of their distance: intervals are shown with three digits at most
    quick.accuracy = 0.03;
    quick.most_refits = 8;
    ProfileInterval interval =
        profile_interval(weighted, best, k, result.degrees_of_freedom, options.confidence, quick);
    if (interval.better.size() > 0 && interval.better_sum_of_squares < best.sum_of_squares - 0.1) {
      best = least_squares(weighted, interval.better, fine);
      assess();
      profiles.clear();
      k = -1;  // all over again from the lower minimum; each time the sum falls by 0.1 at least
      continue;
    }
    profiles.push_back(std::move(interval));
  }

  result.z = best.parameters;
  result.converged = best.converged;
  result.ended_by = best.ended_by;
  LeastSquaresResult data_only = best;
  // What was known of the potentials beforehand holds them together where no data are; that of the parameters is left
  // out.
  data_only.jacobian.middleRows(problem.voltage_count(), parameters).setZero();
  for (Direction& d : linearised(data_only, result.degrees_of_freedom, options.confidence, identifiability).untold) {
    if (d.weights.head(parameters).norm() > 0.3) result.untold.push_back(std::move(d));
  }
  for (int k = 0; k < parameters; ++k) {
    const FreeParameter& p = given.free[static_cast<std::size_t>(k)];
    const double z = result.z[k];
    const Interval& linear = result.uncertainty.intervals[static_cast<std::size_t>(k)];
    Estimate e{p.name, p.value(z), {p.value(linear.lower), p.value(linear.upper)}, {}, 0, false};
    e.profile.lower = e.linearised.lower;
    e.profile.upper = e.linearised.upper;
    if (static_cast<std::size_t>(k) < profiles.size()) {
      e.profile = profiles[static_cast<std::size_t>(k)];
      e.profile.lower = p.value(e.profile.lower);
      e.profile.upper = p.value(e.profile.upper);
    }
    const double se = result.uncertainty.standard_error[k];
    e.prior_share = std::isfinite(p.prior) ? std::min(1.0, se * se / (p.prior * p.prior)) : 0.0;
    e.at_bound = z <= p.coordinate(p.lower) + 1e-6 || z >= p.coordinate(p.upper) - 1e-6;
    result.estimates.push_back(e);
  }
  return result;
}

Eigen::VectorXd standard_errors_with(const CellFit& problem, const FitResult& result, const CellFit& further,
                                     const Eigen::VectorXd& further_z) {
  Eigen::VectorXd residuals;
  Eigen::MatrixXd slopes;
  const double unknown = std::numeric_limits<double>::infinity();
  LeastSquaresProblem now = problem.weighted(result.deviation);
  LeastSquaresResult all;
  all.parameters = result.z;
  if (!now.evaluate(result.z, all.residuals, &all.jacobian) || !further.voltages(further_z, residuals, &slopes)) {
    return Eigen::VectorXd::Constant(problem.size(), unknown);
  }
  double deviation = 0;
  for (const double d : result.deviation) deviation = std::max(deviation, d);
  const Eigen::Index before = all.jacobian.rows();
  Eigen::MatrixXd more = Eigen::MatrixXd::Zero(slopes.rows(), problem.size());
  for (std::size_t j = 0; j < further.given().free.size(); ++j) {
    for (std::size_t k = 0; k < problem.given().free.size(); ++k) {
      if (problem.given().free[k].name == further.given().free[j].name)
        more.col(static_cast<Eigen::Index>(k)) = slopes.col(static_cast<Eigen::Index>(j)) / deviation;
    }
  }
  auto first_of = [](const CellFit& fit, const std::string& name) -> Eigen::Index {
    auto k = static_cast<Eigen::Index>(fit.given().free.size());
    for (const FreePotential& p : fit.given().potentials) {
      if (p.name == name) return k;
      k += p.coefficients();
    }
    return -1;
  };
  for (const FreePotential& p : problem.given().potentials) {
    const Eigen::Index from = first_of(further, p.name);
    if (from >= 0)
      more.middleCols(first_of(problem, p.name), p.coefficients()) =
          slopes.middleCols(from, p.coefficients()) / deviation;
  }
  all.jacobian.conservativeResize(before + more.rows(), Eigen::NoChange);
  all.jacobian.bottomRows(more.rows()) = more;
  all.residuals.conservativeResize(before + more.rows());
  all.residuals.tail(more.rows()).setZero();
  return linearised(all, result.degrees_of_freedom).standard_error;
}

}  // namespace onegrain::solver
