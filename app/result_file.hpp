#pragma once

#include <string>

#include "app/staging.hpp"

/// One file in place of a folder of results: --out report.html.
namespace onegrain::app {

/// Whether `out` names one file by its ending, .html, .json or .csv; a folder of that name is a folder.
bool is_one_file(const std::string& out);

/// Before a calculation: could a new file be written there? A file that is there already is never replaced: it may be
/// somebody's measured data or the sheet that was worked on for a day.
/// @throws CommandLineError  it is there already
/// @throws NotCompleted      its folder is not there, or cannot be written to
void require_new_file(const std::string& path);

/// Writes it, whole or not at all. @throws as require_new_file(), and NotCompleted where the disk is full
void write_new_file(const std::string& path, const FileWriter& content);

}  // namespace onegrain::app
