// Charge transfer: Butler and Volmer's equation and the exchange current density.

#include "model/kinetics.hpp"

#include <cmath>

#include "model/constants.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain::model;

namespace {
constexpr double T_ref = 298.15;
const double thermal_voltage = gas_constant * T_ref / faraday_constant;

struct Transfer {
  double aa, ac;
};
const Transfer transfers[] = {{0.5, 0.5}, {0.3, 0.7}, {0.65, 0.35}, {1, 1}, {0.1, 0.9}, {0.5, 0.25}, {1.5, 0.5}};
}  // namespace

TEST_CASE("symmetric charge transfer at 0.1 and 10 exchange currents takes 2.568 and 118.825 mV", "[model][kinetics]") {
  // eta = (2RT/F) asinh(i / 2 i0) at 298.15 K with CODATA 2018 constants, evaluated with 20 digits
  const double i0 = GENERATE(0.34, 24.0, 1e-3);
  CHECK_THAT(butler_volmer(0.1 * i0, i0, T_ref, 0.5, 0.5).value, WithinRel(2.5681885905290574e-3, 1e-13));
  CHECK_THAT(butler_volmer(10 * i0, i0, T_ref, 0.5, 0.5).value, WithinRel(118.82501009156542e-3, 1e-13));
  CHECK(butler_volmer(0, i0, T_ref, 0.5, 0.5).value == 0);
}

TEST_CASE("charge transfer is ohmic within 1 % below 0.49 exchange currents and no further", "[model][kinetics]") {
  // eta -> (RT/F) i/i0; the bound 0.49 follows from the series asinh(s) = s - s^3/6 + ...
  const auto error = [](double s) { return thermal_voltage * s / butler_volmer(s, 1, T_ref, 0.5, 0.5).value - 1; };
  CHECK(error(0.49) < 0.01);
  CHECK(error(0.50) > 0.01);
  // resistance RT / (F i0) = 256.926 ohm cm2 at 1 A/m2 (computed from CODATA 2018), here in ohm m2
  CHECK_THAT(butler_volmer(0, 1, T_ref, 0.5, 0.5).by_current, WithinAbs(256.926e-4, 5e-8));
}

TEST_CASE("charge transfer follows Tafel's law within 1 % above 7.02 exchange currents and no earlier",
          "[model][kinetics]") {
  // eta -> (2RT/F) ln(i/i0): Bard and Faulkner, Electrochemical Methods, 2nd ed. (2001), ch. 3
  const auto error = [](double s) {
    return 1 - 2 * thermal_voltage * std::log(s) / butler_volmer(s, 1, T_ref, 0.5, 0.5).value;
  };
  CHECK(error(7.03) < 0.01);
  CHECK(error(7.00) > 0.01);
}

TEST_CASE("Tafel slopes are 2.303 RT / (alpha F) per decade, on either side", "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    CAPTURE(aa, ac);
    const double decade = 59.159350e-3;  // (RT/F) ln 10 at 298.15 K
    // what the other direction still adds at 1e8 exchange currents is (1e-8)^((aa+ac)/max), far below the tolerance
    const auto eta = [aa = aa, ac = ac](double s) { return butler_volmer(s, 1, T_ref, aa, ac).value; };
    CHECK_THAT(eta(1e9) - eta(1e8), WithinRel(decade / aa, 1e-7));
    CHECK_THAT(eta(-1e8) - eta(-1e9), WithinRel(decade / ac, 1e-7));
  }
}

TEST_CASE("the overpotential satisfies Butler and Volmer's equation over twenty decades of current",
          "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    for (int decade = -10; decade <= 10; ++decade) {
      for (const double sign : {1.0, -1.0}) {
        const double s = sign * 1.7 * std::pow(10, decade);
        CAPTURE(aa, ac, s);
        const double u = butler_volmer(s, 1, T_ref, aa, ac).value / thermal_voltage;
        // exp(aa u) - exp(-ac u), written so that nothing cancels
        const double back = 2 * std::exp(0.5 * (aa - ac) * u) * std::sinh(0.5 * (aa + ac) * u);
        CHECK_THAT(back, WithinRel(s, 1e-12));
      }
    }
  }
}

TEST_CASE("coefficients next to 1/2 give next to the closed form", "[model][kinetics]") {
  for (const double s : {-1e4, -3.0, -1e-3, 1e-6, 0.7, 40.0}) {
    CAPTURE(s);
    const auto exact = butler_volmer(s, 2, T_ref, 0.5, 0.5),
               near = butler_volmer(s, 2, T_ref, 0.5 + 1e-13, 0.5 - 1e-13);
    CHECK_THAT(near.value, WithinRel(exact.value, 1e-12));
    CHECK_THAT(near.by_current, WithinRel(exact.by_current, 1e-12));
    CHECK_THAT(near.by_exchange, WithinRel(exact.by_exchange, 1e-12));
  }
}

TEST_CASE("a reversed current with exchanged coefficients gives the reversed overpotential", "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    for (const double s : {1e-8, 0.3, 12.0, 1e6}) {
      CAPTURE(aa, ac, s);
      CHECK(butler_volmer(s, 1, T_ref, aa, ac).value == -butler_volmer(-s, 1, T_ref, ac, aa).value);
    }
  }
}

