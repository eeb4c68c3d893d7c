#include <algorithm>
#include <cmath>

#include "params/text/delimited.hpp"
#include "tests/app/helpers.hpp"

// What is printed, written and drawn for a cell agrees with itself, with the published cell, and with the trade's sums.

using namespace app_test;

namespace {

const std::set<std::string> point_keys = {"c_rate",       "direction",         "current_mA",
                                          "capacity_mAh", "capacity_fraction", "mean_voltage_V",
                                          "energy_mWh",   "ended_by"};

bool has_all(const json& object, const std::set<std::string>& keys) {
  for (const std::string& key : keys) {
    if (!object.contains(key)) return false;
  }
  return true;
}

/// A comma-separated table by its titles.
std::map<std::string, std::vector<double>> table_of(const std::string& text) {
  std::map<std::string, std::vector<double>> columns;
  std::vector<std::string> titles;
  for (const std::string& line : lines_of(text)) {
    std::istringstream cells(line);
    std::string cell;
    for (std::size_t k = 0; std::getline(cells, cell, ','); ++k) {
      if (titles.size() <= k)
        titles.push_back(cell);
      else
        columns[titles[k]].push_back(std::stod(cell));
    }
  }
  return columns;
}

double trapezoid(const std::vector<double>& x, const std::vector<double>& y) {
  double sum = 0;
  for (std::size_t k = 1; k < x.size(); ++k) sum += 0.5 * (y[k] + y[k - 1]) * (x[k] - x[k - 1]);
  return sum;
}

}  // namespace

TEST_CASE(
    "1C is the equilibrium capacity in one hour where no rated capacity is stated, and rates has the promised keys") {
  // 5.1532 Ah between 2.5 and 4.2 V: Chen et al., J. Electrochem. Soc. 167, 080534 (2020), parameters from memory; the
  // balance solved apart with SciPy's brentq. 1C is the current of IEC 61434, 1 It.
  const json bench = json_of({"bench", "nmc811_graphite_siox_21700"});
  CHECK(std::abs(bench["bench"]["equilibrium_capacity_mAh"]["value"].get<double>() - 5153.2) < 0.3);
  const json rates = json_of({"rates", "demo", "--rates", "C/10,1C,2C", "--both"});
  CHECK(rates["rated_capacity_mAh"].get<double>() ==
        Approx(json_of({"bench", "demo"})["bench"]["equilibrium_capacity_mAh"]["value"].get<double>()).epsilon(1e-8));
  REQUIRE(rates["points"].size() == 6);
  for (const json& point : rates["points"]) {
    REQUIRE(has_all(point, point_keys));
    const double hours = point["capacity_mAh"].get<double>() / point["current_mA"].get<double>();
    CHECK(point["current_mA"].get<double>() ==
          Approx(point["c_rate"].get<double>() * rates["rated_capacity_mAh"].get<double>()).epsilon(1e-8));
    CHECK(point["energy_mWh"].get<double>() ==
          Approx(point["mean_voltage_V"].get<double>() * point["capacity_mAh"].get<double>()).epsilon(1e-8));
    CHECK(point["capacity_fraction"].get<double>() ==
          Approx(point["capacity_mAh"].get<double>() / rates["rated_capacity_mAh"].get<double>()).epsilon(1e-8));
    CHECK(hours < 1 / point["c_rate"].get<double>());
  }
  CHECK(rates["points"][0]["direction"] == "discharge");
  CHECK(rates["points"][5]["direction"] == "charge");
}

