#include "params/sheet/knowledge.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/study/ensemble.hpp"
#include "app/study/uncertain_cell.hpp"
#include "tests/app/helpers.hpp"

// What tests tell of several quantities together: read, drawn from, put together, and written by a fit.

using namespace app_test;
using namespace onegrain;
using namespace onegrain::app;

namespace {

std::string demo_with(const std::string& knowledge) { return shipped("demo") + "\nknowledge:\n" + knowledge + "\n"; }

params::Sheet sheet_of(const std::string& text) {
  auto loaded = params::read_sheet(text, "cell.yaml", "/nonexistent");
  INFO(loaded.faults.text());
  REQUIRE(loaded.value.has_value());
  return *loaded.value;
}

/// What the demo's own values make.
double made(const std::string& name) {
  const params::Sheet sheet = sheet_of(shipped("demo"));
  return *params::quantity_of(sheet, params::to_cell(sheet), name);
}

std::string number(double value) { return fmt::format("{:.9g}", value); }

}  // namespace

TEST_CASE("what a test has told is kept whatever else of the cell is drawn", "[knowledge]") {
  const double time = made("negative.diffusion_time"), density = made("negative.exchange_current_density"),
               capacity = made("negative.capacity"), lithium = made("lithium");
  const params::Sheet sheet = sheet_of(
      demo_with("  - of: [negative.diffusion_time, negative.exchange_current_density, negative.capacity, lithium]\n    "
                "values: [" +
                number(time) + " s, " + number(density) + " A/m2, " + number(capacity) + " C/m2, " + number(lithium) +
                " C/m2]\n    spread: [factor 1.000001, factor 1.000001, factor 1.000001, factor 1.000001]"));
  const UncertainCell cells(sheet);
  const model::Cell nominal = params::to_cell(sheet);
  double widest_radius = 0, widest_mass = 0;
  for (int k = 0; k < 64; ++k) {
    const model::Cell cell = cells.cell(plausible_deviations(5, k, cells.count()));
    const model::Electrode& e = *cell.negative;
    CHECK(e.particle_radius * e.particle_radius / e.host.diffusivity(0.5, 298.15) == Approx(time).epsilon(1e-4));
    CHECK(e.capacity() == Approx(capacity).epsilon(1e-4));
    // all grains together, per plate area: i0 a L
    CHECK(e.host.exchange_current_density(0.5, 298.15) * e.roughness() ==
          Approx(density * nominal.negative->roughness()).epsilon(1e-4));
    CHECK(cell.inventory.positive * cell.positive.capacity() + cell.inventory.negative * e.capacity() ==
          Approx(lithium).epsilon(1e-4));
    widest_radius = std::max(widest_radius, std::abs(e.particle_radius / nominal.negative->particle_radius - 1));
    widest_mass = std::max(widest_mass, std::abs(cell.positive.capacity() / nominal.positive.capacity() - 1));
  }
  CHECK(widest_radius > 0.08);  // known to 10 %
  CHECK(widest_mass > 0.005);
  for (const Unknown& unknown : cells.unknowns()) {
    CHECK(unknown.path != "negative.material.diffusion_coefficient");
    CHECK(unknown.path != "negative.material.exchange_current_density");
    CHECK(unknown.path != "formation_loss");
  }
}