TEST_CASE("the derivatives of an overpotential are those of its values", "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    for (const double i : {-500.0, -2.0, -1e-3, 1e-3, 0.9, 35.0}) {
      CAPTURE(aa, ac, i);
      const double i0 = 1.3, T = 310, h = 1e-5;  // relative; central differences err by h^2
      const auto v = butler_volmer(i, i0, T, aa, ac);
      const auto eta = [aa = aa, ac = ac](double i_s, double i_0, double temperature) {
        return butler_volmer(i_s, i_0, temperature, aa, ac).value;
      };
      CHECK(v.by_current > 0);
      CHECK_THAT(v.by_current, WithinRel((eta(i * (1 + h), i0, T) - eta(i * (1 - h), i0, T)) / (2 * h * i), 1e-8));
      CHECK_THAT(v.by_exchange, WithinRel((eta(i, i0 * (1 + h), T) - eta(i, i0 * (1 - h), T)) / (2 * h * i0), 1e-8));
      CHECK_THAT(v.by_temperature, WithinRel((eta(i, i0, T * (1 + h)) - eta(i, i0, T * (1 - h))) / (2 * h * T), 1e-8));
    }
  }
}

TEST_CASE("at half filling in 1 mol/L a host exchanges its reference current", "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    CAPTURE(aa, ac);
    Host host = onegrain::tests::published_cell().positive.host;
    host.exchange_current_density = Property::constant(3.412, 17.8e3);
    host.anodic_transfer = aa;
    host.cathodic_transfer = ac;
    CHECK_THAT(exchange_current_density(host, 0.5, 1000, T_ref).value, WithinRel(3.412, 1e-14));
  }
  const LithiumMetal lithium{Property::constant(8.1)};
  CHECK_THAT(exchange_current_density(lithium, 1000, T_ref).value, WithinRel(8.1, 1e-14));
  CHECK_THAT(exchange_current_density(lithium, 250, T_ref).value, WithinRel(4.05, 1e-14));  // square root of c
}

TEST_CASE("exchange currents of a fitted cell model follow m sqrt(c c_s (c_max - c_s))", "[model][kinetics]") {
  // C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), from memory: m = 3.42e-6 and 6.48e-7 in A/m2
  // (m3/mol)^1.5
  const Cell cell = onegrain::tests::published_cell();
  const auto published = [](double m, double c_max, double x, double c) {
    return m * std::sqrt(c) * std::sqrt(x * c_max) * std::sqrt((1 - x) * c_max);
  };
  for (const double x : {0.03, 0.27, 0.5, 0.9}) {
    for (const double c : {200.0, 1000.0, 1800.0}) {
      CAPTURE(x, c);
      CHECK_THAT(exchange_current_density(cell.positive.host, x, c, T_ref).value,
                 WithinRel(published(3.42e-6, 63104, x, c), 1e-12));
      CHECK_THAT(exchange_current_density(cell.negative->host, x, c, T_ref).value,
                 WithinRel(published(6.48e-7, 33133, x, c), 1e-12));
    }
  }
  // worked out apart from this code: 3.412 and 0.3395 A/m2 at half filling
  CHECK_THAT(exchange_current_density(cell.positive.host, 0.5, 1000, T_ref).value, WithinAbs(3.412, 5e-4));
  CHECK_THAT(exchange_current_density(cell.negative->host, 0.5, 1000, T_ref).value, WithinAbs(0.3395, 5e-5));
}

TEST_CASE("the exchange current vanishes at full and empty grains and stays finite beyond", "[model][kinetics]") {
  const Host host = onegrain::tests::published_cell().positive.host;
  const double half = exchange_current_density(host, 0.5, 1000, T_ref).value;
  for (const double x : {-1.0, 0.0, 1e-12, 1 - 1e-12, 1.0, 3.0}) {
    CAPTURE(x);
    const ExchangeCurrent i0 = exchange_current_density(host, x, 1000, T_ref);
    CHECK(i0.value > 0);            // the logarithm of it is taken
    CHECK(i0.value < 2e-3 * half);  // as of 1e-6 of the sites, and less beyond
    CHECK(i0.by_stoichiometry == 0);
  }
  CHECK(exchange_current_density(host, 0.5, 0, T_ref).value > 0);
  CHECK(exchange_current_density(host, 0.5, -10, T_ref).by_concentration == 0);
}

TEST_CASE("the derivatives of an exchange current are those of its values", "[model][kinetics]") {
  for (const auto& [aa, ac] : transfers) {
    Host host = onegrain::tests::published_cell().positive.host;
    host.exchange_current_density = Property::constant(2, 30e3);
    host.anodic_transfer = aa;
    host.cathodic_transfer = ac;
    for (const double x : {0.02, 0.3, 0.5, 0.95}) {
      CAPTURE(aa, ac, x);
      const double c = 700, T = 290, h = 1e-6;
      const auto i0 = [&](double s, double salt, double temperature) {
        return exchange_current_density(host, s, salt, temperature).value;
      };
      const ExchangeCurrent v = exchange_current_density(host, x, c, T);
      CHECK_THAT(v.by_stoichiometry, WithinAbs((i0(x + h, c, T) - i0(x - h, c, T)) / (2 * h), 1e-7));
      CHECK_THAT(v.by_concentration, WithinRel((i0(x, c + 1e-2, T) - i0(x, c - 1e-2, T)) / 2e-2, 1e-7));
      CHECK_THAT(v.by_temperature, WithinRel((i0(x, c, T + 1e-3) - i0(x, c, T - 1e-3)) / 2e-3, 1e-7));
    }
  }
}
