#include "params/sheet/grain_sizes.hpp"

#include <cmath>
#include <random>

#include "params/sheet/bench.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

namespace {

std::string with_sizes(const std::string& sizes) {
  return with(full_cell, "particle_radius: 4.8 um", "grain_sizes: " + sizes);
}

std::string faults_beside(const Folder& folder, const std::string& text) {
  std::string faults = read_sheet(text, "coin07.yaml", folder.path.string()).faults.text();
  const std::string base = folder.path.string() + "/";
  for (std::size_t at = faults.find(base); at != std::string::npos; at = faults.find(base))
    faults.erase(at, base.size());
  return faults;
}

double total(const std::vector<SizeClass>& classes) {
  double sum = 0;
  for (const SizeClass& its : classes) sum += its.volume;
  return sum;
}

}  // namespace

TEST_CASE("a log-normal powder has the radii that its three diameters give", "[params][sizes]") {
  // R32 = (d50/2) exp(-s^2/2), sqrt <R^2> = (d50/2) exp(s^2), s = ln(d90/d10)/2.5631: integrals of the log-normal
  // distribution by hand. Two halves: half the sums of exp(p^2 s^2/2) Phi(-+p s) on either side.
  struct Row {
    double d10, d50, d90, r32, diffusion;
  };
  const auto row =
      GENERATE(values<Row>({{6e-6, 10e-6, 16e-6, 4.6470e-6, 5.7885e-6}, {3e-6, 10e-6, 20e-6, 3.0764e-6, 6.5582e-6}}));
  const std::vector<SizeClass> all = distribution(row.d10, row.d50, row.d90);
  CHECK_THAT(total(all), WithinRel(1.0, 1e-10));
  CHECK_THAT(size_means(all).r32, WithinAbs(row.r32, 6e-11));
  CHECK_THAT(size_means(all).diffusion, WithinAbs(row.diffusion, 6e-11));
  double finer10 = 0, finer50 = 0;
  for (const SizeClass& its : all) {
    finer10 += its.diameter < row.d10 ? its.volume : 0;
    finer50 += its.diameter < row.d50 ? its.volume : 0;
  }
  CHECK_THAT(finer50, WithinAbs(0.5, 1e-9));
  CHECK_THAT(finer10, WithinAbs(0.1, is_log_normal(row.d10, row.d50, row.d90) ? 0.03 : 0.02));  // a class is 0.5 s wide

  const std::vector<SizeClass> few = fewer(all);
  CHECK(few.size() >= 3);
  CHECK(few.size() <= most_classes);
  CHECK_THAT(total(few), WithinRel(1.0, 1e-9));
  CHECK_THAT(size_means(few).r32, WithinRel(size_means(all).r32, 1e-6));
  CHECK_THAT(size_means(few).diffusion, WithinRel(size_means(all).diffusion, 1e-6));
  for (const SizeClass& its : few) {
    CHECK(its.volume > 0);
    CHECK(its.diameter > 0.05 * row.d10);
    CHECK(its.diameter < 5 * row.d90);
  }
}

TEST_CASE("any classes become at most eight that keep both radii", "[params][sizes]") {
  std::mt19937 random(7);
  std::uniform_real_distribution<double> logarithm(-6.5, -4.5), share(0, 1);
  for (const std::size_t count : {9U, 12U, 40U, 300U}) {
    std::vector<SizeClass> many;
    for (std::size_t k = 0; k < count; ++k) many.push_back({std::pow(10, logarithm(random)), share(random)});
    const std::vector<SizeClass> few = fewer(many);
    CHECK(few.size() <= most_classes);
    CHECK_THAT(size_means(few).r32, WithinRel(size_means(many).r32, 1e-6));
    CHECK_THAT(size_means(few).diffusion, WithinRel(size_means(many).diffusion, 1e-6));
  }
  const std::vector<SizeClass> two = {{1e-6, 0.3}, {5e-6, 0.7}};
  const std::vector<SizeClass> same = fewer(two);
  REQUIRE(same.size() == 2);
  CHECK(same[1].diameter == 5e-6);
  CHECK_THAT(same[0].volume, WithinRel(0.3, 1e-14));
}