TEST_CASE("quantities are drawn with the means, widths and correlation that are stated", "[knowledge]") {
  // 95 % of a normal distribution lie within 1.959964 standard deviations; of 4096 even points the moments follow to
  // some per mille.
  const params::Knowledge known(sheet_of(demo_with("  - of: [negative.diffusion_time, contact_resistance]\n"
                                                   "    values: [4266.67 s, 10 ohm.cm2]\n"
                                                   "    spread: [factor 1.5, 4 ohm.cm2]\n"
                                                   "    correlation: [[1, -0.8], [-0.8, 1]]"))
                                    .knowledge);
  REQUIRE(known.count() == 2);
  double a = 0, b = 0, aa = 0, bb = 0, ab = 0;
  constexpr int cells = 4096;
  for (int k = 0; k < cells; ++k) {
    const std::vector<double> drawn = known.moved(plausible_deviations(1, k, 2));
    const double x = std::log(drawn[0] / 4266.67) / (std::log(1.5) / 1.959964),
                 y = (drawn[1] - 10e-4) / (4e-4 / 1.959964);
    a += x / cells, b += y / cells, aa += x * x / cells, bb += y * y / cells, ab += x * y / cells;
  }
  CHECK(std::abs(a) < 0.01);
  CHECK(std::abs(b) < 0.01);
  CHECK(aa == Approx(1).epsilon(0.02));
  CHECK(bb == Approx(1).epsilon(0.02));
  CHECK(ab == Approx(-0.8).epsilon(0.02));
  // ln i = 2 x + 3 y: by the conditional variance of two normal variables (any textbook), knowing x exactly takes
  // cov(ln i, x)^2 / var(x) from the variance, and so for y.
  const Eigen::Matrix2d C = (Eigen::Matrix2d() << 1, -0.8, -0.8, 1).finished();
  const Eigen::Vector2d width(std::log(1.5) / 1.959964, 4e-4 / 1.959964), slope(2 / width[0], 3 / width[1]);
  const Eigen::Matrix2d covariance = width.asDiagonal() * C * width.asDiagonal();
  const Eigen::Matrix2d L = covariance.llt().matrixL();
  const Eigen::VectorXd by = known.by_quantity(L.transpose() * slope);
  CHECK(by[0] == Approx(2 - 0.8 * 3).epsilon(1e-9));
  CHECK(by[1] == Approx(3 - 0.8 * 2).epsilon(1e-9));
}

TEST_CASE("two tests of one quantity are weighted by the inverse of their variances, and told where they disagree",
          "[knowledge]") {
  // The weighted mean of any textbook (P. R. Bevington, Data Reduction and Error Analysis, ch. 4): 10 +- 2 and 12 +- 1
  // give (10/4 + 12/1) / (1/4 + 1/1) = 11.6 +- sqrt(1 / 1.25).
  const auto part = [](const char* value, const char* spread, const char* source) {
    return std::string("  - {of: [contact_resistance], values: [") + value + "], spread: [" + spread +
           "], source: " + source + "}\n";
  };
  const std::string agreeing = part("10 ohm.cm2", "2 ohm.cm2", "pulses") + part("12 ohm.cm2", "1 ohm.cm2", "rates");
  const params::Knowledge both(sheet_of(demo_with(agreeing)).knowledge);
  REQUIRE(both.count() == 1);
  CHECK(both.quantities()[0].value.si == Approx(11.6e-4).epsilon(1e-12));
  CHECK(both.quantities()[0].value.spread.size == Approx(std::sqrt(0.8) * 1e-4).epsilon(1e-12));
  CHECK_FALSE(both.contradiction().has_value());

  const auto loaded = params::read_sheet(
      demo_with(part("10 ohm.cm2", "1 ohm.cm2", "pulses") + part("20 ohm.cm2", "1 ohm.cm2", "rates")), "cell.yaml",
      "/");
  REQUIRE(loaded.value.has_value());
  CHECK_THAT(loaded.faults.text(), HasText("what is known of it contradicts itself: 10 ohm.cm2 ± 1 ohm.cm2 (pulses) "
                                           "against 20 ohm.cm2 ± 1 ohm.cm2 (rates)"));
}

