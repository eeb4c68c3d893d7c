#include "params/sheet/phases.hpp"

#include <filesystem>
#include <fstream>
#include <sstream>

#include "params/card/cif_crystal.hpp"
#include "params/sheet/bench.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

namespace {

/// The full cell with a positive of a host of 4.767 g/cm3 and these phases in its powder.
std::string with_phases(const std::string& phases) {
  return with(with(full_cell, "recipe: {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}",
                   "recipe: {active: 94 wt%, carbon: 3 wt%, binder: 3 wt%}\n    densities: {active: 4.767 g/cm3}"),
              "  particle_radius: 4.8 um", "  phases: " + phases + "\n  particle_radius: 4.8 um");
}

std::string faults_beside(const Folder& folder, const std::string& text) {
  std::string faults = read_sheet(text, "coin07.yaml", folder.path.string()).faults.text();
  const std::string base = folder.path.string() + "/";
  for (std::size_t at = faults.find(base); at != std::string::npos; at = faults.find(base))
    faults.erase(at, base.size());
  return faults;
}

const std::string refinement =
    "data_refined\nloop_\n_pd_phase_name\n_pd_phase_block_id\n_pd_phase_mass_%\nlayered one 97.0(4)\n"
    "bunsenite two 3.0(4)\n"
    "data_one\n_cell_length_a 2.8701(3)\n_cell_length_b 2.8701(3)\n_cell_length_c 14.231(2)\n_cell_angle_alpha 90\n"
    "_cell_angle_beta 90\n_cell_angle_gamma 120\n_cell_formula_units_Z 3\n"
    "_chemical_formula_sum 'Li0.99 Ni0.6 Mn0.2 Co0.2 O2'\n"
    "data_two\n_cell_length_a 4.1684\n_cell_length_b 4.1684\n_cell_length_c 4.1684\n_cell_angle_alpha 90\n"
    "_cell_angle_beta 90\n_cell_angle_gamma 90\n_cell_formula_units_Z 4\n_chemical_formula_sum 'Ni O'\n";

}  // namespace

TEST_CASE("a second phase takes volume by its density", "[params][phases]") {
  // by hand: 97/4.767 / (97/4.767 + 3/6.850) = 0.97893, with 2.099 instead of 6.850 0.93437
  CHECK_THAT(sound(with_phases("{host: 97 wt%, NiO: 3 wt%}")).positive.host_volume_share(), WithinAbs(0.97893, 2e-5));
  CHECK_THAT(sound(with_phases("{host: 97 wt%, Li2CO3: 3 wt%}")).positive.host_volume_share(),
             WithinAbs(0.93437, 2e-5));
}

TEST_CASE("a second phase dilutes the active mass and changes no weight", "[params][phases]") {
  const Sheet pure =
                  sound(with(with_phases("{host: 97 wt%, NiO: 3 wt%}"), "  phases: {host: 97 wt%, NiO: 3 wt%}\n", "")),
              less = sound(with_phases("{host: 97 wt%, NiO: 3 wt%}"));
  const double area = pure.plate_area();
  CHECK_THAT(*less.positive.active_loading(area), WithinRel(0.97 * *pure.positive.active_loading(area), 1e-12));
  CHECK_THAT(*less.positive.powder_loading(area), WithinRel(*pure.positive.active_loading(area), 1e-12));
  CHECK_THAT(less.positive.active_fraction(area), WithinRel(0.97 * pure.positive.active_fraction(area), 1e-12));
  // what fills the layer is mass over density, whatever it is: 3 % of the powder at 6.8498 instead of 4.767 g/cm3
  const double powder = *pure.positive.active_loading(area) / pure.positive.thickness();
  CHECK_THAT(less.positive.porosity(area) - pure.positive.porosity(area),
             WithinRel(0.03 * powder * (1 / 4767.0 - 1 / 6849.8), 1e-9));
  const Bench bench_pure = bench(pure), bench_less = bench(less);
  CHECK_THAT(bench_less.positive.areal_capacity.value,
             WithinRel(0.97 * bench_pure.positive.areal_capacity.value, 1e-12));
  CHECK_THAT(bench_less.positive.specific_capacity->value,
             WithinRel(bench_pure.positive.specific_capacity->value, 1e-12));  // of the host

  // as a paper reports it: 'active_fraction' is the volume of the powder
  const std::string layer =
      with(full_cell, "  particle_radius: 8 um", "  phases: {host: 90 wt%, Si: 10 wt%}\n  particle_radius: 8 um");
  const Sheet of_paper = sound(layer);
  CHECK_THAT(of_paper.negative->active_fraction(area), WithinRel(0.62 * of_paper.negative->host_volume_share(), 1e-12));
  CHECK_THAT(of_paper.negative->porosity(area), WithinRel(0.33, 1e-12));
  CHECK_THAT(of_paper.negative->inactive_fraction(area),
             WithinRel(1 - 0.33 - of_paper.negative->active_fraction(area), 1e-12));
}

