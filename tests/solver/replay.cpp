// A cell under a current that was measured: the surface of a grain under any current by Duhamel's integral of Crank's
// series, the start at a voltage, and the derivatives of the voltage that a search for parameters goes by. Sources: J.
// Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 6, eq. 6.45 for the step of flux; H. S. Carslaw and J. C.
// Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), sec. 1.14 for Duhamel's theorem. Equation numbers from memory.

#include "solver/step/replay.hpp"

#include <cmath>
#include <functional>
#include <numbers>

#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"

using namespace onegrain;
using model::Course;
using model::CourseDrive;
using model::CurrentDrive;
using solver::Accuracy;
using solver::Run;
using solver::Sensitive;

namespace {

constexpr double R = 5e-6, D = 4e-15, diffusion_time = R * R / D, x_start = 0.5;
constexpr double one_c = tests::published_one_c;
const Accuracy tight{.relative_tolerance = 1e-9, .absolute_factor = 1e-4, .truncation = 1, .fewest_modes = 40};

/// Half cell without losses, U = 4 V - x.
model::Cell plain_cell() {
  model::Cell cell = tests::published_cell();
  cell.positive.host.potential = model::OpenCircuitPotential(
      model::Property(model::Curve::pieces({0, 1}, {{4, -1}}, model::Curve::Beyond::tangent)));
  cell.positive.host.diffusivity = model::Property::constant(D);
  cell.positive.host.exchange_current_density = model::Property::constant(1e12);
  cell.positive.particle_radius = R;
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(1e12)};
  cell.electrolyte.conductivity = model::Property::constant(1e12);
  cell.inventory = {x_start, 0};
  return cell;
}

/// The cell of the literature with its positive against lithium.
model::Cell half_cell(bool varying) {
  model::Cell cell = tests::published_cell(varying);
  cell.negative.reset();
  cell.counter = model::LithiumMetal{model::Property::constant(8.0)};
  cell.inventory.positive = 0.4;
  return cell;
}

/// Roots of tan l = l in (n pi, (n + 1/2) pi), by bisection.
const std::vector<double>& tangent_roots() {
  static const std::vector<double> roots = [] {
    std::vector<double> found;
    for (int n = 1; n <= 400; ++n) {
      double low = n * std::numbers::pi, high = (n + 0.5) * std::numbers::pi;
      const auto f = [&](double l) { return (n % 2 == 0 ? 1 : -1) * (std::sin(l) - l * std::cos(l)); };
      for (int k = 0; k < 70; ++k) (f(0.5 * (low + high)) > 0 ? high : low) = 0.5 * (low + high);
      found.push_back(0.5 * (low + high));
    }
    return found;
  }();
  return roots;
}

/// Surface response to a unit step of flux at tau = D t / R^2: 3 tau + 1/5 - 2 sum exp(-l^2 tau) / l^2. Early the
/// sphere is the exterior of the Laplace transform 1 / (s (sqrt(s) - 1)), up to exp(-1 / tau).
double step_response(double tau) {
  if (tau <= 0) return 0;
  if (tau < 1e-3) return std::exp(tau) * (1 + std::erf(std::sqrt(tau))) - 1;
  double sum = 0;
  for (const double l : tangent_roots()) sum += std::exp(-l * l * tau) / (l * l);
  return 3 * tau + 0.2 - 2 * sum;
}

/// Surface of the plain cell's grain at t under a current and a clock tau(t) of its own: Duhamel,
///     x_s - x_0 = -(R^2 / (3 Q)) ( g(0) S(tau(t)) + int_0^t g'(t') S(tau(t) - tau(t')) dt' ),   g = i / D,
/// over stretches in which g is smooth. In t' = t - w^2 the root at the end is gone.
double duhamel(const std::vector<double>& breaks, const std::function<double(double)>& g,
               const std::function<double(double)>& g_rate, const std::function<double(double)>& tau, double t,
               double Q) {
  const double now = tau(t);
  double sum = g(0) * step_response(now);
  for (std::size_t k = 0; k + 1 < breaks.size(); ++k) {
    const double a = breaks[k], b = std::min(breaks[k + 1], t);
    if (a >= t) break;
    sum += tests::integral([&](double w) { return 2 * w * g_rate(t - w * w) * step_response(now - tau(t - w * w)); },
                           std::sqrt(t - b), std::sqrt(t - a), 30);
  }
  return x_start - R * R / (3 * Q) * sum;
}

