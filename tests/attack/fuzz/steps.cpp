// Fuzzed: the option --steps.

#include <string>

#include "app/command/data.hpp"
#include "tests/attack/fuzz/targets.hpp"

namespace onegrain::attack::fuzz {

void steps(std::string_view bytes) {
  for (const std::size_t count : {std::size_t{1}, std::size_t{7}, std::size_t{1000000}}) {
    try {
      const auto [first, last] = app::chosen_steps(std::string(bytes), count);
      require(first <= last && last < count, "the steps chosen are steps of the file");
    } catch (const app::CommandLineError&) {
    }
  }
}

}  // namespace onegrain::attack::fuzz
