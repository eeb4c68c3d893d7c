#include <cmath>

#include "app/study/overlay.hpp"
#include "app/study/recorded.hpp"
#include "tests/app/helpers.hpp"

// The verbs overlay, balance and fit: what a cycler recorded against what the model predicts.

using namespace app_test;

namespace {

std::string data(const std::string& name) { return std::string(ONEGRAIN_SOURCE_DIR) + "/tests/data/" + name; }

/// Measured discharges of a pouch cell; see tests/data/README.md.
const std::vector<std::string> temperature = {"--columns", "temperature=temperature_2_degC"};

std::vector<std::string> words(std::vector<std::string> first, const std::vector<std::string>& then) {
  first.insert(first.end(), then.begin(), then.end());
  return first;
}

/// A half cell of which only the material is known; the layer is invented.
std::string half_cell(const std::string& material, const std::string& window, const std::string& layer,
                      const std::string& radius) {
  return "onegrain: 1\nname: Half cell of unknown design\narrangement: half_cell\ntemperature: 25 degC\ndisc_diameter: "
         "18 mm\nvoltage_window: " +
         window + "\nworking:\n  material: " + material + "\n  layer: " + layer + "\n  particle_radius: " + radius +
         "\nseparator: {thickness: 200 um, porosity: 80 %}\nelectrolyte: carbonate_1M\n";
}

double root_mean_square(const std::vector<double>& values) {
  double sum = 0;
  for (const double v : values) sum += v * v;
  return std::sqrt(sum / static_cast<double>(values.size()));
}

}  // namespace

TEST_CASE(
    "fitted to C/10 and 1C of a measured pouch cell, the model predicts 2C and 5C better than one resistance does") {
  const Folder folder;
  const std::string free =
      "positive.diffusion_time,negative.diffusion_time,positive.exchange_current_density,negative.exchange_current_"
      "density,"
      "positive.capacity,negative.capacity,contact_resistance,lithium,positive.potential";
  const Outcome fitted =
      program(words({"fit", "pouch_unknown", data("pouch_discharge_0p1C.csv"), data("pouch_discharge_1C.csv"), "--free",
                     free, "--linear", "--starts", "1", "--points", "150", "--out", "fit"},
                    temperature));
  INFO(fitted.narration);
  REQUIRE(fitted.status == 0);
  CHECK(fitted.narration.find("1576 rows read, 1576 used, 0 left out") != std::string::npos);
  const json fit = json::parse(read_file("fit/summary.json"))["fit"];
  for (const json& curve : fit["curves"]) CHECK(curve["rms_mV"].get<double>() < 15);
  // The new sheet is sound, says where its numbers come from, and keeps the words of its owner.
  CHECK(program({"check", "fit/fitted.yaml"}).status == 0);
  const std::string sheet = read_file("fit/fitted.yaml");
  CHECK(sheet.find("# A PLAUSIBLE START") == 0);
  CHECK(sheet.find("accessible_fraction: {value: ") != std::string::npos);
  CHECK(sheet.find("fitted on ") != std::string::npos);
  CHECK(sheet.find("to pouch_discharge_0p1C.csv, pouch_discharge_1C.csv, by onegrain ") != std::string::npos);

  const json summary =
      json_of(words({"overlay", "fit/fitted.yaml", data("pouch_discharge_0p1C.csv"), data("pouch_discharge_1C.csv"),
                     data("pouch_discharge_2C.csv"), data("pouch_discharge_5C.csv")},
                    temperature));
  const json& o = summary["overlay"];
  // The yardstick: plain arithmetic on the measured rows, done apart, gives 7.5 mohm from 1C, and 15 mV at 2C and 85 mV
  // at 5C (source: notes to the data set, from 2 to 95 % of the capacity).
  CHECK(o["resistance"]["ohm"].get<double>() == Approx(0.0075).margin(5e-5));
  const json &two = o["runs"][2]["steps"][0], &five = o["runs"][3]["steps"][0];
  CHECK(two["resistance_rms_mV"].get<double>() == Approx(15).margin(0.5));
  CHECK(five["resistance_rms_mV"].get<double>() == Approx(85).margin(0.5));
  CHECK(two["model_rms_there_mV"].get<double>() < 15);
  CHECK(five["model_rms_there_mV"].get<double>() < 45);
  // Capacities of the cycler's own counter, mAh.
  CHECK(two["capacity_mAh"].get<double>() == Approx(7237.8).epsilon(1e-3));
  CHECK(five["capacity_mAh"].get<double>() == Approx(7211.4).epsilon(1e-3));
  CHECK(five["model_capacity_mAh"].get<double>() == Approx(7211.4).epsilon(0.03));
  CHECK(o["runs"][3]["temperature_measured"] == true);
  const std::string why = o["why"];
  CHECK(why.find("At 5C the cell gave 7211 mAh, 0.94 % less than at") == 0);
  CHECK(why.find("% to ") != std::string::npos);
  CHECK(summary["headline"].get<std::string>().find(": the model knows more") != std::string::npos);
}

