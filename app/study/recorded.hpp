#pragma once

#include <string>
#include <vector>

#include "app/command/data.hpp"
#include "app/job.hpp"
#include "app/study/beginning.hpp"
#include "params/record/record.hpp"
#include "solver/step/replay.hpp"

/// From the rows of a cycler to a run of the model: the current as it was measured, per plate area, from the state in
/// which the test began.
namespace onegrain::app {

/// One file, understood.
struct Recording {
  std::string file;
  params::Measured measured;
  std::vector<params::RecordedStep> steps;  ///< of the whole file
  std::size_t first_step, last_step;        ///< that take part, numbered from 0
  std::size_t first_row;                    ///< the run begins with it; it may belong to a step before first_step
  double origin;                            ///< moment of the record at which the run begins [s]
  solver::Run run;                          ///< its times are those of `rows`
  std::vector<std::size_t> rows;            ///< that are compared
  std::vector<double> charge;               ///< passed up to each of them since the run began, charging positive [C]
  Beginning beginning;
  solver::Start start;
  bool has_temperature;
  std::vector<std::size_t> stretch_step;  ///< number of the recorded step that each stretch belongs to

  std::string name() const { return file.substr(file.find_last_of('/') + 1); }  ///< without its folder
  double time(std::size_t row) const { return measured.record.time[row] - origin; }
  /// What had passed in the first step, by its counter, when the record begins, charging positive [C].
  double unrecorded_charge() const { return beginning.unrecorded * steps[beginning.at_step].mean_current; }
};

/// Where nothing in a file tells in which state it begins.
enum class UntoldStart {
  fit,    ///< the state from which the model meets the curve best
  refuse  ///< what is to be estimated would go into it
};

/// Reads a file and makes it a run.
/// @param most_rows  that are compared; of more, some are picked, evenly in time and more at the start of each step
/// @param untold    what to do where nothing in the file tells in which state it begins
/// @throws as read_data(); NotCompleted where the file holds no charge or discharge; CommandLineError for --steps and
///         --rested-at; UnsoundInput where charge and discharge, the start, or the size of the cell cannot be told,
///         with what to pass
Recording load_recording(const Request& request, const Channels& channels, Job& job, const std::string& file,
                         std::size_t most_rows, UntoldStart untold);

/// @throws UnsoundInput  charge and discharge cannot be told apart by the sign of the current, with what to pass
void require_signs(const std::string& file, const params::Measured& data,
                   const std::vector<params::RecordedStep>& steps);

/// Only what is near a usual name is given one: C/10 for 0.0998.
std::string nominal_rate(double c_rate);

}  // namespace onegrain::app