TEST_CASE("the densities of known phases are those of their crystals", "[params][phases][cif]") {
  // Public CIFs of tests/data/cif.
  const std::filesystem::path folder = std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/cif";
  int seen = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    std::ifstream file(entry.path(), std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    const std::string whole = text.str();
    Faults faults;
    std::vector<SourceFile> files;
    std::vector<std::string> assumptions;
    const DocumentReading reading{"card.yaml", "", false, &faults, &files, &assumptions};
    const Node nothing{Node::Type::mapping, "", 1, 1, {}, {}};
    Fields fields(nothing, "", reading);
    const auto cif = read_cif(whole, "file.cif", faults);
    REQUIRE(cif);
    const auto crystal = crystal_of_cif(*cif, "file.cif", "", fields, "cif");
    REQUIRE(crystal);
    CAPTURE(entry.path().string());
    for (const std::string& name : known_phase_names()) {
      const KnownPhase& phase = *known_phase(name);
      if (std::string(phase.source).find(crystal->block) == std::string::npos) continue;
      CHECK_THAT(phase.density, WithinAbs(*crystal->density(), 0.1));
      CHECK(parse_formula(phase.formula).atoms == crystal->formula->atoms);
      ++seen;
    }
  }
  CHECK(seen == 11);
}

TEST_CASE("phases that cannot be are told with what would be right", "[params][phases][messages]") {
  const std::string known = "known by name are NiO, CoO, MnO, Li2O, LiOH, Li2CO3, anatase, rutile, graphite, Si, Li\n";
  struct Row {
    std::string phases, fault;
  };
  const Row row = GENERATE_COPY(values<Row>({
      {"{host: 97 wt%, NiO: 13 wt%}", "coin07.yaml:15:11: positive.phases: the phases add up to 110 %, not 100 %\n"},
      {"{host: 97 wt%}",
       "coin07.yaml:15:11: positive.phases: no second phase; a powder of the host alone needs no 'phases'\n"},
      {"{NiO: 3 wt%}", "coin07.yaml:15:11: positive.phases.host: missing; expected a fraction, such as '1 wt%'\n"},
      {"{host: 97 wt%, NiO: 3 um}",
       "coin07.yaml:15:31: positive.phases.NiO = '3 um': a length where a fraction is expected, such as '3 wt%'\n"},
      {"{host: 97 wt%, Ni7: 3 wt%}",
       "coin07.yaml:15:31: positive.phases.Ni7 = '3 wt%': nobody here knows the density of 'Ni7': put its CIF beside "
       "the "
       "sheet, as 'Ni7.cif'; " +
           known},
      {"{host: 197 wt%, NiO: 3 wt%}",
       "coin07.yaml:15:18: positive.phases.host = '197 wt%': must lie between 0 and 100 wt%\n"},
      {"3 wt%",
       "coin07.yaml:15:11: positive.phases = '3 wt%': expected mass shares of the powder, such as {host: 97 "
       "wt%, NiO: 3 wt%}, or {cif: refinement.cif}\n"},
  }));
  CAPTURE(row.phases);
  CHECK(faults_of(with_phases(row.phases)) == row.fault);
}

TEST_CASE("a CIF tells the phases of a powder, and which of them is the host", "[params][phases][cif]") {
  const Folder folder;
  folder.write("refinement.cif", refinement);
  const std::string text = with_phases("{cif: refinement.cif}");
  const auto loaded = read_sheet(text, "coin07.yaml", folder.path.string());
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const Phases& phases = *loaded.value->positive.phases;
  REQUIRE(phases.others.size() == 1);
  CHECK(phases.others[0].name == "bunsenite");
  CHECK_THAT(phases.others[0].density, WithinAbs(6849.8, 0.6));  // NiO, a = 4.1684 angstrom
  CHECK_THAT(phases.host.si, WithinRel(0.97, 1e-12));
  CHECK_THAT(phases.others[0].mass.spread.size, WithinRel(1.959964 * 0.004, 1e-6));
  const Bench figures = bench(*loaded.value);
  CHECK(figures.positive.active_loading->plus_minus > 0);  // what the refinement does not know is carried on

  const auto faults = [&](const std::string& cif) {
    folder.write("refinement.cif", cif);
    return faults_beside(folder, text);
  };
  CHECK(faults(with(refinement, "Li0.99 Ni0.6 Mn0.2 Co0.2 O2", "Li Co O2")) ==
        "coin07.yaml:15:11: positive.phases: none of 'refinement.cif' is the host LiNi0.6Mn0.2Co0.2O2; say "
        "which with 'host': layered, bunsenite\n");
  CHECK(faults(with(refinement, "97.0(4)", "107.0(4)")) ==
        "refinement.cif:6:1: '107.0(4)': expected a mass fraction in per cent, 0 to 100\n");
  CHECK(faults(with(refinement, "97.0(4)", "87.0(4)")) ==
        "coin07.yaml:15:11: positive.phases: the phases add up to 90 %, not 100 %\n");
  CHECK(faults("data_a _b 1\n") ==
        "coin07.yaml:15:17: positive.phases.cif = 'refinement.cif': 'refinement.cif' lists "
        "no mass fractions of phases (_pd_phase_mass_%)\n");
  CHECK(
      faults(with(refinement, "bunsenite two", "unheard_of ?")).find("nobody here knows the density of 'unheard_of'") !=
      std::string::npos);

  // a phase that has no crystal in the list is known by the CIF of its name
  folder.write("Ni7.cif", refinement.substr(refinement.find("data_two")));
  const auto other = read_sheet(with_phases("{host: 97 wt%, Ni7: {value: 3 wt%, spread: 1 wt%}}"), "coin07.yaml",
                                folder.path.string());
  INFO(other.faults.text());
  REQUIRE(other.value);
  CHECK_THAT(other.value->positive.phases->others[0].density, WithinAbs(6849.8, 0.6));
  bool visited = false;
  for_each_value(*other.value, [&](const std::string& path, const Value& value) {
    if (path == "positive.phases.Ni7") visited = value.spread.given();
  });
  CHECK(visited);
}