TEST_CASE("a prediction laid over itself leaves nothing, by its current and by the recognised protocol") {
  const Folder folder;
  folder.write("steps.yaml",
               "steps:\n  - {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.9 V}}\n  - {drive: rest, until: "
               "{time: 30 min}}\n"
               "  - {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.1 V}}\n  - {drive: {voltage: 4.1 V}, "
               "until: {rate: C/10}}\n  - {drive: rest, until: {time: 20 min}}\n");
  const std::string reaction = GENERATE(as<std::string>{}, "uneven", "even");
  const Outcome run = program(
      {"follow", "demo", "--protocol", "steps.yaml", "--out", "own", "--points", "400", "--reaction", reaction});
  INFO(run.narration);
  REQUIRE(run.status == 0);
  for (const bool recognised : {false, true}) {
    std::vector<std::string> call = {"overlay", "demo", "own/curves.csv", "--from-soc", "1", "--reaction", reaction};
    if (recognised) call.emplace_back("--recognised");
    const json overlay = json_of(call)["overlay"];
    const json& steps = overlay["runs"][0]["steps"];
    REQUIRE(steps.size() >= 5);  // the end of the charge may be taken for a step of its own
    for (const json& step : steps) {
      INFO(reaction << (recognised ? " recognised " : " measured ") << step["step"] << " " << step["kind"]);
      if (step["rows"] <= 2) continue;  // a row at a boundary
      // The integrator steps otherwise through a current that is given row by row: by what it leaves open. Elsewhere
      // the current switches half-way between rows.
      CHECK(step["rms_mV"].get<double>() < (step["kind"] != "discharge" ? 0.1 : reaction == "even" ? 1e-4 : 0.05));
    }
    CHECK(steps[0]["model_capacity_mAh"].get<double>() == Approx(steps[0]["capacity_mAh"].get<double>()).epsilon(2e-3));
  }
}

TEST_CASE("two files of the same test show how far cells differ") {
  const Folder folder;
  const std::string sheet = shipped("demo");
  folder.write("twin.yaml",
               with(sheet, "{value: 10 ohm.cm2, spread: 4 ohm.cm2", "{value: 30 ohm.cm2, spread: 4 ohm.cm2"));
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "300", "--out", "a"}).status == 0);
  REQUIRE(program({"curve", "twin.yaml", "--rates", "1C", "--points", "300", "--out", "b"}).status == 0);
  const json overlay = json_of({"overlay", "demo", "a/curves.csv", "b/curves.csv", "--from-soc", "1"})["overlay"];
  const double current = std::abs(overlay["runs"][0]["steps"][0]["current_mA"].get<double>()) / 1000,
               area = json_of({"bench", "demo"})["bench"]["plate_area_cm2"]["value"];
  // Ohm's law: 20 ohm cm2 more over the plate area, at the same charge.
  CHECK(overlay["runs"][0]["steps"][0]["between_cells_rms_mV"].get<double>() ==
        Approx(1e3 * current * 20 / area).epsilon(0.02));
}

