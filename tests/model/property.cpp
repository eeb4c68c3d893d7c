// Material properties: composition by curves, temperature by Arrhenius or by curves at several temperatures.

#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include "model/constants.hpp"
#include "model/curve.hpp"
#include "tests/catch.hpp"

using namespace onegrain::model;

namespace {
/// f(x, T) sampled at Chebyshev temperatures of [low, high], where a polynomial in T is nearly the best one.
Property sampled(double (*f)(double, double), double lower, double upper, double tolerance, double T_low, double T_high,
                 int count) {
  std::vector<Property::Sample> samples;
  for (int k = 0; k < count; ++k) {
    const double T = 0.5 * (T_low + T_high) - 0.5 * (T_high - T_low) * std::cos(std::numbers::pi * (k + 0.5) / count);
    samples.push_back(
        {T, Curve::approximation([&](double x) { return f(x, T); }, lower, upper, tolerance, Curve::Beyond::hold)});
  }
  return Property(samples);
}
}  // namespace

TEST_CASE("the logarithm of an Arrhenius rate falls by E/R per unit of 1/T", "[model][property]") {
  const double E = GENERATE(10e3, 35e3, 60e3);
  CAPTURE(E);
  const Property D = Property::constant(3.3e-14, E);
  const double cold = 258.15, hot = 333.15;
  CHECK_THAT(std::log(D(0.5, hot) / D(0.5, cold)) / (1 / hot - 1 / cold), WithinRel(-E / gas_constant, 1e-12));
  CHECK(D(0.5, reference_temperature) == 3.3e-14);  // a card states its values at 25 degC
  CHECK(D.uniform());
}

TEST_CASE("35 kJ/mol speed a reaction up by 58 % from 25 to 35 degC and slow it down to 27 % at 0 degC",
          "[model][property]") {
  // exp(-(E/R)(1/T - 1/298.15)) with CODATA 2018 constants, evaluated with 20 digits
  const Property i0 = Property::constant(1, 35e3);
  CHECK_THAT(i0(0, 308.15), WithinRel(1.5811948361492040, 1e-13));
  CHECK_THAT(i0(0, 273.15), WithinRel(0.27465922300346110, 1e-13));
}

TEST_CASE("a potential linear in temperature is exact from two temperatures", "[model][property]") {
  const auto U = [](double x, double T) { return 4 - x + (T - 298.15) * 1e-4 * (x - 0.5); };
  const Property p = sampled(U, 0, 1, 1e-12, 273.15, 323.15, 2);
  for (const double T : {243.15, 273.15, 298.15, 350.0}) {  // far outside the two, too
    for (const double x : {0.0, 0.3, 1.0}) {
      CHECK_THAT(p(x, T), WithinAbs(U(x, T), 1e-12));
      CHECK_THAT(p.at(x, T).by_temperature, WithinAbs(1e-4 * (x - 0.5), 1e-13));
      CHECK_THAT(p.at(x, T).by_composition, WithinAbs(-1 + (T - 298.15) * 1e-4, 1e-10));
    }
  }
}

TEST_CASE("six temperatures carry the conductivity of an electrolyte over -30..70 degC", "[model][property]") {
  // L. O. Valoen and J. N. Reimers, J. Electrochem. Soc. 152, A882 (2005), PC:EC:DMC; formula from memory. In T it is a
  // polynomial of degree 4, so six temperatures are exact and only the 1e-9 of the curves is left.
  const auto kappa = [](double c, double T) {
    const double m = c / 1000;  // mol/L
    const double s = (-10.5 + 0.0740 * T - 6.96e-5 * T * T) + m * (0.668 - 0.0178 * T + 2.80e-5 * T * T) +
                     m * m * (0.494 - 8.86e-4 * T);
    return 0.1 * m * s * s;
  };
  CHECK_THAT(kappa(1000, 298.15), WithinAbs(1.194, 5e-4));  // as printed in a table, three decimals
  CHECK_THAT(kappa(1000, 273.15), WithinAbs(0.711, 5e-4));
  const Property p = sampled(kappa, 10, 3000, 1e-10, 243.15, 343.15, 6);
  for (double T = 243.15; T <= 343.15; T += 2.5) {
    for (double c = 50; c <= 2500; c += 175) {
      CAPTURE(c, T);
      CHECK_THAT(p(c, T), WithinRel(kappa(c, T), 1e-7));
    }
  }
}

TEST_CASE("temperatures carry exponentials of 1/T ever better, about thirtyfold for two more", "[model][property]") {
  // J. Landesfeind and H. A. Gasteiger, J. Electrochem. Soc. 166, A3079 (2019), EC:EMC 3:7; formulas from memory.
  const auto kappa = [](double c, double T) {
    const double m = c / 1000, e = std::exp(1000 / T);
    return 0.1 * 0.521 * (1 + T - 228) * m * (1 - 1.06 * std::sqrt(m) + 0.353 * (1 - 3.59e-3 * e) * m) /
           (1 + std::pow(m, 4) * 1.48e-3 * e);
  };
  const auto D = [](double c, double T) {
    const double m = c / 1000;
    return 1010e-10 * std::exp(1.01 * m) * std::exp(-1560 / T) * std::exp(-487 * m / T);
  };
  CHECK_THAT(kappa(1000, 298.15), WithinAbs(0.913, 5e-4));
  CHECK_THAT(D(1000, 298.15), WithinAbs(2.89e-10, 5e-13));
  // over -30..70 degC, salt from 0.25 to 2 mol/L; bounds as found with the formulas alone, without curves
  struct Row {
    int temperatures;
    double kappa, D;
  };
  for (const Row row : {Row{6, 1e-3, 1e-4}, {8, 2e-5, 1e-6}, {10, 1e-6, 1e-7}}) {
    CAPTURE(row.temperatures);
    const Property p_kappa = sampled(kappa, 10, 2500, 1e-10, 243.15, 343.15, row.temperatures);
    const Property p_D = sampled(D, 10, 2500, 1e-19, 243.15, 343.15, row.temperatures);
    double worst_kappa = 0, worst_D = 0;
    for (double T = 243.15; T <= 343.15; T += 2.5) {
      for (double c = 250; c <= 2000; c += 125) {
        worst_kappa = std::max(worst_kappa, std::abs(p_kappa(c, T) / kappa(c, T) - 1));
        worst_D = std::max(worst_D, std::abs(p_D(c, T) / D(c, T) - 1));
      }
    }
    CHECK(worst_kappa < row.kappa);
    CHECK(worst_D < row.D);
  }
}

