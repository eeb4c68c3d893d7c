// Salt in the pores: steady profiles, transients, conservation, and what the terminals are told of it.

#include "model/salt.hpp"

#include <cmath>
#include <numbers>
#include <string>
#include <utility>

#include "tests/catch.hpp"
#include "tests/published_cells.hpp"
#include "tests/quadrature.hpp"

using namespace onegrain;
using model::Cell;
using model::Curve;
using model::Property;
using model::Salt;
using tests::integral;

namespace {

constexpr double T = 298.15;
constexpr double F = 96485.33212331001;                 // CODATA 2018, exact
constexpr double twice_thermal_voltage = 51.385158e-3;  // 2 R T / F at 298.15 K, CODATA 2018

/// A layer as the equations see it; `side`: -1 negative, 0 separator, +1 positive.
struct Layer {
  double start, thickness, porosity, tortuosity;
  int side;
  double share(double x) const {  // w(x), the part of the current that the ions carry
    const double s = (x - start) / thickness;
    return side < 0 ? s : side > 0 ? 1 - s : 1.0;
  }
  double transport() const { return porosity / tortuosity; }
};

std::vector<Layer> layers_of(const Cell& cell) {
  std::vector<Layer> layers;
  double at = 0;
  const auto add = [&](double thickness, double porosity, double tortuosity, int side) {
    layers.push_back({at, thickness, porosity, tortuosity, side});
    at += thickness;
  };
  if (cell.negative) add(cell.negative->thickness, cell.negative->porosity, cell.negative->tortuosity, -1);
  add(cell.separator.thickness, cell.separator.porosity, cell.separator.tortuosity, 0);
  add(cell.positive.thickness, cell.positive.porosity, cell.positive.tortuosity, +1);
  return layers;
}

/// int f(x, layer) dx over all layers.
template <class Function>
double over_layers(const Cell& cell, Function f, int intervals = 40) {
  double sum = 0;
  for (const Layer& l : layers_of(cell)) {
    for (const auto& [from, to] :
         {std::pair{0.0, 0.01}, std::pair{0.01, 0.1}, std::pair{0.1, 1.0}}) {  // where polynomials may meet
      sum += integral([&](double x) { return f(x, l); }, l.start + from * l.thickness, l.start + to * l.thickness,
                      intervals);
    }
  }
  return sum;
}

double concentration(const Salt& salt, const Eigen::VectorXd& b, double x) {
  return salt.profile(b, Eigen::ArrayXd::Constant(1, x))[0];
}

Cell half_cell(Cell cell) {
  cell.negative.reset();
  cell.counter = model::LithiumMetal{Property::constant(8.1)};
  return cell;
}

/// Every property moves with concentration and with temperature; other transfer coefficients than 1/2.
Cell varied_cell() {
  Cell cell = tests::nmc811_graphite_siox();
  // transference number and thermodynamic factor: invented curves of the size that is measured
  const auto warm = [](double (*f)(double), double activation_energy) {
    return Property(Curve::approximation([f](double c) { return f(c / 1000); }, 0, 3000, 1e-12, Curve::Beyond::hold),
                    activation_energy);
  };
  cell.electrolyte.transference_number = warm([](double c) { return 0.45 - 0.2 * c + 0.05 * c * c; }, 2e3);
  cell.electrolyte.thermodynamic_factor = warm([](double c) { return 0.9 + 0.6 * c + 0.4 * c * c; }, 0);
  cell.electrolyte.diffusivity = Property(cell.electrolyte.diffusivity.curve(), 17e3);
  cell.electrolyte.conductivity = Property(cell.electrolyte.conductivity.curve(), 14e3);
  cell.positive.host.anodic_transfer = 0.4;
  cell.positive.host.cathodic_transfer = 0.6;
  return cell;
}

/// Amplitudes of a lively profile that stays between about 0.4 and 1.6 of the mean.
Eigen::VectorXd some_amplitudes(const Salt& salt) {
  Eigen::VectorXd b(salt.count());
  const double size = 0.12 * salt.mean() * std::sqrt(salt.length());
  for (int n = 0; n < salt.count(); ++n) b[n] = 1.5 * size * std::cos(1.7 * n + 0.3) * std::pow(0.5, n);
  return b;
}

/// Amplitudes in the steady state, where D and t+ do not depend on concentration.
Eigen::VectorXd steady(const Salt& salt, double i) {
  const double D = salt.diffusivity(salt.mean(), T), t = salt.transference_number(salt.mean(), T);
  return ((1 - t) * i * salt.drive() / (D * salt.decay())).matrix();
}

/// Rate of change of the amplitudes as the header states it, and its root by Newton's method with the Jacobian given.
Eigen::VectorXd rate(const Salt& salt, const Eigen::VectorXd& b, double i) {
  const double D = salt.diffusivity(salt.mean(), T), t = salt.transference_number(salt.mean(), T);
  Eigen::VectorXd rest(salt.count());
  salt.remainder(b, i, T, D, t, rest);
  return (-D * salt.decay() * b.array() + (1 - t) * i * salt.drive()).matrix() + rest;
}

Eigen::VectorXd nonlinear_steady(const Salt& salt, double i, std::vector<double>* steps = nullptr) {
  const double D = salt.diffusivity(salt.mean(), T), t = salt.transference_number(salt.mean(), T);
  Eigen::VectorXd b = 0.5 * steady(salt, i), by_current(salt.count()), by_temperature(salt.count());
  Eigen::MatrixXd J(salt.count(), salt.count());
  for (int k = 0; k < 40; ++k) {
    salt.remainder_jacobian(b, i, T, D, t, J, by_current, by_temperature);
    J.diagonal().array() -= D * salt.decay();
    const Eigen::VectorXd step = -J.partialPivLu().solve(rate(salt, b, i));
    b += step;
    if (steps) steps->push_back(step.norm() / b.norm());
    if (step.norm() < 1e-13 * b.norm()) break;
  }
  return b;
}

}  // namespace