TEST_CASE("where the model ends before the measurement, that is said first, and it explains no loss") {
  // The start values of the unknown pouch: its negative is too small for 5C by far (source: the sheet's own comment, "a
  // plausible start"); the cell gave 7211 mAh by the cycler's counter.
  const json summary = json_of(words(
      {"overlay", "pouch_unknown", data("pouch_discharge_0p1C.csv"), data("pouch_discharge_5C.csv")}, temperature));
  const std::string headline = summary["headline"], why = summary["overlay"]["why"];
  CHECK(headline.find("The model ends before the discharge at 5C does; over the ") != std::string::npos);
  CHECK(summary["overlay"]["runs"][1]["steps"][0]["model_ended_by"] == "negative grain surface empty");
  CHECK(summary["warnings"].back().get<std::string>().find("the model ends before the measurement (negative grain "
                                                           "surface empty); 33 of 108 rows are not compared.") !=
        std::string::npos);
  CHECK(why.find("At 5C the cell gave 7211 mAh, 0.94 % less than at") == 0);
  CHECK(why.find("it does not describe this cell at that rate") != std::string::npos);
  CHECK(why.find("% to ") == std::string::npos);  // no shares of a loss that is not this cell's
}

TEST_CASE("a faster discharge that lies above the slow one is no resistance, and no verdict is built on it") {
  // Invented: straight lines of 1000 s at 2 mA and 10,000 s at 0.2 mA, the fast one 20 mV higher at every charge. Ohm's
  // law: -20 mV / 1.8 mA = -11.1 ohm.
  const Folder folder;
  const auto straight = [&](const char* name, int seconds, double milliamperes, double higher) {
    std::string text = "Test Time / s,Voltage / V,Current / A\n";
    for (int k = 0; k <= 400; ++k) {
      char row[80];
      std::snprintf(row, sizeof row, "%.3f,%.6f,%.6g\n", seconds * k / 400.0, 4.0 - 0.8 * k / 400.0 + higher,
                    -1e-3 * milliamperes);
      text += row;
    }
    folder.write(name, text);
  };
  straight("slow.csv", 10000, 0.2, 0);
  straight("fast.csv", 1000, 2, 0.02);
  const json summary = json_of({"overlay", "demo", "slow.csv", "fast.csv", "--from-soc", "1"});
  CHECK(summary["overlay"].count("resistance") == 0);
  CHECK(summary["overlay"]["runs"][1]["steps"][0].count("resistance_rms_mV") == 0);
  CHECK(summary["findings"].back()["sentence"] ==
        "the discharge at 0.966C does not lie on the side of the discharge at 0.0966C where a resistance would put it: "
        "no resistance is below zero. Check that both began in the same state and at the same temperature.");
}

