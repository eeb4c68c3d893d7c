#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <regex>

#include "app/study/design.hpp"
#include "tests/app/helpers.hpp"

// `survey` and `merge`: that a design is the cell that its sheet makes, that parts are the whole however they are cut,
// and that the best of many is where a theory puts it.

using namespace app_test;
using namespace onegrain;
using app::study::Designs;
using Catch::Matchers::WithinRel;

namespace {

params::Sheet demo() { return *params::load_sheet("demo").value; }

/// results.csv by the titles of its columns; empty cells are not numbers.
std::map<std::string, std::vector<double>> results_of(const std::string& text) {
  const std::vector<std::string> lines = lines_of(text);
  const auto cells = [](const std::string& line) {
    std::vector<std::string> all(1);
    for (const char c : line) c == ',' ? all.emplace_back() : all.back() += c;
    return all;
  };
  const std::vector<std::string> titles = cells(lines.at(0));
  std::map<std::string, std::vector<double>> columns;
  for (std::size_t k = 1; k < lines.size(); ++k) {
    const std::vector<std::string> row = cells(lines[k]);
    REQUIRE(row.size() == titles.size());
    for (std::size_t n = 0; n < row.size(); ++n) columns[titles[n]].push_back(row[n].empty() ? NAN : std::stod(row[n]));
  }
  return columns;
}

std::vector<std::string> calls(std::vector<std::string> more) {
  std::vector<std::string> words{"survey",   "demo",
                                 "--vary",   "positive.coating.thickness=40..100um",
                                 "--vary",   "negative.particle_radius=4,8um",
                                 "--rates",  "C/2,2C",
                                 "--places", "5"};
  words.insert(words.end(), more.begin(), more.end());
  return words;
}

bool has_rule(const json& summary, const std::string& rule) {
  return std::any_of(summary["findings"].begin(), summary["findings"].end(),
                     [&](const json& f) { return f["rule"] == rule; });
}

/// A flat potential, reactions and grains without resistance, lithium that costs nothing, salt at rest.
void write_reaction_zone(const Folder& folder) {
  folder.write("flat.yaml",
               "onegrain_material: 1\nname: a flat potential\nformula: LiFePO4\nrole: positive\ndensity: 3.6 g/cm3\n"
               "open_circuit_potential:\n"
               "  expression: \"3.4 + 0.02*(0.5 - x) - 0.4*exp(-400*(1-x)) + 0.4*exp(-400*x)\"\n  range: [0, 1]\n"
               "diffusion_coefficient: 1e-12 m2/s\nexchange_current_density: 1000 A/m2\n");
  folder.write("thin.yaml",
               "onegrain_electrolyte: 1\nname: constant\nconcentration: 1 mol/L\nconductivity: 0.05 S/m\n"
               "diffusion_coefficient: 3e-10 m2/s\ntransference_number: 0.4\nthermodynamic_factor: 1\n");
  folder.write("foil.yaml",
               "onegrain_material: 1\nname: lithium\nrole: lithium_metal\nexchange_current_density: 100000 A/m2\n");
  folder.write(
      "cell.yaml",
      "onegrain: 1\nname: reaction zone\narrangement: half_cell\ntemperature: 25 degC\ndisc_diameter: 12 mm\n"
      "voltage_window: {lower: 3.0 V, upper: 3.8 V}\ncontact_resistance: 0 ohm.cm2\nworking:\n  material: flat\n"
      "  layer: {thickness: 60 um, active_fraction: 60 %, porosity: 40 %, tortuosity: 2}\n"
      "  particle_radius: 0.1 um\ncounter: {material: foil}\n"
      "separator: {thickness: 25 um, porosity: 50 %, tortuosity: 2}\nelectrolyte: thin\n");
}

}  // namespace

