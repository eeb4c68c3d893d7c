#include "app/result_file.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <system_error>

#include "app/command/commands.hpp"

namespace onegrain::app {

namespace fs = std::filesystem;

namespace {

fs::path folder_of(const fs::path& path) { return path.has_parent_path() ? path.parent_path() : fs::path("."); }

[[noreturn]] void taken(const std::string& path) {
  throw CommandLineError(
      "--out '" + path +
      "': a file of that name is there already and is not replaced; give another name, or remove it");
}

[[noreturn]] void not_written(const std::string& path, const std::string& why) {
  throw NotCompleted("'" + path + "' cannot be written: " + why);
}

}  // namespace

bool is_one_file(const std::string& out) {
  const std::string ending = fs::path(out).extension().string();
  std::error_code ignored;
  return (ending == ".html" || ending == ".json" || ending == ".csv") && !fs::is_directory(out, ignored);
}

void require_new_file(const std::string& path) {
  std::error_code error;
  if (fs::exists(fs::symlink_status(path, error))) taken(path);
  if (fs::path(path).filename().empty()) not_written(path, "Is a directory");
  const std::string folder = folder_of(path).string();
  if (!fs::is_directory(folder, error)) not_written(path, "there is no folder '" + folder + "'");
  if (access(folder.c_str(), W_OK | X_OK) != 0) not_written(path, std::strerror(errno));
}

void write_new_file(const std::string& path, const FileWriter& content) {
  require_new_file(path);
  try {
    const Staging staging(folder_of(path));
    staging.write("result", content);
    std::error_code error;
    fs::create_hard_link(staging.path() / "result", path, error);  // unlike a rename it never replaces
    if (error == std::errc::file_exists) taken(path);
    if (error) fs::rename(staging.path() / "result", path);  // a file system without links
  } catch (const std::system_error& error) {
    not_written(path, error.code().message());
  }
  sync_folder(folder_of(path));
}

}  // namespace onegrain::app
