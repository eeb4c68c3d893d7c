#pragma once

#include <filesystem>
#include <functional>
#include <ostream>
#include <string>

#include "app/manifest.hpp"

/// Where files are written before they get their names.
namespace onegrain::app {

/// Writes the bytes of a file; the stream fails as soon as the disk is full.
using FileWriter = std::function<void(std::ostream& out)>;

/// A hidden folder, `.onegrain.PID.part`, held by a lock as long as the process lives, so that the next run can tell
/// one that a killed run left (the lock went with its process) from one in use.
class Staging {
 public:
  /// @param beside  an existing folder on the file system where the files are to go
  /// @throws std::system_error
  explicit Staging(const std::filesystem::path& beside);
  ~Staging();  ///< with all that is left in it
  Staging(const Staging&) = delete;
  Staging& operator=(const Staging&) = delete;

  const std::filesystem::path& path() const { return path_; }
  /// Writes a file and waits until the disk has it. @throws std::system_error
  ListedFile write(const std::string& name, const FileWriter& content) const;
  /// It has been renamed: there is nothing to be taken away.
  void release() { path_.clear(); }

 private:
  std::filesystem::path path_;
  int lock_ = -1;
};

/// Takes away what killed runs left in a folder.
void sweep(const std::filesystem::path& folder);

/// Waits until the disk has the names of a folder; where the file system cannot say, so be it.
void sync_folder(const std::filesystem::path& folder);

/// An exclusive lock on a folder, so that two runs do not write into it at once; waits for it. A file system without
/// locks lets both in.
class FolderLock {
 public:
  explicit FolderLock(const std::filesystem::path& folder);
  ~FolderLock();
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;

 private:
  int descriptor_;
};

}  // namespace onegrain::app
