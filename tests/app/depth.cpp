#include "app/study/depth.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "app/study/curves.hpp"
#include "tests/app/helpers.hpp"

// How the depth of a coating is told: filling and reaction from the foil to the separator.

using namespace app_test;
using namespace onegrain;

namespace {

app::Job job_of(const std::string& sheet, const std::string& reaction = "") {
  std::ostringstream nowhere;
  app::Request request;
  request.verb = "rates";
  request.files = {sheet};
  request.electrolyte = "resolved";
  request.reaction = reaction;
  return app::load_job(request, {nowhere, nowhere});
}

std::vector<app::NamedCurve> curves(const app::Job& job, const std::string& rates) {
  return app::study::constant_currents(job, {params::parse_rates(rates, job.base), true, true, std::nullopt});
}

/// Simpson's rule on [0, 1]; exact to 1e-9 for polynomials through a dozen points.
double mean(const Eigen::ArrayXd& values) {
  double sum = 0;
  for (Eigen::Index k = 0; k + 2 < values.size(); k += 2) sum += values[k] + 4 * values[k + 1] + values[k + 2];
  return sum / static_cast<double>(3 * (values.size() - 1));
}

std::vector<std::vector<std::string>> table_of(const std::string& text) {
  std::vector<std::vector<std::string>> rows;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    rows.emplace_back();
    std::istringstream cells(line);
    for (std::string cell; std::getline(cells, cell, ',');) rows.back().push_back(cell);
  }
  return rows;
}

}  // namespace

TEST_CASE("over the depth of a coating the filling has the mean of the layer, and the reaction the mean 1", "[depth]") {
  // Conservation of lithium and of charge.
  const Eigen::ArrayXd places = Eigen::ArrayXd::LinSpaced(401, 0, 1);
  for (const char* sheet : {"demo", "lfp_half_cell", "nmc811_graphite_siox_21700"}) {
    const app::Job job = job_of(sheet);
    for (const app::NamedCurve& c : curves(job, "C/5,2C")) {
      const solver::StepSolution& step = c.curve.step;
      for (const double share : {0.0, 0.05, 0.5, 0.9, 1.0}) {
        INFO(sheet << " " << c.label << " charge " << c.curve.is_charge() << " at " << share);
        const double t = share * step.duration();
        const solver::Point p = step.at(t);
        for (const bool positive : {true, false}) {
          if (!positive && !job.cell.is_full_cell()) continue;
          const solver::Segment::OverDepth over = step.over_depth(t, positive, places);
          CHECK(mean(over.filling) == Approx(positive ? p.positive_mean : p.negative_mean).margin(1e-7));
          CHECK(mean(over.reaction) == Approx(1).margin(1e-6));
        }
      }
    }
  }
}

TEST_CASE("the side runs ahead to which the current finds the easier way", "[depth]") {
  // Newman and Balsara, Electrochemical Systems, ch. 22: the reaction gathers at the separator where the pores conduct
  // worse than the solid, and at the foil where the solid does.
  app::Job job = job_of("demo");
  const auto leads = [&](double sign) {
    for (const app::NamedCurve& c : curves(job, "1C")) {
      const auto spreads = app::study::spread_over_depth(c.curve.step);
      REQUIRE((spreads && spreads->negative));
      const app::study::DepthSpread &positive = spreads->positive, &negative = *spreads->negative;
      const double fills_positive = c.curve.is_charge() ? -1 : 1;
      INFO("charge " << c.curve.is_charge());
      CHECK(sign * fills_positive * positive.widest > 0.003);
      CHECK(-sign * fills_positive * negative.widest > 0.003);
      CHECK(positive.peak > 1.01);
      CHECK((sign > 0 ? positive.peak_place > 0.9 : positive.peak_place < 0.1));
    }
  };
  job.cell.positive.electronic_conductivity = job.cell.negative->electronic_conductivity = 1e3;
  leads(+1);
  job.cell.positive.electronic_conductivity = job.cell.negative->electronic_conductivity = 0.01;
  leads(-1);
}

