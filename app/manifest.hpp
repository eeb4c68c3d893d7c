#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// What belongs together in a folder of results: `manifest.json`.
namespace onegrain::app {

inline const std::string manifest_name = "manifest.json";

/// A file of a run, by which it can be told whether it is still the one that the run wrote.
struct ListedFile {
  std::string name;  ///< in the folder, without any '/'
  std::uintmax_t bytes = 0;
  std::string sha256;  ///< 64 hexadecimal digits

  friend bool operator==(const ListedFile&, const ListedFile&) = default;
};

/// The files of one run. As JSON: `onegrain_manifest` (version of the format), `complete`, `version`, `command`,
/// `files` and, where not complete, `previous`.
struct Manifest {
  /// False while a run takes the place of an earlier one, and so where it was killed at that: every file of the folder
  /// is then whole, and either one of `files` or one of `previous`, as its SHA-256 tells.
  bool complete = true;
  std::string command;
  std::vector<ListedFile> files;  ///< by name
  std::vector<ListedFile>
      previous;  ///< what earlier runs left, where not complete; a name may stand here several times

  std::string text() const;  ///< the same bytes for the same run
};

/// Nothing for a text that is no manifest of this program. Entries whose names this program would not give (see
/// is_result_name()) are left out.
std::optional<Manifest> read_manifest(const std::string& text);

/// Whether a file of results may have this name: letters, digits, '_', '-' and '.', the first of them a letter or a
/// digit, 100 at most. No name of a result is ever anything else, whatever a sheet or a card is called.
bool is_result_name(const std::string& name);

/// Names that results of some verb always have.
const std::vector<std::string>& fixed_result_names();

}  // namespace onegrain::app