TEST_CASE("a coating that is varied is drawn from the same ink", "[app][survey]") {
  // Balance of the solids, by hand: loading = (1 - porosity) thickness density, and the density of the ink stays.
  const params::Sheet sheet = demo();
  const double area = sheet.plate_area(), loading = *sheet.positive.loading(area),
               porosity = sheet.positive.porosity(area), thickness = sheet.positive.thickness(),
               density = loading / ((1 - porosity) * thickness);
  const auto drawn = [&](const std::vector<std::string>& vary, const std::vector<double>& values) {
    return Designs(sheet, vary, "2", 0, 1, false).sheet_of(values).positive;
  };
  struct Case {
    std::vector<std::string> vary;
    std::vector<double> values;
    double thickness, porosity;
  };
  const std::string h = "positive.coating.thickness=30..90um", e = "positive.coating.porosity=20..50%",
                    m = "positive.coating.loading=5..30 mg/cm2";
  for (const Case& c : {Case{{h}, {90e-6}, 90e-6, porosity}, Case{{e}, {0.5}, thickness * (1 - porosity) / 0.5, 0.5},
                        Case{{m}, {2 * loading}, 2 * thickness, porosity}, Case{{h, e}, {90e-6, 0.25}, 90e-6, 0.25},
                        Case{{e, m}, {0.25, 0.1}, 0.1 / (0.75 * density), 0.25},
                        Case{{h, m}, {80e-6, 0.15}, 80e-6, 1 - 0.15 / (80e-6 * density)}}) {
    const params::ElectrodeSheet electrode = drawn(c.vary, c.values);
    CAPTURE(c.vary, c.values);
    CHECK_THAT(electrode.thickness(), WithinRel(c.thickness, 1e-12));
    CHECK_THAT(electrode.porosity(area), WithinRel(c.porosity, 1e-10));
    CHECK_THAT(*electrode.loading(area), WithinRel((1 - c.porosity) * c.thickness * density, 1e-12));
  }
}

TEST_CASE("the other electrode is drawn so that N/P stays", "[app][survey]") {
  const Folder folder;
  for (const char* vary : {"positive.coating.thickness=30..90um", "negative.coating.loading=3..12 mg/cm2"}) {
    const Outcome outcome = program({"survey", "demo", "--vary", vary, "--places", "3", "--same-n-to-p", "--rates",
                                     "C/5", "--design", "3", "--out", "out"});
    INFO(outcome.narration);
    REQUIRE(outcome.status == 0);
    const double before = json_of({"bench", "demo"})["bench"]["capacity_ratio"]["value"];
    const json bench = json_of({"bench", "out/design_3.yaml"});
    CHECK_THAT(bench["bench"]["capacity_ratio"]["value"].get<double>(), WithinRel(before, 1e-4));
    const auto results = results_of(folder.read("out/results.csv"));
    for (const double ratio : results.at("N/P / 1")) CHECK_THAT(ratio, WithinRel(before, 1e-8));
  }
}

TEST_CASE("what a survey tells of a design is what `rates` tells of its sheet", "[app][survey]") {
  const Folder folder;
  REQUIRE(program(calls({"--design", "7", "--out", "out"})).status == 0);
  const auto results = results_of(folder.read("out/results.csv"));
  const json sheet = json_of({"rates", "out/design_7.yaml", "--rates", "C/2,2C", "--reaction", "even"});
  const double cm2 = json_of({"bench", "out/design_7.yaml"})["bench"]["plate_area_cm2"]["value"];
  CHECK_THAT(results.at("Energy per Area at 2C / mWh/cm2")[6],
             WithinRel(sheet["points"][1]["energy_mWh"].get<double>() / cm2, 1e-4));
  CHECK_THAT(results.at("Capacity at C/2 / mAh/cm2")[6],
             WithinRel(sheet["points"][0]["capacity_mAh"].get<double>() / cm2, 1e-4));
  // A stack by hand: coatings, separator of 25 um, half of 15 and of 10 um of foil.
  CHECK_THAT(
      results.at("Stack Thickness / um")[6],
      WithinRel(results.at("Positive Thickness / um")[6] + results.at("Negative Thickness / um")[6] + 25 + 12.5, 1e-9));
  CHECK_THAT(
      results.at("Energy per Volume at 2C / Wh/L")[6],
      WithinRel(results.at("Energy per Area at 2C / mWh/cm2")[6] / results.at("Stack Thickness / um")[6] * 1e4, 1e-6));
}

TEST_CASE("parts are the whole to the last bit, however it is cut and whatever the threads", "[app][survey]") {
  const Folder folder;
  REQUIRE(program(calls({"--out", "whole"})).status == 0);
  for (const int of : {1, 3, 7}) {
    const std::string parts = "parts" + std::to_string(of), merged = "merged" + std::to_string(of);
    for (int k = 1; k <= of; ++k)
      REQUIRE(program(calls({"--part", std::to_string(k) + "/" + std::to_string(of), "--threads",
                             std::to_string(1 + k % 3), "--out", parts}))
                  .status == 0);
    REQUIRE(program({"merge", parts, "--out", merged}).status == 0);
    CHECK(folder.read(merged + "/results.csv") == folder.read("whole/results.csv"));
  }
  CHECK(folder.names("parts3") ==
        std::vector<std::string>{"part-001-of-003.csv", "part-002-of-003.csv", "part-003-of-003.csv"});
}