double duhamel(const Course& current, double t, double Q) {
  const auto slope = [&](double at) {
    for (std::size_t k = 0; k + 1 < current.time.size(); ++k) {
      if (at < current.time[k + 1])
        return (current.value[k + 1] - current.value[k]) / (current.time[k + 1] - current.time[k]) / D;
    }
    return 0.0;
  };
  return duhamel(
      current.time, [&](double at) { return current.at(at) / D; }, slope, [](double at) { return at / diffusion_time; },
      t, Q);
}

solver::Response response(const model::Cell& cell, const Run& run, const Accuracy& accuracy,
                          model::ElectrolyteModel electrolyte = model::ElectrolyteModel::uniform) {
  solver::Workspace workspace;
  return solver::respond(cell, run, workspace, solver::electrolyte_course(cell, run, workspace, electrolyte, accuracy),
                         accuracy, true);
}

double relative_rms(const Eigen::VectorXd& a, const Eigen::VectorXd& reference) {
  return (a - reference).norm() / reference.norm();
}

}  // namespace

TEST_CASE("the series and the early form of a sphere's response meet, and the sums of its roots are those of Rayleigh",
          "[replay][helpers]") {
  // sum l^-2 = 1/10, sum l^-4 = 1/350: Rayleigh's sums for the zeros of J_3/2, Watson, Theory of Bessel
  // Functions, 15.51
  double second = 0, fourth = 0;
  for (const double l : tangent_roots()) {
    second += 1 / (l * l);
    fourth += std::pow(l, -4);
  }
  CHECK_THAT(second + 1 / (std::numbers::pi * std::numbers::pi * 401),
             WithinAbs(0.1, 1e-6));  // the tail as an integral
  CHECK_THAT(fourth, WithinAbs(1.0 / 350, 1e-10));
  const double tau = 1e-3;
  CHECK_THAT(step_response(tau), WithinAbs(std::exp(tau) * (1 + std::erf(std::sqrt(tau))) - 1, 1e-14));
}

TEST_CASE("a measured current that does not change is a constant current", "[replay]") {
  for (const bool varying : {false, true}) {
    for (const bool resolved : {false, true}) {
      CAPTURE(varying, resolved);
      solver::Workspace workspace;
      solver::Simulator simulator(tests::published_cell(varying), workspace, tight,
                                  resolved ? model::ElectrolyteModel::resolved : model::ElectrolyteModel::uniform);
      const auto constant = simulator.run(simulator.at_rest(0), {CurrentDrive{-one_c}, {.time = 2000}, ""});
      const auto course = simulator.run(simulator.at_rest(0),
                                        {CourseDrive{{{0, 700, 2000}, {-one_c, -one_c, -one_c}}}, {.time = 2000}, ""});
      CHECK(course.ended_by() == solver::Ended::time);
      for (const double t : {0.0, 0.01, 1.0, 50.0, 699.0, 1500.0, 2000.0}) {
        CAPTURE(t);
        CHECK_THAT(course.at(t).terminal.voltage, WithinAbs(constant.at(t).terminal.voltage, 1e-7));
        CHECK_THAT(course.at(t).positive_surface, WithinAbs(constant.at(t).positive_surface, 1e-8));
        CHECK_THAT(course.at(t).charge, WithinAbs(-one_c * t, 1e-9 * one_c * 2000));
      }
    }
  }
}

