#include <algorithm>
#include <cmath>

#include "tests/app/helpers.hpp"

// What `balance` and `fit` say of their estimates, on the screen, on the page and in the summary.

using namespace app_test;

namespace {

double value(const json& figure) { return figure["value"].get<double>(); }

/// A cell with less graphite and less lithium than the demo, its slow curve calculated, in slow/curves.csv.
void write_aged(const Folder& folder) {
  const std::string aged = with(
      with(shipped("demo"), "formation_loss: {value: 8 %, spread: 1 %", "formation_loss: {value: 14 %, spread: 1 %"),
      "  particle_radius: {value: 8 um", "  accessible_fraction: 90 %\n  particle_radius: {value: 8 um");
  folder.write("aged.yaml", aged);
  REQUIRE(program({"curve", "aged.yaml", "--rates", "C/20", "--points", "300", "--out", "slow"}).status == 0);
}

}  // namespace

TEST_CASE("in a balance, what one electrode gives the other takes, and the lithium in both is what is stated") {
  const Folder folder;
  write_aged(folder);
  const json b = json_of({"balance", "demo", "slow/curves.csv", "--from-soc", "1"})["balance"];
  const json &p = b["positive"], &n = b["negative"];
  const auto host = [](const json& e) { return value(e["host_capacity_mAh"]); };
  // Conservation of lithium between full and empty, from the numbers of the summary alone.
  const double given = host(n) * (value(n["stoichiometry_full"]) - value(n["stoichiometry_empty"]));
  CHECK(given == Approx(host(p) * (value(p["stoichiometry_empty"]) - value(p["stoichiometry_full"]))).epsilon(1e-6));
  CHECK(given == Approx(value(b["equilibrium_capacity_mAh"])).epsilon(1e-6));
  CHECK(value(b["lithium"]["shared_lithium_mAh"]) ==
        Approx(host(p) * value(p["stoichiometry_full"]) + host(n) * value(n["stoichiometry_full"])).epsilon(1e-6));
  // A loss is what is there now, less than the sheet says, and its interval holds it.
  for (const json* e : {&p, &n}) {
    const json& loss = (*e)["loss_against_sheet"];
    CHECK(value(loss) ==
          Approx(1 - host(*e) / (*e)["sheet_host_capacity_mAh"].get<double>()).epsilon(1e-6).margin(1e-9));
    CHECK(loss["lower"].get<double>() <= value(loss));
    CHECK(loss["upper"].get<double>() >= value(loss));
  }
  // The line of the cell is the difference of those of its electrodes.
  const json& lines = b["lines"];
  REQUIRE(lines.size() == 4);
  int compared = 0;
  for (std::size_t k = 0; k < lines[2]["potentials_V"].size(); ++k) {
    if (lines[2]["potentials_V"][k].is_null()) continue;
    ++compared;
    CHECK(lines[2]["potentials_V"][k].get<double>() ==
          Approx(lines[0]["potentials_V"][k].get<double>() - lines[1]["potentials_V"][k].get<double>()).margin(1e-8));
  }
  CHECK(compared > 100);
}

TEST_CASE("a loss is told where there is one, and as none where the interval holds zero") {
  const Folder folder;
  write_aged(folder);
  const Outcome o = program({"balance", "demo", "slow/curves.csv", "--from-soc", "1", "--out", "result"});
  REQUIRE(o.status == 0);
  // A tenth of the graphite was taken away, none of the positive.
  const std::string headline = json::parse(read_file("result/summary.json"))["headline"];
  CHECK(headline.find("Active material of the negative: 10.00 % less than on the sheet (") != std::string::npos);
  CHECK(headline.find("Active material of the positive: as on the sheet, to within 0.") != std::string::npos);
  const std::string page = read_file("result/report.html");
  CHECK(page.find("as on the sheet, to within ") != std::string::npos);
  CHECK(page.find("\"type\":\"intervals\"") != std::string::npos);
  CHECK(page.find("src=\"http") == std::string::npos);
  CHECK(page.find("as on the sheet, to within") < page.find("\"blocks\""));  // in the headline, before all charts
}

TEST_CASE("a balance holds what is there although diffusion and kinetics are not those of the sheet") {
  // Grains of 7.5 and 13 um where the sheet has 4.8 and 8: diffusion 2.5 times slower, surfaces 1.6 times smaller.
  const Folder folder;
  write_aged(folder);
  folder.write("coarse.yaml", with(with(folder.read("aged.yaml"), "{value: 4.8 um", "{value: 7.5 um"), "{value: 8 um",
                                   "{value: 13 um"));
  const json truth = json_of({"balance", "aged.yaml", "slow/curves.csv", "--from-soc", "1"})["balance"];
  for (const std::string rate : {"C/20", "C/5"}) {
    INFO(rate);
    REQUIRE(program({"curve", "coarse.yaml", "--rates", rate, "--points", "200", "--out", "coarse"}).status == 0);
    const json b = json_of({"balance", "demo", "coarse/curves.csv", "--from-soc", "1"})["balance"];
    const auto holds = [](const json& found, const json& sheet) {
      CHECK(found["lower"].get<double>() <= sheet.get<double>());
      CHECK(found["upper"].get<double>() >= sheet.get<double>());
      CHECK(found["upper"].get<double>() < 1.03 * found["lower"].get<double>());  // and tells something
    };
    holds(b["lithium"]["shared_lithium_mAh"], truth["lithium"]["sheet_shared_lithium_mAh"]);
    holds(b["negative"]["host_capacity_mAh"], truth["negative"]["sheet_host_capacity_mAh"]);
    holds(b["positive"]["host_capacity_mAh"], truth["positive"]["sheet_host_capacity_mAh"]);
  }
}

