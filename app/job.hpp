#pragma once

#include <string>
#include <vector>

#include "app/command/commands.hpp"
#include "model/balance.hpp"
#include "model/single_particle.hpp"
#include "params/sheet/bench.hpp"
#include "params/sheet/rate.hpp"
#include "params/sheet/sheet.hpp"
#include "solver/step/simulator.hpp"

namespace onegrain::app {

/// A sound sheet with all that follows from it before any integration.
struct Job {
  params::Sheet sheet;
  params::Bench bench;
  model::Cell cell;
  params::RateBase base;
  model::ElectrolyteModel electrolyte;
  model::Reaction reaction;
  std::vector<std::string> reader_warnings;  ///< of the sheet and its cards, each with its place

  /// In the description that was asked for.
  solver::Simulator simulator(solver::Workspace& workspace) const { return {cell, workspace, electrolyte, reaction}; }
  double plate_area() const { return cell.plate_area; }
  double milliamperes(double current_density) const { return current_density * cell.plate_area * 1e3; }
  double milliampere_hours(double areal_charge) const { return areal_charge * cell.plate_area / 3.6; }
  double c_rate(double current_density) const { return current_density * 3600 / base.one_hour_charge; }
};

/// Reads the sheet named first in the request. Warnings go to the narration, and with the job into the answer. Where
/// results are to be written to a folder it is looked at now, before any calculation.
/// @throws UnsoundInput with every fault; CommandLineError for a bad --temperature, and for a folder of results that
///         would take the place of what is read; NotCompleted for one that cannot be written to
Job load_job(const Request& request, const Channels& channels);

}  // namespace onegrain::app