TEST_CASE("under a current of straight pieces the surface of a grain follows Duhamel's integral of Crank's series",
          "[replay][sphere]") {
  struct Row {
    const char* name;
    std::vector<double> time, share;  // of the current that empties the grain in R^2 / D
  };
  const auto row = GENERATE(values<Row>({
      {"triangle", {0, 600, 1200}, {0, -1, 0}},
      {"ramp", {0, 1200}, {0, 1}},
      {"jump, then ramp through zero", {0, 1200}, {-1.5, 1.5}},
      {"short peak in a slow ramp", {0, 500, 520, 540, 1200}, {-0.1, -0.2, -2, -0.2, -0.4}},
      {"saw", {0, 100, 200, 300, 400, 500, 600, 1200}, {-1, -0.5, -1, -0.5, -1, -0.5, -1, -0.5}},
  }));
  CAPTURE(row.name);
  const model::Cell cell = plain_cell();
  const double Q = cell.positive.capacity();
  Course current{row.time, {}};
  for (const double share : row.share) current.value.push_back(share * Q / diffusion_time);
  double worst = 0, worst_by_default = 0;
  solver::Workspace workspace;
  for (const bool by_default : {false, true}) {
    solver::Simulator simulator(cell, workspace, by_default ? Accuracy{} : tight);
    const auto step = simulator.run(simulator.at_rest(0), {CourseDrive{current}, {.time = 1200}, ""});
    for (double t :
         {1e-3, 0.1, 1.0, 10.0, 80.0, 250.0, 499.0, 510.0, 519.0, 525.0, 541.0, 600.0, 601.0, 800.0, 1200.0}) {
      const double error = std::abs(step.at(t).positive_surface - duhamel(current, t, Q));
      (by_default ? worst_by_default : worst) = std::max(by_default ? worst_by_default : worst, error);
    }
  }
  CAPTURE(worst, worst_by_default);
  CHECK(worst < 1e-7);
  CHECK(worst_by_default < 1e-4);
}

TEST_CASE("a peak of the current is not stepped over, however short", "[replay][sphere]") {
  // The integrator's steps may be longer than the peak; charge and surface must feel it all the same.
  const model::Cell cell = plain_cell();
  const double Q = cell.positive.capacity(), slow = -0.3 * Q / 3600;
  const double at_rest = GENERATE(0.0, 1.0);
  const Course current{{0, 1997, 1999, 2002, 2004, 3600},
                       {at_rest * slow, at_rest * slow, 10 * slow, 10 * slow, at_rest * slow, at_rest * slow}};
  const double passed = slow * (at_rest * (3600 - 7) + 10 * 3 + (at_rest + 10) * 2);  // trapezoids
  CAPTURE(at_rest);
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const auto step = simulator.run(simulator.at_rest(0), {CourseDrive{current}, {.time = 3600}, ""});
  CHECK_THAT(step.last().charge, WithinAbs(passed, 1e-5 * Q));
  for (const double t : {1990.0, 2003.0, 2100.0, 3000.0}) {
    CAPTURE(t);
    CHECK_THAT(step.at(t).positive_surface, WithinAbs(duhamel(current, t, Q), 1e-4));
  }
}

TEST_CASE("where the temperature is given, a grain's clock runs with its diffusivity", "[replay][sphere]") {
  // D(t) dx/dtau with tau = int D dt / R^2 is the equation at constant diffusivity, its flux being outflow R / D(t).
  const double E = 40e3, T0 = 290, T1 = 310, duration = 2000;
  model::Cell cell = plain_cell();
  cell.positive.host.diffusivity = model::Property::constant(D, E);
  const double Q = cell.positive.capacity(), i = 0.8 * Q / diffusion_time, R_gas = 8.314462618;  // CODATA 2018
  const double warming = (T1 - T0) / duration;
  const auto T = [&](double t) { return T0 + warming * t; };
  const auto D_at = [&](double t) { return D * std::exp(-E / R_gas * (1 / T(t) - 1 / 298.15)); };
  const auto tau = [&](double t) { return tests::integral(D_at, 0, t, 8) / (R * R); };
  const auto g = [&](double t) { return i / D_at(t); };
  const auto g_rate = [&](double t) { return -g(t) * E / (R_gas * T(t) * T(t)) * warming; };
  solver::Workspace workspace;
  for (const auto& [accuracy, tolerance] : {std::pair{tight, 1e-7}, {Accuracy{}, 1e-4}}) {
    for (const bool as_course : {false, true}) {
      CAPTURE(tolerance, as_course);
      const model::Drive drive = as_course ? model::Drive(CourseDrive{{{0}, {i}}}) : model::Drive(CurrentDrive{i});
      solver::Simulator simulator(cell, workspace, accuracy);
      const auto step =
          simulator.run(simulator.at_rest(0), {drive, {.time = duration}, "", Course{{0, duration}, {T0, T1}}});
      for (const double t : {1e-3, 1.0, 30.0, 200.0, 900.0, 2000.0}) {
        CAPTURE(t);
        CHECK_THAT(step.at(t).positive_surface, WithinAbs(duhamel({0, duration}, g, g_rate, tau, t, Q), tolerance));
        CHECK_THAT(step.at(t).temperature, WithinAbs(T(t), 1e-10));
      }
    }
  }
}