TEST_CASE("in the steady state salt lies in parabolas in the electrodes and in a straight line between them",
          "[model][salt]") {
  // eps/tau D dc/dx = (1 - t+) i w / F integrated by hand; Newman and Balsara, Electrochemical Systems, ch. 12.
  // Polynomials of degree 2 hold it, so that only round-off is allowed for.
  const int degree = GENERATE(2, 3, 8, 24);
  const bool half = GENERATE(false, true);
  CAPTURE(degree, half);
  const Cell cell = half ? half_cell(tests::published_cell()) : tests::published_cell();
  const Salt salt(cell, degree);
  REQUIRE(salt.decoupled());
  // The thin parts at the lithium of a half cell make the eigenvalues span 1e10 at the highest degree.
  const double round_off = !half ? 1e-7 : degree > 20 ? 1e-4 : 1e-5;
  REQUIRE(salt.count() == degree * (half ? 4 : 3));  // the separator of a half cell is cut in three
  for (const double i : {-48.685, 20.0}) {
    const double slope = (1 - 0.2594) * i / (F * 1.7694e-10);
    const auto rise = [&](double x) {  // above the end at x = 0
      double level = 0;
      for (const Layer& l : layers_of(cell)) {
        const double s = std::clamp((x - l.start) / l.thickness, 0.0, 1.0), full = slope * l.thickness / l.transport();
        level += full * (l.side < 0 ? s * s / 2 : l.side > 0 ? s - s * s / 2 : s);
      }
      return level;
    };
    const double pores = over_layers(cell, [](double, const Layer& l) { return l.porosity; });
    const double start =
        1000 - over_layers(cell, [&](double x, const Layer& l) { return l.porosity * rise(x); }) / pores;
    const Eigen::VectorXd b = steady(salt, i);
    for (double part = 0; part <= 1.0001; part += 0.0625) {
      const double x = std::min(1.0, part) * salt.length();
      CAPTURE(i, x);
      CHECK_THAT(concentration(salt, b, x), WithinAbs(start + rise(x), round_off));
    }
    double lowest = 0, highest = 0;
    salt.extremes(b, lowest, highest);
    CHECK_THAT(std::min(start, start + rise(salt.length())), WithinAbs(lowest, round_off));
    CHECK_THAT(std::max(start, start + rise(salt.length())), WithinAbs(highest, round_off));
    CHECK(rate(salt, b, i).norm() < 1e-12 * ((1 - 0.2594) * i * salt.drive()).matrix().norm());
  }
}