TEST_CASE("the derivatives of a property are those of its values", "[model][property]") {
  const auto f = [](double x, double T) { return std::exp(x) * (1 + 1e-2 * (T - 300) + 2e-5 * (T - 300) * (T - 300)); };
  std::vector<Property::Sample> samples;
  for (const double T : {270.0, 300.0, 340.0}) {
    samples.push_back({T, Curve::approximation([&](double x) { return f(x, T); }, 0, 1, 1e-12, Curve::Beyond::hold)});
  }
  const Property p(samples, 20e3);
  CHECK_FALSE(p.uniform());
  for (const double T : {270.0, 288.0, 325.0}) {
    for (const double x : {0.1, 0.52, 0.9}) {
      CAPTURE(x, T);
      const Property::Value v = p.at(x, T);
      const double dT = 1e-3, dx = 1e-5;  // central differences: errors of h^2 and 1e-16 / h
      CHECK_THAT(v.by_temperature, WithinRel((p(x, T + dT) - p(x, T - dT)) / (2 * dT), 1e-7));
      CHECK_THAT(v.by_composition, WithinRel((p(x + dx, T) - p(x - dx, T)) / (2 * dx), 1e-6));
    }
  }
}

TEST_CASE("a property may be multiplied by a factor, time and again", "[model][property]") {
  const Property D = Property::constant(4e-15, 20e3);
  const Property more = D.scaled(3).scaled(0.5);
  CHECK_THAT(more(0.2, 310), WithinRel(1.5 * D(0.2, 310), 1e-14));
  CHECK_THAT(more.at(0.2, 310).by_temperature, WithinRel(1.5 * D.at(0.2, 310).by_temperature, 1e-14));
  CHECK(D(0.2, reference_temperature) == 4e-15);  // the original stays
  CHECK_THROWS_WITH(Property(std::vector<Property::Sample>{}), "a property needs a curve");
}

TEST_CASE("a property refuses curves that make no polynomial in the temperature", "[model][property]") {
  const auto at = [](std::vector<double> temperatures) {
    std::vector<Property::Sample> samples;
    for (const double T : temperatures) samples.push_back({T, Curve::constant(T)});
    return Property(samples);
  };
  CHECK_THROWS_WITH(at({}), "a property needs a curve");
  CHECK_THROWS_WITH(at({280, 300, 280}), "two curves of a property at one temperature");
  CHECK_THROWS_WITH(at(std::vector<double>(13, 300.0)), "a property takes curves at twelve temperatures at most");
  // Of one curve a temperature, f(T) = T comes back at every T, on the samples and between them.
  const Property straight = at({260, 280, 300, 330});
  for (const double T : {255.0, 260.0, 287.0, 330.0, 340.0}) {
    CHECK_THAT(straight(0.3, T), WithinRel(T, 1e-13));
    CHECK_THAT(straight.at(0.3, T).by_temperature, WithinAbs(1, 1e-12));
    CHECK(Property::Isotherm(straight, T)(0.3) == straight(0.3, T));
  }
}

TEST_CASE("curves of one property on the same pieces add up to what they are one by one", "[model][property]") {
  // Conductivities that bend in different places, so that one range is halved for the sake of another's.
  const auto beyond = GENERATE(Curve::Beyond::tangent, Curve::Beyond::hold);
  const std::vector<double> temperatures{260, 280, 300, 330};
  std::vector<std::function<double(double)>> functions;
  for (const double T : temperatures)
    functions.emplace_back([T](double c) { return std::exp(-c / 500) * T / 300 + std::abs(c - 3 * T) / 1e3; });
  const auto curves = Curve::approximations(functions, 0, 3000, std::vector<double>(4, 1e-9), beyond);
  std::vector<Property::Sample> together, apart;
  for (std::size_t k = 0; k < temperatures.size(); ++k) {
    together.push_back({temperatures[k], curves[k]});
    apart.push_back({temperatures[k], Curve::approximation(functions[k], 0, 3000, 1e-9, beyond)});
  }
  const Property one(together, 2e4), other(apart, 2e4);
  for (const double T : {255.0, 287.0, 330.0}) {
    const Property::Isotherm at(one, T);
    for (double c = -200; c < 3300; c += 13.7) {
      CAPTURE(T, c);
      CHECK_THAT(at(c), WithinRel(one.at(c, T).value, 1e-12));
      CHECK_THAT(at(c), WithinAbs(other(c, T), 2e-6 + (c < 0 || c > 3000 ? 1e-3 : 0)));
    }
    CHECK(std::isnan(at(std::nan(""))));
  }
}