TEST_CASE("a run starts where its cell rests at the voltage that was measured", "[replay][start]") {
  // straight potentials: the answer is the root of a line
  model::Cell cell = tests::published_cell();
  const auto line = [](double at_empty, double slope) {
    return model::OpenCircuitPotential(
        model::Property(model::Curve::pieces({0, 1}, {{at_empty, slope}}, model::Curve::Beyond::tangent)));
  };
  cell.positive.host.potential = line(4.4, -1);
  cell.negative->host.potential = line(0.5, -0.4);
  const double Qp = cell.positive.capacity(), Qn = cell.negative->capacity();
  const double at_rest = 4.4 - cell.inventory.positive - 0.5 + 0.4 * cell.inventory.negative;
  for (const double V : {3.3, 3.7, 4.0}) {
    CAPTURE(V);
    CHECK_THAT(solver::starting_charge(cell, {V}), WithinAbs((V - at_rest) / (1 / Qp + 0.4 / Qn), 1e-10 * Qp));
  }
  CHECK(solver::starting_charge(cell, {}) == 0);
  const model::Cell half = plain_cell();
  CHECK_THAT(solver::starting_charge(half, {3.45}),
             WithinAbs(-0.05 * half.positive.capacity(), 1e-10 * half.positive.capacity()));

  SECTION("and in a cell with bent potentials its equilibrium voltage is met") {
    const model::Cell published = tests::published_cell();
    for (const double V : {2.8, 3.5, 4.15}) {
      const double q = solver::starting_charge(published, {V});
      const model::Stoichiometries x{published.inventory.positive - q / published.positive.capacity(),
                                     published.inventory.negative + q / published.negative->capacity()};
      CHECK_THAT(model::equilibrium_voltage(published, x, published.temperature), WithinAbs(V, 1e-9));
    }
  }
  SECTION("a voltage beyond full and empty grains is refused") {
    const char* words = "no filling of the grains gives the voltage that was measured at the start";
    for (const double V : {2.9, 4.1}) CHECK_THROWS_AS(solver::starting_charge(half, {V}), model::ImpossibleBalance);
    for (const double V : {1.0, 5.0}) {
      CHECK_THROWS_AS(solver::starting_charge(cell, {V}), model::ImpossibleBalance);
      CHECK_THROWS_WITH(solver::starting_charge(cell, {V}), words);
    }
  }
}

TEST_CASE("the charge of a run is the integral of its current", "[replay][conservation]") {
  // The trapezoidal rule is exact for straight pieces, whatever the integrator's tolerance.
  const bool varying = GENERATE(false, true);
  const Accuracy accuracy = GENERATE(Accuracy{}, tight);
  constexpr double tolerance = 1e-10;
  CAPTURE(varying, accuracy.relative_tolerance);
  const model::Cell cell = tests::published_cell(varying);
  const Course course{{0, 100, 350, 351, 600}, {-one_c, -0.2 * one_c, -1.4 * one_c, -0.1 * one_c, 0}};
  const Course saw{{0, 11, 23, 30, 47, 60}, {one_c, -one_c, 0.3 * one_c, 0, -0.7 * one_c, one_c}};
  Run run{{{{CourseDrive{course}, {.time = 600}, ""}, 0},
           {{CurrentDrive{0}, {.time = 300}, ""}, 600},
           {{CurrentDrive{one_c}, {.time = 200}, ""}, 900},
           {{CourseDrive{saw}, {.time = 60}, ""}, 1100}},
          {}};
  const auto trapezoids = [](const Course& c) {
    double sum = 0;
    for (std::size_t k = 0; k + 1 < c.time.size(); ++k)
      sum += 0.5 * (c.value[k] + c.value[k + 1]) * (c.time[k + 1] - c.time[k]);
    return sum;
  };
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace, accuracy);
  const solver::Replay done = solver::replay(simulator, simulator.at_rest(0), run);
  REQUIRE(done.steps.size() == 4);
  CHECK_FALSE(done.cut_short);
  CHECK(done.end == 1160);
  for (const auto& step : done.steps) CHECK(step.ended_by() == solver::Ended::time);
  const double passed = one_c * 1160;  // the scale
  double expected = trapezoids(course);
  CAPTURE(done.steps[0].last().charge / expected - 1);
  CHECK_THAT(done.steps[0].last().charge, WithinAbs(expected, tolerance * passed));
  CHECK_THAT(done.steps[1].last().charge, WithinAbs(expected, tolerance * passed));
  expected += 200 * one_c;
  CHECK_THAT(done.steps[2].last().charge, WithinAbs(expected, tolerance * passed));
  expected += trapezoids(saw);
  CHECK_THAT(done.at(1160).charge, WithinAbs(expected, tolerance * passed));

  SECTION("where two stretches meet, the moment belongs to the one that ends") {
    CHECK(done.step_at(0) == 0);
    CHECK(done.step_at(600) == 0);
    CHECK(done.step_at(600.001) == 1);
    CHECK_THAT(done.at(900).current, WithinAbs(0, 1e-12));
    CHECK_THAT(done.at(900.5).current, WithinRel(one_c, 1e-12));
    CHECK(done.step_at(1e6) == 3);
  }
}