TEST_CASE("the steady state of the published cobalt oxide cell at 1C is the one worked out by hand", "[model][salt]") {
  // S. G. Marquis et al., J. Electrochem. Soc. 166, A3693 (2019), parameters from memory, D = 2.788e-10 m2/s
  // everywhere; by quadrature of its own: far ends 830.42 and 1169.58, means of the electrodes 230.57 mol/m3 apart.
  Cell cell = tests::lco_graphite();
  cell.electrolyte.diffusivity = Property::constant(2.788e-10);
  const Salt salt(cell, 6);
  const Eigen::VectorXd b = steady(salt, -24);
  CHECK_THAT(concentration(salt, b, 0), WithinAbs(1169.58, 0.006));
  CHECK_THAT(concentration(salt, b, 225e-6), WithinAbs(830.42, 0.006));
  const double negative = integral([&](double x) { return concentration(salt, b, x); }, 0, 100e-6, 10) / 100e-6;
  const double positive = integral([&](double x) { return concentration(salt, b, x); }, 125e-6, 225e-6, 10) / 100e-6;
  CHECK_THAT(negative - positive, WithinAbs(230.57, 0.006));
}

TEST_CASE("no profile holds more or less salt than was filled in", "[model][salt]") {
  const bool half = GENERATE(false, true);
  const int degree = GENERATE(2, 9, 40);
  CAPTURE(half, degree);
  const Cell cell = half ? half_cell(varied_cell()) : varied_cell();
  const Salt salt(cell, degree);
  const double filled_in =
      1000 * (half ? 12e-6 * 0.47 + 75.6e-6 * 0.335 : 85.2e-6 * 0.25 + 12e-6 * 0.47 + 75.6e-6 * 0.335);
  const Eigen::VectorXd b = some_amplitudes(salt);
  CHECK_THAT(salt.content(b), WithinRel(filled_in, 1e-13));  // promised 1e-10
  const double by_profile =
      over_layers(cell, [&](double x, const Layer& l) { return l.porosity * concentration(salt, b, x); });
  CHECK_THAT(by_profile, WithinRel(filled_in, 1e-12));
  // and a rate of change moves salt without making any
  const Eigen::VectorXd moved = rate(salt, b, 30.0);
  CHECK_THAT(salt.content(moved * (b.norm() / moved.norm())), WithinRel(filled_in, 1e-13));
}

TEST_CASE("salt is depleted at an electrode after Sand's time", "[model][salt]") {
  // tau = pi D (F c0 / (2 (1 - t+) i))^2 and c(0, t) = c0 (1 - sqrt(t / tau)); Sand (1901), Bard and Faulkner,
  // Electrochemical Methods, 2nd ed. (2001), ch. 8, with 1 - t+ for migration in a binary salt. Times worked out apart
  // from this code for D = 3e-10 m2/s, 1 mol/L, t+ = 0.3. Lithium at x = 0, the other end too far away to be felt.
  struct Row {
    double i, thickness, sand_time;
  };
  const auto row = GENERATE(values<Row>({{100, 4e-3, 447.65}, {50, 8e-3, 1790.60}, {10, 40e-3, 44765}}));
  Cell cell = half_cell(tests::published_cell());
  cell.separator = {row.thickness, 1, 1};
  cell.electrolyte.diffusivity = Property::constant(3e-10);
  cell.electrolyte.transference_number = Property::constant(0.3);
  const Salt salt(cell, 40);
  const Eigen::VectorXd end = steady(salt, row.i);
  const auto at_lithium = [&](double t) {
    const Eigen::VectorXd b = (end.array() * (1 - (-3e-10 * salt.decay() * t).exp())).matrix();
    return concentration(salt, b, 0);
  };
  CAPTURE(row.i);
  CHECK_THAT(at_lithium(row.sand_time), WithinAbs(0, 0.02));  // 1000 mol/m3 at the start; five digits of the time: 0.01
  const double tau = std::numbers::pi * 3e-10 * std::pow(F * 1000 / (2 * 0.7 * row.i), 2);
  CHECK_THAT(tau, WithinRel(row.sand_time, 1e-5));
  for (const double part : {0.1, 0.3, 0.6, 1.0}) {
    CAPTURE(part);
    CHECK_THAT(at_lithium(part * tau), WithinAbs(1000 * (1 - std::sqrt(part)), 0.01));
  }
}

