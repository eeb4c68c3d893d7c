#pragma once

#include <functional>
#include <string>
#include <vector>

#include "app/command/commands.hpp"
#include "app/command/manual.hpp"

namespace CLI {
class App;
}

namespace onegrain::app {

struct Verb {
  const char* name;
  const char* help;                                          ///< one line of --help
  std::vector<void (*)(CLI::App&, Request&)> options;        ///< in the order of the help
  std::function<void(const Request&, const Channels&)> run;  ///< throws what commands.hpp names
  std::vector<Example> examples;                             ///< of --help and the manual page
};

/// All verbs, in the order of the help.
const std::vector<Verb>& verbs();

}  // namespace onegrain::app