TEST_CASE("a run that fills its grains is cut short, unless a search asks to go on", "[replay]") {
  const model::Cell cell = plain_cell();
  const double Q = cell.positive.capacity(),
               i = -Q / 3600;  // fills the half that is left in half an hour, the surface before
  const Run run{{{{CurrentDrive{i}, {.time = 2400}, ""}, 0}, {{CurrentDrive{0}, {.time = 100}, ""}, 2400}},
                {0, 300, 2400, 2500}};
  solver::Workspace workspace;
  solver::Simulator simulator(cell, workspace);
  const solver::Replay done = solver::replay(simulator, simulator.at_rest(0), run);
  CHECK(done.cut_short == solver::Ended::positive_surface_full);
  CHECK(done.steps.size() == 1);
  CHECK(done.end < 1800);
  CHECK_THAT(done.steps[0].last().positive_surface, WithinAbs(1, 1e-5));
  const auto electrolyte = solver::electrolyte_course(cell, run, workspace, model::ElectrolyteModel::uniform, {});
  CHECK(electrolyte.at.size() == 4);
  const auto stopped = solver::respond(cell, run, workspace, electrolyte, {}, false);
  CHECK_FALSE(stopped.complete);
  CHECK(std::isfinite(stopped.voltage[1]));
  CHECK(std::isnan(stopped.voltage[2]));
  model::Cell gentle = cell;  // as a search takes it: no wall beyond the last site
  gentle.positive.host.potential = cell.positive.host.potential.with_edge(1e-2);
  const auto whole = solver::respond(gentle, run, workspace, electrolyte, {}, true);
  CHECK(whole.complete);
  // a straight potential goes on straight: the surface leads the mean by j R / (5 D) in the long run, here by the
  // series
  const double x = x_start - diffusion_time * i / (3 * Q) * step_response(2400 / diffusion_time);
  CHECK_THAT(whole.positive_surface[2], WithinAbs(x, 1e-8));
  CHECK_THAT(whole.voltage[2], WithinAbs(4 - x, 1e-7));
}

TEST_CASE("under a given current the grains do not feel the salt", "[replay][electrolyte]") {
  const model::Cell cell = tests::published_cell(true);
  const Run run{{{{CourseDrive{{{0, 400, 900}, {-one_c, -2 * one_c, -0.5 * one_c}}}, {.time = 900}, ""}, 0},
                 {{CurrentDrive{0}, {.time = 300}, ""}, 900}},
                {0, 1, 30, 200, 400, 700, 900, 901, 950, 1200}};
  solver::Workspace workspace;
  solver::Simulator whole(cell, workspace, tight, model::ElectrolyteModel::resolved);
  const solver::Replay together = solver::replay(whole, whole.at_rest(0), run);
  const solver::Response apart = response(cell, run, tight, model::ElectrolyteModel::resolved);
  REQUIRE(apart.complete);
  for (std::size_t k = 0; k < run.times.size(); ++k) {
    CAPTURE(run.times[k]);
    CHECK_THAT(apart.voltage[static_cast<Eigen::Index>(k)],
               WithinAbs(together.at(run.times[k]).terminal.voltage, 1e-6));
  }
}