TEST_CASE("in pores that are the same everywhere salt follows Fourier's series", "[model][salt]") {
  // eps dc/dt = (eps/tau) D d2c/dx2 - (1 - t+) (i/F) dw/dx, insulated at both ends; cosines, Carslaw and Jaeger,
  // Conduction of Heat in Solids, 2nd ed. (1959), ch. 3. The coefficients of dw/dx are integrals by hand and fall like
  // 1/n.
  const double porosity = 0.4, tortuosity = 2.5, D = 1.7694e-10, i = -60;
  Cell cell = tests::published_cell();
  cell.negative->porosity = cell.positive.porosity = cell.separator.porosity = porosity;
  cell.negative->tortuosity = cell.positive.tortuosity = cell.separator.tortuosity = tortuosity;
  const double L_n = 85.2e-6, L_p = 75.6e-6, L = L_n + 12e-6 + L_p, pi = std::numbers::pi;
  const auto lambda = [&](int n) { return std::pow(n * pi / L, 2) / tortuosity; };
  const Salt salt(cell, 16);
  for (int n = 1; n <= 12; ++n) CHECK_THAT(salt.decay()[n - 1], WithinRel(lambda(n), n <= 9 ? 1e-9 : 1e-6));

  const auto series = [&](double x, double t) {
    double sum = 0;
    for (int n = 1; n <= 20000; ++n) {
      const double k = n * pi / L;
      const double source = (std::sin(k * L_n) / L_n + std::sin(k * (L - L_p)) / L_p) / k;  // int dw/dx cos(k x) dx
      sum += source * std::cos(k * x) * -std::expm1(-D * lambda(n) * t) / (D * lambda(n));
    }
    return 1000 - (1 - 0.2594) * i / (F * porosity) * 2 / L * sum;
  };
  const Eigen::VectorXd end = steady(salt, i);
  for (const double t : {1.0, 10.0, 60.0, 1e4}) {  // L^2 tau / (pi^2 D) is 43 s
    const Eigen::VectorXd b = (end.array() * (1 - (-D * salt.decay() * t).exp())).matrix();
    for (const double part : {0.0, 0.2, 0.45, 0.5, 0.57, 0.8, 1.0}) {
      CAPTURE(t, part);
      // at 1 s the bend at the separator is 20 um wide, and 16 polynomials miss 1e-5 of the change
      CHECK_THAT(concentration(salt, b, part * L), WithinAbs(series(part * L, t), t > 5 ? 1e-5 : 2e-3));
    }
  }
}

TEST_CASE("the decay rates of two different layers are the roots of their characteristic equation", "[model][salt]") {
  // Two insulated slabs in contact, a_k = eps_k / tau_k and k_k = sqrt(lambda tau_k): cosines from either end meet with
  // equal value and flux where a_1 k_1 sin(k_1 L_1) cos(k_2 L_2) + a_2 k_2 cos(k_1 L_1) sin(k_2 L_2) = 0. Carslaw and
  // Jaeger, ch. 12 (composite solids).
  Cell cell = half_cell(tests::published_cell());
  cell.separator = {60e-6, 0.5, 3.0};
  const Salt salt(cell, 20);
  const auto equation = [&](double lambda) {
    double phase[2], a[2];
    int m = 0;
    for (const Layer& l : layers_of(cell)) {
      phase[m] = std::sqrt(lambda * l.tortuosity) * l.thickness;
      a[m++] = l.transport() * std::sqrt(l.tortuosity);
    }
    return a[0] * std::sin(phase[0]) * std::cos(phase[1]) + a[1] * std::cos(phase[0]) * std::sin(phase[1]);
  };
  for (int n = 0; n < 12; ++n) {
    const double lambda = salt.decay()[n];
    CAPTURE(n, lambda);
    CHECK(equation(lambda * (1 - 1e-6)) * equation(lambda * (1 + 1e-6)) < 0);
  }
  int roots = 0;  // none left out
  const double highest = 0.5 * (salt.decay()[11] + salt.decay()[12]);
  double last = equation(1e-6 * highest);
  for (int k = 1; k <= 20000; ++k) {
    const double value = equation(highest * std::max(1e-6, std::pow(k / 20000.0, 2)));
    roots += value * last < 0;
    last = value;
  }
  CHECK(roots == 12);
}