TEST_CASE("the page of an overlay draws the measured and the calculated rows that curves.csv holds") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "C/10", "--points", "80", "--out", "own"}).status == 0);
  folder.write("coarse.yaml", with(shipped("demo"), "{value: 8 um, spread: 0.8 um", "{value: 12 um, spread: 0.8 um"));
  REQUIRE(program({"overlay", "coarse.yaml", "own/curves.csv", "--out", "out"}).status == 0);
  const std::string page = read_file("out/report.html");
  const std::string mark = "<script type=\"application/json\" id=\"document\">";
  const auto from = page.find(mark) + mark.size();
  const json document = json::parse(page.substr(from, page.find("</script>", from) - from));
  const json &voltage = document["sections"][0]["blocks"][1], &residual = document["sections"][0]["blocks"][2];
  REQUIRE(voltage["series"].size() == 2);
  CHECK(voltage["series"][0]["role"] == "measured");
  CHECK(voltage["series"][1]["role"] == "calculated");
  const std::vector<std::string> rows = lines_of(read_file("out/curves.csv"));
  REQUIRE(rows[0] == "Test Time / s,Voltage / V,Current / A,Step / 1,Calculated Voltage / V,Run / 1");
  REQUIRE(voltage["series"][0]["y"].size() == rows.size() - 1);
  for (std::size_t k = 1; k < rows.size(); ++k) {
    double measured = 0, calculated = 0;
    REQUIRE(std::sscanf(rows[k].c_str(), "%*f,%lf,%*f,%*f,%lf", &measured, &calculated) == 2);
    CHECK(voltage["series"][0]["y"][k - 1].get<double>() == Approx(measured).epsilon(1e-7));
    CHECK(voltage["series"][1]["y"][k - 1].get<double>() == Approx(calculated).epsilon(1e-7));
    CHECK(residual["series"][0]["y"][k - 1].get<double>() == Approx(1e3 * (calculated - measured)).margin(1e-4));
  }
}

TEST_CASE("the charge that a slow half-cell curve passed is what balance finds between the cut-offs") {
  const Folder folder;
  folder.write("half.yaml", half_cell("graphite", "{lower: 0.01 V, upper: 1.5 V}",
                                      "{thickness: 55 um, active_fraction: 60 %, porosity: 34 %}", "8 um"));
  const json b = json_of({"balance", "half.yaml", data("graphite_li_lithiation_C50.csv")})["balance"];
  // 6.4105 mAh by the cycler from 1.016 to 0.010 V (source: notes to the data set); at rest a little more.
  CHECK(b["equilibrium_capacity_mAh"]["value"].get<double>() == Approx(6.41).epsilon(0.015));
  const json& graphite = b["working"]["host_capacity_mAh"];
  CHECK(graphite["lower"].get<double>() < graphite["value"].get<double>());
  // Graphite takes 372 mAh/g as LiC6; its measured potential reaches from 0 to 0.92 of that. So the host holds 6.41 /
  // 0.92.
  CHECK(graphite["value"].get<double>() == Approx(6.41 / 0.918).epsilon(0.02));
}

TEST_CASE("the same for a spinel, of which the potential has two plateaus near 4.7 V") {
  const Folder folder;
  folder.write("half.yaml", half_cell("lnmo", "{lower: 3.0 V, upper: 4.9 V}",
                                      "{thickness: 75 um, active_fraction: 55 %, porosity: 36 %}", "5 um"));
  const json b = json_of({"balance", "half.yaml", data("lnmo_li_lithiation_discharge_C19.csv")})["balance"];
  // 6.1741 mAh by the cycler from 4.876 to 2.996 V (source: notes to the data set).
  CHECK(b["equilibrium_capacity_mAh"]["value"].get<double>() == Approx(6.1741).epsilon(0.01));
}

TEST_CASE("an aged cell is read from its slow curve: lost lithium and lost material, within the stated intervals") {
  // A cell with a tenth of the graphite and a little lithium taken away, calculated and then read again against the
  // fresh sheet.
  const Folder folder;
  const std::string fresh = shipped("demo");
  const std::string aged =
      with(with(fresh, "formation_loss: {value: 8 %, spread: 1 %", "formation_loss: {value: 14 %, spread: 1 %"),
           "  particle_radius: {value: 8 um", "  accessible_fraction: 90 %\n  particle_radius: {value: 8 um");
  folder.write("aged.yaml", aged);
  REQUIRE(program({"curve", "aged.yaml", "--rates", "C/20", "--points", "400", "--out", "slow"}).status == 0);
  const json b = json_of({"balance", "demo", "slow/curves.csv", "--from-soc", "1"})["balance"];
  const json truth = json_of({"bench", "aged.yaml"})["bench"];
  const json& negative = b["negative"]["loss_against_sheet"];
  CHECK(negative["value"].get<double>() == Approx(0.10).margin(0.01));
  CHECK(b["positive"]["loss_against_sheet"]["value"].get<double>() == Approx(0).margin(0.01));
  CHECK(b["equilibrium_capacity_mAh"]["value"].get<double>() ==
        Approx(truth["equilibrium_capacity_mAh"]["value"].get<double>()).epsilon(0.005));
  CHECK(b["lithium"]["loss_against_sheet"]["value"].get<double>() > 0.03);
}