TEST_CASE("the surface of a grain moves with diffusion time and capacity as Crank's series differentiated does",
          "[replay][sensitivity]") {
  // x_s = x_0 - i theta / (3 Q) S(t / theta), theta = R^2 / D:
  //   dx_s/dln theta = -i theta / (3 Q) (S - tau S') = -i theta / (3 Q) (1/5 - 2 sum (1 / l^2 + tau) exp(-l^2 tau)),
  //   dx_s/dln Q = x_0 - x_s at constant theta,   dx_s/dx_0 = 1.    Early: S - tau S' = S - tau (S + 1 + 1 / sqrt(pi
  //   tau)).
  const model::Cell cell = plain_cell();
  const double Q = cell.positive.capacity(), i = -0.4 * Q / diffusion_time;
  solver::Workspace workspace;
  for (const auto& [accuracy, tolerance] : {std::pair{Accuracy{.sensitivities = true}, 1e-4},
                                            {Accuracy{.relative_tolerance = 1e-9,
                                            .absolute_factor = 1e-4,
                                            .truncation = 1,
                                            .fewest_modes = 40,
                                            .sensitivities = true},
                                             5e-6}}) {
    solver::Simulator simulator(cell, workspace, accuracy);
    const auto step = simulator.run(simulator.at_rest(0), {CurrentDrive{i}, {.time = diffusion_time}, ""});
    double worst_time = 0, worst_capacity = 0, worst_start = 0;
    for (const double tau : {1e-5, 1e-4, 5e-4, 2e-3, 0.01, 0.03, 0.1, 0.3, 1.0}) {
      const auto slopes = step.surface_slopes(tau * diffusion_time);
      double by_time = step_response(tau) - tau * (step_response(tau) + 1 + 1 / std::sqrt(std::numbers::pi * tau));
      if (tau > 1e-3) {
        by_time = 0.2;
        for (const double l : tangent_roots()) by_time -= 2 * (1 / (l * l) + tau) * std::exp(-l * l * tau);
      }
      const double scale = -i * diffusion_time / (3 * Q);
      worst_time = std::max(worst_time, std::abs(slopes.positive[0] - scale * by_time) / (0.2 * scale));
      worst_capacity =
          std::max(worst_capacity, std::abs(slopes.positive[1] + scale * step_response(tau)) / (3.2 * scale));
      worst_start = std::max(worst_start, std::abs(slopes.positive[2] - 1));
    }
    CAPTURE(tolerance, worst_time, worst_capacity, worst_start);
    CHECK(worst_time < tolerance);
    CHECK(worst_capacity < tolerance);
    CHECK(worst_start < 1e-12);
  }
}

