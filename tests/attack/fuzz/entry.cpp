// What libFuzzer calls: one program for each reader, ONEGRAIN_FUZZED being its name in targets.hpp.

#include <cstddef>
#include <cstdint>

#include "tests/attack/fuzz/targets.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  onegrain::attack::fuzz::ONEGRAIN_FUZZED({reinterpret_cast<const char*>(data), size});
  return 0;
}