TEST_CASE("a diffusivity that falls exponentially gives the steady profile of Kirchhoff's transformation",
          "[model][salt]") {
  // D = D0 exp(-k c), Capiglia's form: (eps/tau) D dc/dx = (1 - t+) i w / F, so exp(-k c) is linear in the constant-D
  // profile. Crank, The Mathematics of Diffusion, 2nd ed. (1975), ch. 9. The level follows from the salt content.
  const bool half = GENERATE(false, true);
  Cell cell = tests::lco_graphite();
  if (half) cell = half_cell(cell);
  const double k = 0.65e-3, D0 = 5.34e-10;
  const double i = GENERATE(-72.0, 48.0, 110.0) * (half ? 0.5 : 1.0);
  CAPTURE(half, i);
  const auto straight = [&](double x) {  // int (1 - t+) i w / (F eps/tau D0) dx
    double level = 0;
    for (const Layer& l : layers_of(cell)) {
      const double s = std::clamp((x - l.start) / l.thickness, 0.0, 1.0),
                   full = 0.6 * i / (F * D0) * l.thickness / l.transport();
      level += full * (l.side < 0 ? s * s / 2 : l.side > 0 ? s - s * s / 2 : s);
    }
    return level;
  };
  // exp(-k c) = A - k straight(x); A from the content, which falls with A
  const auto exact = [&](double x, double A) { return -std::log(A - k * straight(x)) / k; };
  const double pores = over_layers(cell, [](double, const Layer& l) { return l.porosity; });
  double low = 1e-9 + std::max(0.0, k * straight(1)), high = 3 + low;
  for (int n = 0; n < 200; ++n) {
    const double A = 0.5 * (low + high);
    (over_layers(cell, [&](double x, const Layer& l) { return l.porosity * exact(x, A); }) > 1000 * pores ? low
                                                                                                          : high) = A;
  }
  const Salt salt(cell, 16);
  std::vector<double> steps;
  const Eigen::VectorXd b = nonlinear_steady(salt, i, &steps);
  for (double part = 0; part <= 1.0001; part += 0.0625) {
    const double x = std::min(1.0, part) * salt.length();
    CHECK_THAT(concentration(salt, b, x), WithinAbs(exact(x, low), 1e-5));
  }
  CHECK(steps.size() <= 8);  // Newton's method converges quadratically only with the right Jacobian
}

TEST_CASE("a transference number linear in concentration gives an exponential steady profile", "[model][salt]") {
  // 1 - t+ = p + q c: (eps/tau) D dc / (p + q c) = i w dx / F, so ln(p + q c) is linear in the constant-t+ profile; by
  // hand.
  Cell cell = tests::published_cell();
  const double p = 0.55, q = 2e-4, D = 1.7694e-10, i = -40;
  cell.electrolyte.transference_number = Property(Curve::pieces({0, 4000}, {{1 - p, -q}}, Curve::Beyond::tangent));
  const auto straight = [&](double x) {
    double level = 0;
    for (const Layer& l : layers_of(cell)) {
      const double s = std::clamp((x - l.start) / l.thickness, 0.0, 1.0),
                   full = i / (F * D) * l.thickness / l.transport();
      level += full * (l.side < 0 ? s * s / 2 : l.side > 0 ? s - s * s / 2 : s);
    }
    return level;
  };
  const auto shape = [&](double x) { return std::exp(q * straight(x)); };  // p + q c = A shape
  const double pores = over_layers(cell, [](double, const Layer& l) { return l.porosity; });
  const double A =
      (p + q * 1000) * pores / over_layers(cell, [&](double x, const Layer& l) { return l.porosity * shape(x); });
  const Salt salt(cell, 14);
  const Eigen::VectorXd b = nonlinear_steady(salt, i);
  for (double part = 0; part <= 1.0001; part += 0.125) {
    const double x = std::min(1.0, part) * salt.length();
    CHECK_THAT(concentration(salt, b, x), WithinAbs((A * shape(x) - p) / q, 1e-6));
  }
}