TEST_CASE("a rate in mA, in mA/cm2, in mA/g and in C is the same rate") {
  // The half cell's 1C, stated four ways by the sums of the bench: current = density * area = specific * active mass.
  const json bench = json_of({"bench", "demo"});
  const double mA = bench["bench"]["one_c_current_mA"]["value"], cm2 = bench["bench"]["plate_area_cm2"]["value"],
               mg = bench["bench"]["positive"]["active_mass_mg"]["value"];
  const auto text = [](double v, const char* unit) {
    std::ostringstream out;
    out.precision(15);
    out << v << unit;
    return out.str();
  };
  const json rates = json_of({"rates", "demo", "--rates",
                              "1C," + text(mA, " mA,") + text(mA / cm2, " mA/cm2,") + text(1e3 * mA / mg, " mA/g")});
  for (const json& point : rates["points"]) {
    CHECK(point["c_rate"].get<double>() == Approx(1).epsilon(1e-8));
    CHECK(point["capacity_mAh"].get<double>() ==
          Approx(rates["points"][0]["capacity_mAh"].get<double>()).epsilon(1e-8));
  }
}

TEST_CASE("the arrays of a curve have the length asked for, and their integral is its capacity and energy") {
  for (const char* sheet : {"demo", "demo_half_cell", "lfp_half_cell"}) {
    for (const char* direction : {"--discharge", "--charge"}) {
      INFO(sheet << direction);
      const json curves = json_of({"curve", sheet, "--rates", "C/2", "--points", "2000", direction});
      const json& curve = curves["curves"][0];
      REQUIRE(has_all(curve, point_keys));
      const auto t = curve["time_s"].get<std::vector<double>>(), V = curve["voltage_V"].get<std::vector<double>>(),
                 Q = curve["capacity_mAh"].get<std::vector<double>>();
      REQUIRE(t.size() == 2000);
      REQUIRE(V.size() == 2000);
      REQUIRE(Q.size() == 2000);
      CHECK(curve.contains("negative_potential_V") == (std::string(sheet) == "demo"));
      CHECK(Q.back() == Approx(curve["current_mA"].get<double>() * t.back() / 3600).epsilon(1e-8));
      CHECK(trapezoid(Q, V) == Approx(curve["energy_mWh"].get<double>()).epsilon(2e-3));
      CHECK(curve["ended_by"] == "voltage cut-off");
    }
  }
}

TEST_CASE("curves.csv begins with the columns of the Battery Data Format and counts charge as positive") {
  // Required columns of the open Battery Data Format: "Test Time / s", "Voltage / V", "Current / A"; positive current
  // charges.
  const Folder folder;
  folder.write(
      "protocol.yaml",
      "steps:\n- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}\n- {drive: {voltage: 4.2 V}, until: "
      "{rate: C/20}}\n"
      "- {drive: rest, until: {time: 10 min}}\n- {drive: {rate: 2C, sense: discharge}, until: {capacity: 1 mAh}}\n");
  const Outcome outcome = program({"follow", "demo", "--protocol", "protocol.yaml", "--out", "out", "--points", "400"});
  REQUIRE(outcome.status == 0);
  const std::string text = folder.read("out/curves.csv");
  CHECK(text.rfind("Test Time / s,Voltage / V,Current / A,", 0) == 0);
  auto table = table_of(text);
  const auto &t = table["Test Time / s"], &I = table["Current / A"], &V = table["Voltage / V"],
             &step = table["Step / 1"];
  for (std::size_t k = 1; k < t.size(); ++k) CHECK(t[k] >= t[k - 1]);
  std::map<double, double> charge;
  for (std::size_t k = 1; k < t.size(); ++k) {
    if (step[k] == step[k - 1]) charge[step[k]] += 0.5 * (I[k] + I[k - 1]) * (t[k] - t[k - 1]) / 3.6;
  }
  const json summary = json::parse(folder.read("out/summary.json"));
  CHECK(charge[1] > 0);
  CHECK(charge[2] > 0);
  CHECK(charge[3] == 0);
  CHECK(charge[4] == Approx(-1).epsilon(1e-6));
  for (std::size_t k = 0; k < t.size(); ++k) {
    if (step[k] == 2) CHECK(std::abs(V[k] - 4.2) < 1e-6);
  }
  // The parts add up to the voltage: what a reference electrode would show of either electrode, and the drops.
  const auto part = [&](const char* title, std::size_t k) { return table[title].at(k); };
  for (std::size_t k = 0; k < t.size(); k += 37) {
    const double sum = part("Positive Potential vs Li / V", k) - part("Negative Potential vs Li / V", k) +
                       1e-3 * (part("Electrolyte Drop / mV", k) + part("Concentration Overpotential / mV", k) +
                               part("Electronic Drop / mV", k) + part("Contact Drop / mV", k));
    CHECK(std::abs(sum - V[k]) < 2e-8);
  }
}

