// Roots of one variable: closed forms, the equations of van Wijngaarden's kind that defeat secants, and an outside
// solver.

#include "model/root_search.hpp"

#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <random>

#include "tests/catch.hpp"

using namespace onegrain::model;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

struct Case {
  const char* name;
  std::function<double(double)> f;
  double a, b, root;
};

/// Each root in closed form.
const Case closed_forms[] = {
    {"square root of 2", [](double x) { return x * x - 2; }, 0, 2, std::numbers::sqrt2},
    {"pi by its sine", [](double x) { return std::sin(x); }, 3, 4, std::numbers::pi},
    {"logarithm", [](double x) { return std::log(x) + 20; }, 1e-300, 10, std::exp(-20.0)},
    {"the omega constant, x exp(x) = 1 (OEIS A030178, from memory)", [](double x) { return x * std::exp(x) - 1; }, -1,
     1, 0.56714329040978387},
    {"nearly flat at one end", [](double x) { return std::expm1(-40 * x) + 0.5; }, 0, 1, std::numbers::ln2 / 40},
    {"a step", [](double x) { return x < 0.3 ? -1.0 : 1.0; }, 0, 1, 0.3},
    {"a pole", [](double x) { return 1 / (x - 0.3); }, 0, 1, 0.3},
    {"infinite at both ends", [](double x) { return std::log(x / (1 - x)) - 3; }, 0, 1, 1 / (1 + std::exp(-3.0))},
    {"wide bracket", [](double x) { return std::atan(x - 7); }, -1e12, 1e12, 7},
    {"vertical slope", [](double x) { return std::cbrt(x - 0.1); }, -1, 4, 0.1},
};

template <class Function>
double counted(int& count, Function f, double a, double b, double tolerance = 0) {
  count = 0;
  return bracketed_root(
      [&](double x) {
        ++count;
        return f(x);
      },
      a, b, tolerance);
}

}  // namespace

TEST_CASE("a bracketed search finds roots that are known in closed form to round-off", "[model][roots]") {
  for (const Case& c : closed_forms) {
    CAPTURE(c.name);
    // 4 epsilon |x| of the search, and what the round-off of f makes of x
    CHECK_THAT(bracketed_root(c.f, c.a, c.b), WithinRel(c.root, 4e-15));
    CHECK_THAT(bracketed_root(c.f, c.b, c.a), WithinRel(c.root, 4e-15));
    CHECK_THAT(bracketed_root([&](double x) { return -c.f(x); }, c.a, c.b), WithinRel(c.root, 4e-15));
  }
}

TEST_CASE("a search finds what Boost's toms748_solve finds", "[model][roots]") {
  // random cubics with steep exponentials beside them: Boost.Math is the outside answer
  std::mt19937 engine(20);
  std::uniform_real_distribution<double> any(-1, 1);
  int compared = 0;
  for (int k = 0; k < 300; ++k) {
    const double p = any(engine), q = any(engine), r = any(engine), s = 30 * any(engine);
    const auto f = [=](double x) { return p + q * x + r * x * x * x + 0.1 * std::sinh(s * (x - r)); };
    if (f(-1) * f(1) >= 0) continue;
    ++compared;
    std::uintmax_t most = 500;
    const auto [a, b] =
        boost::math::tools::toms748_solve(f, -1.0, 1.0, boost::math::tools::eps_tolerance<double>(52), most);
    const double ours = bracketed_root(f, -1, 1, 1e-16);
    CAPTURE(k, p, q, r, s);
    // both lie beside the same change of sign, or (several roots) beside one of their own
    const bool same = std::abs(ours - 0.5 * (a + b)) <= 1e-13;
    const bool changes = f(ours - 1e-13) * f(ours + 1e-13) <= 0;
    CHECK((same || changes));
  }
  CHECK(compared > 100);
}

TEST_CASE("hard functions cost at most five times a bisection, smooth ones few evaluations", "[model][roots]") {
  int count = 0;
  // R. P. Brent's own example of slow convergence is x^19 and the like (1973, ch. 4, from memory)
  CHECK_THAT(counted(
                 count, [](double x) { return std::pow(x, 19); }, -1, 4, 1e-10),
             WithinAbs(0, 1e-10));
  CHECK(count <= 5 * 36);  // log2(5 / 1e-10) = 35.5
  CHECK_THAT(counted(
                 count, [](double x) { return x == 0 ? 0 : x * std::exp(-1 / (x * x)); }, -1, 4, 1e-10),
             WithinAbs(0, 0.04));  // below 0.04 the function is zero in double precision
  CHECK(count <= 5 * 36);
  CHECK_THAT(counted(
                 count, [](double x) { return x < 1e-9 ? -1e-12 : 1e12 * x; }, -1, 1, 1e-12),
             WithinAbs(1e-9, 1e-12));
  CHECK(count <= 5 * 41);
  counted(
      count, [](double x) { return std::exp(x) - 2; }, 0, 1);
  CHECK(count <= 10);
  CHECK(counted(
            count, [](double x) { return x - 3; }, 3, 4) == 3);
  CHECK(counted(
            count, [](double x) { return x - 4; }, 3, 4) == 4);
}

