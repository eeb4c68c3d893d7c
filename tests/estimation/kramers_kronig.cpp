#include "solver/estimation/kramers_kronig.hpp"

#include <cmath>
#include <numbers>
#include <random>

#include "tests/catch.hpp"

// Spectra of circuits in closed form keep the relations of Kramers and Kronig whatever they are made of; a cell that
// changes while its slow points are taken does not.

using Catch::Matchers::WithinRel;
using onegrain::solver::kramers_kronig;
using onegrain::solver::KramersKronig;
using Complex = std::complex<double>;

namespace {

struct Spectrum {
  std::vector<double> frequency;
  std::vector<Complex> impedance;
};

/// Series resistance, leads, an arc that is pressed flat (constant-phase element), a line of 45 degrees; every point
/// takes three of its periods, and charge transfer grows with the time so.
Spectrum circuit(double noise, double growth, double leads, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  Spectrum spectrum;
  double time = 0;
  for (int k = 0; k <= 60; ++k) {
    const double f = 1e5 * std::pow(10, -k / 8.0);
    const Complex s(0, 2 * std::numbers::pi * f);
    const double transfer = 8 * (1 + growth * time);
    time += 3 / f;
    Complex z = 3.0 + s * leads + 1.0 / (1.0 / transfer + 0.01 * std::pow(s, 0.85)) + 2.0 / std::sqrt(s);
    z += noise * std::abs(z) * Complex(normal(random), normal(random));
    spectrum.frequency.push_back(f);
    spectrum.impedance.push_back(z);
  }
  return spectrum;
}

}  // namespace

TEST_CASE("spectra of a cell at rest pass, whatever the noise, and the leads are told",
          "[estimation][kramers_kronig]") {
  int failing = 0, points = 0;
  for (const double noise : {0.0, 1e-3, 3e-3, 1e-2}) {
    for (unsigned seed = 1; seed <= 25; ++seed) {
      const Spectrum spectrum = circuit(noise, 0, 2e-6, seed);
      const KramersKronig test = kramers_kronig(spectrum.frequency, spectrum.impedance);
      failing += test.failing();
      points += static_cast<int>(test.passes.size());
      CHECK(test.noise < 1.6 * noise + 1e-4);
      if (noise <= 1e-3) {
        CHECK_THAT(test.inductance, WithinRel(2e-6, 0.02));
        CHECK_THAT(test.series, WithinRel(3.0, 0.02));
      }
    }
  }
  CHECK(failing <= points / 500);  // five standard deviations of normal noise: hardly any
}

TEST_CASE("a cell that drifts fails where the slow points are, and only there", "[estimation][kramers_kronig]") {
  for (const double noise : {0.0, 1e-3}) {
    const Spectrum spectrum = circuit(noise, 1.5e-4, 0, 3);
    const KramersKronig test = kramers_kronig(spectrum.frequency, spectrum.impedance);
    CHECK(test.failing() >= 5);
    for (std::size_t k = 0; k < test.passes.size(); ++k)
      if (spectrum.frequency[k] > 1) CHECK(test.passes[k]);
    CHECK_FALSE(test.passes.back());
  }
}

TEST_CASE("one wrong point fails alone", "[estimation][kramers_kronig]") {
  Spectrum spectrum = circuit(1e-3, 0, 0, 5);
  spectrum.impedance[30] *= 1.06;
  const KramersKronig test = kramers_kronig(spectrum.frequency, spectrum.impedance);
  CHECK(test.failing() == 1);
  CHECK_FALSE(test.passes[30]);
}

TEST_CASE("points that are none are refused", "[estimation][kramers_kronig]") {
  Spectrum spectrum = circuit(0, 0, 0, 1);
  spectrum.impedance[3] = 0;
  CHECK_THROWS_AS(kramers_kronig(spectrum.frequency, spectrum.impedance), std::invalid_argument);
  CHECK_THROWS_AS(kramers_kronig({1, 2, 3, 4}, {1, 1, 1, 1}), std::invalid_argument);
  CHECK_THROWS_AS(kramers_kronig({1, 2, 3, 4, -5}, {1, 1, 1, 1, 1}), std::invalid_argument);
}