TEST_CASE("a part that was killed anywhere goes on where it was", "[app][survey]") {
  const Folder folder;
  REQUIRE(program(calls({"--part", "1/1", "--out", "parts"})).status == 0);
  const std::string name = "parts/part-001-of-001.csv", whole = folder.read(name);
  const std::size_t head = whole.find(",end\n") + 5;
  for (const std::size_t cut :
       {std::size_t{0}, std::size_t{20}, head, head + 1, (head + whole.size()) / 2, whole.size() - 1}) {
    CAPTURE(cut);
    folder.write(name, whole.substr(0, cut));
    REQUIRE(program(calls({"--part", "1/1", "--out", "parts"})).status == 0);
    CHECK(folder.read(name) == whole);
  }
  // A row whose middle was lost is not taken for a shorter one.
  const std::size_t row = whole.rfind('\n', whole.size() - 2) + 1;
  folder.write(name, whole.substr(0, row + 12) + whole.substr(row + 30));
  REQUIRE(program(calls({"--part", "1/1", "--out", "parts"})).status == 0);
  CHECK(folder.read(name) == whole);
}

TEST_CASE("what is missing is said first, and what does not belong together is refused", "[app][survey]") {
  const Folder folder;
  folder.write("cell.yaml", small_sheet);
  const auto part = [](const std::string& which, const std::string& rates, const std::string& out) {
    return program({"survey", "cell.yaml", "--vary", "positive.particle_radius=2..10um", "--rates", rates, "--part",
                    which, "--out", out});
  };
  REQUIRE(part("1/3", "1C", "parts").status == 0);
  REQUIRE(part("3/3", "1C", "parts").status == 0);
  const json gaps = json_of({"merge", "parts"});
  CHECK(has_rule(gaps, "parts_missing"));
  CHECK(gaps["survey"]["designs_missing"] == 2);  // designs 2 and 5 of 7
  CHECK(gaps["headline"].get<std::string>().find("part-002-of-003.csv: is not there") != std::string::npos);
  REQUIRE(part("2/3", "1C", "parts").status == 0);
  CHECK_FALSE(has_rule(json_of({"merge", "parts"}), "parts_missing"));

  const Outcome other = part("2/3", "2C", "parts");
  CHECK(other.status == 2);
  CHECK(other.narration.find("belongs to another survey") != std::string::npos);
  folder.write("parts/part-001-of-003.csv", "time,voltage\n1,2\n");
  CHECK(part("1/3", "1C", "parts").status == 2);
  CHECK(folder.read("parts/part-001-of-003.csv") == "time,voltage\n1,2\n");  // not ours: not touched
  CHECK(program({"merge", "parts"}).status == 4);
  CHECK(program({"merge", "nowhere"}).status == 4);

  REQUIRE(part("1/1", "1C", "others").status == 0);
  folder.write("cell.yaml", with(small_sheet, "75 um", "76 um"));
  const Outcome changed = program({"merge", "others"});
  CHECK(changed.status == 4);
  CHECK(changed.narration.find("another sheet") != std::string::npos);
}

TEST_CASE("a survey that cannot be is refused with what to write", "[app][survey]") {
  struct Wrong {
    std::vector<std::string> words;
    const char* said;
  };
  for (const Wrong& w : {Wrong{{"--vary", "positive.coating.thickness"}, "its range"},
                         Wrong{{"--vary", "positive.thickness=1..2um"}, "no such value"},
                         Wrong{{"--vary", "positive.material.open_circuit_potential=1..2V"}, "a formula or a table"},
                         Wrong{{"--vary", "positive.coating.thickness=120..30um"}, "smaller to a larger"},
                         Wrong{{"--vary", "positive.coating.thickness=30..120"}, "'30'"},
                         Wrong{{"--vary", "positive.coating.thickness=3,4 V"}, "a length"},
                         Wrong{{"--vary", "positive.particle_radius=3,3um"}, "twice"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--places", "1"}, "--places"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--same-n-to-p"}, "one electrode"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--part", "4/3", "--out", "parts"}, "3/16"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--part", "1/3"}, "--out"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--design", "99"}, "1 to 7"},
                         Wrong{{"--vary", "separator.porosity=30..50%", "--charge-within", "45"}, "--charge-within"},
                         Wrong{{"--vary", "positive.coating.thickness=30..60um", "--vary",
                                "positive.coating.porosity=30..60%", "--vary", "positive.coating.loading=5..9 mg/cm2"},
                               "two make the third"}}) {
    std::vector<std::string> words{"survey", "demo"};
    words.insert(words.end(), w.words.begin(), w.words.end());
    const Outcome outcome = program(words);
    CAPTURE(words, outcome.narration);
    CHECK(outcome.status == 2);
    CHECK(outcome.narration.find(w.said) != std::string::npos);
  }
  CHECK(program({"survey", "demo"}).status == 2);
  const Outcome none = program({"survey", "demo", "--vary", "positive.coating.porosity=0.1..0.9%"});
  CHECK(none.status == 4);  // no pores at all
}

