#include <cmath>
#include <filesystem>
#include <map>
#include <string>

#include "model/balance.hpp"
#include "model/constants.hpp"
#include "params/card/card.hpp"
#include "params/text/library.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

TEST_CASE("a card beside the sheet goes before a shipped one, and its faults name its own lines", "[params][card]") {
  const Folder folder;
  folder.write("nmc622.yaml",
               "onegrain_material: 1\nname: my powder\nformula: LiNi0.6Mn0.2Co0.2O2\nrole: positive\ncrystal: {system: "
               "hexagonal, a: 2.87 angstrom, c: 14.23 angstrom, formula_units: 3}\n"
               "open_circuit_potential: {expression: \"4.4 - x\", range: [0.2, 1]}\ndiffusion_coefficient: 1e-14 "
               "m2/s\nexchange_current_density: 2 A/m2\n");
  const auto loaded = read_sheet(full_cell, "coin07.yaml", folder.path.string());
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  CHECK(loaded.value->positive.material.name == "my powder");
  CHECK(loaded.files.size() >= 4);
  CHECK(loaded.files[0].name == "coin07.yaml");
  CHECK_FALSE(loaded.files[1].shipped);
  CHECK(loaded.files[1].sha256.size() == 64);

  folder.write("nmc622.yaml",
               "onegrain_material: 1\nname: my powder\nformula: LiXx\nrole: positive\ncrystal: {system: cubik, a: "
               "2.87, formula_units: 3}\n");
  const std::string file = folder.path.string() + "/nmc622.yaml";
  CHECK(read_sheet(full_cell, "coin07.yaml", folder.path.string()).faults.text() ==
        file +
            ":1:1: open_circuit_potential: missing; expected an 'expression' of x, or a 'table', against lithium "
            "metal\n" +
            file + ":1:1: diffusion_coefficient: missing; expected a diffusion coefficient, such as '1 m2/s'\n" + file +
            ":1:1: exchange_current_density: missing; expected a current density, such as '1 A/m2'\n" + file +
            ":3:10: formula = 'LiXx': 'Xx' is not an element at position 3 of the formula\n" + file +
            ":5:19: crystal.system = 'cubik': did you mean 'cubic'? Expected cubic, tetragonal, orthorhombic, "
            "hexagonal, trigonal, rhombohedral, monoclinic or triclinic\n" +
            file + ":5:29: crystal.a = '2.87': no unit given; expected a length, such as '2.87 angstrom'\n");
}

TEST_CASE("a sheet and its cards keep their text and how they were named", "[params][card]") {
  const Folder folder;
  const std::string potential = "stoichiometry, potential / V\n0.1, 4.4\n0.5, 4.0\n1, 3.5\n";
  const std::string card =
      "onegrain_material: 1\nname: my powder  # ground twice\nformula: LiNi0.6Mn0.2Co0.2O2\nrole: positive\ncrystal: "
      "{system: hexagonal, a: 2.87 angstrom, c: 14.23 angstrom, formula_units: 3}\n"
      "open_circuit_potential: {table: my_ocp.csv}\ndiffusion_coefficient: 1e-14 m2/s\nexchange_current_density: 2 "
      "A/m2\n";
  folder.write("my_ocp.csv", potential);
  folder.write("mine.yaml", card);
  const std::string text = with(full_cell, "material: nmc622", "material: mine");
  folder.write("coin07.yaml", text);
  const std::string base = folder.path.string() + "/";
  const auto loaded = load_sheet(base + "coin07.yaml");
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  const Sheet& sheet = *loaded.value;
  REQUIRE(sheet.files[0].text);
  CHECK(*sheet.files[0].text == text);
  CHECK(sheet.files[0].named_by.empty());

  CHECK(sheet.positive.material.file == base + "mine.yaml");
  const SourceFile* mine = find_file_named(sheet.files, sheet.positive.material.file);
  REQUIRE(mine != nullptr);
  CHECK_FALSE(mine->shipped);
  CHECK(*mine->text == card);
  CHECK(mine->named_by == sheet.files[0].name);
  CHECK(mine->named_as == "mine");
  const auto tables = files_named_by(sheet.files, mine->name);
  REQUIRE(tables.size() == 1);
  CHECK(tables[0]->named_as == "my_ocp.csv");
  CHECK(*tables[0]->text == potential);

  const SourceFile* graphite = find_file_named(sheet.files, sheet.negative->material.file);
  REQUIRE(graphite != nullptr);
  CHECK(graphite->shipped);
  CHECK(graphite->named_as == "graphite");
  std::ifstream shipped(ONEGRAIN_SOURCE_DIR "/params/materials/graphite.yaml", std::ios::binary);
  CHECK(*graphite->text == std::string(std::istreambuf_iterator<char>(shipped), {}));
  const auto shipped_tables = files_named_by(sheet.files, graphite->name);
  REQUIRE(shipped_tables.size() == 1);
  CHECK(shipped_tables[0]->named_as == "graphite_ocp.csv");
  CHECK(shipped_tables[0]->text->size() > 100);

  const auto of_sheet = files_named_by(sheet.files, sheet.files[0].name);
  REQUIRE(of_sheet.size() == 3);
  CHECK(of_sheet[2]->named_as == "carbonate_1M");
  CHECK(find_file_named(sheet.files, sheet.electrolyte.file) == of_sheet[2]);
  CHECK(find_file_named(sheet.files, "nothing") == nullptr);

  // Both electrodes of one powder: its card is listed once.
  const auto twice =
      read_sheet(with(text, "material: graphite", "material: mine"), "coin07.yaml", folder.path.string());
  CHECK(std::count_if(twice.files.begin(), twice.files.end(),
                      [](const SourceFile& file) { return file.named_as == "mine"; }) == 1);
}

