#include <cmath>

#include "tests/app/helpers.hpp"

// Measured spectra over the prediction: what was calculated for a cell is read back as measured, and what is changed in
// between is found.

using namespace app_test;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

namespace {

bool has_rule(const json& summary, const std::string& rule) {
  for (const json& finding : summary["findings"])
    if (finding["rule"] == rule) return true;
  return false;
}

/// Frequency, real and imaginary part of a cell of this sheet, calculated; `change` may alter a point.
std::string measured(const std::string& sheet, const std::string& soc,
                     const std::function<void(double f, double& re, double& im)>& change = {}) {
  const json spectrum = json_of({"spectrum", sheet, "--from-soc", soc, "--frequencies", "1e-2..1e4"})["spectra"][0];
  std::ostringstream text;
  text.precision(12);
  text << "Frequency / Hz,Real Impedance / ohm,Imaginary Impedance / ohm\n";
  for (std::size_t k = 0; k < spectrum["frequency_Hz"].size(); ++k) {
    const double f = spectrum["frequency_Hz"][k];
    double re = spectrum["real_ohm"][k], im = spectrum["imaginary_ohm"][k];
    if (change) change(f, re, im);
    text << f << "," << re << "," << im << "\n";
  }
  return text.str();
}

}  // namespace

TEST_CASE("a spectrum that the sheet makes is met, and a contact that it does not know is told in ohm.cm2",
          "[app][spectrum]") {
  const Folder folder;
  folder.write("more.yaml", with(shipped("demo"), "contact_resistance: {value: 10 ohm.cm2",
                                 "contact_resistance: {value: 17 ohm.cm2"));
  folder.write("same.csv", measured("demo", "0.5"));
  folder.write("more.csv", measured("more.yaml", "0.5"));
  const json same = json_of({"spectrum", "demo", "same.csv", "--from-soc", "0.5"});
  CHECK(same["measured"][0]["misfit_share"].get<double>() < 1e-6);
  CHECK(same["measured"][0]["points_failing"] == 0);
  CHECK(same["measured"][0]["points_measured"] == 61);  // six decades of ten, and the last
  CHECK_FALSE(has_rule(same, "kramers_kronig"));
  CHECK_FALSE(has_rule(same, "state_not_told"));

  const json more = json_of({"spectrum", "demo", "more.csv", "--from-soc", "0.5"});
  const json& m = more["measured"][0];
  // 7 ohm.cm2 over the plate area of the sheet, by hand
  const double extra = 7 / json_of({"bench", "demo"})["bench"]["plate_area_cm2"]["value"].get<double>();
  CHECK_THAT(m["series_resistance_ohm"].get<double>() - m["model_series_resistance_ohm"].get<double>(),
             WithinRel(extra, 0.01));
  CHECK(more["headline"].get<std::string>().find("more than the sheet says (7.0 ohm.cm2)") != std::string::npos);
}

TEST_CASE("a cell that drifts while it is measured is found out, and its slow points left out", "[app][spectrum]") {
  const Folder folder;
  folder.write("drifts.csv", measured("demo", "0.5", [](double f, double& re, double&) {
                 if (f < 0.1) re *= 1 + 0.3 * std::log10(0.1 / f);  // the real part alone grows
               }));
  const json summary = json_of({"spectrum", "demo", "drifts.csv", "--from-soc", "0.5"});
  REQUIRE(has_rule(summary, "kramers_kronig"));
  const std::string headline = summary["headline"];
  CHECK(headline.find("let it rest longer") != std::string::npos);
  CHECK(summary["measured"][0]["points_failing"] >= 5);

  folder.write("broken.csv", measured("demo", "0.5", [n = 0](double, double& re, double& im) mutable {
                 re *= ++n % 2 == 0 ? 1.5 : 0.7;
                 im *= n % 3 == 0 ? 1.6 : 0.6;
               }));
  const Outcome broken = program({"spectrum", "demo", "broken.csv", "--from-soc", "0.5"});
  INFO(broken.results << broken.narration);
  CHECK((broken.status == 4 || broken.results.find("Warning") != std::string::npos));
}

TEST_CASE("what a measured spectrum lacks or says otherwise is said first", "[app][spectrum]") {
  const Folder folder;
  folder.write("same.csv", measured("demo", "0.5"));
  folder.write("turned.csv", measured("demo", "0.5", [](double, double&, double& im) { im = -im; }));
  folder.write("leads.csv", measured("demo", "0.5", [](double f, double&, double& im) { im += 2 * M_PI * f * 20e-6; }));
  CHECK(has_rule(json_of({"spectrum", "demo", "same.csv"}), "state_not_told"));
  const json turned = json_of({"spectrum", "demo", "turned.csv", "--from-soc", "0.5"});
  CHECK(turned["warnings"].dump().find("negative imaginary part") != std::string::npos);
  CHECK(turned["measured"][0]["misfit_share"].get<double>() < 1e-6);
  const json leads = json_of({"spectrum", "demo", "leads.csv", "--from-soc", "0.5"});
  CHECK(leads["headline"].get<std::string>().find("`inductance`") != std::string::npos);
  CHECK(has_rule(json_of({"spectrum", "demo_half_cell", "same.csv", "--from-soc", "0.5"}), "measured_apart"));
}

TEST_CASE("several spectra take one state for all or one for each, and stand in files with the prediction",
          "[app][spectrum]") {
  const Folder folder;
  folder.write("low.csv", measured("demo", "0.2"));
  folder.write("high.csv", measured("demo", "0.8"));
  const Outcome outcome = program({"spectrum", "demo", "low.csv", "high.csv", "--from-soc", "0.2,0.8", "--out", "out"});
  INFO(outcome.narration);
  REQUIRE(outcome.status == 0);
  const json summary = json::parse(folder.read("out/summary.json"));
  REQUIRE(summary["measured"].size() == 2);
  for (const json& m : summary["measured"]) CHECK(m["misfit_share"].get<double>() < 1e-6);
  CHECK(lines_of(folder.read("out/measured.csv")).size() == 1 + 2 * 61);
  CHECK(folder.read("out/report.html").find("low.csv, and the prediction at 20") != std::string::npos);
  CHECK(program({"spectrum", "demo", "low.csv", "high.csv", "--from-soc", "0.1,0.2,0.8"}).status == 2);
  CHECK(program({"spectrum", "demo", "nowhere.csv"}).status == 3);
  const Outcome column = program({"spectrum", "demo", "low.csv", "--columns", "real=Z"});
  CHECK(column.status == 3);
  CHECK(column.narration.find("no column 'Z'") != std::string::npos);
}