TEST_CASE("a best design at the end of a range is no optimum, and it is said", "[app][survey]") {
  CHECK(has_rule(json_of({"survey", "demo", "--vary", "positive.particle_radius=2..10um", "--rates", "2C"}),
                 "best_at_the_edge"));
  CHECK_FALSE(has_rule(json_of({"survey", "demo", "--vary", "positive.coating.thickness=20..160um", "--same-n-to-p",
                                "--rates", "1C", "--places", "8"}),
                       "best_at_the_edge"));
}

TEST_CASE("a sample fills the ranges, and its first designs do not depend on how many there are", "[app][survey]") {
  const params::Sheet sheet = demo();
  const std::vector<std::string> vary{"positive.particle_radius=1..20um", "separator.porosity=30..50%"};
  const Designs few(sheet, vary, "7", 16, 5, false), many(sheet, vary, "7", 1024, 5, false);
  std::vector<int> by_factor(4), evenly(4);
  for (int k = 0; k < 1024; ++k) {
    const std::vector<double> values = many.values(k);
    if (k < 16) CHECK(few.values(k) == values);
    // 1..20 um is spaced by factors, 30..50 % evenly: a quarter of a net falls into each quarter.
    ++by_factor.at(static_cast<std::size_t>(4 * std::log(values[0] / 1e-6) / std::log(20)));
    ++evenly.at(static_cast<std::size_t>(4 * (values[1] - 0.3) / 0.2));
  }
  CHECK(by_factor == std::vector<int>(4, 256));
  CHECK(evenly == std::vector<int>(4, 256));
}

TEST_CASE("designs that charge in time do so at the ceiling of their sheet", "[app][survey]") {
  const Folder folder;
  const std::vector<std::string> words{"survey",          "demo",   "--vary",    "negative.particle_radius=3,8um",
                                       "--rates",         "C/2",    "--samples", "128",
                                       "--charge-within", "60 min", "--out",     "out"};
  REQUIRE(program(words).status == 0);
  const auto results = results_of(folder.read("out/results.csv"));
  const json ceiling = json_of({"ceiling", "demo", "--samples", "0"});  // 8 um is the sheet's own radius
  const double area = json_of({"bench", "demo"})["bench"]["plate_area_cm2"]["value"];
  const double nominal = ceiling["ceiling"]["current_mA"].get<double>() / area * 10;  // A/m2
  CHECK_THAT(results.at("Charge Ceiling / A/m2")[1], WithinRel(nominal, 3e-3));
  for (std::size_t k = 0; k < 2; ++k)
    CHECK(results.at("Charge Ceiling with Confidence / A/m2")[k] < results.at("Charge Ceiling / A/m2")[k]);
  const json summary = json::parse(folder.read("out/summary.json"));
  int in_time = 0;
  for (const double minutes : results.at("Charge Time / min")) in_time += minutes <= 60 ? 1 : 0;
  CHECK(summary["survey"]["designs_too_slow"] == 2 - in_time);
  CHECK(folder.read("out/report.html").find("Lithium plating, overcharge") != std::string::npos);
}