TEST_CASE("the error of a steady profile falls faster than any power of the degree", "[model][salt][convergence]") {
  Cell cell = tests::lco_graphite();
  cell.electrolyte.diffusivity = Property(  // interpolated more closely than the table above asks for
      Curve::approximation([](double c) { return 5.34e-10 * std::exp(-0.65e-3 * c); }, 0, 3000, 1e-23,
                           Curve::Beyond::hold));
  const double i = 100;
  const Salt finest(cell, 24);
  const Eigen::VectorXd exact = nonlinear_steady(finest, i);
  double last_error = 0, last_order = 0;
  for (const int degree : {2, 4, 8}) {
    const Salt salt(cell, degree);
    const Eigen::VectorXd b = nonlinear_steady(salt, i);
    double error = 0;
    for (int k = 0; k <= 200; ++k) {
      const double x = k / 200.0 * salt.length();
      error = std::max(error, std::abs(concentration(salt, b, x) - concentration(finest, exact, x)));
    }
    CAPTURE(degree, error, last_error);
    if (last_error > 0) {
      const double order = std::log2(last_error / error);  // a method of order p divides by 2^p per doubling, always
      CHECK(order > last_order + 1);
      last_order = order;
    }
    last_error = error;
  }
  CHECK(last_error < 1e-3);  // of 1500 mol/m3 from end to end
}

TEST_CASE("the share of the highest polynomials falls as fast as the error that it stands for",
          "[model][salt][convergence]") {
  const Cell cell = tests::lco_graphite();
  double last = 1e9;
  for (const int degree : {4, 8, 12, 16}) {
    const Salt salt(cell, degree);
    const double tail = salt.tail(nonlinear_steady(salt, 100));
    CAPTURE(degree, tail);
    CHECK(tail < 0.1 * last);
    last = tail;
  }
  CHECK(last < 1e-2);
  const Salt salt(cell, 7);
  CHECK(salt.tail(Eigen::VectorXd::Zero(salt.count())) == 0);
}

TEST_CASE("the Jacobian of the salt is the slope of its rate", "[model][salt]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  const Cell cell = half ? half_cell(varied_cell()) : varied_cell();
  const Salt salt(cell, 7);
  const Eigen::VectorXd b = some_amplitudes(salt);
  const double i = -37, warm = 305, D = 2e-10, t = 0.3;
  const auto value = [&](const Eigen::VectorXd& at, double current, double temperature) {
    Eigen::VectorXd result(salt.count());
    salt.remainder(at, current, temperature, D, t, result);
    return result;
  };
  Eigen::MatrixXd J(salt.count(), salt.count());
  Eigen::VectorXd by_current(salt.count()), by_temperature(salt.count());
  salt.remainder_jacobian(b, i, warm, D, t, J, by_current, by_temperature);
  const double step = 1e-5 * b.norm();
  for (int n = 0; n < salt.count(); ++n) {
    const Eigen::VectorXd e = step * Eigen::VectorXd::Unit(salt.count(), n);
    const Eigen::VectorXd column = (value(b + e, i, warm) - value(b - e, i, warm)) / (2 * step);
    CHECK((J.col(n) - column).norm() < 1e-7 * J.col(n).norm());
  }
  const Eigen::VectorXd for_current = (value(b, i + 1, warm) - value(b, i - 1, warm)) / 2;
  CHECK((by_current - for_current).norm() < 1e-9 * by_current.norm());
  const Eigen::VectorXd for_temperature = (value(b, i, warm + 0.01) - value(b, i, warm - 0.01)) / 0.02;
  CHECK((by_temperature - for_temperature).norm() < 1e-7 * by_temperature.norm());
}