TEST_CASE("knowledge that cannot be is refused where it stands", "[knowledge]") {
  struct Row {
    const char *knowledge, *said;
  };
  for (const Row& row : {
           Row{"  - {of: [negative.radius], values: [8 um], spread: [1 um]}", "no quantity of this cell"},
           Row{"  - {of: [working.diffusion_time], values: [8 s], spread: [1 s]}", "no quantity of this cell"},
           Row{"  - {of: [contact_resistance], values: [8 um], spread: [1 um]}",
               "a resistance times an area is expected"},
           Row{"  - {of: [contact_resistance], values: [8 ohm.cm2, 9 ohm.cm2], spread: [1 %]}",
               "1 quantities, and 2 here"},
           Row{"  - {of: [contact_resistance], values: [8 ohm.cm2], spread: [0 %]}", "must be greater than 0"},
           Row{"  - {of: [negative.diffusion_time], values: [80 s], spread: [90 s]}", "as wide as the value itself"},
           Row{"  - {of: [lithium, contact_resistance], values: [2 mAh/cm2, 8 ohm.cm2], spread: [1 %, 1 %], "
               "correlation: "
               "[[1, 1.2], [1.2, 1]]}",
               "not positive definite"},
           Row{"  - {of: [lithium, contact_resistance], values: [2 mAh/cm2, 8 ohm.cm2], spread: [1 %, 1 %], "
               "correlation: "
               "[[1, 0.2], [0.3, 1]]}",
               "the same both ways"},
           Row{"  - {of: [contact_resistance], values: [8 ohm.cm2], spread: [1 %], correlation: [[2]]}", ": 1"},
           Row{"  - {of: [contact_resistance], values: [8 ohm.cm2], sprad: [1 %]}", "spread"},
           Row{"  - contact_resistance", "expected a mapping"},
           Row{"  of: [contact_resistance]", "expected a list"},
       }) {
    CAPTURE(row.knowledge);
    const auto loaded = params::read_sheet(demo_with(row.knowledge), "cell.yaml", "/nonexistent");
    CHECK_FALSE(loaded.value.has_value());
    CHECK_THAT(loaded.faults.text(), HasText(row.said));
    CHECK_THAT(loaded.faults.text(), HasText("knowledge"));
  }
  // What is known, and what the sheet's own values make, are two cells.
  const auto loaded = params::read_sheet(
      demo_with("  - {of: [negative.diffusion_time], values: [9000 s], spread: [3 %]}"), "cell.yaml", "/nonexistent");
  REQUIRE(loaded.value.has_value());
  CHECK_THAT(loaded.faults.text(), HasText("the values of the sheet make 4266.7 s"));
}

TEST_CASE("where R²/D and i0/R are known, the recommended rate does not ask how well the radius is", "[knowledge]") {
  const Folder folder;
  const std::string sheet = demo_with(
      "  - of: [positive.diffusion_time, negative.diffusion_time, positive.exchange_current_density, "
      "negative.exchange_current_density]\n    values: [" +
      number(made("positive.diffusion_time")) + " s, " + number(made("negative.diffusion_time")) + " s, " +
      number(made("positive.exchange_current_density")) + " A/m2, " +
      number(made("negative.exchange_current_density")) +
      " A/m2]\n    spread: [factor 1.1, factor 1.1, factor 1.2, factor 1.2]");
  folder.write("ten.yaml", sheet);
  folder.write("exact.yaml", with(with(sheet, "{value: 8 um, spread: 0.8 um", "{value: 8 um, spread: 1 nm"),
                                  "{value: 4.8 um, spread: 0.4 um", "{value: 4.8 um, spread: 1 nm"));
  folder.write("wide.yaml", shipped("demo"));
  const auto rate = [](const char* file) -> double {
    return json_of({"ceiling", file, "--samples", "1024", "--within", "1 %"})["ceiling"]["c_rate"];
  };
  const double ten = rate("ten.yaml");
  CHECK(ten == Approx(rate("exact.yaml")).epsilon(0.01));
  CHECK(ten > 2 * rate("wide.yaml"));
}

TEST_CASE("a fit hands on what its estimates tell together, and a second one puts its own in the place of that",
          "[knowledge]") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "60", "--out", "own"}).status == 0);
  const auto fit = [](const std::string& sheet, const char* free, const char* out) {
    const Outcome done = program({"fit", sheet, "own/curves.csv", "--from-soc", "1", "--free", free, "--starts", "1",
                                  "--linear", "--points", "40", "--out", out});
    INFO(done.narration);
    REQUIRE(done.status == 0);
    const auto loaded = params::load_sheet(std::string(out) + "/fitted.yaml");
    REQUIRE(loaded.value.has_value());
    return *loaded.value;
  };
  const params::Sheet first = fit("demo", "negative.diffusion_time,contact_resistance", "first");
  REQUIRE(first.knowledge.size() == 1);
  REQUIRE(first.knowledge[0].of.size() == 2);
  CHECK(first.knowledge[0].of[0].name == "negative.diffusion_time");
  const json told = json::parse(read_file("first/summary.json"))["fit"]["correlation"];
  CHECK(first.knowledge[0].correlation(0, 1) == Approx(told[0]["correlations"][1].get<double>()).margin(1e-4));
  const params::Sheet second = fit("first/fitted.yaml", "contact_resistance", "second");
  REQUIRE(second.knowledge.size() == 2);
  REQUIRE(second.knowledge[0].of.size() == 1);
  CHECK(second.knowledge[0].of[0].name == "negative.diffusion_time");
  CHECK(second.knowledge[1].of[0].name == "contact_resistance");
}