namespace {

/// The card m.yaml of that folder, with a diffusion coefficient as written; the table d.csv lies beside it.
Loaded<Material> load_diffusion(const Folder& folder, const std::string& diffusion) {
  folder.write("d.csv", "stoichiometry, value / cm2/s\n0.1, 1e-10\n0.5, 3e-10\n1, 2e-10\n");
  folder.write("m.yaml",
               "onegrain_material: 1\nname: my powder\nrole: positive\nmaximum_concentration: 50000 mol/m3\n"
               "open_circuit_potential: {expression: \"4.4 - x\"}\ndiffusion_coefficient: " +
                   diffusion + "\nexchange_current_density: 2 A/m2\n");
  return load_material((folder.path / "m.yaml").string());
}

}  // namespace

TEST_CASE("a property is the written one times 'scaled_by'", "[params][card]") {
  const Folder folder;
  const auto sound_card = [&](const std::string& diffusion) {
    auto loaded = load_diffusion(folder, diffusion);
    INFO(diffusion << "\n" << loaded.faults.text());
    REQUIRE(loaded.value);
    return loaded.value->diffusion_coefficient;
  };
  const auto used = [](const PropertyValue& d, double x) { return d.property({})(x, 298.15); };
  const double deviations = 1.959963984540054;  // of 95 %

  struct Form {
    const char *name, *plain;
    double at_half;  // [m2/s] at x = 1/2
    bool function;
  };
  for (const Form& form : {Form{"a value", "value: 2e-14 m2/s", 2e-14, false},
                           Form{"a formula", "expression: \"1e-14*exp(2*x)\", unit: m2/s", 1e-14 * std::exp(1.0), true},
                           Form{"a table", "table: d.csv", 3e-14, true}}) {
    CAPTURE(form.name);
    const std::string open = std::string("{") + form.plain;
    const PropertyValue plain = sound_card(open + "}"), scaled = sound_card(open + ", scaled_by: 1.7}");
    CHECK(plain.scaled_by == 1);
    CHECK(scaled.scaled_by == 1.7);
    CHECK_THAT(used(plain, 0.5), WithinRel(form.at_half, 1e-9));
    CHECK_THAT(used(scaled, 0.5), WithinRel(1.7 * form.at_half, 1e-9));
    CHECK_THAT(scaled.at(0.5, 298.15), WithinRel(1.7 * form.at_half, 1e-12));
    CHECK_THAT(used(scaled, 0.9), WithinRel(1.7 * used(plain, 0.9), 1e-8));
    CHECK_THAT(scaled.curve(298.15)(0.5), WithinRel(1.7 * form.at_half, 1e-9));
    CHECK(scaled.written == plain.written + " scaled by 1.7");
    if (form.function) CHECK(scaled.si == 1.7);

    PropertyValue within = sound_card(open + ", spread: factor 3, scaled_by: 1.7, source: fit}");
    CHECK(within.source == "fit");
    within.si = within.at_deviation(deviations);
    CHECK_THAT(used(within, 0.5), WithinRel(3 * 1.7 * form.at_half, 1e-9));

    // An absolute spread is that of the property after scaling.
    PropertyValue about = sound_card(open + ", scaled_by: 1.7, spread: 1e-15 m2/s}");
    CHECK_THAT(used(about, 0.5), WithinRel(1.7 * form.at_half, 1e-9));
    about.si = about.at_deviation(deviations);
    CHECK_THAT(used(about, 0.5), WithinRel(1.7 * form.at_half + 1e-15, 1e-9));
    CHECK_THAT(about.at(0.5, 298.15), WithinRel(1.7 * form.at_half + 1e-15, 1e-12));
    CHECK_THAT(about.curve(298.15)(0.5), WithinRel(1.7 * form.at_half + 1e-15, 1e-9));
  }
  CHECK_THAT(sound_card("{value: 2e-14 m2/s, scaled_by: 2, spread: 10 %}").spread.size, WithinRel(4e-15, 1e-12));
}

