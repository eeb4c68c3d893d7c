#include <sys/mman.h>

#include <atomic>
#include <cstdlib>
#include <iostream>
#include <new>
#include <string>
#include <vector>

#include "app/command/commands.hpp"

namespace {

/// Memory put by, never touched. The libraries allocate where they clean up, too (destroying a large JSON does), and
/// end the program where that fails; what is given back at the first failure lets them, and the reason be told.
std::atomic<void*> reserve{nullptr};

void put_by() {
  for (std::size_t size = std::size_t{64} << 20; size >= (std::size_t{1} << 20) && reserve == nullptr;
       size -= size / 4) {
    reserve = std::malloc(size);
  }
}

void give_back() {
  std::free(reserve.exchange(nullptr));
  throw std::bad_alloc();
}

constexpr std::size_t stack_grown = std::size_t{512} << 10, page = 4096;

/// In a frame of its own, from the top down.
[[gnu::noinline]] char touch_stack() {
  volatile char depths[stack_grown];
  for (std::size_t at = stack_grown; at >= page; at -= page) depths[at - 1] = 0;
  return depths[page - 1];
}

/// Grows the stack while that can still be refused: where it cannot grow later the system ends a process without a
/// word.
bool grow_stack() {
  constexpr std::size_t size = stack_grown + 16 * page;
  void* probe = mmap(nullptr, size, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
  if (probe == MAP_FAILED) return false;
  munmap(probe, size);
  return touch_stack() == 0;
}

int without_memory() {
  std::cerr << onegrain::app::no_memory;
  return static_cast<int>(onegrain::app::Status::not_completed);
}

}  // namespace

int main(int argc, char** argv) {
  if (!grow_stack()) return without_memory();
  put_by();
  std::set_new_handler(give_back);
  try {
    return onegrain::app::run(std::vector<std::string>(argv + 1, argv + argc), std::cout, std::cerr);
  } catch (const std::bad_alloc&) {  // even before there was anything to do
    return without_memory();
  }
}
