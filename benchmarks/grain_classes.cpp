// What several sizes of grains cost: a 1C discharge of the published NMC811 | graphite-SiOx cell with one to eight
// sizes a side, with the salt resolved, the reaction even and resolved. Processor time over that of grains that are
// alike.
//
//   grain_classes [ROUNDS]      times are medians over so many turns (default 9)

#include <cstdio>
#include <cstdlib>
#include <vector>

#include "benchmarks/measure.hpp"
#include "solver/step/simulator.hpp"
#include "tests/published_cells.hpp"

namespace {

using namespace onegrain;

/// Sizes from 0.5 to 2 against each other, of equal volume.
model::Cell with_classes(int count) {
  model::Cell cell = tests::nmc811_graphite_siox();
  if (count < 2) return cell;
  std::vector<double> ratios;
  double inverse = 0;
  for (int c = 0; c < count; ++c) {
    ratios.push_back(0.5 * std::pow(4.0, static_cast<double>(c) / (count - 1)));
    inverse += 1 / (ratios.back() * count);
  }
  for (const double ratio : ratios) {
    cell.positive.classes.push_back({ratio * inverse, 1.0 / count, nullptr});
    cell.negative->classes.push_back({ratio * inverse, 1.0 / count, nullptr});
  }
  return cell;
}

}  // namespace

int main(int argc, char** argv) {
  const int rounds = argc > 1 ? std::atoi(argv[1]) : 9;
  std::puts("reaction,classes,steps,rates,linearisations,ms,times_one");
  for (const model::Reaction reaction : {model::Reaction::even, model::Reaction::uneven}) {
    double of_one = 0;
    for (const int count : {1, 2, 4, 8}) {
      const model::Cell cell = with_classes(count);
      std::vector<double> times;
      solver::Counts counts;
      double charge = 0;
      for (int round = 0; round < rounds; ++round) {
        solver::Workspace workspace;
        solver::Simulator simulator(cell, workspace, model::ElectrolyteModel::resolved, reaction);
        times.push_back(benchmarks::processor_milliseconds([&] {
          const auto step = simulator.run(simulator.at_rest(0),
                                          {model::CurrentDrive{-tests::published_one_c}, {.voltage = 2.5}, "1C"});
          counts = step.counts();
          charge = step.duration();
        }));
      }
      const double ms = benchmarks::median(times);
      if (count == 1) of_one = ms;
      std::printf("%s,%d,%ld,%ld,%ld,%.2f,%.1f\n", reaction == model::Reaction::even ? "even" : "uneven", count,
                  counts.steps, counts.rate_evaluations, counts.linearisations, ms, ms / of_one);
      if (!(charge > 2000 && charge < 4200)) return 1;  // the cell holds what it holds
    }
  }
  return 0;
}
