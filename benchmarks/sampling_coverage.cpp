#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>
#include <vector>

#include "app/study/plausible.hpp"

// Does the printed sampling error of `ceiling` hold the truth? The recommendation of the shipped demo sheet for many
// seeds against one run of very many cells of a seed of its own; the same screening finds both, so that this judges the
// sampling alone (tests/app/sampling.cpp judges the screening). Minutes.
//
//     sampling_coverage [SEEDS 50] [CELLS OF THE TRUTH 20000]
//
// Status 1 where fewer than 84 % of the 95 % intervals hold the truth (95 % less three binomial standard errors of 50
// seeds and what the truth is off by), or the recommendation scatters by more than 2 %.

namespace {

using namespace onegrain;
using namespace onegrain::app;

struct Row {
  study::SampledQuantile rate;  // as multiples of the ceiling of the sheet as it is
  int cells, resolved;
  double seconds;  // of processor time
};

Row run(const params::Sheet& sheet, std::uint64_t seed, int most, double within) {
  study::CeilingAsked asked;
  asked.seed = seed;
  study::CeilingSearch search(asked, {});
  const study::Subject nominal(sheet);
  const std::clock_t begun = std::clock();
  const double i0 = search.of(nominal, 10, 1e-3, solver::Description::uneven).current;
  const double even = search.of(nominal, i0, 1e-3, solver::Description::even).current;
  const UncertainCell uncertain(sheet);
  const study::OneByOne one_by_one(uncertain, search, even, i0 / 1000);
  study::PlausibleSearch cells(uncertain, search, one_by_one, i0, i0 / 1000, study::first_cells);
  cells.take(study::CeilingWork::plausible_cells, most, within);
  study::SampledQuantile q = cells.confident();
  for (double* value : {&q.value, &q.low, &q.high}) *value /= i0;
  return {q, cells.taken(), cells.resolved(), static_cast<double>(std::clock() - begun) / CLOCKS_PER_SEC};
}

}  // namespace

int main(int count, char** words) {
  const int seeds = count > 1 ? std::atoi(words[1]) : 50, many = count > 2 ? std::atoi(words[2]) : 20000;
  const auto loaded = params::load_sheet("demo");
  if (!loaded.value || seeds < 2 || many < study::least_samples) return 2;
  const Row truth = run(*loaded.value, 1'000'000, many, 0);
  std::puts("seed,cells,resolved,rate,low,high,half_width,cpu_s");
  const auto print = [](const char* name, const Row& row) {
    std::printf("%s,%d,%d,%.5f,%.5f,%.5f,%.4f,%.2f\n", name, row.cells, row.resolved, row.rate.value, row.rate.low,
                row.rate.high, row.rate.half_width(), row.seconds);
  };
  print("truth", truth);
  int held = 0;
  double sum = 0, squares = 0;
  for (int seed = 1; seed <= seeds; ++seed) {
    const Row row = run(*loaded.value, static_cast<std::uint64_t>(seed), 8192, 0.03);
    print(std::to_string(seed).c_str(), row);
    held += row.rate.low <= truth.rate.value && truth.rate.value <= row.rate.high;
    sum += row.rate.low;
    squares += row.rate.low * row.rate.low;
  }
  const double mean = sum / seeds, spread = std::sqrt((squares - seeds * mean * mean) / (seeds - 1)) / mean;
  std::printf("# %d of %d intervals hold the truth; the recommendation scatters by %.2f %%\n", held, seeds,
              100 * spread);
  return held >= 0.84 * seeds && spread <= 0.02 ? 0 : 1;
}
