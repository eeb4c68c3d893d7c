#include <fmt/format.h>
#include <sys/resource.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "benchmarks/measure.hpp"
#include "params/record/record.hpp"

/// Reads a cycling test of ten million rows and finds its steps: time and memory. The first argument is another number
/// of rows.
int main(int argc, char** argv) {
  using namespace onegrain;
  const long rows = argc > 1 ? std::atol(argv[1]) : 10'000'000;
  const std::filesystem::path path = std::filesystem::temp_directory_path() / "onegrain_read_rows.csv";
  constexpr long period = 4800, charge_rows = 1801, rest_rows = 600;  // 1 Hz: charge, rest, discharge, rest
  {
    std::ofstream out(path, std::ios::binary);
    std::string text = "Test Time / s,Voltage / V,Current / A\n";
    for (long k = 0; k < rows; ++k) {
      const long p = k % period;
      const bool charge = p < charge_rows, discharge = p >= charge_rows + rest_rows && p < 2 * charge_rows + rest_rows;
      const double current = charge ? 1.25 : discharge ? -1.25 : 0;
      const double filled = charge                        ? p / 1800.0
                            : discharge                   ? 1 - (p - charge_rows - rest_rows) / 1800.0
                            : p < charge_rows + rest_rows ? 1
                                                          : 0;
      fmt::format_to(std::back_inserter(text), "{}.000,{:.5f},{:.6f}\n", k, 3.4 + 0.5 * filled + 0.05 * current,
                     current);
      if (text.size() > (1 << 20)) {
        out << text;
        text.clear();
      }
    }
    out << text;
  }
  const double megabytes = static_cast<double>(std::filesystem::file_size(path)) / 1e6;
  params::Loaded<params::Measured> loaded;
  std::vector<params::RecordedStep> steps;
  const double read_ms = benchmarks::milliseconds([&] { loaded = params::load_measured(path.string()); });
  std::filesystem::remove(path);
  if (!loaded.value) {
    fmt::print("{}", loaded.faults.text());
    return 1;
  }
  const double steps_ms = benchmarks::milliseconds([&] { steps = params::recorded_steps(loaded.value->record); });
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  fmt::print("Reading a cycling test and finding its steps\n\n{:>10}  {:>8}  {:>9}  {:>12}  {:>9}  {:>11}\n", "rows",
             "file", "reading", "rows/s", "steps", "peak memory");
  fmt::print("{:>10}  {:>5.0f} MB  {:>7.2f} s  {:>12.3g}  {:>7.2f} s  {:>8.0f} MB\n", loaded.value->record.size(),
             megabytes, read_ms / 1e3, 1e3 * static_cast<double>(rows) / read_ms, steps_ms / 1e3,
             static_cast<double>(usage.ru_maxrss) / 1024);
  // Each full charge passes 1.25 A for 1800 s and half an interval at either end.
  bool right = loaded.value->record.size() == static_cast<std::size_t>(rows);
  for (std::size_t k = 1; k + 1 < steps.size(); ++k) {
    const double expected = steps[k].kind == params::StepKind::rest ? 0 : 1.25 * 1801;
    right = right && std::abs(std::abs(steps[k].charge) - expected) < 1e-6;
  }
  if (!right) fmt::print("WRONG: rows or charges differ from what was written\n");
  return right ? 0 : 1;
}