TEST_CASE("a search that has nothing to find throws and says between what", "[model][roots]") {
  CHECK_THROWS_WITH(bracketed_root([](double x) { return x * x + 1; }, -1, 2),
                    "no root between -1 and 2: the function is 2 and 5 there");
  CHECK_THROWS_AS(bracketed_root([](double) { return not_a_number; }, 0, 1), NoRoot);
  CHECK_THROWS_WITH(bracketed_root([](double x) { return x > 0.2 && x < 0.9 ? not_a_number : x - 0.5; }, 0, 1),
                    HasText("the function is not a number at 0.5"));
  // a root at 0 with no absolute tolerance: halving goes on through all exponents
  CHECK_THROWS_WITH(bracketed_root([](double x) { return x < 0   ? -1.0
                                                         : x > 0 ? 1.0
                                                                 : -1.0; }, -1, 3),
                    "no root between -1 and 3: not found in 1000 evaluations");
}

TEST_CASE("Newton's search finds roots of monotone functions from far away", "[model][roots]") {
  const double guess = GENERATE(-1e6, -3.0, 0.0, 0.1, 2.0, 1e9);
  const double sign = GENERATE(1, -1), level = GENERATE(-5, 0, 1e-8, 20);
  CAPTURE(guess, sign, level);
  // asinh(x) + x / 1000 = level: flat far out, so that plain Newton overshoots; asinh alone has the closed form sinh
  const auto asinh = [=](double x) -> ValueAndSlope {
    return {sign * (std::asinh(x) - level), sign / std::sqrt(1 + x * x)};
  };
  CHECK_THAT(newton_root(asinh, guess, {.argument = 1e-20}),
             WithinRel(std::sinh(level), 1e-13 * (1 + std::abs(level))));
}

TEST_CASE("Newton's search stays between the ends it was given", "[model][roots]") {
  const auto log = [](double x) -> ValueAndSlope {
    CHECK(x > 0);
    return {std::log(x) + 30, 1 / x};
  };
  CHECK_THAT(newton_root(log, 100, {.argument = 0}, 0), WithinRel(std::exp(-30.0), 1e-13));
  // where the slope that is told is wrong, signs alone still close in on the root
  CHECK_THAT(newton_root(
                 [](double x) -> ValueAndSlope {
                   return {x - 0.3, 1e-3};
                 },
                 0.5, {.argument = 0}, 0, 1),
             WithinRel(0.3, 1e-13));
  const auto identity = [](double x) -> ValueAndSlope { return {x, 1}; };
  CHECK_THROWS_WITH(newton_root(identity, 1.5, {.argument = 0}, 1, 2),
                    "no root between 1 and 2: the function keeps its sign");
}

TEST_CASE("round-off of the function ends Newton's search instead of keeping it busy", "[model][roots]") {
  int count = 0;
  const auto noisy = [&](double x) -> ValueAndSlope {  // 4 V carry the difference: steps of 4e-16 V on 1e-6 V per A
    ++count;
    return {(4.2 + 1e-6 * x) - 4.2, 1e-6};
  };
  CHECK_THAT(newton_root(noisy, 7, {.argument = 1e-23, .value = 2e-15}), WithinAbs(0, 4e-9));
  CHECK(count < 10);
  count = 0;
  CHECK_THAT(newton_root(noisy, 7, {.argument = 1e-23}), WithinAbs(0, 4e-9));  // without being told
  CHECK(count < 1000);
}

TEST_CASE("not a number in gives not a number out, so that an integrator can try a nearer state", "[model][roots]") {
  CHECK(std::isnan(newton_root([](double) -> ValueAndSlope { return {not_a_number, 1}; }, 1, {.argument = 0})));
  CHECK(std::isnan(newton_root([](double) -> ValueAndSlope { return {1, 0}; }, 1, {.argument = 0})));
  CHECK(std::isnan(newton_root([](double) -> ValueAndSlope { return {infinity, 1}; }, 1, {.argument = 0})));
}
