#include "tests/app/helpers.hpp"

// Second phases of a powder, as `bench` tells them. The arithmetic is held by tests/params/phases.cpp.

using namespace app_test;
using Catch::Matchers::WithinRel;

TEST_CASE("bench tells what a second phase costs beside the same coating of the host alone", "[app][phases]") {
  const Folder folder;
  folder.write("impure.yaml", with(shipped("demo"), "  material: nmc622\n",
                                   "  material: nmc622\n  phases: {host: 97 wt%, Li2CO3: 3 wt%}\n"));
  folder.write("pure.yaml", shipped("demo"));
  const json impure = json_of({"bench", "impure.yaml", "--rate", "2C"})["bench"],
             pure = json_of({"bench", "pure.yaml"})["bench"];
  REQUIRE(impure["second_phases"].size() == 1);
  const json& cost = impure["second_phases"][0];
  CHECK(cost["electrode"] == "positive");
  CHECK(cost["phases"] == "3.0 wt% Li2CO3");
  CHECK_THAT(cost["host_share"].get<double>(), WithinRel(0.97, 1e-9));
  // between the cut-offs of a cell whose negative follows: the two cells are those of bench itself
  CHECK_THAT(cost["pure_areal_capacity_mAh_cm2"].get<double>(),
             WithinRel(pure["positive"]["areal_capacity_in_window_mAh_cm2"]["value"].get<double>(), 1e-9));
  CHECK_THAT(cost["areal_capacity_between_cut_offs_mAh_cm2"].get<double>(),
             WithinRel(impure["positive"]["areal_capacity_in_window_mAh_cm2"]["value"].get<double>(), 1e-9));
  CHECK_THAT(
      cost["areal_capacity_between_cut_offs_mAh_cm2"].get<double>() / cost["pure_areal_capacity_mAh_cm2"].get<double>(),
      WithinRel(0.97, 5e-3));
  CHECK(cost["rate"] == "2C");
  // the same current: the cell with less host gives less, and more than 3 % less, its grains working harder
  const double given = cost["delivered_capacity_mAh"].get<double>(),
               of_host = cost["pure_delivered_capacity_mAh"].get<double>();
  CHECK(given < 0.97 * of_host);
  CHECK(given > 0.90 * of_host);
  CHECK_FALSE(pure.contains("second_phases"));
}
