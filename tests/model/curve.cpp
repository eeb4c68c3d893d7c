// Curves: what a number, a formula or a table becomes before any physics runs.

#include "model/curve.hpp"

#include <cmath>
#include <limits>
#include <numbers>

#include "tests/catch.hpp"
#include "tests/published_cells.hpp"

using onegrain::model::Curve;
using onegrain::model::ValueAndSlope;

namespace {
constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

/// Points of [a, b] that share no pattern with halves and Chebyshev points: multiples of the golden ratio.
double scattered(int k, double a, double b) {
  const double turns = k * (std::numbers::phi - 1);
  return a + (b - a) * (turns - std::floor(turns));
}

/// A function with its derivative, differentiated by hand.
struct Known {
  const char* name;
  double lower, upper;
  double (*f)(double);
  double (*slope)(double);
};

const Known known_functions[] = {
    {"parabola", -1, 2, [](double x) { return 3 - x + 2 * x * x; }, [](double x) { return -1 + 4 * x; }},
    {"Runge's function", -1, 1, [](double x) { return 1 / (1 + 25 * x * x); },
     [](double x) { return -50 * x / ((1 + 25 * x * x) * (1 + 25 * x * x)); }},
    {"steep exponential of a graphite potential", 0, 1, [](double x) { return 1.5 * std::exp(-120 * x); },
     [](double x) { return -180 * std::exp(-120 * x); }},
    {"step of width 0.006 of an oxide potential", 0.4, 1,
     [](double x) { return -0.02167 * std::tanh((x - 0.525) / 0.006); },
     [](double x) { return -0.02167 / 0.006 / std::pow(std::cosh((x - 0.525) / 0.006), 2); }},
    {"square root of a salt concentration", 1, 4000, [](double c) { return 1e-3 * std::sqrt(c); },
     [](double c) { return 5e-4 / std::sqrt(c); }},
};
}  // namespace

TEST_CASE("a piecewise polynomial stays within its tolerance of the function, also where nobody looked",
          "[model][curve]") {
  const double tolerance = GENERATE(1e-4, 1e-7, 1e-10);
  for (const Known& known : known_functions) {
    CAPTURE(known.name, tolerance);
    const Curve curve = Curve::approximation(known.f, known.lower, known.upper, tolerance, Curve::Beyond::tangent);
    double worst = 0;
    for (int k = 0; k < 20000; ++k) {
      const double x = scattered(k, known.lower, known.upper);
      worst = std::max(worst, std::abs(curve(x) - known.f(x)));
    }
    // The comparison at 23 points of a piece can miss a crest of the error, but not by more than half as much again.
    CHECK(worst <= 1.5 * tolerance);
  }
}

TEST_CASE("published potentials are reproduced to 0.1 nV", "[model][curve]") {
  // C.-H. Chen et al., J. Electrochem. Soc. 167, 080534 (2020); expressions and values from memory.
  const auto potential = [](double (*f)(double)) {
    return Curve::approximation(f, 0, 1, 1e-10, Curve::Beyond::tangent);
  };
  const Curve U_p = potential(onegrain::tests::nmc811_potential);
  const Curve U_n = potential(onegrain::tests::graphite_siox_potential);
  struct Row {
    double x, U;
  };
  for (const Row row : {Row{0.27, 4.27296}, {0.40, 4.10475}, {0.60, 3.82447}, {0.80, 3.64911}, {0.9084, 3.56140}}) {
    CHECK_THAT(U_p(row.x), WithinAbs(row.U, 5e-6));  // five decimals are printed
  }
  for (const Row row : {Row{0.0279, 1.06374}, {0.10, 0.40652}, {0.30, 0.16297}, {0.60, 0.11875}, {0.9014, 0.09202}}) {
    CHECK_THAT(U_n(row.x), WithinAbs(row.U, 5e-6));
  }
  for (int k = 0; k < 5000; ++k) {
    const double x = scattered(k, 0, 1);
    CHECK_THAT(U_p(x), WithinAbs(onegrain::tests::nmc811_potential(x), 1.5e-10));
    CHECK_THAT(U_n(x), WithinAbs(onegrain::tests::graphite_siox_potential(x), 1.5e-10));
  }
}

