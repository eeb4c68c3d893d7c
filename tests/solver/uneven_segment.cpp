// The equations of a step whose reaction is resolved, as the integrator sees them, and what charge transfer, Ohm's laws
// and diffusion in a sphere make of them in closed form.

#include <cmath>
#include <complex>
#include <numbers>

#include "model/kinetics.hpp"
#include "solver/step/simulator.hpp"
#include "solver/step/uneven.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain;
using model::Cell;
using model::CurrentDrive;
using model::ElectrolyteModel;
using model::Reaction;
using model::SeparatorSideDrive;
using model::TemperatureDrive;
using model::VoltageDrive;
using solver::ConstVectorView;
using solver::Simulator;
using solver::State;
using solver::UnevenSegment;
using solver::Vector;
using solver::VectorView;
using solver::Workspace;

namespace {

constexpr double one_c = tests::published_one_c;
using Complex = std::complex<double>;

Cell full_cell(bool varying) {
  Cell cell = tests::nmc811_graphite_siox();
  if (!varying) return cell;
  const Cell other = tests::published_cell(true);
  cell.positive.host.diffusivity = other.positive.host.diffusivity;
  cell.negative->host.diffusivity = other.negative->host.diffusivity;
  return cell;
}

Cell half_cell(bool varying) {  // 8.1 A/m2 for lithium is invented
  Cell cell = full_cell(varying);
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.1)};
  return cell;
}

/// Three sizes of grains a side.
Cell sized(Cell cell) {
  for (model::Electrode* layer : {&cell.positive, cell.negative ? &*cell.negative : nullptr}) {
    if (layer != nullptr) layer->classes = {{0.5, 0.25, nullptr}, {0.9, 0.27, nullptr}, {2.4, 0.48, nullptr}};
  }
  return cell;
}

Cell warm_cell() {  // a heat balance with invented numbers
  Cell cell = full_cell(true);
  cell.thermal = model::Thermal{400, 5, 298.15};
  return cell;
}

/// Some way into a discharge, with everything uneven.
State used_state(const Cell& cell, ElectrolyteModel electrolyte) {
  Workspace workspace;
  Simulator simulator(cell, workspace, electrolyte, Reaction::uneven);
  return simulator.run(simulator.at_rest(0), {CurrentDrive{-1.5 * one_c}, {.time = 500}, ""}).final_state();
}

/// (I - gamma J) x - b, J x by a central difference of the rates along x.
Vector residual(UnevenSegment& segment, double t, const Vector& y, const Vector& x, const Vector& b, double gamma,
                double h) {
  const Eigen::Index n = y.size();
  const Vector ahead = y + h * x, behind = y - h * x;
  Vector f_ahead(n), f_behind(n);
  REQUIRE(segment.rate(t, ConstVectorView(ahead.data(), n), VectorView(f_ahead.data(), n)) == solver::Evaluation::ok);
  REQUIRE(segment.rate(t, ConstVectorView(behind.data(), n), VectorView(f_behind.data(), n)) == solver::Evaluation::ok);
  return x - gamma * (f_ahead - f_behind) / (2 * h) - b;
}

/// f(t) of its Laplace transform: fixed contour of A. Talbot, after J. Abate, P. P. Valko, Int. J. Numer. Meth. Engng
/// 60, 979 (2004).
template <class Transform>
double from_transform(const Transform& F, double t) {
  constexpr int M = 20;
  const double r = 2.0 * M / (5 * t);
  double sum = 0.5 * std::exp(r * t) * F(Complex(r, 0)).real();
  for (int k = 1; k < M; ++k) {
    const double theta = k * std::numbers::pi / M, cot = 1 / std::tan(theta);
    const Complex s = r * theta * Complex(cot, 1);
    sum += (std::exp(t * s) * F(s) * Complex(1, theta + (theta * cot - 1) * cot)).real();
  }
  return r / M * sum;
}