TEST_CASE("a radius and a diffusion coefficient are not told apart, and the program says so") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "150", "--out", "own"}).status == 0);
  const json fit =
      json_of({"fit", "demo", "own/curves.csv", "--from-soc", "1", "--free",
               "negative.particle_radius,negative.diffusion_coefficient", "--starts", "1", "--linear"})["fit"];
  REQUIRE(fit["parameters"].size() == 1);
  CHECK(fit["parameters"][0]["name"] == "negative.diffusion_time");
  REQUIRE(fit["notes"].size() == 2);
  CHECK(fit["notes"][0] ==
        "negative.particle_radius was asked for. No voltage tells a radius and a diffusion coefficient apart: only "
        "R^2/D shows. negative.diffusion_time is "
        "estimated instead; with the radius of the sheet it gives D. A micrograph tells the radius.");
  // R^2/D of the sheet: (8 um)^2 / 1.5e-14 m2/s
  CHECK(fit["parameters"][0]["estimate"].get<double>() == Approx(64e-12 / 1.5e-14).epsilon(0.01));
}

TEST_CASE("whatever is fitted stands in the new sheet or in a card beside it, formulas scaled rather than replaced") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "80", "--out", "own"}).status == 0);
  const auto fitted = [&](const std::string& path, const std::string& out) {
    const Outcome o = program({"fit", "demo", "own/curves.csv", "--from-soc", "1", "--free", path, "--starts", "1",
                               "--linear", "--points", "60", "--out", out});
    INFO(path << ": " << o.narration);
    REQUIRE(o.status == 0);
    CHECK(program({"check", out + "/fitted.yaml"}).status == 0);
    return read_file(out + "/fitted.yaml");
  };
  CHECK(fitted("negative.material.diffusion_activation_energy", "a").find("material: negative_fitted") !=
        std::string::npos);
  CHECK(read_file("a/negative_fitted.yaml").find("fitted on ") != std::string::npos);
  CHECK(fitted("electrolyte.conductivity", "b").find("electrolyte: electrolyte_fitted") != std::string::npos);
  const std::string card = read_file("b/electrolyte_fitted.yaml");
  CHECK(card.find("scaled_by: ") != std::string::npos);
  CHECK(card.find("expression: ") != std::string::npos);
  CHECK(fitted("separator.tortuosity", "c").find("tortuosity: {value: ") != std::string::npos);
}

TEST_CASE("what cannot be estimated or chosen is refused in one sentence") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "60", "--out", "own"}).status == 0);
  const auto says = [](const std::vector<std::string>& call) {
    const Outcome o = program(call);
    CHECK(o.status == 2);
    return o.narration.substr(o.narration.rfind("onegrain: "));
  };
  CHECK(says({"fit", "demo", "own/curves.csv", "--free", "negative.difusion_time"}) ==
        "onegrain: --free 'negative.difusion_time' is nothing that can be estimated; did you mean "
        "'negative.diffusion_time'?\n");
  CHECK(says({"fit", "demo_half_cell", "own/curves.csv", "--free", "lithium"}) ==
        "onegrain: --free lithium: the lithium of a half cell has no end; leave it out\n");
  CHECK(says({"overlay", "demo", "own/curves.csv", "--steps", "4..5"}) ==
        "onegrain: --steps '4..5': the file has 1 step\n");
  CHECK(says({"overlay", "demo", "own/curves.csv", "--smoothing", "70"}) ==
        "onegrain: --smoothing '70': write a share of the range from 0.05 % to 20 %, such as '1 %'\n");
  folder.write("odd.csv", "Zeit,U/V,I/mA\n0,4.1,1\n1,4.0,1\n2,3.9,1\n");
  const Outcome odd = program({"overlay", "demo", "odd.csv"});
  CHECK(odd.status == 3);
  CHECK(odd.narration.find("--columns") != std::string::npos);
}

