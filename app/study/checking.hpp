#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/command/commands.hpp"
#include "params/card/card.hpp"
#include "params/record/record.hpp"
#include "params/text/library.hpp"

/// `check`: whether files are sound, each by the reader that every other verb uses.
namespace onegrain::app::study {

/// A cycler's file, with the steps that were recognised.
struct CheckedRecord {
  params::Measured measured;
  std::vector<params::RecordedStep> steps;
  params::ChargeBalance balance;
  std::optional<double> one_c;  ///< current for 1C of the cell named with it [A]
};

struct CheckedFile {
  std::string file;       ///< as given
  params::FileKind kind;  ///< `unknown` is read as a sheet
  bool sound = false;
  params::Faults faults;                  ///< warnings included
  std::string name;                       ///< of a sound sheet
  std::vector<params::SourceFile> files;  ///< the file, its cards and tables
  std::optional<CheckedRecord> record;    ///< of sound data
};

/// The files of the request, in its order. A sheet that every other verb refuses (a balance or a porosity that no cell
/// has) is unsound. A protocol is checked against the sheet named with it.
std::vector<CheckedFile> check_files(const Request& request);

}  // namespace onegrain::app::study