TEST_CASE("counted grains count by their volume, and few of them tell little", "[params][sizes]") {
  // R32 = sum D^3 / (2 sum D^2), by hand: 8 grains of 1 and one of 2: (8 + 8)/(2 (8 + 4)) = 2/3
  std::vector<double> grains(8, 1e-6);
  grains.push_back(2e-6);
  CHECK_THAT(size_means(volumes_of(grains)).r32, WithinRel(2e-6 / 3, 1e-12));
  CHECK_THAT(volumes_of(grains).back().volume, WithinRel(0.5, 1e-12));

  // the scatter that counting 60 leaves: a bootstrap (B. Efron, Ann. Statist. 7, 1 (1979))
  std::mt19937 random(11);
  std::lognormal_distribution<double> diameter(std::log(8e-6), 0.35);
  std::vector<double> counted(60);
  for (double& D : counted) D = diameter(random);
  std::uniform_int_distribution<std::size_t> pick(0, 59);
  double sum = 0, squares = 0;
  constexpr int rounds = 4000;
  for (int round = 0; round < rounds; ++round) {
    double cubes = 0, areas = 0;
    for (int k = 0; k < 60; ++k) {
      const double D = counted[pick(random)];
      cubes += D * D * D;
      areas += D * D;
    }
    const double logarithm = std::log(cubes / areas);
    sum += logarithm;
    squares += logarithm * logarithm;
  }
  const double scatter = std::sqrt(squares / rounds - sum * sum / rounds / rounds);
  CHECK_THAT(uncertainty_of_counting(counted), WithinRel(scatter, 0.1));
}

TEST_CASE("a sheet says how large the grains are in four ways", "[params][sizes][sheet]") {
  const Folder folder;
  const auto electrode = [&](const std::string& sizes) {
    const auto loaded = read_sheet(with_sizes(sizes), "coin07.yaml", folder.path.string());
    INFO(loaded.faults.text());
    REQUIRE(loaded.value);
    return loaded.value->positive;
  };
  const ElectrodeSheet three = electrode("{d10: 6 um, d50: {value: 10 um, spread: 1 um}, d90: 16 um}");
  CHECK_THAT(three.particle_radius.si, WithinAbs(4.6470e-6, 6e-11));
  CHECK_THAT(three.particle_radius.spread.size, WithinRel(0.1 * three.particle_radius.si, 1e-9));
  CHECK_THAT(three.diffusion_radius(), WithinAbs(5.7885e-6, 6e-11));
  CHECK(three.particle_radius.source == "log-normal through d10 and d90");
  // 3 V/S over the density of the host
  CHECK_THAT(*three.specific_surface(), WithinRel(3 / (three.particle_radius.si * *three.material.density()), 1e-12));

  const ElectrodeSheet halves = electrode("{d10: 3 um, d50: 10 um, d90: 20 um}");
  CHECK_THAT(halves.particle_radius.si, WithinAbs(3.0764e-6, 6e-11));
  CHECK(halves.grain_sizes->note.find("two halves that meet at d50 are taken; a bimodal powder needs its table") !=
        std::string::npos);

  const ElectrodeSheet listed = electrode(
      "{classes: [{diameter: 4 um, volume: 25 %}, {diameter: 10 um, volume: 50 %}, {diameter: 18 um, volume: 25 %}]}");
  CHECK_THAT(listed.particle_radius.si, WithinRel(0.5e-6 / (0.25 / 4 + 0.5 / 10 + 0.25 / 18), 1e-12));
  CHECK(listed.grain_sizes->classes.size() == 3);

  folder.write("sizes.csv", "diameter / um, volume / %\n4, 25\n10, 50\n18, 25\n");
  CHECK(electrode("{table: sizes.csv}").particle_radius.si == listed.particle_radius.si);
  std::string counted = "diameter / um\n";
  for (int k = 0; k < 8; ++k) counted += "8\n";
  folder.write("count.csv", counted + "16\n8\n");
  const ElectrodeSheet micrograph = electrode("{counted: count.csv}");
  CHECK_THAT(micrograph.particle_radius.si, WithinRel(0.5e-6 * (9 * 512 + 4096) / (9 * 64 + 256), 1e-12));
  CHECK(micrograph.particle_radius.spread.form == Spread::Form::factor);

  // classes in the cell: shares and surfaces are wholes, and go with the radius
  Sheet sheet = *read_sheet(with_sizes("{d10: 6 um, d50: 10 um, d90: 16 um}"), "coin07.yaml", "").value;
  sheet.positive.particle_radius.si *= 0.5;
  const auto cell = to_cell(sheet);
  double shares = 0, surfaces = 0;
  for (const auto& its : cell.positive.classes) {
    shares += its.share;
    surfaces += its.share / its.radius_ratio;
  }
  CHECK_THAT(shares, WithinRel(1.0, 1e-9));
  CHECK_THAT(surfaces, WithinRel(1.0, 1e-9));
  CHECK_THAT(cell.positive.particle_radius, WithinAbs(0.5 * 4.6470e-6, 6e-11));
  CHECK(cell.negative->classes.empty());

  const Bench figures = bench(*read_sheet(with_sizes("{d10: 6 um, d50: 10 um, d90: 16 um}"), "coin07.yaml", "").value);
  CHECK_THAT(figures.positive.sauter_radius->value, WithinAbs(4.6470e-6, 6e-11));
  CHECK_THAT(figures.positive.diffusion_radius->value, WithinAbs(5.7885e-6, 6e-11));
  CHECK_FALSE(figures.negative->sauter_radius);
  CHECK(figures.negative->specific_surface);
}

