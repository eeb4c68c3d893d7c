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

}  // namespace

int main(int argc, char** argv) {
  put_by();
  std::set_new_handler(give_back);
  try {
    return onegrain::app::run(std::vector<std::string>(argv + 1, argv + argc), std::cout, std::cerr);
  } catch (const std::bad_alloc&) {  // even before there was anything to do
    std::cerr << onegrain::app::no_memory;
    return static_cast<int>(onegrain::app::Status::not_completed);
  }
}
