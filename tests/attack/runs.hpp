#pragma once

#include <string>

#include "tests/attack/invariants.hpp"
#include "tests/attack/random_cells.hpp"

/// A random case put through the program or its libraries.
namespace onegrain::attack {

enum class What { rates, ceiling, protocol };

/// Writes the files of a case into a folder that is there.
void write_files(const Case& c, const std::string& folder);

/// The libraries in this process, on files already in `folder`: every step is looked at from inside.
Findings run_in_process(const Case& c, What what, const std::string& folder);

/// The program itself (`rates`, `ceiling --samples 0`, `follow`) with every result file, judged from outside: its
/// status, its sentence where it fails, numbers of summary.json and curves.csv.
Findings run_program(const Case& c, What what, const std::string& folder, const std::string& program);

}  // namespace onegrain::attack