TEST_CASE("only a property is scaled, by a plain number that leaves it within reason", "[params][card]") {
  const Folder folder;
  const auto load = [&](const std::string& diffusion) { return load_diffusion(folder, diffusion); };
  const std::string file = (folder.path / "m.yaml").string();
  CHECK(load("{value: 2e-14 m2/s, scaled_by: -1}").faults.text() ==
        file +
            ":6:55: diffusion_coefficient.scaled_by = '-1': a plain number greater than 0 is expected, such as 1.7\n");
  CHECK(load("{expression: \"1e-14\", unit: m2/s, scaled_by: 2 m}").faults.text() ==
        file +
            ":6:69: diffusion_coefficient.scaled_by = '2 m': a plain number greater than 0 is expected, such as "
            "1.7\n");
  CHECK(load("{table: d.csv, scaled_by: {value: 2}}").faults.text() ==
        file + ":6:50: diffusion_coefficient.scaled_by: a plain number greater than 0 is expected, such as 1.7\n");
  CHECK(load("{value: 2e-14 m2/s, scaled_by: 1e12}").faults.text() ==
        file +
            ":6:55: diffusion_coefficient.scaled_by = '1e12': makes it 0.02 m2/s; must lie between 1e-25 m2/s and "
            "0.0001 m2/s\n");
  CHECK(load("{expression: \"1e-14\", unit: m2/s, scaled_by: 1e12}").faults.text() ==
        file +
            ":6:37: diffusion_coefficient.expression = '1e-14': gives 0.01 m2/s after scaling by 1e+12, out of "
            "reason for a diffusion coefficient\n");
  CHECK(load("{table: d.csv, scaled_by: 1e12}").faults.text() ==
        folder.path.string() +
            "/d.csv:2:1: '0.01 m2/s': out of reason for a diffusion coefficient after scaling by "
            "1e+12\n" +
            folder.path.string() +
            "/d.csv:3:1: '0.03 m2/s': out of reason for a diffusion coefficient after scaling "
            "by 1e+12\n" +
            folder.path.string() +
            "/d.csv:4:1: '0.02 m2/s': out of reason for a diffusion coefficient after scaling "
            "by 1e+12\n");
  folder.write("m.yaml",
               "onegrain_material: 1\nname: my powder\nrole: positive\nmaximum_concentration: 50000 mol/m3\n"
               "open_circuit_potential: {expression: \"4.4 - x\", scaled_by: 1.1}\ndiffusion_coefficient: 1e-14 m2/s\n"
               "exchange_current_density: 2 A/m2\n");
  CHECK(load_material(file).faults.text() ==
        file +
            ":5:60: open_circuit_potential.scaled_by = '1.1': a potential is not scaled: a voltage curve that is "
            "off by a factor has another expression or table\n");
  folder.write("m.yaml",
               "onegrain_material: 1\nname: my powder\nrole: positive\nmaximum_concentration: 50000 mol/m3\n"
               "open_circuit_potential:\n  expression: \"4.4 - x\"\n  entropic_coefficient: {expression: \"-1e-4*x\", "
               "unit: V/K, scaled_by: 2}\ndiffusion_coefficient: 1e-14 m2/s\nexchange_current_density: 2 A/m2\n");
  CHECK_THAT(load_material(file).value.value().to_host({}).potential.entropic_coefficient(0.5, 298.15),
             WithinRel(-1e-4, 1e-9));
  // Only a property may be scaled.
  CHECK(faults_of(with(full_cell, "particle_radius: 4.8 um", "particle_radius: {value: 4.8 um, scaled_by: 2}")) ==
        "coin07.yaml:14:36: positive.particle_radius.scaled_by: unknown key\n");
}