/// A layer whose kinetics are linear and whose pores hold even salt, per small current into its grains: in Laplace's
/// transform the local charge transfer is Phi - U = -Z s with
///     Z = R T / (F i0 a L) - U' (R / D) / (c_max F a L (q coth q - 1)),     q = R sqrt(p / D)    (flux into a sphere:
/// Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 9.4), and Ohm's laws give, xi from the foil,
///     s / i = nu [ k cosh nu(1 - xi) + (1 - k) cosh nu xi ] / sinh nu,
///     nu^2 = (L / Z) (1/kappa + 1/sigma),   k = kappa / (kappa + sigma)    (J. Newman, C. W. Tobias, J. Electrochem.
/// Soc. 109, 1183 (1962)); along the solid  -(phi_s(foil) - phi_e(separator) - U) / i = Z s(1)/i + L/sigma (1 - mean
/// w).
struct LinearLayer {
  double L, kappa, sigma, charge_transfer, diffusion, slope, R, D;
  LinearLayer(const model::Electrode& e, const model::Electrolyte& salt, double x, double T)
      : L(e.thickness),
        kappa(salt.conductivity(salt.concentration, T) * e.porosity / e.tortuosity),
        sigma(e.electronic_conductivity),
        R(e.particle_radius),
        D(e.host.diffusivity(x, T)) {
    const double surface = e.roughness();
    charge_transfer = model::gas_constant * T / model::faraday_constant / surface /
                      model::exchange_current_density(e.host, x, salt.concentration, T).value;
    diffusion = R / D / (e.host.maximum_concentration * model::faraday_constant * surface);
    slope = e.host.potential.at(x, T).by_composition;
  }
  Complex local(Complex p) const {
    const Complex q = R * std::sqrt(p / D);
    return charge_transfer - slope * diffusion / (q / std::tanh(q) - 1.0);
  }
  double k() const { return kappa / (kappa + sigma); }
  Complex nu(Complex Z) const { return std::sqrt(L / Z * (1 / kappa + 1 / sigma)); }
  Complex share(Complex Z, double xi) const {
    const Complex n = nu(Z);
    return n * (k() * std::cosh(n * (1 - xi)) + (1 - k()) * std::cosh(n * xi)) / std::sinh(n);
  }
  Complex resistance(Complex p) const {
    const Complex Z = local(p), n = nu(Z), mean = k() + (1 - 2 * k()) * std::tanh(n / 2.0) / n;
    return Z * share(Z, 1) + L / sigma * (1.0 - mean);
  }
};

}  // namespace