TEST_CASE("warnings of the bench, an N/P below 1 among them, stand in what balance and fit say") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "C/10", "--points", "60", "--out", "own"}).status == 0);
  folder.write("poor.yaml", with(shipped("demo"), "  particle_radius: {value: 8 um",
                                 "  accessible_fraction: 72 %\n  particle_radius: {value: 8 um"));
  const json warnings = json_of({"bench", "poor.yaml"})["warnings"];
  REQUIRE(!warnings.empty());
  CHECK(warnings.dump().find("N/P") != std::string::npos);
  for (const std::vector<std::string>& call :
       {std::vector<std::string>{"balance", "poor.yaml", "own/curves.csv", "--points", "60", "--starts", "1"},
        std::vector<std::string>{"fit", "poor.yaml", "own/curves.csv", "--free", "negative.capacity,lithium",
                                 "--points", "60", "--linear", "--starts", "1"}}) {
    const json told = json_of(call)["warnings"];
    for (const json& warning : warnings) CHECK(std::count(told.begin(), told.end(), warning) == 1);
    const Outcome o = program(call);
    CHECK(o.results.find("warning: ") != std::string::npos);
    CHECK(o.results.find("warning: ") < o.results.find("\n\n"));  // above all tables
  }
}

TEST_CASE("an estimate at the end of its range is no estimate, and of a curve that is not met nothing is told") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "C/10", "--points", "80", "--out", "own"}).status == 0);
  const auto balance_with = [&](const std::string& share) {
    folder.write("small.yaml", with(with(shipped("demo"), "  particle_radius: {value: 4.8 um",
                                         "  accessible_fraction: " + share + "\n  particle_radius: {value: 4.8 um"),
                                    "  particle_radius: {value: 8 um",
                                    "  accessible_fraction: " + share + "\n  particle_radius: {value: 8 um"));
    return program({"balance", "small.yaml", "own/curves.csv", "--from-soc", "1", "--starts", "1", "--json"});
  };
  // A third of both hosts on the sheet: a little more is there than the factor of three that is searched.
  const Outcome ends = balance_with("33 %");
  REQUIRE(ends.status == 0);
  const std::string headline = json::parse(ends.results)["headline"];
  CHECK(headline.find("Warning: ") == 0);
  CHECK(headline.find("gone to the end of the range that was searched: these are no estimates.") != std::string::npos);
  CHECK(headline.find("3.0 and 3.0 times what the sheet has") != std::string::npos);
  CHECK(headline.find("as on the sheet") == std::string::npos);
  // A quarter: four times as much is there, and no value in reach meets the curve.
  const Outcome none = balance_with("25 %");
  CHECK(none.status == 4);
  CHECK(none.results.empty());
  CHECK(none.narration.find("nothing can be told from such a fit") != std::string::npos);
}

TEST_CASE("estimates stand in the unit beside them, shares of one without") {
  const Folder folder;
  REQUIRE(program({"curve", "demo", "--rates", "1C", "--points", "100", "--reaction", "even", "--out", "own"}).status ==
          0);
  const json fit = json_of({"fit", "demo", "own/curves.csv", "--from-soc", "1", "--free",
                            "positive.diffusion_time,contact_resistance,separator.porosity", "--points", "80",
                            "--starts", "1", "--linear"})["fit"];
  const json& rows = fit["parameters"];
  REQUIRE(rows.size() == 3);
  // What the curve was calculated with: R2/D of the sheet, and its 10 ohm cm2.
  CHECK(rows[0]["unit"] == "s");
  CHECK(rows[0]["estimate"].get<double>() == Approx(rows[0]["before"].get<double>()).epsilon(0.01));
  CHECK(rows[1]["unit"] == "ohm.cm2");
  CHECK(rows[1]["before"].get<double>() == Approx(10));
  CHECK(rows[2]["unit"] == "");
  CHECK(rows[2]["estimate"].get<double>() < 1);
  for (std::size_t k = 0; k < rows.size(); ++k) {
    CHECK(rows[k]["lower"].get<double>() <= rows[k]["estimate"].get<double>());
    CHECK(fit["correlation"][k]["name"] == rows[k]["name"]);
    CHECK(fit["correlation"][k]["correlations"][k].get<double>() == Approx(1));
  }
  // Residuals of the trace have the root mean square that is stated.
  const json& curve = fit["curves"][0];
  double sum = 0;
  for (const json& r : curve["trace"]["residual_mV"]) sum += r.get<double>() * r.get<double>();
  CHECK(std::sqrt(sum / curve["rows_compared"].get<double>()) ==
        Approx(curve["rms_mV"].get<double>()).epsilon(1e-3).margin(1e-6));
}
