#include "params/text/cif.hpp"

#include <cmath>
#include <fstream>
#include <sstream>

#include "params/card/cif_crystal.hpp"
#include "tests/params/sheets.hpp"

using namespace onegrain::params;
using namespace sheets;

namespace {

std::string text_of(const std::string& name) {
  std::ifstream file(std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/cif/" + name, std::ios::binary);
  REQUIRE(file);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

/// The crystal of a text, and the faults of reading it.
std::optional<CifCrystal> crystal_of(const std::string& text, std::string& faults, const std::string& block = {}) {
  Faults found;
  std::vector<SourceFile> files;
  std::vector<std::string> assumptions;
  const DocumentReading reading{"card.yaml", "", false, &found, &files, &assumptions};
  const Node crystal{Node::Type::mapping, "", 5, 3, {}, {}};
  Fields fields(crystal, "crystal", reading);
  const std::optional<Cif> cif = read_cif(text, "my.cif", found);
  std::optional<CifCrystal> result;
  if (cif) result = crystal_of_cif(*cif, "my.cif", block, fields, "cif");
  faults = found.text();
  return result;
}

const std::string oxide =
    "data_oxide\n_cell_length_a 2.8701(3)\n_cell_length_b 2.8701(3)\n_cell_length_c 14.231(2)\n_cell_angle_alpha 90\n"
    "_cell_angle_beta 90\n_cell_angle_gamma 120\n_cell_formula_units_Z 3\n"
    "_chemical_formula_sum 'Li Ni0.6 Mn0.2 Co0.2 O2'\n";

const std::string card =
    "onegrain_material: 1\nname: my powder\nformula: LiNi0.6Mn0.2Co0.2O2\nrole: positive\ncrystal: {cif: my.cif}\n"
    "open_circuit_potential: {expression: \"4.4 - x\", range: [0.2, 1]}\ndiffusion_coefficient: 1e-14 m2/s\n"
    "exchange_current_density: 2 A/m2\n";

/// What reading `card` says with this CIF beside it.
std::string card_faults(const std::string& card_text, const std::string& cif) {
  const Folder folder;
  folder.write("my.cif", cif);
  folder.write("mine.yaml", card_text);
  std::string text = load_material((folder.path / "mine.yaml").string()).faults.text();
  const std::string base = folder.path.string() + "/";
  for (std::size_t at = text.find(base); at != std::string::npos; at = text.find(base)) text.erase(at, base.size());
  return text;
}

}  // namespace

TEST_CASE("crystals of a public collection have the volume and the density that their files state", "[params][cif]") {
  // Cell volumes and densities: _cell_volume and _exptl_crystal_density_diffrn of the files, whose sources are journal
  // articles; further digits of the densities are arithmetic of cell, Z and formula with IUPAC weights.
  struct Row {
    const char* file;
    double volume, density, stated;
    CrystalSystem system;
  };
  using enum CrystalSystem;
  const auto row = GENERATE(values<Row>({
      {"C-Graphite.cif", 34.979, 2.2808, 2.281, hexagonal},
      {"Li-Lithium.cif", 43.218, 0.5333, 0.533, cubic},
      {"Si-Silicon.cif", 160.165, 2.3294, 2.329, cubic},
      {"NiO-Bunsenite.cif", 72.428, 6.8498, 6.850, cubic},
      {"CoO.cif", 77.674, 6.4077, 6.408, cubic},
      {"MnO-Manganosite.cif", 87.813, 5.3657, 5.366, cubic},
      {"Li2O.cif", 98.547, 2.0139, 2.014, cubic},
      {"LiOH.cif", 54.496, 1.4594, 1.459, tetragonal},
      {"Li2CO3-Zabuyelite.cif", 233.795, 2.0992, 2.099, monoclinic},
      {"TiO2-Anatase.cif", 136.300, 3.8920, 3.893, tetragonal},
      {"TiO2-Rutile.cif", 62.423, 4.2490, 4.250, tetragonal},
  }));
  CAPTURE(row.file);
  std::string faults;
  const std::optional<CifCrystal> found = crystal_of(text_of(row.file), faults);
  CHECK(faults.empty());
  REQUIRE(found);
  CHECK(found->crystal.system == row.system);
  CHECK_THAT(found->crystal.cell_volume() * 1e30, WithinAbs(row.volume, 1e-3));
  CHECK_THAT(found->density().value() * 1e-3, WithinAbs(row.density, 1e-3));
  CHECK_THAT(found->density().value() * 1e-3, WithinAbs(row.stated, 1.2e-3));
}

TEST_CASE("what stands in brackets is a standard deviation in units of the last digit", "[params][cif]") {
  // CIF 1.1, numeric values (from memory): 34.5(12) is 34.5 with 1.2.
  struct Row {
    const char* text;
    double value, uncertainty;
  };
  for (const Row& row : {Row{"34.5(12)", 34.5, 1.2}, Row{"2.8701(4)", 2.8701, 4e-4}, Row{"90", 90, 0},
                         Row{"1.5E1(2)", 15, 2}, Row{"+3.", 3, 0}, Row{"-.5(1)", -0.5, 0.1}, Row{"12(3)", 12, 3}}) {
    CAPTURE(row.text);
    const auto number = cif_number(row.text);
    REQUIRE(number);
    CHECK_THAT(number->value, WithinRel(row.value, 1e-14));
    CHECK_THAT(number->standard_uncertainty, WithinAbs(row.uncertainty, 1e-14));
  }
  for (const char* text :
       {"", "8,24", "8.24()", "8.24(", "8.24(a)", "8.24(1)x", "nan", "inf", "0x10", "++1", "(3)", "?"})
    CHECK_FALSE(cif_number(text));

  std::string faults;
  const auto found = crystal_of(oxide, faults);
  REQUIRE(found);
  CHECK(faults.empty());
  CHECK_THAT(found->crystal.a.spread.size, WithinRel(1.959964 * 3e-14, 1e-6));
  CHECK_FALSE(found->crystal.b);  // one uncertain edge, not two
  CHECK_THAT(found->crystal.c->spread.size, WithinRel(1.959964 * 2e-13, 1e-6));
}

TEST_CASE("no value is taken from a block other than the one named", "[params][cif]") {
  std::string faults;
  const std::string two = oxide + with(with(oxide, "data_oxide", "data_Other"), "_cell_formula_units_Z 3\n", "");
  CHECK(crystal_of(two, faults, "oxide")->units_line == 8);
  CHECK(crystal_of(two, faults, "OTHER")->units_line == 0);  // names know no case (CIF 1.1)
  CHECK(crystal_of(two, faults, "data_other")->block == "Other");
  CHECK_FALSE(crystal_of(two, faults));
  CHECK(faults ==
        "card.yaml:5:3: crystal.cif: several blocks of 'my.cif' hold a unit cell; say which with 'block': "
        "oxide, Other\n");
  CHECK_FALSE(crystal_of(two, faults, "third"));
  CHECK(faults == "card.yaml:5:3: crystal.cif: no block data_third in 'my.cif', which has oxide, Other\n");
  CHECK(crystal_of("data_global _journal_year 2020\n" + oxide, faults)->block == "oxide");
}

TEST_CASE("a CIF that cannot be read is told by its line", "[params][cif][messages]") {
  struct Row {
    std::string text, fault;
  };
  const Row row = GENERATE(values<Row>({
      {"", "my.cif:1:1: an empty file\n"},
      {"# nothing but words\n", "my.cif:1:1: an empty file\n"},
      {"_cell_length_a 3\n", "my.cif:1:1: '_cell_length_a': expected 'data_' and the name of a block first\n"},
      {"data_a\n_cell_length_a\n", "my.cif:2:1: '_cell_length_a': a tag without a value; is the file complete?\n"},
      {"data_a\n_b 1\n_B 2\n", "my.cif:3:1: '_B': the same tag as in line 2, in one block\n"},
      {"data_a _b 1\ndata_A\n", "my.cif:2:1: 'data_A': a block of this name stands in line 1 already\n"},
      {"data_a\nloop_\n_b\n_c\n1 2\n3\n",
       "my.cif:2:1: 'loop_': 3 values do not fill rows of 2; is the file complete?\n"},
      {"data_a\nloop_\n_b\n", "my.cif:2:1: 'loop_': a loop without values; is the file complete?\n"},
      {"data_a\nloop_ 1\n", "my.cif:2:1: 'loop_': a loop without tags\n"},
      {"data_a\n_b\n;text\nmore\n",
       "my.cif:3:1: the text that begins here with ';' is never ended by a ';' at the start of a line\n"},
      {"data_a\n_b 'one\n", "my.cif:2:1: ''one': a quotation that is not ended on its line\n"},
      {"data_a\n_b 1 2\n", "my.cif:2:1: '2': a value without a tag in front of it\n"},
      {std::string("data_a\n_b \0 1\n", 13), "my.cif:2:1: a byte that no text has; is this a CIF?\n"},
      {"data_a\nsave_x\n", "my.cif:2:1: 'save_x': save frames belong to dictionaries; expected a CIF of data\n"},
      {"#\\#CIF_2.0\ndata_a\n_b 1\n",
       "my.cif:1:1: '#\\#CIF_2.0': this program reads CIF 1.1; save the file in that version\n"},
      {"data_a\n_b [1]\n", "my.cif:2:1: '[1]': a value that begins so stands in quotation marks\n"},
      {"data_\n", "my.cif:1:1: 'data_': a data block without a name\n"},
      {with(oxide, "_cell_length_c 14.231(2)\n", ""),
       "my.cif:1:1: _cell_length_c: an edge of the cell in angstrom is missing in data_oxide\n"},
      {with(oxide, "14.231(2)", "?"),
       "my.cif:1:1: _cell_length_c: an edge of the cell in angstrom is missing in data_oxide\n"},
      {with(oxide, "14.231(2)", "14,231"),
       "my.cif:4:1: '14,231': expected an edge of the cell in angstrom, a number such as 8.24 or 8.2401(3)\n"},
      {with(oxide, "14.231(2)", "1423.1"),
       "my.cif:4:1: '1423.1': an edge of the cell in angstrom between 0.5 angstrom and 200 angstrom is expected\n"},
      {with(oxide, "14.231(2)", "14.2(20)"),
       "my.cif:4:1: '14.2(20)': an uncertainty of more than a tenth of the value\n"},
      {with(oxide, "units_Z 3", "units_Z 0"),
       "my.cif:8:1: '0': expected the formula units in a cell (Z), a number from 1 to 1000\n"},
      {with(oxide, "Co0.2", "Xx0.2"),
       "my.cif:9:1: 'Li Ni0.6 Mn0.2 Xx0.2 O2': 'Xx' is not an element at position 13 of "
       "the formula\n"},
      {oxide + "_space_group_IT_number 225\n",
       "my.cif:10:1: '225': the edges and angles of data_oxide are not those of a cubic cell\n"},
      {oxide + "_symmetry_cell_setting Cubic\n",
       "my.cif:10:1: 'Cubic': the edges and angles of data_oxide are not those of a cubic cell\n"},
      {with(with(oxide, "gamma 120", "gamma 20"), "beta 90", "beta 150"),
       "my.cif:5:1: '90 deg': no cell has these three angles\n"},
      // warnings: read, and said
      {oxide + "_cell_volume 110.5(3)\n",
       "my.cif:10:1: warning: '110.5(3)': the volume of the cell that the edges and angles make is 101.522 angstrom^3; "
       "one of them is a slip, and the edges are used\n"},
      {with(oxide, "units_Z 3", "units_Z 6") + "_exptl_crystal_density_diffrn 4.76\n",
       "my.cif:8:1: warning: '6': so many formula units of LiNi0.6Mn0.2Co0.2O2 would leave 4.23 angstrom^3 to each "
       "atom, "
       "where solids have 6 to 40; check Z\n"
       "my.cif:10:1: warning: '4.76': a density in g/cm3, where Z = 6, LiNi0.6Mn0.2Co0.2O2 and the cell make 9.512: "
       "one "
       "of them is a slip; check Z\n"},
  }));
  CAPTURE(row.text);
  std::string faults;
  crystal_of(row.text, faults);
  CHECK(faults == row.fault);
}

TEST_CASE("quotations and texts may hold what looks like a tag, and lines may end as anywhere", "[params][cif]") {
  Faults faults;
  const std::string text =
      "\xEF\xBB\xBF"
      "data_a\r\n_one 'it''s' _two \"a 'b' _c\"\r\n_three\r\n; _cell_length_a 1\r\n data_b loop_\r\n;\r\n"
      "loop_ _x _y 1 # no 9\r\n2 '?' ?\r\n";
  const auto cif = read_cif(text, "my.cif", faults);
  INFO(faults.text());
  REQUIRE(cif);
  REQUIRE(cif->blocks.size() == 1);
  const CifBlock& block = cif->blocks[0];
  CHECK(block.one({"_one"})->text == "it''s");
  CHECK(block.one({"_two"})->text == "a 'b' _c");
  CHECK(block.one({"_three"})->text == " _cell_length_a 1\r\n data_b loop_");
  CHECK(block.all("_x").size() == 2);
  CHECK(block.all("_y")[1].line == 8);
  CHECK_FALSE(block.all("_x")[1].absent());
  CHECK(block.all("_y")[1].absent());
  CHECK(block.all("_cell_length_a").empty());
}

TEST_CASE("a card takes its crystal from a CIF, and only from one of its own compound", "[params][cif][card]") {
  const Folder folder;
  folder.write("my.cif", oxide);
  folder.write("mine.yaml", card);
  const auto loaded = load_material((folder.path / "mine.yaml").string());
  INFO(loaded.faults.text());
  REQUIRE(loaded.value);
  CHECK(loaded.faults.empty());
  // V = sqrt(3)/2 a^2 c; rho = 3 M / (V N_A), M = 96.928 g/mol: by hand
  CHECK_THAT(loaded.value->density().value(), WithinRel(3 * 96.928e-3 / (101.52199e-30 * 6.02214076e23), 1e-5));
  CHECK_THAT(loaded.value->maximum_concentration(), WithinRel(3 / (101.52199e-30 * 6.02214076e23), 1e-5));
  REQUIRE(loaded.files.size() == 2);
  CHECK(loaded.files[1].named_as == "my.cif");

  // the formula of the card counts its own formula units: graphite has 4 C in a cell, 4/6 of C6
  folder.write("my.cif", text_of("C-Graphite.cif"));
  folder.write("mine.yaml", with(with(card, "formula: LiNi0.6Mn0.2Co0.2O2", "formula: C6\nlithium_sites: 1"),
                                 "role: positive", "role: negative"));
  const auto graphite = load_material((folder.path / "mine.yaml").string());
  INFO(graphite.faults.text());
  REQUIRE(graphite.value);
  CHECK_THAT(graphite.value->density().value(), WithinAbs(2280.8, 1));
  CHECK_THAT(graphite.value->crystal_concentration().value(), WithinRel(4.0 / 6 / (34.979e-30 * 6.02214076e23), 1e-4));

  CHECK(card_faults(card, text_of("NiO-Bunsenite.cif")) ==
        "mine.yaml:5:16: crystal.cif = 'my.cif': data_9008693 is of NiO (my.cif, line 30), the card of "
        "LiNi0.6Mn0.2Co0.2O2: another compound\n");
  CHECK(card_faults(card, with(oxide, "Li Ni0.6", "Li0.5 Ni0.6")) ==
        "mine.yaml:5:16: warning: crystal.cif = 'my.cif': data_oxide is of Li0.5Ni0.6Mn0.2Co0.2O2 (my.cif, line 9), "
        "the card of LiNi0.6Mn0.2Co0.2O2: the cell of the one is taken for that of the other\n");
  CHECK(card_faults(card, with(oxide, "_cell_formula_units_Z 3\n", "")) ==
        "mine.yaml:5:16: crystal.cif = 'my.cif': data_oxide does not say how many formula units a cell holds; write a "
        "line such as '_cell_formula_units_Z 3' into it\n");
  CHECK(
      card_faults(with(card, "{cif: my.cif}", "{cif: my.cif, a: 2.87 angstrom}"), oxide) ==
      "mine.yaml:5:27: crystal.a = '2.87 angstrom': the CIF tells it; either the unit cell in numbers or a 'cif', not "
      "both\n");
  CHECK(card_faults(with(card, "{cif: my.cif}", "{block: oxide, cif: my.cif, blok: b}"), oxide).find("unknown key") !=
        std::string::npos);
  CHECK(card_faults(with(card, "my.cif", "yours.cif"), oxide).find("mine.yaml:5:16: crystal.cif = 'yours.cif': ") == 0);
}