TEST_CASE("an even reaction has no depth to tell of", "[depth]") {
  const app::Job job = job_of("demo", "even");
  CHECK_FALSE(app::study::spread_over_depth(curves(job, "1C").front().curve.step));
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--reaction", "even", "--out", "out"}).status == 0);
  CHECK(folder.read("out/curves.csv").find("Foil-Side") == std::string::npos);
  CHECK(folder.read("out/report.html").find("Over the depth of the coatings") == std::string::npos);
  CHECK_FALSE(json::parse(folder.read("out/summary.json"))["points"][0].contains("positive_separator_less_foil"));
}

TEST_CASE("what is told of the depth is one number in summary, curves and words", "[depth]") {
  const Folder folder;
  for (const auto& [sheet, electrode, title] : {std::tuple{"demo", "positive", "Positive"},
                                                {"demo", "negative", "Negative"},
                                                {"lfp_half_cell", "working", "Working"}}) {
    INFO(sheet << " " << electrode);
    const Outcome outcome = program({"rates", sheet, "--rates", "2C", "--points", "60", "--out", "out"});
    REQUIRE(outcome.status == 0);
    const json point = json::parse(folder.read("out/summary.json"))["points"][0];
    const std::string key = electrode;
    const double at_end = point[key + "_separator_less_foil"], widest = point[key + "_separator_less_foil_widest"];
    CHECK(point[key + "_reaction_peak"].get<double>() > 1);
    const auto rows = table_of(folder.read("out/curves.csv"));
    const std::string whose = title;  // Clang 14 catches no structured binding
    const auto column = [&](const std::string& name) {
      const auto& head = rows.front();
      const auto at = std::find(head.begin(), head.end(), whose + " " + name);
      REQUIRE(at != head.end());
      return static_cast<std::size_t>(at - head.begin());
    };
    const std::size_t foil = column("Foil-Side Stoichiometry / 1"),
                      separator = column("Separator-Side Stoichiometry / 1");
    double most = 0;
    for (std::size_t k = 1; k < rows.size(); ++k) {
      const double lead = std::stod(rows[k][separator]) - std::stod(rows[k][foil]);
      if (std::abs(lead) > std::abs(most)) most = lead;
      if (k + 1 == rows.size()) CHECK(lead == Approx(at_end).margin(1e-6));
    }
    CHECK(most == Approx(widest).margin(2e-3));  // at other moments
    std::string printed = outcome.results;
    std::replace(printed.begin(), printed.end(), '\n', ' ');
    CHECK_THAT(printed, HasText(" at the separator than at the foil"));
    CHECK_THAT(printed, HasText("The reaction is at its most uneven "));
  }
}

TEST_CASE("however many rates are asked for, few depths are drawn", "[depth]") {
  const Folder folder;
  const auto drawn = [&](std::vector<std::string> words) {
    words.insert(words.end(), {"--out", "out"});
    REQUIRE(program(words).status == 0);
    const std::string page = folder.read("out/report.html"), what = "Foil 0 to separator 1";
    int count = 0;
    for (auto at = page.find(what); at != std::string::npos; at = page.find(what, at + 1)) ++count;
    return count;
  };
  CHECK(drawn({"rates", "demo", "--rates", "C/10,C/5,C/2,1C,2C,3C,4C,5C"}) == 4);
  CHECK(drawn({"curve", "demo", "--rates", "1C"}) == 2);
  CHECK(drawn({"losses", "lfp_half_cell", "--rate", "2C"}) == 1);
  folder.write("p.yaml",
               "steps:\n- {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}\n- {drive: rest, until: "
               "{time: 1 h}}\n- {drive: {rate: 1C, sense: charge}, until: {voltage: 4.2 V}}\nrepeat: 5\n");
  CHECK(drawn({"follow", "demo", "--protocol", "p.yaml"}) == 2);
}
