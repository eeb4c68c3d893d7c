// Open-circuit potentials, above all where nobody measured them.

#include "model/potential.hpp"

#include <cmath>

#include "model/constants.hpp"
#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using namespace onegrain::model;

namespace {
/// The NMC811 potential of C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020), from memory, known on
/// 0.25..0.95.
OpenCircuitPotential measured_range() {
  return OpenCircuitPotential(
      Property(Curve::approximation(onegrain::tests::nmc811_potential, 0.25, 0.95, 1e-11, Curve::Beyond::tangent)),
      Curve::approximation([](double x) { return 1e-4 * (x - 0.3); }, 0.25, 0.95, 1e-14, Curve::Beyond::tangent));
}
}  // namespace

TEST_CASE("inside the range a potential is what was measured", "[model][potential]") {
  const OpenCircuitPotential U = measured_range();
  CHECK(U.lower() == 0.25);
  CHECK(U.upper() == 0.95);
  for (const double x : {0.25, 0.4, 0.61, 0.95}) {
    CHECK_THAT(U(x, 298.15), WithinAbs(onegrain::tests::nmc811_potential(x), 1e-10));
  }
}

TEST_CASE("beyond its range a potential goes on with the same value and slope", "[model][potential]") {
  const OpenCircuitPotential U = measured_range();
  for (const double end : {0.25, 0.95}) {
    for (const double T : {263.15, 298.15, 333.15}) {
      CAPTURE(end, T);
      const double h = 1e-7;  // curvature of the tail, (RT/F) / 0.05^2 = 10 V at most: h^2 and h times that
      const auto below = U.at(end - h, T), above = U.at(end + h, T);
      CHECK_THAT(above.value - below.value, WithinAbs(2 * h * U.at(end, T).by_composition, 1e-12));
      CHECK_THAT(above.by_composition, WithinAbs(below.by_composition, 1e-4));
      CHECK_THAT(above.by_temperature, WithinAbs(below.by_temperature, 1e-10));
    }
  }
}

TEST_CASE("near full and empty a potential moves by 59.16 mV per decade of free or filled sites",
          "[model][potential]") {
  // Nernst; (RT/F) ln 10 = 59.159350 mV at 298.15 K with CODATA 2018 constants, proportional to T.
  const double T = GENERATE(263.15, 298.15, 333.15);
  CAPTURE(T);
  const double decade = 59.159350e-3 * T / 298.15;
  const OpenCircuitPotential U = measured_range();
  // 1e-5 and 1e-6 from the end; the tangent adds its slope of a few V, and up to 0.1 V of its own, times 9e-6
  CHECK_THAT(U(1 - 1e-5, T) - U(1 - 1e-6, T), WithinAbs(decade, 5e-5));
  CHECK_THAT(U(1e-6, T) - U(1e-5, T), WithinAbs(decade, 5e-5));
}

TEST_CASE("a grain can be neither filled nor emptied beyond its sites: the potential diverges", "[model][potential]") {
  const OpenCircuitPotential U = measured_range();
  double last = U(0.95, 298.15);
  for (double free = 0.04; free > 1e-8; free /= 2) {
    const double now = U(1 - free, 298.15);
    CHECK(now < last);
    last = now;
  }
  last = U(0.25, 298.15);
  for (double filled = 0.2; filled > 1e-8; filled /= 2) {
    const double now = U(filled, 298.15);
    CHECK(now > last);
    last = now;
  }
  // 1e-6 from the end the tangent takes over, of slope (RT/F) / 1e-6 = 2.57e4 V: outside, volts per part in 1e4
  CHECK(U(1 + 1e-3, 298.15) < -20);
  CHECK(U(-1e-3, 298.15) > 20);
  CHECK_THAT((U(1 + 1e-5, 298.15) - U(1 + 2e-5, 298.15)) / 1e-5, WithinRel(25.692579e-3 / 1e-6, 1e-4));
}

TEST_CASE("whatever stoichiometry an integrator tries, a potential and its derivatives are finite",
          "[model][potential]") {
  const OpenCircuitPotential constant(Property::constant(3.4));
  for (const OpenCircuitPotential& U : {measured_range(), constant}) {
    for (const double x :
         {-1e6, -1.0, -1e-9, -1e-300, 0.0, 1e-300, 1e-12, 1e-9, 0.5, 1 - 1e-9, 1.0, 1 + 1e-9, 2.0, 1e6}) {
      CAPTURE(x);
      const Property::Value v = U.at(x, 298.15);
      CHECK(std::isfinite(v.value));
      CHECK(std::isfinite(v.by_composition));
      CHECK(std::isfinite(v.by_temperature));
    }
  }
  CHECK(constant(0.999, 298.15) == 3.4);
  // known up to the last site, it has the same wall beyond it
  CHECK_THAT(constant(1 + 1e-5, 298.15), WithinAbs(3.4 - 0.25692579, 1e-7));
  CHECK_THAT(constant(-1e-5, 298.15), WithinAbs(3.4 + 0.25692579, 1e-7));
}

TEST_CASE("a potential moves with temperature by its entropic coefficient", "[model][potential]") {
  const OpenCircuitPotential U = measured_range();
  for (const double x : {0.26, 0.5, 0.9}) {
    CAPTURE(x);
    CHECK_THAT(U.entropic_coefficient(x, 310), WithinAbs(1e-4 * (x - 0.3), 1e-12));
    CHECK_THAT(U(x, 318.15) - U(x, 298.15), WithinAbs(20 * 1e-4 * (x - 0.3), 1e-11));
  }
}

TEST_CASE("the derivatives of a potential are those of its values, also far outside", "[model][potential]") {
  const OpenCircuitPotential U = measured_range();
  for (const double x : {-0.1, 0.01, 0.1, 0.2, 0.35, 0.56, 0.8, 0.96, 0.99, 1.1}) {
    CAPTURE(x);
    const double T = 285, dx = 1e-6, dT = 1e-3;
    const Property::Value v = U.at(x, T);
    const double by_x = (U(x + dx, T) - U(x - dx, T)) / (2 * dx);
    // outside, values of 1e6 V lose 1e-10 V to round-off, 1e-4 of a difference of 1e-6
    CHECK_THAT(v.by_composition, WithinRel(by_x, 1e-5));
    CHECK_THAT(v.by_temperature, WithinRel((U(x, T + dT) - U(x, T - dT)) / (2 * dT), 1e-5));
  }
}
