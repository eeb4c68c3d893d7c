#include <cmath>
#include <limits>

#include "app/study/plausible.hpp"
#include "app/study/sampled_quantile.hpp"
#include "app/study/staircase_share.hpp"
#include "solver/estimation/quantiles.hpp"
#include "tests/app/helpers.hpp"

// Plausible cells: how well so many of them tell what all of them survive, and that what is said of them is so.

using namespace app_test;
using namespace onegrain;
using namespace onegrain::app;

namespace {

/// exp(b z) of plausible cells: log-normal, so that every quantile is known.
std::vector<double> log_normal(std::uint64_t seed, int cells, const Eigen::VectorXd& b) {
  std::vector<double> values;
  for (int k = 0; k < cells; ++k) values.push_back(std::exp(b.dot(plausible_deviations(seed, k, b.size()))));
  return values;
}

}  // namespace

TEST_CASE("the interval of a sampled quantile holds the known one of a log-normal variable as often as it says",
          "[sampling]") {
  // Quantiles of exp(b z): exp(|b| z_p), with z_0.05 = -1.644854 of the tables. 100 seeds: binomial error 2.2 %.
  Eigen::VectorXd b(12);
  for (Eigen::Index k = 0; k < b.size(); ++k) b[k] = 1.0 / static_cast<double>(k + 1);
  struct Row {
    double share, z;
    int cells;
  };
  for (const Row& row : {Row{0.05, -1.6448536270, 512}, Row{0.5, 0, 512}, Row{0.05, -1.6448536270, 1024}}) {
    CAPTURE(row.share, row.cells);
    const double known = std::exp(row.z * b.norm());
    int held = 0;
    double square = 0;
    constexpr int seeds = 100;
    for (int seed = 0; seed < seeds; ++seed) {
      const study::SampledQuantile q =
          study::sampled_quantile(log_normal(static_cast<std::uint64_t>(seed), row.cells, b), row.share);
      CHECK((q.low <= q.value && q.value <= q.high));
      held += q.low <= known && known <= q.high;
      square += std::pow(std::log(q.value / known), 2) / seeds;
    }
    CHECK(held >= 0.88 * seeds);
    // of random cells: sqrt(p (1 - p) / n) over the density of the logarithm (order statistics)
    const double density = std::exp(-row.z * row.z / 2) / std::sqrt(2 * M_PI) / b.norm();
    const double random = std::sqrt(row.share * (1 - row.share) / row.cells) / density;
    CHECK(std::sqrt(square) < 0.9 * random);  // 0.78 over 200 seeds at 512 cells, 16 points to a scrambling
  }
}

TEST_CASE("cells that survive no rate, and those that survive all, are only counted", "[sampling]") {
  std::vector<double> values = log_normal(1, 1024, Eigen::VectorXd::Ones(3));
  const study::SampledQuantile before = study::sampled_quantile(values, 0.3);
  for (double& v : values)
    if (v > before.high * 1.01) v = std::numeric_limits<double>::infinity();
  const study::SampledQuantile after = study::sampled_quantile(values, 0.3);
  CHECK(after.value == before.value);
  CHECK(after.low == before.low);
  CHECK(after.high == before.high);
  for (std::size_t k = 0; k < values.size(); k += 2) values[k] = 0;
  CHECK(study::sampled_quantile(values, 0.3).value == 0);
  CHECK(study::sampled_quantile(values, 0.3).half_width() == 0);
}

TEST_CASE("the least share of all that a count allows is that of Clopper and Pearson", "[sampling]") {
  // Closed forms: all of n kept, 0.025^(1/n); one of n, 1 - 0.975^(1/n); none, 0.
  for (const int n : {10, 128, 1000}) {
    CHECK(study::least_share(n, n) == Approx(std::pow(0.025, 1.0 / n)).epsilon(1e-10));
    CHECK(study::least_share(1, n) == Approx(1 - std::pow(0.975, 1.0 / n)).epsilon(1e-8));
    CHECK(study::least_share(0, n) == 0);
  }
}

