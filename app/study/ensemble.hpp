#pragma once

#include <Eigen/Dense>
#include <cstdint>
#include <functional>
#include <string>
#include <thread>
#include <vector>

/// Cells that the spreads of a sheet and its cards allow, and work on many of them with every core.
namespace onegrain::app {

/// Plausible cells come in so many groups that know nothing of each other; how much they differ tells how far to trust
/// what is counted over all of them.
constexpr int scramblings = 8;

/// Standard normal deviations of cell number `cell`: they depend on the seed, the number and the place alone, whatever
/// the order, the number of cells and of threads. Cell k is point k / scramblings of scrambling k % scramblings of
/// Sobol's sequence (solver/estimation/low_discrepancy.hpp), through the inverse of the normal distribution.
Eigen::VectorXd plausible_deviations(std::uint64_t seed, int cell, Eigen::Index count);

/// Starts a thread. @throws std::system_error where the system has none left
using ThreadStarter = std::function<std::thread(std::function<void()> body)>;
std::thread start_thread(std::function<void()> body);

/// Calls work(k, thread) for k = 0..count-1 on every core (or `threads`), in no order; progress(done) now and then from
/// the calling thread. Stops early when the user interrupts (see interrupted()). The first exception of `work` is
/// rethrown. Where fewer threads can be started than asked for those do the work; where none can, the calling one.
void in_parallel(int count, int threads, const std::function<void(int, int)>& work,
                 const std::function<void(int)>& progress = {}, const ThreadStarter& start = start_thread);
int core_count();

/// True once Ctrl-C was pressed while an InterruptGuard lives; a second Ctrl-C ends the program at once.
bool interrupted();
class InterruptGuard {
 public:
  InterruptGuard();
  ~InterruptGuard();
  InterruptGuard(const InterruptGuard&) = delete;
  InterruptGuard& operator=(const InterruptGuard&) = delete;
};

}  // namespace onegrain::app
