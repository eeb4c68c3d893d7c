#include "app/study/contours.hpp"

#include <cmath>
#include <numbers>

#include "tests/catch.hpp"

// Lines of one height over a grid, against figures of which the lines are known.

using namespace onegrain::app;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

std::vector<double> evenly(double from, double to, int count) {
  std::vector<double> at;
  for (int k = 0; k < count; ++k) at.push_back(from + (to - from) * k / (count - 1));
  return at;
}

template <class F>
Eigen::MatrixXd over(const std::vector<double>& x, const std::vector<double>& y, F f) {
  Eigen::MatrixXd values(y.size(), x.size());
  for (std::size_t r = 0; r < y.size(); ++r)
    for (std::size_t c = 0; c < x.size(); ++c)
      values(static_cast<Eigen::Index>(r), static_cast<Eigen::Index>(c)) = f(x[c], y[r]);
  return values;
}

}  // namespace

TEST_CASE("the line of one height over a plane is straight and runs from edge to edge", "[app][contours]") {
  const std::vector<double> x = evenly(0, 2, 9), y = evenly(-1, 3, 7);
  const auto lines = study::contours(x, y, over(x, y, [](double a, double b) { return 3 * a - b; }), 1.37);
  REQUIRE(lines.size() == 1);
  for (std::size_t k = 0; k < lines[0].x.size(); ++k)
    CHECK_THAT(3 * lines[0].x[k] - lines[0].y[k], WithinAbs(1.37, 1e-12));
  const auto [low, high] = std::minmax(lines[0].y.front(), lines[0].y.back());
  CHECK_THAT(low, WithinAbs(-1, 1e-12));
  CHECK_THAT(high, WithinAbs(3, 1e-12));
}

TEST_CASE("a hill has closed lines as long as circles, and more than one where there are more hills",
          "[app][contours]") {
  const std::vector<double> x = evenly(-2, 2, 161), y = evenly(-1.5, 1.5, 121);
  const auto circle = study::contours(x, y, over(x, y, [](double a, double b) { return std::hypot(a, b); }), 1.0);
  REQUIRE(circle.size() == 1);
  double length = 0;
  for (std::size_t k = 1; k < circle[0].x.size(); ++k)
    length += std::hypot(circle[0].x[k] - circle[0].x[k - 1], circle[0].y[k] - circle[0].y[k - 1]);
  CHECK_THAT(length, WithinRel(2 * std::numbers::pi, 1e-3));
  CHECK(circle[0].x.front() == circle[0].x.back());
  CHECK(circle[0].y.front() == circle[0].y.back());
  const auto two = study::contours(
      x, y, over(x, y, [](double a, double b) { return std::min(std::hypot(a - 1, b), std::hypot(a + 1, b)); }), 0.5);
  CHECK(two.size() == 2);
}

TEST_CASE("a saddle is crossed by two lines that do not meet, and nothing is drawn where nothing is known",
          "[app][contours]") {
  const std::vector<double> x{0, 1}, y{0, 1};
  Eigen::MatrixXd saddle(2, 2);
  saddle << 1, 0, 0, 1;
  CHECK(study::contours(x, y, saddle, 0.4).size() == 2);
  CHECK(study::contours(x, y, saddle, 0.6).size() == 2);
  saddle(0, 0) = NAN;
  CHECK(study::contours(x, y, saddle, 0.5).empty());
  CHECK(study::contours(x, y, Eigen::MatrixXd::Constant(2, 2, 3.0), 2.0).empty());
}

TEST_CASE("levels of a map are round and lie within it", "[app][contours]") {
  Eigen::MatrixXd values(1, 3);
  values << 412, 687, NAN;
  CHECK(study::round_levels(values) == std::vector<double>{450, 500, 550, 600, 650});
  CHECK(study::round_levels(Eigen::MatrixXd::Constant(2, 2, 1.0)).empty());
}