TEST_CASE("a larger grain gives less at rate, and as much when slow: the time of diffusion is R^2/D") {
  // Common practice, and the scaling of the diffusion equation: doubling R and quadrupling D, with a i0 kept, changes
  // nothing.
  const Folder folder;
  const std::string sheet = shipped("demo");
  folder.write("cell.yaml", sheet);
  folder.write("coarse.yaml", with(sheet, "{value: 8 um, spread: 0.8 um", "{value: 16 um, spread: 0.8 um"));
  const json fine = json_of({"rates", "cell.yaml", "--rates", "C/1000,1C,2C"});
  const json coarse = json_of({"rates", "coarse.yaml", "--rates", "C/1000,1C,2C"});
  const auto capacity = [](const json& rates, std::size_t k) {
    return rates["points"][k]["capacity_mAh"].get<double>();
  };
  CHECK(capacity(coarse, 0) == Approx(capacity(fine, 0)).epsilon(2e-3));
  CHECK(capacity(coarse, 1) < 0.9 * capacity(fine, 1));
  CHECK(capacity(coarse, 2) < 0.8 * capacity(fine, 2));

  const std::string card = shipped("graphite");
  const auto value_below = [&](const std::string& key) {
    const auto at = card.find("value:", card.find("\n" + key + ":"));
    return card.substr(at, card.find('\n', at) - at);
  };
  folder.write("graphite.yaml", card);
  INFO(value_below("diffusion_coefficient"));
  const double D = std::stod(value_below("diffusion_coefficient").substr(7)),
               i0 = std::stod(value_below("exchange_current_density").substr(7));
  std::string quick = card;
  const auto replace = [&](const std::string& key, double number, const char* unit) {
    const auto at = quick.find("value:", quick.find("\n" + key + ":"));
    std::ostringstream text;
    text.precision(17);
    text << "value: " << number << " " << unit;
    quick.replace(at, quick.find('\n', at) - at, text.str());
  };
  replace("diffusion_coefficient", 4 * D, "m2/s");
  replace("exchange_current_density", 2 * i0, "A/m2");
  folder.write("graphite_ocp.csv", read_file(std::string(ONEGRAIN_SOURCE_DIR) + "/params/materials/graphite_ocp.csv"));
  folder.write("graphite.yaml", quick);
  const json scaled = json_of({"rates", "coarse.yaml", "--rates", "C/1000,1C,2C"});
  for (std::size_t k = 0; k < 3; ++k) CHECK(capacity(scaled, k) == Approx(capacity(fine, k)).epsilon(1e-6));
}

TEST_CASE("a discharge from half way gives half, and a charge takes what a discharge left") {
  const double rated = json_of({"bench", "demo"})["bench"]["equilibrium_capacity_mAh"]["value"];
  const auto capacity = [&](const char* direction, const char* soc) {
    return json_of({"rates", "demo", "--rates", "C/2000", direction, "--from-soc", soc})["points"][0]["capacity_mAh"]
        .get<double>();
  };
  CHECK(capacity("--discharge", "0.5") == Approx(0.5 * rated).epsilon(2e-3));
  CHECK(capacity("--charge", "0.25") == Approx(0.75 * rated).epsilon(2e-3));
}

TEST_CASE("a warmer cell gives more at rate") {
  // Arrhenius: every resistance of the shipped cards falls with temperature.
  const auto capacity = [&](const char* T) {
    return json_of({"rates", "demo", "--rates", "2C", "--temperature", T})["points"][0]["capacity_mAh"].get<double>();
  };
  const double cold = capacity("0 degC"), mild = capacity("25 degC"), warm = capacity("313.15 K");
  CHECK(cold < mild);
  CHECK(mild < warm);
  CHECK(capacity("77 degF") == Approx(mild).epsilon(1e-9));  // 77 degF is 25 degC
}