TEST_CASE("the script of an array runs every part, and its results are those of the whole", "[app][survey]") {
  const Folder folder;
  REQUIRE(program(calls({"--slurm", "3", "--out", "parts"})).status == 0);
  const std::string script = folder.read("parts/survey.sbatch");
  CHECK(script.rfind("#!/bin/sh\n", 0) == 0);
  // sbatch(1), "--array", "--cpus-per-task", "--time", "--mem", "--requeue".
  for (const char* line : {"#SBATCH --array=1-3\n", "#SBATCH --cpus-per-task=1\n", "#SBATCH --requeue\n"})
    CHECK(script.find(line) != std::string::npos);
  CHECK(std::regex_search(script, std::regex("#SBATCH --time=\\d\\d:\\d\\d:00\n#SBATCH --mem=\\d+00M\n")));
  folder.write("onegrain", "#!/bin/sh\nexec " + quoted(ONEGRAIN_PROGRAM) + " \"$@\"\n");
  // As it is asked for on a command line.
  const Outcome asked = shell(
      "chmod +x onegrain; PATH=.:$PATH; onegrain survey demo --vary 'positive.coating.thickness=40..100um' --vary "
      "negative.particle_radius=4,8um "
      "--rates C/2,2C --places 5 --slurm 3 --out parts; for k in 1 2 3; do SLURM_ARRAY_TASK_ID=$k sh "
      "parts/survey.sbatch || exit 9; done");
  INFO(asked.results);
  REQUIRE(asked.status == 0);
  REQUIRE(program({"merge", "parts", "--out", "merged"}).status == 0);
  REQUIRE(program(calls({"--out", "whole"})).status == 0);
  CHECK(folder.read("merged/results.csv") == folder.read("whole/results.csv"));
}

TEST_CASE("the best thickness and porosity are those of the reaction-zone model", "[app][survey]") {
  // J. Newman, J. Electrochem. Soc. 142, 97 (1995): with a flat potential U, no resistance but that of the electrolyte
  // and salt at rest, a thin zone of reaction goes through the coating from the separator on. Derived here: when a
  // share s of the capacity q L is used, V = U - i (L_s / kappa_s + s L / kappa); with i = C q L / 1 h the cut-off V_c
  // is met at s = min(1, ((U - V_c) / i - L_s / kappa_s) kappa / L), and the energy is q L s (V(0) + V(s)) / 2. Its
  // largest value over L and porosity e, with q in proportion to 1 - e and kappa = kappa_0 e / tau, by search over a
  // fine grid.
  const double F = 96485.33, q0 = F * 3.6e6 / 157.757, rate = 3;  // 3.6 g/cm3 of LiFePO4, 157.757 g/mol
  const auto energy = [&](double L, double e) {
    const double q = q0 * (1 - e), i = rate * q * L / 3600, separator = 25e-6 / (0.05 * 0.5 / 2), kappa = 0.05 * e / 2;
    const double s = std::clamp(((3.4 - 3.0) / i - separator) * kappa / L, 0.0, 1.0);
    return q * L * s * (3.4 - i * separator - i * s * L / kappa / 2);
  };
  const Folder folder;
  write_reaction_zone(folder);
  const auto best_of = [&](const std::string& thickness, const std::string& porosity, const std::string& column) {
    REQUIRE(program({"survey", "cell.yaml", "--vary", "working.layer.thickness=" + thickness, "--vary",
                     "working.layer.porosity=" + porosity, "--places", "13", "--rates", "3C", "--electrolyte",
                     "uniform", "--reaction", "uneven", "--out", "out"})
                .status == 0);
    const auto results = results_of(folder.read("out/results.csv"));
    const std::vector<double>& energies = results.at("Energy per Area at 3C / mWh/cm2");
    const auto most = static_cast<std::size_t>(std::max_element(energies.begin(), energies.end()) - energies.begin());
    return std::pair(results.at(column)[most], energies[most] * 3.6e4);  // mWh/cm2 to J/m2
  };
  const auto largest = [](double from, double to, const std::function<double(double)>& f) {
    double at = from;
    for (int k = 0; k <= 10000; ++k)
      if (const double x = from + (to - from) * k / 10000; f(x) > f(at)) at = x;
    return at;
  };
  // Along each value by itself: beside the ridge the energy falls by 2 % within 2 %, along it by next to nothing.
  const double best_L = largest(50e-6, 75e-6, [&](double L) { return energy(L, 0.5); }),
               best_e = largest(0.4, 0.6, [&](double e) { return energy(62e-6, e); });
  const auto [L, at_L] = best_of("56..68um", "50%", "Positive Thickness / um");
  CHECK_THAT(L * 1e-6, WithinRel(best_L, 0.02));
  CHECK_THAT(at_L, WithinRel(energy(best_L, 0.5), 0.01));
  const auto [e, at_e] = best_of("62um", "44..56%", "Positive Porosity / %");
  CHECK_THAT(e / 100, WithinRel(best_e, 0.02));
  CHECK_THAT(at_e, WithinRel(energy(62e-6, best_e), 0.01));
}