TEST_CASE("cells that are only screened would be where the resolved search puts them", "[sampling]") {
  // The same cells, each resolved by itself: the quantile and the share below it are those of the screened ones.
  auto sheet = params::load_sheet("demo");
  REQUIRE(sheet.value.has_value());
  study::CeilingAsked asked;
  asked.samples = 512;
  study::CeilingSearch search(asked, {});
  const study::Subject nominal(*sheet.value);
  const double i0 = search.of(nominal, 30, 1e-3, solver::Description::uneven).current;
  const UncertainCell uncertain(*sheet.value);
  const study::OneByOne one_by_one(uncertain, search, i0, i0 / 1000);
  study::PlausibleSearch screened(uncertain, search, one_by_one, i0, i0 / 1000, study::first_cells);
  screened.take(study::CeilingWork::plausible_cells, 512, 0);
  REQUIRE(screened.taken() == 512);
  CHECK(screened.resolved() < 150);
  std::vector<double> all(512);
  search.on_all_threads(512, [&](int k, int thread) {
    all[static_cast<std::size_t>(k)] =
        search.of([&] { return uncertain.cell(one_by_one.deviations(asked.seed, k)); }, thread, i0, 1e-2).current;
  });
  const study::SampledQuantile resolved = study::sampled_quantile(all, 0.05);
  CHECK(screened.confident().value == Approx(resolved.value).epsilon(0.01));  // the tolerance of a ceiling
  CHECK(screened.confident().low == Approx(resolved.low).epsilon(0.01));
  CHECK(screened.median().value ==
        Approx(study::sampled_quantile({all.begin(), all.begin() + 256}, 0.5).value).epsilon(0.03));
  double shares = 0;
  for (const study::PlausibleCell& cell : screened.tell().cells) shares += cell.share;
  CHECK(shares == Approx(1).epsilon(1e-9));
}

TEST_CASE("map and headline are one number at the temperature of the sheet", "[sampling]") {
  for (const char* celsius : {"25", "23"}) {
    const json c =
        json_of({"ceiling", "demo", "--samples", "128", "--temperature", std::string(celsius) + " degC"})["ceiling"];
    int found = 0;
    double before = -1000;
    for (const json& t : c["temperatures"]) {
      const double T = t["temperature_degC"];
      CHECK(T > before);
      before = T;
      if (std::abs(T - std::stod(celsius)) > 1e-6) continue;
      ++found;
      CHECK(t["c_rate_confident"] == c["c_rate"]);
      CHECK(t["c_rate"] == c["nominal_c_rate"]);
      CHECK(t["half_width"] == c["half_width"]);
    }
    CHECK(found == 1);
  }
}

TEST_CASE("steps that are exported are survived by the share of fresh cells that they promise", "[sampling]") {
  // 250 cells of a seed that chose nothing: 93 % less two binomial errors (1.6 %). Windows that begin and end
  // elsewhere.
  for (const solver::ChargeWindow window : {solver::ChargeWindow{0, 0.8}, solver::ChargeWindow{0.4, 0.9}}) {
    CAPTURE(window.from, window.to);
    auto sheet = params::load_sheet("demo");
    REQUIRE(sheet.value.has_value());
    const UncertainCell uncertain(*sheet.value);
    study::CeilingAsked asked;
    asked.soc = window;
    study::CeilingSearch search(asked, {});
    const study::Subject nominal(*sheet.value);
    solver::ChargeStudy study(nominal.cell, nominal.window, asked.soc, asked.limits, search.workspace());
    study::CeilingFound found{};
    found.nominal = study.ceiling(study.whole() / 3600);
    found.recommended = 0.25 * found.nominal.current;
    study::add_staircase(study, search.workspace(), found);
    REQUIRE(found.staircase.has_value());
    const auto counted = study::counted_steps(uncertain, found.staircase->staircase, nominal, 4, search);
    REQUIRE(counted.has_value());
    const solver::Staircase steps = solver::scaled(study, found.staircase->staircase, counted->factor);
    constexpr int fresh = 250;
    std::vector<char> kept(fresh, 0);
    search.on_all_threads(fresh, [&](int k, int thread) {
      kept[static_cast<std::size_t>(k)] =
          study::survives([&] { return uncertain.cell(plausible_deviations(4711, k, uncertain.count())); }, steps,
                          nominal, 1, search, thread);
    });
    CHECK(static_cast<double>(std::count(kept.begin(), kept.end(), 1)) >= (0.93 - 2 * 0.016) * fresh);
    // nor is more given away than a grid of 2 % and the bound cost
    CHECK(counted->kept < 0.98 * counted->counted);
  }
}