TEST_CASE("Newton's matrix of a step with the reaction resolved is the derivative of its equations",
          "[solver][uneven][segment]") {
  struct Row {
    const char* name;
    Cell cell;
    model::Drive drive;
    ElectrolyteModel electrolyte = ElectrolyteModel::resolved;
    const model::LayerPoints& points = model::LayerPoints::of(5);
  };
  const model::LayerPoints& even = model::LayerPoints::even();
  const Row rows[] = {
      {"constant D, current", full_cell(false), CurrentDrive{-one_c}},
      {"varying D, current", full_cell(true), CurrentDrive{-2 * one_c}},
      {"varying D, current, salt at rest", full_cell(true), CurrentDrive{2 * one_c}, ElectrolyteModel::uniform},
      {"constant D, hold", full_cell(false), VoltageDrive{3.9}},
      {"varying D, hold", full_cell(true), VoltageDrive{4.0}},
      {"varying D, hold, salt at rest", full_cell(true), VoltageDrive{4.0}, ElectrolyteModel::uniform},
      {"varying D, separator side held", full_cell(true), SeparatorSideDrive{0.2}},
      {"half cell, varying D, current", half_cell(true), CurrentDrive{one_c}},
      {"half cell, varying D, hold", half_cell(true), VoltageDrive{3.9}},
      {"half cell, varying D, separator side held", half_cell(true), SeparatorSideDrive{3.9}},
      {"several sizes, current", sized(full_cell(true)), CurrentDrive{-2 * one_c}},
      {"several sizes, hold", sized(full_cell(true)), VoltageDrive{4.0}},
      {"several sizes, separator side held", sized(half_cell(false)), SeparatorSideDrive{3.9}},
      {"several sizes, even, current", sized(full_cell(true)), CurrentDrive{2 * one_c}, ElectrolyteModel::resolved,
       even},
      {"several sizes, even, hold", sized(half_cell(true)), VoltageDrive{3.9}, ElectrolyteModel::resolved, even},
      {"several sizes, even, hold, salt at rest", sized(full_cell(false)), VoltageDrive{4.0}, ElectrolyteModel::uniform,
       even},
  };
  for (const Row& row : rows) {
    const State start = used_state(row.cell, row.electrolyte);
    const int degree = row.electrolyte == ElectrolyteModel::resolved ? 9 : 0;
    const auto model = std::make_shared<model::SingleParticle>(row.cell, 8, 8, degree);
    State own = start;
    if (degree > 0) {
      const model::Salt salt = model::Salt::of_count(row.cell, static_cast<int>(start.salt.size()));
      own.salt = model->salt()->amplitudes_of(salt, start.salt);
    }
    UnevenSegment segment(model, row.points, own, {row.drive, {.time = 100}, ""});
    const Eigen::Index n = segment.size();
    const Vector scale = segment.absolute_tolerance();
    const double t = 20;
    for (int seed = 0; seed < 4; ++seed) {
      for (const double gamma : {0.01, 1.0, 30.0}) {
        CAPTURE(row.name, seed, gamma);
        Vector y(n), b(n);
        for (Eigen::Index k = 0; k < n; ++k) {
          const double place = static_cast<double>(k);
          y[k] = 20 * scale[k] * std::sin(3.1 * place + seed);
          b[k] = 20 * scale[k] * std::cos(5.7 * place * place + seed);
        }
        REQUIRE(segment.linearise(t, ConstVectorView(y.data(), n)) == solver::Evaluation::ok);
        REQUIRE(segment.factor(gamma));
        Vector x = b;
        segment.solve(VectorView(x.data(), n));
        // the difference is good to its step squared, and to what the spread is solved to over the step
        const Vector left = residual(segment, t, y, x, b, gamma, 5e-3).cwiseQuotient(scale);
        const double terms = (x.cwiseAbs() + b.cwiseAbs()).cwiseQuotient(scale).maxCoeff();
        CHECK(left.cwiseAbs().maxCoeff() < 1e-4 * terms);
      }
    }
  }
}

TEST_CASE("where a cell warms up Newton's matrix leaves little of the error", "[solver][uneven][segment]") {
  // Of the heat balance it holds the cooling alone: exact it is not. What three rounds of Newton's iteration leave of
  // an error must be small, for steps up to a quarter of the time constant C / h = 80 s.
  const model::Drive drives[] = {CurrentDrive{2 * one_c}, VoltageDrive{4.05}, TemperatureDrive{true}};
  const Cell cell = warm_cell();
  Workspace workspace;
  Simulator simulator(cell, workspace, ElectrolyteModel::resolved, Reaction::uneven);
  State start = simulator.run(used_state(cell, ElectrolyteModel::resolved), {CurrentDrive{one_c}, {.time = 100}, ""})
                    .final_state();
  const auto model = std::make_shared<model::SingleParticle>(cell, 8, 8, 9);
  start.salt =
      model->salt()->amplitudes_of(model::Salt::of_count(cell, static_cast<int>(start.salt.size())), start.salt);
  start.temperature = 303.15;
  for (const model::Drive& drive : drives) {
    UnevenSegment segment(model, model::LayerPoints::of(5), start, {drive, {.time = 100}, ""});
    const Eigen::Index n = segment.size();
    const Vector scale = segment.absolute_tolerance(), y = Vector::Zero(n), none = Vector::Zero(n);
    for (const double gamma : {0.1, 1.0, 20.0}) {
      CAPTURE(drive.index(), gamma);
      REQUIRE(segment.linearise(20, ConstVectorView(y.data(), n)) == solver::Evaluation::ok);
      REQUIRE(segment.factor(gamma));
      Vector error(n);
      for (Eigen::Index k = 0; k < n; ++k) error[k] = 20 * scale[k] * std::cos(5.7 * static_cast<double>(k * k));
      const double before = error.cwiseQuotient(scale).norm();
      for (int round = 0; round < 3; ++round) {
        Vector step = residual(segment, 20, y, error, none, gamma, 1e-2);
        segment.solve(VectorView(step.data(), n));
        error -= step;
      }
      const double ratio = error.cwiseQuotient(scale).norm() / before;
      CHECK(ratio < 0.05);
    }
  }
}