TEST_CASE("the slope of a curve is the derivative of the function", "[model][curve]") {
  for (const Known& known : known_functions) {
    CAPTURE(known.name);
    const Curve curve = Curve::approximation(known.f, known.lower, known.upper, 1e-11, Curve::Beyond::tangent);
    double worst = 0, steepest = 0;
    for (int k = 0; k < 5000; ++k) {
      const double x = scattered(k, known.lower, known.upper);
      worst = std::max(worst, std::abs(curve.at(x).slope - known.slope(x)));
      steepest = std::max(steepest, std::abs(known.slope(x)));
      CHECK(curve.at(x).value == curve(x));
    }
    // Markov's inequality lets an error of 1e-11 grow by degree^2 = 100 over half a piece; pieces are wider than 1/500.
    CHECK(worst <= std::max(1e-6, 1e-6 * steepest));
  }
}

TEST_CASE("the slope of a curve is also the slope of its own values", "[model][curve]") {
  // Newton's method and the integrator's Jacobian need the derivative of what is evaluated, not of what was meant.
  const auto coarse =
      Curve::approximation([](double x) { return std::exp(std::sin(9 * x)); }, 0, 1, 1e-3, Curve::Beyond::hold);
  for (int k = 0; k < 500; ++k) {
    const double x = scattered(k, 0.001, 0.999), h = 1e-6;
    CAPTURE(x);
    // h^2 / 6 times a third derivative of about 1e3, and round-off 1e-16 / h. A difference across a break of two
    // pieces sees their gap of up to 2e-3 instead, so those are left out by comparing the two one-sided differences.
    const double left = (coarse(x) - coarse(x - h)) / h;
    const double right = (coarse(x + h) - coarse(x)) / h;
    if (std::abs(left - right) > 1e-2) continue;
    CHECK_THAT(coarse.at(x).slope, WithinAbs(0.5 * (left + right), 1e-7));
  }
}

TEST_CASE("a constant is the same everywhere and has no slope", "[model][curve]") {
  const Curve curve = Curve::constant(2.5e-14);
  CHECK(curve.is_constant());
  for (const double x : {-1e300, -1.0, 0.0, 0.3, 1.0, 7.0, 1e300}) {
    CHECK(curve(x) == 2.5e-14);
    CHECK(curve.at(x).slope == 0);
  }
}

TEST_CASE("beyond its range a curve goes on along its end tangent, or holds its end value", "[model][curve]") {
  const auto square = [](double x) { return x * x; };
  const Curve tangent = Curve::approximation(square, 1, 3, 1e-12, Curve::Beyond::tangent);
  const Curve hold = Curve::approximation(square, 1, 3, 1e-12, Curve::Beyond::hold);
  CHECK(tangent.lower() == 1);
  CHECK(tangent.upper() == 3);
  CHECK_FALSE(tangent.is_constant());
  // tangents of x^2: at 3 it is 9 + 6 (x - 3), at 1 it is 1 + 2 (x - 1)
  CHECK_THAT(tangent(5), WithinAbs(21, 1e-9));
  CHECK_THAT(tangent.at(5).slope, WithinAbs(6, 1e-9));
  CHECK_THAT(tangent(-4), WithinAbs(-9, 1e-9));
  CHECK_THAT(hold(5), WithinAbs(9, 1e-9));
  CHECK(hold.at(5).slope == 0);
  CHECK_THAT(hold(-4), WithinAbs(1, 1e-9));
  CHECK(hold.at(-4).slope == 0);
  // value and slope are continuous at the ends of a tangent
  const double h = 1e-9;
  CHECK_THAT(tangent(3 + h) - tangent(3 - h), WithinAbs(6 * 2 * h, 1e-14));
  CHECK_THAT(tangent.at(1 - h).slope, WithinAbs(tangent.at(1 + h).slope, 1e-7));
}

