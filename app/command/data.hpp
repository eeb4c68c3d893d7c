#pragma once

#include <string>
#include <utility>
#include <vector>

#include "app/command/commands.hpp"
#include "params/record/measured.hpp"

namespace CLI {
class App;
}

/// Measured data on the command line: how they are named, read and counted.
namespace onegrain::app {

/// DATA... and --columns. Behind add_sheet(): the files follow the sheet in `request.files`.
void add_data(CLI::App& verb, Request& request);

/// How the files are to be read, by the column map of the request. @throws CommandLineError  the map is wrong
params::MeasuredRequest measured_request(const Request& request);

/// "1958 rows read, 1957 used, 1 left out: 1 no value for time, voltage or current"
std::string row_counts(const params::Measured& data);

/// "3", "2..4", "3..": the steps of the command line, numbered from 0.
std::pair<std::size_t, std::size_t> chosen_steps(const std::string& text, std::size_t count);

/// Reads one file of measured data by the column map of the request.
///
/// How many rows were read, used and left out goes to the narration, and so do warnings.
/// @param files  the file with its SHA-256 is added; `job.sheet.files` puts it among what the results were made from
/// @throws CommandLineError  the column map is wrong
/// @throws UnsoundInput      with every fault; what to pass to --columns where columns are not found
params::Measured read_data(const Request& request, const Channels& channels, const std::string& file,
                           std::vector<params::SourceFile>& files);

}  // namespace onegrain::app
