#include "app/study/ensemble.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <condition_variable>
#include <csignal>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>

#include "solver/estimation/low_discrepancy.hpp"
#include "solver/estimation/quantiles.hpp"

namespace onegrain::app {

namespace {

volatile std::sig_atomic_t interrupt_seen = 0;
constexpr std::chrono::milliseconds between_progress{50};

void on_interrupt(int) {
  interrupt_seen = 1;
  std::signal(SIGINT, SIG_DFL);  // the next one ends the program
}

/// Threads that are joined whatever happens; one that was not would end the program.
struct Pool {
  Pool(int most, std::atomic<bool>& stop_work) : stop(stop_work) { threads.reserve(static_cast<std::size_t>(most)); }
  Pool(const Pool&) = delete;
  Pool& operator=(const Pool&) = delete;
  ~Pool() {
    if (std::uncaught_exceptions() > 0) stop = true;
    for (std::thread& thread : threads) thread.join();
  }
  std::vector<std::thread> threads;
  std::atomic<bool>& stop;
};

}  // namespace

Eigen::VectorXd plausible_deviations(std::uint64_t seed, int cell, Eigen::Index count) {
  if (count == 0) return {};
  const std::uint64_t key = solver::mixed_bits(seed) + static_cast<std::uint64_t>(cell % scramblings);
  const auto index = static_cast<std::uint32_t>(cell / scramblings);
  return solver::scrambled_sobol_point(key, index, count).unaryExpr(&solver::normal_quantile);
}

int core_count() { return std::max(1, static_cast<int>(std::thread::hardware_concurrency())); }

std::thread start_thread(std::function<void()> body) { return std::thread(std::move(body)); }

void in_parallel(int count, int threads, const std::function<void(int, int)>& work,
                 const std::function<void(int)>& progress, const ThreadStarter& start) {
  threads = std::clamp(threads, 1, std::max(1, count));
  std::atomic<int> next{0}, done{0};
  std::exception_ptr failure;
  std::mutex guard;
  int left = 0;  // threads that have nothing more to do
  std::atomic<bool> stop{false};
  std::condition_variable finished;
  const auto run = [&](int thread, const std::function<void(int)>& after_each) {
    for (int k = next++; k < count && !stop && !interrupted(); k = next++) {
      try {
        work(k, thread);
      } catch (...) {
        const std::lock_guard<std::mutex> lock(guard);
        if (!failure) failure = std::current_exception();
        stop = true;
      }
      ++done;
      if (after_each) after_each(done);
    }
    const std::lock_guard<std::mutex> lock(guard);
    ++left;
    finished.notify_one();
  };
  {
    Pool pool(threads, stop);
    for (int t = 0; t < threads; ++t) {
      try {
        pool.threads.push_back(start([&run, t] { run(t, {}); }));
      } catch (const std::system_error&) {  // no more to be had: those that run do the work
        break;
      }
    }
    if (pool.threads.empty()) run(0, progress);
    std::unique_lock<std::mutex> lock(guard);
    while (!finished.wait_for(lock, between_progress, [&] { return left >= static_cast<int>(pool.threads.size()); }) &&
           !interrupted()) {
      if (progress) progress(done);
    }
  }
  if (progress) progress(done);
  if (failure) std::rethrow_exception(failure);
}

bool interrupted() { return interrupt_seen != 0; }
InterruptGuard::InterruptGuard() {
  interrupt_seen = 0;
  std::signal(SIGINT, on_interrupt);
}
InterruptGuard::~InterruptGuard() { std::signal(SIGINT, SIG_DFL); }

}  // namespace onegrain::app
