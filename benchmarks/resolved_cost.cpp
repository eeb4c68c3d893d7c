// What the reaction resolved over the depth of the layers costs beside finite volumes, at equal error.
//
// Both with the same integrators and compiler, both against the converged tables of tests/reference. The finite volumes
// are those of porous_electrode.hpp, and both may choose, with the answer at hand, the cheapest of their settings that
// keeps the error; beside them what the description costs as it is used, where it does not know the answer and looks
// for the number of its points itself. Exit status 1 where what is asked is not kept.

#include <cstdio>
#include <exception>
#include <string>

#include "benchmarks/comparison.hpp"
#include "benchmarks/porous_electrode.hpp"
#include "tests/reference_table.hpp"

namespace {

using namespace onegrain;
using namespace onegrain::benchmarks;
using solver::StepSolution;

constexpr double allowed_mV = 0.5, asked_times_cheaper = 3;

struct Best {
  double ms = 1e300;
  Distance voltage{}, separator_side{};
  std::string how = "none";

  bool better(double candidate) const { return candidate < ms; }
};

/// A discharge of a table, and what it costs.
class Subject {
 public:
  Subject(const NamedCell& cell, const std::string& rate)
      : cell_(cell), table_("porous_" + cell.name + "_discharge_" + rate + ".csv") {
    current_ = table_.stated("current_A_per_m2");
    load_ = {current_, cell.start(false), cell.cell.lower_voltage, 1e7, {}};
    for (const auto& row : table_.rows) {
      times_.push_back(row[0]);
      if (row[0] > 0 && row[0] < table_.rows.back()[0]) load_.times.push_back(row[0]);
    }
  }

  void look_at(Best& best, const solver::Accuracy& accuracy, const std::string& how) {
    const auto once = [&] { return run(cell_, current_, model::Reaction::uneven, workspace_, accuracy); };
    const StepSolution step = once();
    const auto of = [&](std::size_t column, auto value) {
      return distance(
          times_, std::min(step.duration(), times_.back()), [&](std::size_t k) { return value(step.at(times_[k])); },
          [&](std::size_t k) { return table_.rows[k][column]; });
    };
    const Distance voltage = of(2, [](const solver::Point& p) { return p.terminal.voltage; });
    const Distance separator_side = of(3, [](const solver::Point& p) { return p.terminal.separator_side; });
    if (voltage.rms > allowed_mV || (both_ && separator_side.rms > allowed_mV)) return;
    const double ms = least_ms(7, once);
    if (best.better(ms)) best = {ms, voltage, separator_side, how};
  }

  void look_at(Best& best, const Grid& grid, double tolerance) {
    Run full;
    try {
      const auto once = [&] { full = porous_electrode(cell_.cell, load_, grid, tolerance); };
      const double first = processor_milliseconds(once);
      if (first > 1.5 * best.ms) return;
      const auto of = [&](std::size_t column, auto value) {
        return distance(
            times_, std::min(full.points.back().time, times_.back()),
            [&](std::size_t k) { return k + 1 < full.points.size() ? value(full.points[k]) : table_.rows[k][column]; },
            [&](std::size_t k) { return table_.rows[k][column]; });
      };
      const Distance voltage = of(2, [](const Point& p) { return p.voltage; });
      const Distance separator_side = of(3, [](const Point& p) { return p.separator_side_potential; });
      if (voltage.rms > allowed_mV || (both_ && separator_side.rms > allowed_mV)) return;
      const double ms = std::min(first, least_ms(5, once));
      char words[100];
      std::snprintf(words, sizeof words, "%d/%d/%d cells, %d modes, %.0e, grading %.1f", grid.negative, grid.separator,
                    grid.positive, grid.modes, tolerance, grid.grading);
      if (best.better(ms)) best = {ms, voltage, separator_side, words};
    } catch (const CalculationFailure&) {
    }
  }

  /// Also the potential at the separator side, on which plating hangs.
  void ask_for_both(bool both) { both_ = both; }

 private:
  NamedCell cell_;
  tests::ReferenceTable table_;
  double current_;
  Load load_{};
  std::vector<double> times_;
  solver::Workspace workspace_;
  bool both_ = false;
};

void say(const char* what, const Best& b) {
  std::printf("    %-26s %8.2f ms  %6.3f mV, separator side %6.3f mV  (%s)\n", what, b.ms, b.voltage.rms,
              b.separator_side.rms, b.how.c_str());
}

}  // namespace

int main() {
  Verdict verdict;
  std::printf("Cheapest discharge whose RMS from the converged calculation is at most %.1f mV; least processor time\n",
              allowed_mV);
  try {
    for (const NamedCell& n : cells_from_papers()) {
      for (const std::string rate : {"1C", "2C", "3C"}) {
        if (n.name == "nmc811" && rate == "3C") continue;  // salt is used up
        Subject subject(n, rate);
        Best used;
        const solver::Accuracy usual = solver::usual_accuracy(model::Reaction::uneven);
        subject.look_at(used, usual, "as it is used");
        for (const bool both : {false, true}) {
          subject.ask_for_both(both);
          Best uneven, volumes;
          for (const int points : {3, 4, 5, 6, 7}) {
            for (const int modes : {4, 5, 6, 8}) {
              solver::Accuracy accuracy = usual;
              accuracy.fewest_points = points;
              accuracy.fewest_modes = modes;
              accuracy.depth = accuracy.truncation = 1e9;
              subject.look_at(uneven, accuracy,
                              std::to_string(points) + " points, " + std::to_string(modes) + " modes");
            }
          }
          for (const int cells : {6, 8, 10, 12, 16, 20, 24, 28, 36, 48}) {
            for (const int modes : {4, 5, 6, 8, 12}) {
              for (const double tolerance : {1e-3, 1e-4}) {
                for (const double grading : {0.0, 0.5})
                  subject.look_at(volumes, Grid{cells, std::max(cells / 2, 4), cells, modes, grading}, tolerance);
              }
            }
          }
          std::printf("  %s at %s, %s\n", n.name.c_str(), rate.c_str(),
                      both ? "voltage and potential at the separator side" : "voltage");
          if (!both) say("resolved, as it is used", used);
          say("resolved, with hindsight", uneven);
          say("finite volumes, hindsight", volumes);
          std::printf("    cheaper than finite volumes by %.1f times, with hindsight %.1f\n", volumes.ms / used.ms,
                      volumes.ms / uneven.ms);
          std::fflush(stdout);
          if (rate == "2C" && !both)
            verdict.expect(asked_times_cheaper, volumes.ms / uneven.ms, (n.name + " at 2C: times cheaper").c_str());
        }
      }
    }
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "resolved_cost: %s\n", failure.what());
    return 1;
  }
  return verdict.exit_status();
}