TEST_CASE("every shipped sheet goes through every verb") {
  const Folder folder;
  folder.write("rest.yaml",
               "steps:\n- {drive: {rate: C/5, sense: discharge}, until: {time: 10 min}}\n- {drive: rest, until: {time: "
               "5 min}}\n");
  for (const char* sheet :
       {"demo", "demo_half_cell", "lfp_half_cell", "lco_graphite_10um", "nmc811_graphite_siox_21700"}) {
    for (const char* electrolyte : {"uniform", "resolved"}) {
      INFO(sheet << " " << electrolyte);
      CHECK(program({"check", sheet}).status == 0);
      CHECK(program({"bench", sheet, "--out", "bench"}).status == 0);
      CHECK(program({"curve", sheet, "--rates", "C/5,1C", "--electrolyte", electrolyte, "--out", "curve"}).status == 0);
      CHECK(program({"rates", sheet, "--both", "--rates", "C/5,1C,3C", "--electrolyte", electrolyte, "--out", "rates"})
                .status == 0);
      const Outcome follow = program({"follow", sheet, "--protocol", "rest.yaml", "--from-soc", "0.6", "--electrolyte",
                                      electrolyte, "--out", "follow"});
      INFO(follow.narration);
      CHECK(follow.status == 0);
    }
  }
}

TEST_CASE("the report is one page that needs nothing from elsewhere, and carries the cautions and the numbers") {
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--both", "--out", "out"}).status == 0);
  const std::string page = folder.read("out/report.html");
  CHECK(page.rfind("<!DOCTYPE html>", 0) == 0);
  for (const char* outside : {"src=\"http", "href=\"http", "url(http", "@import", "<link "}) {
    INFO(outside);
    CHECK((page.find(outside) == std::string::npos));
  }
  CHECK((page.find("can cause fire and toxic gas (HF)") != std::string::npos));
  CHECK((page.find("Harbour teaching lab, coin cell 07 (invented data)") != std::string::npos));
  CHECK((page.find("</html>") != std::string::npos));
  // A name that would end the script it stands in stays data.
  folder.write("cell.yaml", with(shipped("demo"), "name: Harbour teaching lab, coin cell 07 (invented data)",
                                 "name: \"</script><b>x\""));
  REQUIRE(program({"rates", "cell.yaml", "--rates", "1C", "--out", "odd"}).status == 0);
  CHECK((folder.read("odd/report.html").find("</script><b>x") == std::string::npos));
}

TEST_CASE("bench says in its headline, its list and its JSON where a host ends before a cut-off") {
  const Folder folder;
  folder.write("half.yaml",
               with(with(shipped("demo_half_cell"), "upper: 1.5 V", "upper: 2.0 V"), "lower: 0.01 V", "lower: 0.02 V"));
  const json summary = json_of({"bench", "half.yaml"});
  const json& ends = summary["bench"]["rest_before_cut_off"];
  REQUIRE(ends.size() == 1);
  CHECK(ends[0]["cut_off"] == "upper");
  CHECK(ends[0]["cut_off_V"] == 2.0);
  CHECK(ends[0]["electrode"] == "working");
  CHECK(ends[0]["host"] == "empty");
  CHECK(ends[0]["stoichiometry"].get<double>() == Approx(1e-6).epsilon(1e-9));
  CHECK(ends[0]["rest_voltage_V"].get<double>() < 2.0);
  CHECK(ends[0]["rest_voltage_V"].get<double>() > 1.5);
  const Outcome printed = program({"bench", "half.yaml"});
  std::string text = printed.results;
  std::replace(text.begin(), text.end(), '\n', ' ');
  CHECK_THAT(text, HasText("At rest the working electrode is empty before the upper cut-off is met."));
  CHECK_THAT(text, HasText("the charged cell rests there and capacity counts to there"));
  CHECK(json_of({"bench", "demo_half_cell"})["bench"].count("rest_before_cut_off") == 0);
}