TEST_CASE("the electrolyte of a sheet that cannot carry the measured current is named") {
  const Folder folder;
  folder.write("thick.yaml", with(with(with(shipped("pouch_unknown"), "value: 4800 cm2", "value: 2100 cm2"),
                                       "{thickness: 28 um, active_fraction: 65 %, porosity: 27 %",
                                       "{thickness: 66 um, active_fraction: 65 %, porosity: 15 %"),
                                  "{thickness: 34 um, active_fraction: 62 %, porosity: 32 %",
                                  "{thickness: 80 um, active_fraction: 62 %, porosity: 18 %"));
  const Outcome o =
      program(words({"fit", "thick.yaml", data("pouch_discharge_5C.csv"), "--starts", "1", "--linear"}, temperature));
  CHECK(o.status == 4);
  CHECK(o.narration.find("onegrain: not completed: pouch_discharge_5C.csv: the electrolyte of the sheet cannot carry "
                         "the measured current: salt used up; "
                         "check the plate area, the coating thickness and the porosity\n") != std::string::npos);
}

TEST_CASE("the derivative of a curve by a kernel is exact for a line and a parabola, and passes over noise") {
  std::vector<double> x, line, parabola, noisy;
  for (int k = 0; k <= 2000; ++k) {
    x.push_back(3 + 1.2 * k / 2000);
    line.push_back(5 - 2 * x.back());
    parabola.push_back(x.back() * x.back());
  }
  for (const auto& [d, factor] : {std::pair{onegrain::app::study::kernel_derivative(x, line, 0.012, 101), 0.0},
                                  std::pair{onegrain::app::study::kernel_derivative(x, parabola, 0.012, 101), 2.0}}) {
    for (std::size_t k = 5; k + 5 < d.x.size(); ++k)
      CHECK(d.value[k] == Approx(factor == 0 ? -2 : factor * d.x[k]).epsilon(1e-4));
  }
  // A recorder that rounds to a millivolt: charge over voltage still has the slope of the line, 0.5 Ah/V.
  std::vector<double> rounded, charge;
  for (int k = 0; k <= 4000; ++k) {
    charge.push_back(0.5 * 1.2 * k / 4000);
    rounded.push_back(std::round((3 + 1.2 * k / 4000) * 1000) / 1000);
  }
  const auto d = onegrain::app::study::kernel_derivative(rounded, charge, 0.012, 101);
  std::vector<double> off;
  for (std::size_t k = 5; k + 5 < d.x.size(); ++k) off.push_back(d.value[k] / 0.5 - 1);
  CHECK(root_mean_square(off) < 0.05);
}

TEST_CASE("steps of a file are chosen by their numbers") {
  using onegrain::app::chosen_steps;
  CHECK(chosen_steps("3", 5) == std::pair<std::size_t, std::size_t>{2, 2});
  CHECK(chosen_steps("2..4", 5) == std::pair<std::size_t, std::size_t>{1, 3});
  CHECK(chosen_steps("2..", 5) == std::pair<std::size_t, std::size_t>{1, 4});
  CHECK_THROWS_WITH(chosen_steps("x", 5),
                    "--steps 'x': write step numbers as `onegrain check DATA` shows them, such as 2..4 or 3");
  CHECK_THROWS_WITH(chosen_steps("4..2", 5), "--steps '4..2': the first step comes after the last");
}
