#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <string>

#include "model/curve.hpp"

/// Where a function of one variable is zero. Nothing here gives back a number that is no root: what cannot be found is
/// thrown.
namespace onegrain::model {

/// No root was found. `what()` says between which arguments, and why.
struct NoRoot : std::runtime_error {
  using std::runtime_error::runtime_error;
};

namespace root_search {
constexpr double epsilon = std::numeric_limits<double>::epsilon();
constexpr int most_evaluations = 1000;

/// Throws NoRoot: "no root between 1 and 2: <why>".
[[noreturn]] void fail(double a, double b, const std::string& why);
/// Throws NoRoot for values at both ends that do not enclose a root.
[[noreturn]] void fail_to_enclose(double a, double b, double fa, double fb);
}  // namespace root_search

/// Root of a function whose values at `a` and `b` differ in sign (either may be zero): Brent's method, secants and
/// inverse parabolas kept inside the bracket, with a bisection wherever four evaluations have not halved it, so that no
/// function takes more than five times the evaluations of a bisection.
///
/// The function need not be smooth, nor monotone, nor finite in value (-inf < 0 < inf): the result lies within
/// 2 epsilon |x| + tolerance / 2 of a change of sign. f is called at both ends first.
///
/// @param tolerance  absolute, >= 0, in the unit of the argument; needs to be above 0 only where the root may be 0
/// @throws NoRoot  where the ends have the same sign, f is not a number, or 1000 evaluations did not do
/// Source: R. P. Brent, Algorithms for Minimization without Derivatives (1973), ch. 4; the forced bisection: J. C. P.
/// Bus, T. J. Dekker, ACM Trans. Math. Softw. 1, 330 (1975). Both from memory.
template <class Function>
double bracketed_root(Function&& f, double a, double b, double tolerance = 0) {
  const double first = a, last = b;
  double fa = f(a), fb = f(b);
  if (fa == 0) return a;
  if (fb == 0) return b;
  if (!(fa < 0 && fb > 0) && !(fa > 0 && fb < 0)) root_search::fail_to_enclose(a, b, fa, fb);
  double c = a, fc = fa;                    // b: best so far, [b, c]: the bracket, a: the one before b
  double step = b - a, step_before = step;  // of the last two rounds
  double width = std::abs(b - a);           // of the bracket when it was last halved
  int since_halved = 0;
  for (int k = 2; k < root_search::most_evaluations; ++k) {
    if ((fb > 0) == (fc > 0)) {
      c = a;
      fc = fa;
      step = step_before = b - a;
    }
    if (std::abs(fc) < std::abs(fb)) {
      a = b;
      b = c;
      c = a;
      fa = fb;
      fb = fc;
      fc = fa;
    }
    const double enough = 2 * root_search::epsilon * std::abs(b) + 0.5 * tolerance;
    const double half = 0.5 * c - 0.5 * b;
    if (std::abs(half) <= enough) return b;
    if (2 * std::abs(half) <= 0.5 * width) {
      width = 2 * std::abs(half);
      since_halved = 0;
    }
    double interpolated = half;
    if (since_halved < 4 && std::abs(step_before) >= enough && std::abs(fa) > std::abs(fb)) {
      double p, q;
      const double s = fb / fa;
      if (a == c) {  // a secant
        p = 2 * half * s;
        q = 1 - s;
      } else {  // an inverse parabola
        const double r = fb / fc, t = fa / fc;
        p = s * (2 * half * t * (t - r) - (b - a) * (r - 1));
        q = (t - 1) * (r - 1) * (s - 1);
      }
      if (p > 0) q = -q;
      p = std::abs(p);
      if (2 * p < std::min(3 * half * q - std::abs(enough * q), std::abs(step_before * q))) interpolated = p / q;
    }
    step_before = interpolated == half ? half : step;
    step = interpolated;
    a = b;
    fa = fb;
    b += std::abs(step) > enough ? step : std::copysign(enough, half);
    fb = f(b);
    ++since_halved;
    if (fb == 0) return b;
    if (std::isnan(fb)) root_search::fail(first, last, "the function is not a number at " + std::to_string(b));
  }
  root_search::fail(first, last, "not found in " + std::to_string(root_search::most_evaluations) + " evaluations");
}

/// How exactly `newton_root` is to find its root.
struct NewtonAccuracy {
  double argument;   ///< absolute; added to 1e-14 of the root's own size, which is always enough
  double value = 0;  ///< |f| that is round-off: a smaller one ends the search, after one more step of Newton's
};

/// Root of a monotone function that is given with its slope: Newton's method from `guess`, kept inside the bracket of
/// the signs met so far, which is halved where a step would leave it or is not half as long as the one before. (A
/// function that bends like a logarithm on either side of its root lets Newton's method leap for ever between two
/// places.)
///
/// @param f            argument -> ValueAndSlope; the slope has the same sign everywhere
/// @param left, right  the root is known to lie between them; infinite where nothing is known
/// @return the root; NaN where f or its slope is not finite or the slope is zero, so that an integrator that tries a
///         state outside physics can try a nearer one
/// @throws NoRoot  where 1000 evaluations did not do, or the bracket closes on an end that was given
template <class Function>
double newton_root(Function&& f, double guess, NewtonAccuracy accuracy,
                   double left = -std::numeric_limits<double>::infinity(),
                   double right = std::numeric_limits<double>::infinity()) {
  const double first = left, last = right;
  double x = guess, before = std::numeric_limits<double>::infinity();
  for (int k = 0; k < root_search::most_evaluations; ++k) {
    const ValueAndSlope at = f(x);
    const double step = -at.value / at.slope;
    if (!std::isfinite(step)) return std::numeric_limits<double>::quiet_NaN();
    if (std::abs(step) <= 1e-14 * std::abs(x) + accuracy.argument || std::abs(at.value) <= accuracy.value)
      return std::clamp(x + step, left, right);
    ((at.value > 0) == (at.slope > 0) ? right : left) = x;
    if (right - left <= 4 * root_search::epsilon * std::abs(x)) {
      if (left == first || right == last) root_search::fail(first, last, "the function keeps its sign");
      return x;  // round-off of f is larger than that of x
    }
    const bool inside = x + step > left && x + step < right;
    const bool bracketed = std::isfinite(left) && std::isfinite(right);
    const double next = inside && (!bracketed || std::abs(step) <= 0.5 * before) ? x + step : 0.5 * (left + right);
    before = std::abs(next - x);
    x = next;
  }
  root_search::fail(first, last, "not found in " + std::to_string(root_search::most_evaluations) + " evaluations");
}

}  // namespace onegrain::model
