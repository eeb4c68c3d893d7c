#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/study/ensemble.hpp"
#include "app/study/uncertain_cell.hpp"
#include "model/balance.hpp"
#include "solver/step/curves.hpp"
#include "tests/app/helpers.hpp"

// The bands of `curve` and `rates`: what 95 % of the cells that a sheet allows would give.

using namespace app_test;
using namespace onegrain;
using namespace onegrain::app;

TEST_CASE("the band of a resistance alone is the current times its half-width", "[bands]") {
  // Ohm's law: 10 ± 4 ohm cm2 under i moves every voltage by i 4 ohm cm2 either way, wherever the cell has not ended.
  // What else the cards leave open is known exactly here.
  const Folder folder;
  const auto plain = params::load_sheet("lco_graphite_10um");
  REQUIRE(plain.value.has_value());
  const model::Cell cell = params::to_cell(*plain.value);
  std::string names, values, spreads;
  for (const char* electrode : {"positive", "negative"}) {
    for (const auto& [what, unit] : {std::pair{"diffusion_time", "s"}, std::pair{"exchange_current_density", "A/m2"}}) {
      const std::string name = std::string(electrode) + "." + what;
      names += name + ", ";
      values += fmt::format("{:.9g} {}, ", *params::quantity_of(*plain.value, cell, name), unit);
      spreads += "factor 1.0000001, ";
    }
  }
  folder.write("cell.yaml", shipped("lco_graphite_10um") + "\ncontact_resistance: 10 ohm.cm2\nknowledge:\n  - {of: [" +
                                names + "contact_resistance], values: [" + values + "10 ohm.cm2], spread: [" + spreads +
                                "4 ohm.cm2]}\n");
  const json curve = json_of({"curve", "cell.yaml", "--rates", "1C", "--points", "41", "--samples", "2048",
                              "--reaction", "even"})["curves"][0];
  const double i = curve["current_mA"].get<double>() * 1e-3 / (cell.plate_area * 1e4);  // A/cm2
  for (const std::size_t k : {1u, 10u, 20u, 30u}) {
    const double low = curve["voltage_low_V"][k], high = curve["voltage_high_V"][k], at = curve["voltage_V"][k];
    CHECK(0.5 * (high - low) == Approx(4 * i).epsilon(0.01));  // 2048 even points: 0.4 % of the interval
    CHECK(0.5 * (high + low) == Approx(at).margin(3e-4));      // what a band is calculated to
  }
  CHECK(curve["capacity_low_mAh"].get<double>() < curve["capacity_total_mAh"].get<double>());
  CHECK(curve["capacity_high_mAh"].get<double>() > curve["capacity_total_mAh"].get<double>());
}

TEST_CASE("the band of a capacity is that of the same cells, each run by itself", "[bands]") {
  // Brute force: every cell at the same mA from its own full state with the usual accuracy; the interval by ordering.
  const json points = json_of({"rates", "demo", "--rates", "C/2,2C", "--samples", "64"})["points"];
  const auto sheet = params::load_sheet("demo");
  REQUIRE(sheet.value.has_value());
  const UncertainCell uncertain(*sheet.value);
  for (const json& point : points) {
    std::vector<double> capacity;
    for (int k = 0; k < 64; ++k) {
      const model::Cell cell = uncertain.cell(plausible_deviations(1, k, uncertain.count()));
      solver::Workspace workspace;
      solver::Simulator simulator(cell, workspace, model::ElectrolyteModel::resolved, model::Reaction::uneven);
      const solver::State full = solver::start_of(simulator, model::equilibrium_window(cell), false);
      const double current = -point["current_mA"].get<double>() * 1e-3 / cell.plate_area;
      capacity.push_back(solver::constant_current(simulator, full, current).capacity * cell.plate_area / 3.6);
    }
    std::sort(capacity.begin(), capacity.end());
    // 2.5 % of 64 less a half: between the second and the third
    CHECK(point["capacity_low_mAh"].get<double>() ==
          Approx(capacity[1] + 0.1 * (capacity[2] - capacity[1])).epsilon(0.005));
    CHECK(point["capacity_high_mAh"].get<double>() ==
          Approx(capacity[62] - 0.1 * (capacity[62] - capacity[61])).epsilon(0.005));
  }
}

TEST_CASE("bands are drawn where they are asked for, and only there", "[bands]") {
  const Outcome with_band = program({"rates", "demo", "--rates", "C/10,1C", "--samples", "64"});
  CHECK_THAT(with_band.results, HasText("95 % of 64 plausible cells, drawn from what the sheet knows (seed 1), give "));
  CHECK_THAT(with_band.results, HasText("95 % of cells, mAh"));
  const Outcome without = program({"rates", "demo", "--rates", "C/10,1C"});
  CHECK(without.results.find("plausible") == std::string::npos);
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--samples", "64", "--out", "out"}).status == 0);
  CHECK_THAT(folder.read("out/report.html"), HasText("95 % of the cells that your uncertainties allow, at 1C"));
  CHECK(json_of({"curve", "demo", "--rates", "1C", "--samples", "64", "--threads", "1"})["curves"] ==
        json_of({"curve", "demo", "--rates", "1C", "--samples", "64", "--threads", "3"})["curves"]);
  CHECK(program({"rates", "demo", "--samples", "-1"}).status == 2);
}
