#pragma once

#include <string>
#include <vector>

#include "app/command/data.hpp"
#include "app/job.hpp"
#include "params/record/record.hpp"
#include "solver/step/replay.hpp"

/// From the rows of a cycler to a run of the model: the current as it was measured, per plate area, from the state in
/// which the test began.
namespace onegrain::app {

/// The state in which a run begins, and what tells it.
struct Beginning {
  enum class From {
    state_of_charge,  ///< asked for
    rest_before,      ///< the last row of the rest before
    first_row,        ///< recorded before the current came up
    full,             ///< nothing tells: equilibrium of a full cell, as the first step discharges it
    empty             ///< the same for a charge
  };
  From from = From::full;
  double state_of_charge = 0;  ///< that was asked for, 0..1
  double voltage = 0;          ///< at rest, as it was found [V]
  double taken_as = 0;         ///< the same within what the cell of the sheet reaches at rest [V]
};

/// One file, understood.
struct Recording {
  std::string file;
  params::Measured measured;
  std::vector<params::RecordedStep> steps;  ///< of the whole file
  std::size_t first_step, last_step;        ///< that take part, numbered from 0
  std::size_t first_row;                    ///< the run begins with it
  solver::Run run;                          ///< its times are those of `rows`
  std::vector<std::size_t> rows;            ///< that are compared
  std::vector<double> charge;               ///< passed up to each of them since the run began, charging positive [C]
  Beginning beginning;
  solver::Start start;
  bool has_temperature;
  std::vector<std::size_t> stretch_step;  ///< number of the recorded step that each stretch belongs to

  std::string name() const { return file.substr(file.find_last_of('/') + 1); }  ///< without its folder
  double time(std::size_t row) const { return measured.record.time[row] - measured.record.time[first_row]; }
};

/// Reads a file and makes it a run.
/// @param most_rows  that are compared; of more, some are picked, evenly in time and more at the start of each step
/// @throws as read_data(); NotCompleted where the file holds no charge or discharge, CommandLineError for --steps
Recording load_recording(const Request& request, const Channels& channels, Job& job, const std::string& file,
                         std::size_t most_rows);

/// Only what is near a usual name is given one: C/10 for 0.0998.
std::string nominal_rate(double c_rate);

/// "3", "2..4", "3..": the steps of the command line, numbered from 0.
std::pair<std::size_t, std::size_t> chosen_steps(const std::string& text, std::size_t count);

}  // namespace onegrain::app