TEST_CASE("every derivative of the voltage is its difference quotient in the limit", "[replay][sensitivity]") {
  // Central differences over h and h/2 with Richardson's extrapolation: L. F. Richardson, Phil. Trans. R. Soc. A 210,
  // 307 (1911).
  struct Row {
    const char* name;
    bool varying, half, warming;
  };
  const auto row = GENERATE(values<Row>({
      {"full cell, constant diffusivities", false, false, false},
      {"full cell, constant diffusivities, warming up", false, false, true},
      {"full cell, diffusivities with composition", true, false, false},
      {"full cell, diffusivities with composition, warming up", true, false, true},
      {"half cell, constant diffusivity", false, true, false},
      {"half cell, diffusivity with composition, warming up", true, true, true},
  }));
  CAPTURE(row.name);
  model::Cell cell = row.half ? half_cell(row.varying) : tests::published_cell(row.varying);
  if (row.warming) {
    const auto activated = [](model::Host& host) {
      host.diffusivity = model::Property(host.diffusivity.curve(), 30e3);
      host.exchange_current_density = model::Property::constant(host.exchange_current_density(0, 298.15), 45e3);
    };
    activated(cell.positive.host);
    if (cell.negative) activated(cell.negative->host);
  }
  cell.contact_resistance = 5e-4;
  // steps that jump, ramp, rest and turn round
  const double sign = row.half ? 1 : -1;
  Run run;
  const auto add = [&](model::Drive drive, double duration) {
    const double start = run.stretches.empty() ? 0 : run.stretches.back().start + *run.stretches.back().step.until.time;
    std::optional<Course> temperature;
    if (row.warming) temperature = Course{{0, duration}, {298.15 + 0.005 * start, 298.15 + 0.005 * (start + duration)}};
    run.stretches.push_back({{drive, {.time = duration}, "", temperature}, start});
    for (int k = 1; k <= 25; ++k) run.times.push_back(start + duration * k / 25);
  };
  add(CurrentDrive{sign * one_c}, 900);
  add(CurrentDrive{0}, 300);
  add(CourseDrive{{{0, 300, 500}, {sign * 1.5 * one_c, sign * 0.5 * one_c, sign * one_c}}}, 500);
  add(CurrentDrive{-sign * one_c}, 300);
  add(CurrentDrive{0}, 600);

  Accuracy fine = tight;
  fine.fewest_modes = 24;
  const auto moved = [&](Sensitive what, double h) {
    model::Cell c = cell;
    switch (what) {
      case Sensitive::positive_diffusion_time:
        c.positive.host.diffusivity = c.positive.host.diffusivity.scaled(std::exp(-h));
        break;
      case Sensitive::negative_diffusion_time:
        c.negative->host.diffusivity = c.negative->host.diffusivity.scaled(std::exp(-h));
        break;
      case Sensitive::positive_exchange:
        c.positive.host.exchange_current_density = c.positive.host.exchange_current_density.scaled(std::exp(h));
        break;
      case Sensitive::negative_exchange: {
        model::Property& i0 =
            row.half ? c.counter->exchange_current_density : c.negative->host.exchange_current_density;
        i0 = i0.scaled(std::exp(h));
        break;
      }
      case Sensitive::positive_capacity:
        c.positive.active_fraction *= std::exp(h);
        break;
      case Sensitive::negative_capacity:
        c.negative->active_fraction *= std::exp(h);
        break;
      case Sensitive::positive_start:
        c.inventory.positive += h;
        break;
      case Sensitive::negative_start:
        c.inventory.negative += h;
        break;
      case Sensitive::contact_resistance:
        c.contact_resistance += 1e-3 * h;
        break;
    }
    return response(c, run, fine).voltage;
  };
  Accuracy with = fine, by_default;
  with.sensitivities = by_default.sensitivities = true;
  const solver::Response exact = response(cell, run, with), usual = response(cell, run, by_default);
  REQUIRE(exact.complete);
  REQUIRE(exact.slopes.cols() == solver::sensitive_count);
  for (int k = 0; k < solver::sensitive_count; ++k) {
    const auto what = static_cast<Sensitive>(k);
    if (row.half && (what == Sensitive::negative_diffusion_time || what == Sensitive::negative_capacity ||
                     what == Sensitive::negative_start)) {
      CHECK(exact.slopes.col(k).isZero(0));
      continue;
    }
    const bool start = what == Sensitive::positive_start || what == Sensitive::negative_start;
    const double h = start ? 1e-3 : 5e-3, unit = what == Sensitive::contact_resistance ? 1e-3 : 1;
    const Eigen::VectorXd wide = (moved(what, h) - moved(what, -h)) / (2 * h),
                          narrow = (moved(what, h / 2) - moved(what, -h / 2)) / h;
    const Eigen::VectorXd limit = (4 * narrow - wide) / 3 / unit;
    const double at_tight = relative_rms(exact.slopes.col(k), limit),
                 at_default = relative_rms(usual.slopes.col(k), limit);
    CAPTURE(k, at_tight, at_default, relative_rms(narrow / unit, limit));
    CHECK(at_tight < 1e-5);
    CHECK(at_default < 1e-4);
  }
}

TEST_CASE("a current through a contact resistance costs their product", "[replay][sensitivity]") {
  model::Cell cell = half_cell(false);
  const Run run{{{{CourseDrive{{{0, 100}, {one_c, 2 * one_c}}}, {.time = 100}, ""}, 0},
                 {{CurrentDrive{0}, {.time = 50}, ""}, 100}},
                {0, 25, 50, 100, 120}};
  Accuracy accuracy;
  accuracy.sensitivities = true;
  const auto r = response(cell, run, accuracy);
  const double expected[] = {1, 1.25, 1.5, 2, 0};  // Ohm's law
  for (Eigen::Index k = 0; k < 5; ++k) {
    CHECK_THAT(r.slopes(k, static_cast<Eigen::Index>(Sensitive::contact_resistance)),
               WithinAbs(expected[k] * one_c, 1e-9 * one_c));
  }
}