TEST_CASE("one class of grains is the cell of one radius", "[params][sizes]") {
  const auto one = to_cell(sound(full_cell)),
             same = to_cell(sound(with_sizes("{classes: [{diameter: 9.6 um, volume: 100 %}]}")));
  CHECK(same.positive.classes.empty());
  CHECK_THAT(same.positive.particle_radius, WithinRel(one.positive.particle_radius, 1e-15));
}

TEST_CASE("sizes that cannot be are told with what would be right", "[params][sizes][messages]") {
  const Folder folder;
  folder.write("sizes.csv", "diameter / um, volume / %\n4, 25\n10, x\n");
  folder.write("less.csv", "diameter / um, volume / %\n4, 25\n10, 50\n");
  folder.write("radius.csv", "radius / um, volume / %\n4, 25\n10, 75\n");
  folder.write("count.csv", "diameter / um\n8\n9\n");
  folder.write("none.csv", "diameter / um\n8\n0\n");
  struct Row {
    std::string sizes, fault;
  };
  for (
      const Row& row : {
          Row{"{d10: 16 um, d50: 10 um, d90: 6 um}",
              "coin07.yaml:14:22: positive.grain_sizes.d10 = '16 um': d10 < d50 < d90 is expected, and here they are "
              "16 "
              "um, 10 um and 6 um\n"},
          Row{"{d10: 6 um, d50: 10 um}",
              "coin07.yaml:14:16: positive.grain_sizes.d90: missing; expected a diameter by volume, such as '10 um'; "
              "'d10', 'd50' and 'd90' belong together\n"},
          Row{"{d10: 0.1 um, d50: 1 um, d90: 20 um}",
              "coin07.yaml:14:46: positive.grain_sizes.d90 = '20 um': 200 times d10: no powder of one kind is so "
              "broad; "
              "look at the units, and give a bimodal powder as its table\n"},
          Row{"{classes: [{diameter: 4 um, volume: 25 %}, {diameter: 10 um, volume: 50 %}]}",
              "coin07.yaml:14:16: positive.grain_sizes: the classes add up to 75 % of the volume, not 100 %\n"},
          Row{"{table: sizes.csv}", "sizes.csv:3:1: 'x': a share of the volume is expected, 0 or more\n"},
          Row{"{table: less.csv}",
              "coin07.yaml:14:24: positive.grain_sizes.table = 'less.csv': the classes of 'less.csv' add up to 75 % of "
              "the volume, not 100 %\n"},
          Row{"{table: radius.csv}",
              "radius.csv:1:1: 'radius / um': expected two columns, such as 'diameter / um, volume / %'\n"},
          Row{"{counted: count.csv}",
              "coin07.yaml:14:26: positive.grain_sizes.counted = 'count.csv': 2 grains; at least 10 are needed to tell "
              "anything of a powder, and sixty tell R32 to some per cent\n"},
          Row{"{counted: none.csv}", "none.csv:3:1: '0': a diameter between 0.002 um and 2000 um is expected\n"},
          Row{"{d10: 6 um, d50: 10 um, d90: 16 um}\n  particle_radius: 5 um",
              "coin07.yaml:15:20: positive.particle_radius = '5 um': either 'particle_radius' or 'grain_sizes', not "
              "both\n"},
      }) {
    CAPTURE(row.sizes);
    CHECK(faults_beside(folder, with_sizes(row.sizes)) == row.fault);
  }
}
