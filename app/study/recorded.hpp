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
  /// The heat balance of the sheet gives the temperature, from `first_temperature` on; what was measured is held
  /// against it. Otherwise what was measured, if anything, is the temperature of the cell.
  bool predicts_temperature = false;
  std::optional<double> first_temperature;  ///< of the cell where the run begins, if it was measured [K]
  std::vector<std::size_t> stretch_step;    ///< number of the recorded step that each stretch belongs to

  bool temperature_is_ambient() const;                                          ///< what was measured, by its title
  std::string name() const { return file.substr(file.find_last_of('/') + 1); }  ///< without its folder
  double time(std::size_t row) const { return measured.record.time[row] - origin; }
  std::size_t step_at_line(std::uint32_t line) const;  ///< number of the step that holds this line of the file
  /// What had passed in the first step, by its counter, when the record begins, charging positive [C].
  double unrecorded_charge() const { return beginning.unrecorded * steps[beginning.at_step].mean_current; }
  /// In its first row; where a step had begun before that, `beginning` holds where it began.
  double state_of_charge_in_first_row(const Job& job) const {
    return beginning.state_of_charge + unrecorded_charge() / (job.bench.window.capacity * job.plate_area());
  }
  /// At rest as the run begins, `passed` from the inventory of the cell [C/m2], as warm as it was.
  solver::State starting_state(const solver::Simulator& simulator, double passed) const;
};

/// Where nothing in a file tells in which state it begins.
enum class UntoldStart {
  fit,  ///< the state from which the model of the sheet meets the curve best
  free  ///< the same to begin with, and one more unknown among those that are to be estimated
};

/// How a record is read.
struct Reading {
  std::size_t most_rows;  ///< that are compared; of more, some are picked, evenly in time and more at the start of each
                          ///< step
  UntoldStart untold;     ///< what to do where nothing in the file tells in which state it begins
  bool predict_temperature = false;  ///< where the sheet has a heat balance
};

/// Reads a file and makes it a run.
/// @throws as read_data(); NotCompleted where the file holds no charge or discharge; CommandLineError for --steps and
///         --rested-at; UnsoundInput where charge and discharge, the start, or the size of the cell cannot be told,
///         with what to pass
Recording load_recording(const Request& request, const Channels& channels, Job& job, const std::string& file,
                         const Reading& reading);

/// A step with a steady current of up to a fifth of the largest under which the voltage rests, where by the sheet it
/// would move by 10 mV and more: the cell is at rest, and the sensor has an offset that is too large to be known for
/// one.
struct RestUnderCurrent {
  std::size_t step;
  double current, voltage, would_move;  ///< [A], [V], [V] in the second half of the step
};
std::vector<RestUnderCurrent> rests_under_current(const Job& job, const Recording& recording);

/// @throws UnsoundInput  between two rests that a run goes through passes by the current what no cell of the sheet, nor
///                       of half or twice its size, makes of their voltages: rows are missing, or there are two records
void require_unbroken(const Job& job, const Recording& recording);

/// Makes run and rows of a recording anew from another beginning.
void begin_run(Recording& recording, const Beginning& beginning, double plate_area, std::size_t most_rows);

/// @throws UnsoundInput  nothing tells where the record begins: what to pass
[[noreturn]] void ask_for_start(const Recording& recording);

/// @throws UnsoundInput  charge and discharge cannot be told apart by the sign of the current, with what to pass
void require_signs(const std::string& file, const params::Measured& data,
                   const std::vector<params::RecordedStep>& steps);

/// Only what is near a usual name is given one: C/10 for 0.0998.
std::string nominal_rate(double c_rate);

}  // namespace onegrain::app