TEST_CASE("an addition to a potential adds its value and its slope, at any temperature", "[replay][potential]") {
  using model::Curve;
  const model::OpenCircuitPotential U(
      model::Property(Curve::pieces({0.1, 0.9}, {{4, -0.8, 0.3}}, Curve::Beyond::tangent)), Curve::constant(2e-4));
  const Curve bump = Curve::pieces({0.2, 0.5, 0.8}, {{0.01, 0.1, -0.5}, {-0.005, 0.2, 0}}, Curve::Beyond::hold);
  const model::OpenCircuitPotential sum = U.plus(bump);
  for (const double T : {278.15, 298.15, 320.0}) {
    for (const double x : {0.05, 0.15, 0.2, 0.3, 0.4999, 0.6, 0.79, 0.85, 0.95}) {
      CAPTURE(x, T);
      const double added = x < 0.2   ? 0.01
                           : x < 0.5 ? 0.01 + 0.1 * (x - 0.2) - 0.5 * std::pow(x - 0.2, 2)
                           : x < 0.8 ? -0.005 + 0.2 * (x - 0.5)
                                     : 0.055;
      const double slope = x < 0.2 ? 0 : x < 0.5 ? 0.1 - (x - 0.2) : x < 0.8 ? 0.2 : 0;
      if (x != 0.2) CHECK_THAT(sum.at(x, T).by_composition - U.at(x, T).by_composition, WithinAbs(slope, 1e-13));
      CHECK_THAT(sum(x, T) - U(x, T), WithinAbs(added, 1e-14));
      CHECK(sum.at(x, T).by_temperature == U.at(x, T).by_temperature);
    }
  }
  CHECK(sum.lower() == 0.1);
  CHECK(sum.upper() == 0.9);
}

TEST_CASE("with an edge, the logarithm of the last sites gives way to its tangent there", "[replay][potential]") {
  // Beyond the known range, end tangent + (R T / F) (ln(y / y0) - (y - y0) / y0), y the sites that are left: Nernst's
  // law for an ideal lattice gas, common practice; RT/F from CODATA 2018.
  using model::Curve;
  const double T = 303.15, thermal = 8.31446261815324 * T / 96485.33212331, edge = 1e-2;
  const model::OpenCircuitPotential U(model::Property(Curve::pieces({0.1, 0.9}, {{4, -0.8}}, Curve::Beyond::tangent)));
  const model::OpenCircuitPotential gentle = U.with_edge(edge);
  const auto by_formula = [&](double y) { return std::log(y / 0.1) - (y - 0.1) / 0.1; };
  for (const double y : {0.09, 0.05, 0.02, 0.0101}) {  // short of the edge nothing changes
    CAPTURE(y);
    for (const auto* potential : {&U, &gentle}) {
      CHECK_THAT((*potential)(1 - y, T), WithinAbs(4 - 0.8 * (0.9 - y) + thermal * by_formula(y), 1e-12));
      CHECK_THAT((*potential)(y, T), WithinAbs(4 - 0.8 * (y - 0.1) - thermal * by_formula(y), 1e-12));
    }
  }
  for (const double x : {0.15, 0.5, 0.9}) CHECK(gentle(x, T) == U(x, T));
  const double steep = 1 / edge - 1 / 0.1;
  for (const double y : {0.009, 1e-4, 0.0, -0.5, -3.0}) {
    CAPTURE(y);
    const double straight = by_formula(edge) + steep * (y - edge);
    CHECK_THAT(gentle(1 - y, T), WithinAbs(4 - 0.8 * (0.9 - y) + thermal * straight, 1e-11));
    CHECK_THAT(gentle(y, T), WithinAbs(4 - 0.8 * (y - 0.1) - thermal * straight, 1e-11));
    CHECK_THAT(gentle.at(1 - y, T).by_composition, WithinAbs(-0.8 - thermal * steep, 1e-10));
    CHECK_THAT(gentle.at(y, T).by_composition, WithinAbs(-0.8 - thermal * steep, 1e-10));
    CHECK_THAT(gentle.at(1 - y, T).by_temperature, WithinAbs(thermal / T * straight, 1e-12));
  }
  CHECK(U(1 + 1e-3, T) < -20);  // without: past a full grain there is no voltage to speak of
  CHECK(std::abs(gentle(1 + 1e-3, T)) < 10);
}