TEST_CASE("gradients of drops and salt numbers are their slopes", "[model][salt]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  const Cell cell = half ? half_cell(varied_cell()) : varied_cell();
  const Salt salt(cell, 6);
  const Eigen::VectorXd b = some_amplitudes(salt);
  const double i = 29;
  const Salt::Gradient g = salt.ionic_gradient(b, i, T);
  const double step = 1e-5 * b.norm();
  Eigen::MatrixXd slopes(salt.count(), 5), given(salt.count(), 5);
  given << g.negative, g.separator, g.positive, g.negative_salt, g.positive_salt;
  for (int n = 0; n < salt.count(); ++n) {
    const Eigen::VectorXd e = step * Eigen::VectorXd::Unit(salt.count(), n);
    const model::Ionic up = salt.ionic(b + e, T), down = salt.ionic(b - e, T);
    const auto drop = [&](const model::Ionic::Layer& l) { return i * l.resistance + l.concentration; };
    slopes.row(n) << drop(up.negative) - drop(down.negative), drop(up.separator) - drop(down.separator),
        drop(up.positive) - drop(down.positive), up.negative_salt - down.negative_salt,
        up.positive_salt - down.positive_salt;
  }
  slopes /= 2 * step;
  const std::string names[] = {"negative", "separator", "positive", "negative salt", "positive salt"};
  for (Eigen::Index k = 0; k < 5; ++k) {
    CAPTURE(names[k]);
    CHECK((slopes.col(k) - given.col(k)).norm() <= 1e-6 * given.col(k).norm());
  }
  CHECK((half ? given.col(0).norm() == 0 : given.col(0).norm() > 0));
}

TEST_CASE("even salt resists with L / (3 kappa) in an electrode and L / kappa in the separator", "[model][salt]") {
  // Marquis et al. 2019; the third is int w^2 over a layer in which w runs from 0 to 1. kappa(1 mol/L) = 0.9487 S/m
  // after Nyman et al. 2008, Bruggeman's exponent 3/2; from memory.
  const Cell cell = tests::nmc811_graphite_siox();
  const double negative = 85.2e-6 / (3 * 0.9487 * std::pow(0.25, 1.5)),
               separator = 12e-6 / (0.9487 * std::pow(0.47, 1.5)),
               positive = 75.6e-6 / (3 * 0.9487 * std::pow(0.335, 1.5));
  const Salt salt(cell, 5);
  const Eigen::VectorXd even = Eigen::VectorXd::Zero(salt.count());
  for (const model::Ionic& ionic : {salt.ionic(even, T), model::uniform_ionic(cell, T)}) {
    CHECK_THAT(ionic.negative.resistance, WithinRel(negative, 1e-8));  // Nyman's curve is interpolated to 1e-9 S/m
    CHECK_THAT(ionic.separator.resistance, WithinRel(separator, 1e-8));
    CHECK_THAT(ionic.positive.resistance, WithinRel(positive, 1e-8));
    CHECK_THAT(ionic.resistance(), WithinRel(negative + separator + positive, 1e-8));
    CHECK(ionic.concentration() == 0);
    CHECK_THAT(ionic.negative_salt, WithinRel(1000, 1e-13));
    CHECK_THAT(ionic.positive_salt, WithinRel(1000, 1e-13));
  }
  const Cell half = half_cell(cell);
  const Salt other(half, 5);
  for (const model::Ionic& ionic :
       {other.ionic(Eigen::VectorXd::Zero(other.count()), T), model::uniform_ionic(half, T)}) {
    CHECK(ionic.negative.resistance == 0);
    CHECK_THAT(ionic.resistance(), WithinRel(separator + positive, 1e-8));
    CHECK_THAT(ionic.negative_salt, WithinRel(1000, 1e-13));
  }
}

TEST_CASE("between two places the potential of uneven salt is that of a concentration cell", "[model][salt]") {
  // (2RT/F) (1 - t+) chi ln(c_2 / c_1) across the separator (Newman and Balsara, ch. 12), and between the averages of
  // two electrodes (2RT/F) (1 - t+) chi (<ln c>_p - <ln c>_n) (Marquis et al. 2019, by parts).
  Cell cell = tests::published_cell();
  cell.electrolyte.thermodynamic_factor = Property::constant(1.7);
  const Salt salt(cell, 24);
  const Eigen::VectorXd b = steady(salt, GENERATE(-60.0, 50.0));
  const model::Ionic ionic = salt.ionic(b, T);
  const double scale = twice_thermal_voltage * (1 - 0.2594) * 1.7;
  const auto c = [&](double x) { return concentration(salt, b, x); };
  CHECK_THAT(ionic.separator.concentration, WithinAbs(scale * std::log(c(97.2e-6) / c(85.2e-6)), 1e-9));
  const auto mean_log = [&](double from, double to) {
    return integral([&](double x) { return std::log(c(x)); }, from, to, 60) / (to - from);
  };
  CHECK_THAT(ionic.concentration(), WithinAbs(scale * (mean_log(97.2e-6, 172.8e-6) - mean_log(0, 85.2e-6)), 1e-8));
  // one electrode: from its average to the separator
  CHECK_THAT(ionic.negative.concentration, WithinAbs(scale * (std::log(c(85.2e-6)) - mean_log(0, 85.2e-6)), 1e-8));
}

