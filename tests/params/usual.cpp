// Values of a sheet that no bench makes: slips of a hand or a unit. The ranges are common practice; what is tested is
// that the slip is named and that neighbours within the range are left alone.

#include "params/sheet/usual.hpp"

#include "params/sheet/bench.hpp"
#include "tests/catch.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain;
using params::unusual_values;

namespace {

params::Sheet demo_with(const std::string& path, double si) {
  params::Sheet sheet = *params::load_sheet("demo").value;
  params::Value* value = params::find_value(sheet, path);
  REQUIRE(value != nullptr);
  value->si = si;
  value->spread = {};
  value->written = "as typed";
  return sheet;
}

}  // namespace

TEST_CASE("the shipped sheets hold nothing unusual", "[params][usual]") {
  for (const char* name : {"demo", "demo_half_cell", "lfp_half_cell", "nmc811_graphite_siox_21700", "lco_graphite_10um",
                           "pouch_fitted", "pouch_unknown"}) {
    CAPTURE(name);
    const params::Sheet sheet = *params::load_sheet(name).value;
    CHECK(unusual_values(sheet).empty());
    CHECK(params::bench(sheet).doubts.empty());
  }
}

TEST_CASE("a value a slip away from what is usual is named with its range", "[params][usual]") {
  struct Slip {
    const char* path;
    double si, neighbour;
    const char* says;
  };
  for (const Slip& slip : {Slip{"positive.particle_radius", 4.8e-9, 20e-9, "from 0.01 um to 40 um"},
                           Slip{"negative.particle_radius", 80e-6, 30e-6, "half of what a micrograph measures"},
                           Slip{"negative.coating.thickness", 0.42e-6, 5e-6, "foil subtracted"},
                           Slip{"separator.thickness", 2.5e-3, 1.0e-3, "all sheets together"},
                           Slip{"separator.porosity", 0.045, 0.3, "from 20 % to 100 %"},
                           Slip{"negative.coating.tortuosity", 35, 12, "divides the conductivity"},
                           Slip{"formation_loss", 0.8, 0.3, "up to 40 %"}}) {
    CAPTURE(slip.path);
    const auto found = unusual_values(demo_with(slip.path, slip.si));
    REQUIRE(found.size() == 1);
    CHECK_THAT(found[0], HasText(std::string(slip.path) + " = as typed, where "));
    CHECK_THAT(found[0], HasText(slip.says));
    CHECK(unusual_values(demo_with(slip.path, slip.neighbour)).empty());
  }
}

TEST_CASE("contacts that take a fifth of the window at 1C are doubted, by Ohm's law", "[params][usual]") {
  // demo: 2.07 mA on a disc of 12 mm (18.3 A/m2), window 1.4 V: a fifth of it is 153 ohm.cm2
  CHECK(params::bench(demo_with("contact_resistance", 140e-4)).doubts.empty());
  const auto doubts = params::bench(demo_with("contact_resistance", 170e-4)).doubts;
  REQUIRE(doubts.size() == 1);
  CHECK_THAT(doubts[0], HasText("at 1C by itself"));
}
