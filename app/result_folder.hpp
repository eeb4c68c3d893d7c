#pragma once

#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "app/staging.hpp"

namespace onegrain::app {

/// A folder that holds the results of one run, and beside them whatever else its owner keeps there.
///
/// What is guaranteed, also where the process is killed or the disk is full at any moment: no file under a final name
/// is ever torn, and `manifest.json` lists the files of the run with their SHA-256.
///
/// - A folder that is not there appears whole, by one rename, or not at all.
/// - In a folder that is there, everything is first written beside (a hidden folder), and waited for until the disk has
///   it; a failure up to here, a full disk among them, leaves the old run as it was. Then a manifest with
///   `complete: false` takes the place of the old one: it lists the files of this run and those of the earlier one;
///   each file takes its name by a rename; files that only the earlier run made are removed; at last the manifest that
///   says `complete: true`. POSIX has no way to switch several names of a folder at once: a run killed within these
///   renames (below a millisecond each) leaves a folder of which the manifest says that it is not complete, and each
///   file of which is, by its SHA-256, either this run's or the earlier one's. The next run into it cleans up.
///
/// Removed are files alone that the manifest of an earlier run lists and that are still what it wrote, by their
/// SHA-256.
class ResultFolder {
 public:
  /// @param command  the call, for the manifest
  ResultFolder(std::string path, std::string command);

  /// @param name  one that is_result_name() takes. @throws std::logic_error for another, and where it was added before
  void add(const std::string& name, std::string content);
  void add(const std::string& name, FileWriter content);

  struct Outcome {
    std::vector<std::string> written;  ///< paths
    std::vector<std::string> remarks;  ///< sentences: files of earlier runs that were removed, or could not be
  };
  /// Writes them, having made the folder if it is not there.
  /// @param before_step  called before whatever changes the disk, for tests
  /// @throws NotCompleted  naming the file that cannot be written and why
  Outcome write(const std::function<void()>& before_step = {}) const;

 private:
  std::string path_;
  std::string command_;
  std::vector<std::pair<std::string, FileWriter>> contents_;
};

/// Before a calculation: could a folder of results be written there? Makes nothing. @throws NotCompleted
void require_writable(const std::string& folder);

/// Before a calculation: would results in `folder` write over, or remove, one of the files that they are made from?
/// @throws CommandLineError  naming the first such file
void require_inputs_kept(const std::string& folder, const std::vector<std::string>& inputs);

/// Names in `folder` that are taken: by anything that no earlier run wrote, or that has been changed since.
std::vector<std::string> taken_names(const std::string& folder);

}  // namespace onegrain::app
