#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/uncertain_cell.hpp"

// How far the ceiling of a cell is off what tight settings say of it: plausible cells of shipped sheets, warm and cold,
// full and half, each by itself.
//
//     ceiling_error [CELLS OF EACH SHEET AND TEMPERATURE 100]
//
// Status 1 where one is more than 1 % too high, or more than one in a hundred is off by more than 0.5 %, less the 1 %
// within which a ceiling is searched for from below (0.1 % here).

namespace {

using namespace onegrain;
using namespace onegrain::app;

constexpr solver::Accuracy tight{.relative_tolerance = 1e-5,
                                 .absolute_factor = 1,
                                 .truncation = 5e-5,
                                 .fewest_modes = 16,
                                 .salt_degree = 14,
                                 .fewest_points = 10,
                                 .depth = 2e-4};
constexpr double tolerance = 1e-3;

}  // namespace

int main(int count, char** words) {
  const int cells = count > 1 ? std::atoi(words[1]) : 100;
  std::vector<double> all;
  int none = 0;
  std::puts("sheet,temperature_degC,cells,lowest_percent,mean_percent,highest_percent,rms_percent");
  for (const char* name :
       {"demo", "nmc811_graphite_siox_21700", "lco_graphite_10um", "demo_half_cell", "lfp_half_cell"}) {
    for (const double celsius : {-10.0, 10.0, 25.0, 45.0}) {
      const auto loaded = params::load_sheet(name);
      if (!loaded.value) return 2;
      const UncertainCell uncertain = UncertainCell(*loaded.value).at(273.15 + celsius);
      std::vector<double> off(static_cast<std::size_t>(cells), NAN);
      in_parallel(cells, core_count(), [&](int k, int) {
        try {
          const study::Subject subject(uncertain.cell(plausible_deviations(2026, k, uncertain.count())));
          solver::Workspace workspace;
          solver::ChargeStudy used(subject.cell, subject.window, {}, {}, workspace);
          const solver::Ceiling found = used.ceiling(used.whole() / 3600, tolerance);
          if (!(found.current > 0)) return;
          solver::ChargeStudy truth(subject.cell, subject.window, {}, {}, workspace, solver::Description::uneven,
                                    tight);
          const double exact = truth.ceiling({found.current, true, found.slope}, tolerance).current;
          if (exact > 0) off[static_cast<std::size_t>(k)] = 100 * (found.current / exact - 1);
        } catch (const std::exception&) {  // no such cell, or none that can be solved
        }
      });
      none += static_cast<int>(std::count_if(off.begin(), off.end(), [](double x) { return std::isnan(x); }));
      std::erase_if(off, [](double x) { return std::isnan(x); });
      if (off.empty()) continue;
      double sum = 0, squares = 0;
      for (const double x : off) sum += x, squares += x * x;
      const auto n = static_cast<double>(off.size());
      std::printf("%s,%.0f,%zu,%.3f,%.3f,%.3f,%.3f\n", name, celsius, off.size(),
                  *std::min_element(off.begin(), off.end()), sum / n, *std::max_element(off.begin(), off.end()),
                  std::sqrt(squares / n));
      std::fflush(stdout);
      all.insert(all.end(), off.begin(), off.end());
    }
  }
  const auto beyond = [&](double least, double most) {
    return std::count_if(all.begin(), all.end(), [&](double x) { return x < least || x > most; });
  };
  std::printf("# of %zu cells %ld are off by more than 0.5 %%, %ld too high by more than 1 %%; %d have none\n",
              all.size(), static_cast<long>(beyond(-0.5 - 100 * tolerance, 0.5 + 100 * tolerance)),
              static_cast<long>(beyond(-INFINITY, 1 + 100 * tolerance)), none);
  return beyond(-INFINITY, 1 + 100 * tolerance) > 0 ||
                 100 * beyond(-0.5 - 100 * tolerance, 0.5 + 100 * tolerance) > static_cast<long>(all.size())
             ? 1
             : 0;
}