TEST_CASE("what the terminals are told of uneven salt is the integral that defines it", "[model][salt]") {
  const bool half = GENERATE(false, true);
  CAPTURE(half);
  const Cell cell = half ? half_cell(varied_cell()) : varied_cell();
  const Salt salt(cell, 12);
  const Eigen::VectorXd b = some_amplitudes(salt);
  const double warm = 310;
  const model::Ionic ionic = salt.ionic(b, warm);
  const model::Electrolyte& e = cell.electrolyte;
  for (const Layer& l : layers_of(cell)) {
    CAPTURE(l.side);
    const auto over = [&](auto f) {  // 1e-9 m short of the joints, where a central difference would leave the layer
      return integral([&](double x) { return f(x, concentration(salt, b, x)); }, l.start, l.start + l.thickness, 60);
    };
    const model::Ionic::Layer& given = l.side < 0 ? ionic.negative : l.side > 0 ? ionic.positive : ionic.separator;
    CHECK_THAT(given.resistance, WithinRel(over([&](double x, double c) {
                                             return l.share(x) * l.share(x) / (e.conductivity(c, warm) * l.transport());
                                           }),
                                           1e-5));
    const double h = 1e-4 * l.thickness;
    const double concentration_drop = over([&](double x, double c) {
      const double slope = (concentration(salt, b, std::min(x + h, l.start + l.thickness)) -
                            concentration(salt, b, std::max(x - h, l.start))) /
                           (std::min(x + h, l.start + l.thickness) - std::max(x - h, l.start));
      return l.share(x) * (1 - e.transference_number(c, warm)) * e.thermodynamic_factor(c, warm) * slope / c;
    });
    CHECK_THAT(given.concentration, WithinAbs(twice_thermal_voltage * warm / T * concentration_drop, 5e-7));
    if (l.side == 0) continue;
    const double power = l.side > 0 ? 0.4 : 0.5;  // the anodic transfer coefficients of the cell
    const double salt_number =
        std::pow(over([&](double, double c) { return std::pow(c, power); }) / l.thickness, 1 / power);
    CHECK_THAT(l.side > 0 ? ionic.positive_salt : ionic.negative_salt, WithinRel(salt_number, 1e-7));
  }
  if (half) CHECK_THAT(ionic.negative_salt, WithinRel(concentration(salt, b, 0), 1e-12));
}

TEST_CASE("salt takes polynomials of degree 2 to 40 and says so", "[model][salt]") {
  const Cell cell = tests::published_cell();
  for (const int degree : {1, 0, -3, 41}) {
    CHECK_THROWS_WITH(Salt(cell, degree), "salt takes polynomials of degree 2 to 40");
  }
  for (const int degree : {2, 40}) CHECK(Salt(cell, degree).decay().minCoeff() > 0);
}

TEST_CASE("a trial profile below zero still gives finite numbers", "[model][salt]") {
  const Cell cell = tests::nmc811_graphite_siox();
  const Salt salt(cell, 8);
  const Eigen::VectorXd b = 5 * steady(salt, -100);
  double lowest = 0, highest = 0;
  salt.extremes(b, lowest, highest);
  REQUIRE(lowest < 0);
  const model::Ionic ionic = salt.ionic(b, T);
  for (const double value : {ionic.resistance(), ionic.concentration(), ionic.negative_salt, ionic.positive_salt})
    CHECK(std::isfinite(value));
  CHECK(ionic.positive_salt > 0);
  const Salt::Gradient g = salt.ionic_gradient(b, -100, T);
  for (const Eigen::VectorXd* v : {&g.negative, &g.separator, &g.positive, &g.negative_salt, &g.positive_salt})
    CHECK(v->allFinite());
}
