#include <iostream>
#include <string>
#include <vector>

#include "app/command/commands.hpp"

int main(int argc, char** argv) {
  return onegrain::app::run(std::vector<std::string>(argv + 1, argv + argc), std::cout, std::cerr);
}
