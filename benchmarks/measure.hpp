#pragma once

#include <time.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <functional>
#include <vector>

/// How benchmarks take times and say that an answer is wrong.
namespace onegrain::benchmarks {

/// The middle value; of an even number the upper of the two.
inline double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Wall-clock time of one call [ms].
template <class Work>
double milliseconds(Work&& work) {
  const auto began = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - began).count();
}

/// Processor time of one call [ms]: for work inside this process, free of what else the machine does meanwhile.
template <class Work>
double processor_milliseconds(Work&& work) {
  const auto now = [] {
    timespec t{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return 1e3 * static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_nsec);
  };
  const double began = now();
  work();
  return now() - began;
}

template <class Work>
double median_ms(int repeats, Work&& work) {
  std::vector<double> times;
  for (int k = 0; k < repeats; ++k) times.push_back(milliseconds(work));
  return median(std::move(times));
}

/// Median times of several works taken in turns, A B C A B C ..., so that a machine that slows down slows all of them.
inline std::vector<double> median_ms_in_turns(
    int rounds, const std::vector<std::function<void()>>& works,
    double (*time)(const std::function<void()>&) = milliseconds<const std::function<void()>&>) {
  std::vector<std::vector<double>> times(works.size());
  for (int round = 0; round < rounds; ++round) {
    for (std::size_t k = 0; k < works.size(); ++k) times[k].push_back(time(works[k]));
  }
  std::vector<double> medians;
  for (auto& row : times) medians.push_back(median(std::move(row)));
  return medians;
}

/// Largest absolute difference; a different number of values is as wrong as can be.
inline double largest_difference(const std::vector<double>& a, const std::vector<double>& b) {
  double worst = a.size() == b.size() ? 0 : 1e300;
  for (std::size_t k = 0; k < std::min(a.size(), b.size()); ++k) worst = std::max(worst, std::abs(a[k] - b[k]));
  return worst;
}

/// Remembers whether any row was wrong: the exit status of the program.
class Verdict {
 public:
  /// Says what is wrong unless value <= limit (NaN is wrong).
  void expect(double value, double limit, const char* what) {
    if (value <= limit) return;
    std::fprintf(stderr, "wrong answer: %s: %g, allowed %g\n", what, value, limit);
    wrong_ = true;
  }
  int exit_status() const { return wrong_ ? 1 : 0; }

 private:
  bool wrong_ = false;
};

}  // namespace onegrain::benchmarks