TEST_CASE("a kink or a jump costs accuracy only where it is", "[model][curve]") {
  const auto kink = [](double x) { return std::abs(x - 1.0 / 3); };
  const auto jump = [](double x) { return x < 1.0 / 3 ? 0.0 : 1.0; };
  for (const auto& f : {std::function<double(double)>(kink), std::function<double(double)>(jump)}) {
    const Curve curve = Curve::approximation(f, 0, 1, 1e-8, Curve::Beyond::hold);
    for (int k = 0; k < 5000; ++k) {
      const double x = scattered(k, 0, 1);
      if (std::abs(x - 1.0 / 3) > 1e-7) CHECK_THAT(curve(x), WithinAbs(f(x), 1.5e-8));  // narrowest piece: 2^-24 = 6e-8
    }
    CHECK(std::abs(curve(1.0 / 3)) < 2);
  }
}

TEST_CASE("a function that is not finite somewhere is refused by naming where", "[model][curve]") {
  const auto attempt = [](double (*f)(double), double a, double b) {
    return Curve::approximation(f, a, b, 1e-8, Curve::Beyond::hold);
  };
  CHECK_THROWS_AS(attempt([](double x) { return std::log(x); }, 0, 1), std::domain_error);
  CHECK_THROWS_WITH(attempt([](double x) { return std::log(x); }, 0, 1), "not finite at 0.000000");
  CHECK_THROWS_WITH(attempt([](double x) { return 1 / (x - 0.5); }, 0, 1), "not finite at 0.500000");
  CHECK_THROWS_WITH(attempt([](double x) { return x > 0.75 ? not_a_number : x; }, 0, 1), HasText("not finite at "));
  CHECK_THROWS_WITH(attempt([](double x) { return x; }, 1, 1), "an empty range");
  CHECK_THROWS_WITH(attempt([](double x) { return x; }, not_a_number, 1), "an empty range");
}

TEST_CASE("polynomial pieces are taken as they are given", "[model][curve]") {
  // 1 + 2 (x - 0) - (x - 0)^2 up to 1, then 2 + 3 (x - 1)
  const Curve curve = Curve::pieces({0, 1, 2.5}, {{1, 2, -1}, {2, 3}}, Curve::Beyond::tangent);
  CHECK_THAT(curve(0.5), WithinAbs(1.75, 1e-15));
  CHECK_THAT(curve.at(0.5).slope, WithinAbs(1, 1e-15));
  CHECK_THAT(curve(1.5), WithinAbs(3.5, 1e-15));
  CHECK_THAT(curve(1), WithinAbs(2, 1e-15));
  CHECK_THAT(curve(3.5), WithinAbs(9.5, 1e-14));
  CHECK_THAT(curve(-1), WithinAbs(-1, 1e-15));
  CHECK_THROWS_WITH(Curve::pieces({0, 1, 1}, {{1}, {2}}, Curve::Beyond::hold), "pieces: breaks must ascend");
  CHECK_THROWS_WITH(Curve::pieces({0, not_a_number, 1}, {{1}, {2}}, Curve::Beyond::hold), "pieces: breaks must ascend");
  CHECK_THROWS_WITH(Curve::pieces({0, 1}, {{1}, {2}}, Curve::Beyond::hold),
                    "pieces: one more break than pieces, at least two breaks");
}

TEST_CASE("every piece of a table is found, however uneven its breaks", "[model][curve]") {
  // ten decades of widths: piece k is the constant k
  std::vector<double> breaks{0};
  std::vector<std::vector<double>> values;
  for (int k = 0; k < 300; ++k) {
    breaks.push_back(breaks.back() + std::pow(10, -5 + (k * 37 % 100) / 10.0));
    values.push_back({static_cast<double>(k)});
  }
  const Curve curve = Curve::pieces(breaks, values, Curve::Beyond::hold);
  for (std::size_t k = 0; k < values.size(); ++k) {
    CHECK(curve(0.5 * (breaks[k] + breaks[k + 1])) == values[k][0]);
    CHECK(curve(breaks[k] + 0.01 * (breaks[k + 1] - breaks[k])) == values[k][0]);
    CHECK(curve(breaks[k + 1] - 0.01 * (breaks[k + 1] - breaks[k])) == values[k][0]);
  }
}

TEST_CASE("no number in gives no number out", "[model][curve]") {
  const Curve curve = Curve::approximation([](double x) { return x * x; }, 0, 1, 1e-8, Curve::Beyond::hold);
  const ValueAndSlope v = curve.at(not_a_number);
  CHECK(std::isnan(v.value));
  CHECK(std::isnan(v.slope));
}