TEST_CASE("Laplace's transform is inverted", "[solver][uneven]") {  // Abramowitz and Stegun, 29.3
  for (const double t : {1e-4, 0.3, 20.0}) {
    CHECK_THAT(from_transform([](Complex p) { return 1.0 / std::sqrt(p); }, t),
               WithinRel(1 / std::sqrt(std::numbers::pi * t), 1e-8));
    CHECK_THAT(from_transform([](Complex p) { return 1.0 / (p * (p + 0.5)); }, t),
               WithinRel(2 * (1 - std::exp(-0.5 * t)), 1e-7));
  }
}

TEST_CASE("a small current finds its way over both layers as linear kinetics, Ohm and Fick have it, at every moment",
          "[solver][uneven]") {
  // From the first microseconds, where the layers under the grain surfaces are semi-infinite and the voltage goes with
  // the square root of time, to a rise of the mean filling. Salt at rest; what is of even order in the current falls
  // out of the difference of two signs. Closed form: LinearLayer.
  Cell cell = tests::nmc811_graphite_siox();
  cell.negative->electronic_conductivity = 2;
  // faster kinetics, so that the spread is far from even: invented
  cell.positive.host.exchange_current_density = cell.positive.host.exchange_current_density.scaled(10);
  cell.negative->host.exchange_current_density = cell.negative->host.exchange_current_density.scaled(30);
  const double x = 0.45, i = 0.2, T = 298.15;
  cell.inventory = {x, x};
  Workspace workspace;
  Simulator simulator(cell, workspace,
                      {.relative_tolerance = 1e-7,
                       .absolute_factor = 1e-4,
                       .truncation = 1e-9,
                       .fewest_modes = 40,
                       .fewest_points = 12,
                       .depth = 1},
                      ElectrolyteModel::uniform, Reaction::uneven);
  const LinearLayer p(cell.positive, cell.electrolyte, x, T), n(*cell.negative, cell.electrolyte, x, T);
  const double separator = cell.separator.thickness * cell.separator.tortuosity /
                           (cell.separator.porosity * cell.electrolyte.conductivity(1000, T));
  const State rest = simulator.at_rest(0);
  const auto in = simulator.run(rest, {CurrentDrive{i}, {.time = 300}, ""}),
             out = simulator.run(rest, {CurrentDrive{-i}, {.time = 300}, ""});
  const double at_once = p.resistance(1e12).real() + n.resistance(1e12).real() + separator;
  const auto found = [&](double t) { return (in.at(t).terminal.voltage - out.at(t).terminal.voltage) / (2 * i); };
  const double first = found(0);
  CHECK_THAT(first, WithinRel(at_once, 1e-4));
  for (const double t : {1e-5, 1e-4, 1e-3, 0.03, 1.0, 10.0, 60.0, 300.0}) {
    const double expected =
        from_transform([&](Complex s) { return (p.resistance(s) + n.resistance(s) + separator) / s; }, t);
    CAPTURE(t, found(t), expected, at_once);
    CHECK_THAT(found(t), WithinRel(expected, 2e-4));
    CHECK_THAT(found(t) - first, WithinRel(expected - at_once, 5e-3));  // what the pulse adds after the jump
  }
  // and the local currents when it is switched on
  const State start = simulator.run(rest, {CurrentDrive{i}, {.time = 1e-9}, ""}).final_state();
  const model::LayerPoints points(12);
  REQUIRE(start.positive_depth.current.size() == 12);
  for (Eigen::Index k = 0; k < 12; ++k) {
    const double xi = points.xi()[k];
    CHECK_THAT(start.positive_depth.current[k], WithinRel(-i * p.share(p.charge_transfer, xi).real(), 2e-3));
    CHECK_THAT(start.negative_depth.current[k], WithinRel(i * n.share(n.charge_transfer, xi).real(), 2e-3));
  }
  CHECK(n.share(n.charge_transfer, 1).real() > 1.5);
}