TEST_CASE("an electrolyte may stand on the sheet itself", "[params][sheet]") {
  const Sheet sheet =
      sound(with(full_cell, "electrolyte: carbonate_1M",
                 "electrolyte:\n  concentration: 1.2 M\n  conductivity: {expression: \"0.1297*c^3 - 2.51*c^1.5 + "
                 "3.329*c\", unit: S/m, range: [0, 2 mol/L]}\n"
                 "  diffusion_coefficient: 3e-10 m2/s\n  transference_number: 0.3\n  thermodynamic_factor: 1.5"));
  const auto cell = to_cell(sheet);
  CHECK_THAT(cell.electrolyte.concentration, WithinRel(1200.0, 1e-12));
  // Nyman, Behm, Lindbergh, Electrochim. Acta 53, 6356 (2008), from memory, at 1 mol/L by hand
  CHECK_THAT(cell.electrolyte.conductivity(1000, 298.15), WithinRel(0.1297 - 2.51 + 3.329, 1e-9));
}

TEST_CASE("a cell that warms up gets its heat per plate area, and formulas with T at several temperatures",
          "[params][sheet]") {
  const Sheet sheet = sound(full_cell +
                            "thermal: {mass: 3.2 g, heat_capacity: 900 J/(kg K), heat_transfer_coefficient: 10 W/(m2 "
                            "K), cooled_area: 6 cm2}\n");
  const auto cell = to_cell(sheet);
  REQUIRE(cell.thermal);
  CHECK_THAT(cell.thermal->heat_capacity, WithinRel(3.2e-3 * 900 / cell.plate_area, 1e-12));
  CHECK_THAT(cell.thermal->heat_transfer, WithinRel(10 * 6e-4 / cell.plate_area, 1e-12));
  CHECK(cell.electrolyte.conductivity(1000, 320) > cell.electrolyte.conductivity(1000, 280));
}

TEST_CASE("every shipped card and sheet is sound, and every value has a source", "[params][card]") {
  int count = 0;
  for (const ShippedCard& card : shipped_cards()) {
    CAPTURE(card.folder, card.name);
    ++count;
    Faults faults;
    if (card.folder == "cells") {
      const auto loaded = load_sheet(card.name);
      INFO(loaded.faults.text());
      CHECK(loaded.value);
      if (loaded.value) CHECK_NOTHROW(to_cell(*loaded.value));
    } else if (card.folder == "electrolytes") {
      const auto loaded = load_electrolyte(card.name);
      INFO(loaded.faults.text());
      CHECK(loaded.value);
    } else if (card.text.find("role: lithium_metal") != std::string::npos) {
      const auto loaded = load_lithium_metal(card.name);
      INFO(loaded.faults.text());
      CHECK(loaded.value);
    } else {
      const auto loaded = load_material(card.name);
      INFO(loaded.faults.text());
      REQUIRE(loaded.value);
      CHECK_FALSE(loaded.value->diffusion_coefficient.source.empty());
      CHECK_FALSE(loaded.value->exchange_current_density.source.empty());
      CHECK_FALSE(loaded.value->open_circuit_potential.potential.source.empty());
    }
    CHECK_FALSE(card.title.empty());
  }
  CHECK(count >= 12);
}

TEST_CASE("the kind of a file is told from its keys", "[params][library]") {
  const Folder folder;
  folder.write("s.yaml", full_cell);
  folder.write("p.yaml", "steps: []\n");
  folder.write("m.yaml", "onegrain_material: 1\nrole: lithium_metal\n");
  folder.write("d.csv", "a,b\n1,2\n");
  folder.write("u.yaml", "what: ever\n");
  const std::string base = folder.path.string() + "/";
  CHECK(file_kind(base + "s.yaml") == FileKind::sheet);
  CHECK(file_kind(base + "p.yaml") == FileKind::protocol);
  CHECK(file_kind(base + "m.yaml") == FileKind::lithium_metal);
  CHECK(file_kind(base + "d.csv") == FileKind::data);
  CHECK(file_kind(base + "u.yaml") == FileKind::unknown);
  CHECK(file_kind(base + "absent") == FileKind::unknown);
}
