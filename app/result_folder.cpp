#include "app/result_folder.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <system_error>

#include "app/command/commands.hpp"
#include "params/text/sha256.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void not_written(const fs::path& path, const std::string& why) {
  throw NotCompleted("'" + path.string() + "' cannot be written: " + why);
}

[[noreturn]] void not_made(const std::string& folder, const std::string& why) {
  throw NotCompleted("the folder '" + folder + "' cannot be made: " + why);
}

std::optional<std::string> text_of(const fs::path& path) {
  std::error_code error;
  if (!fs::is_regular_file(fs::symlink_status(path, error))) return std::nullopt;
  std::ifstream stream(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(stream), {}};
  return stream.good() || stream.eof() ? std::optional(std::move(text)) : std::nullopt;
}

Manifest manifest_of(const fs::path& folder) {
  const std::optional<std::string> text = text_of(folder / manifest_name);
  const std::optional<Manifest> manifest = text ? read_manifest(*text) : std::nullopt;
  return manifest.value_or(Manifest{});
}

/// What earlier runs wrote, whether or not the last of them came to its end.
std::vector<ListedFile> left_by_earlier_runs(const fs::path& folder) {
  Manifest manifest = manifest_of(folder);
  std::vector<ListedFile> all = std::move(manifest.files);
  all.insert(all.end(), manifest.previous.begin(), manifest.previous.end());
  return all;
}

bool is_there(const fs::path& path) {
  std::error_code ignored;
  return fs::exists(fs::symlink_status(path, ignored));
}

/// Whether a file is still one of those listed under its name. Others, which may be of any size, are not read.
bool unchanged(const fs::path& path, const std::vector<ListedFile>& listed) {
  std::error_code error;
  if (!fs::is_regular_file(fs::symlink_status(path, error))) return false;
  const std::uintmax_t bytes = fs::file_size(path, error);
  if (error) return false;
  std::string digest;
  return std::any_of(listed.begin(), listed.end(), [&](const ListedFile& file) {
    if (file.name != path.filename().string() || file.bytes != bytes) return false;
    if (digest.empty()) digest = params::sha256(text_of(path).value_or(""));
    return file.sha256 == digest;
  });
}

bool contains(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

/// A run in the act of being written.
class Switch {
 public:
  using Contents = std::vector<std::pair<std::string, FileWriter>>;
  Switch(fs::path folder, const std::string& command, const Contents& contents,
         const std::function<void()>& before_step)
      : folder_(std::move(folder)), command_(command), contents_(contents), before_step_(before_step) {}

  /// @return false if somebody else made the folder meanwhile
  bool into_new() {
    const fs::path parent = folder_.has_parent_path() ? folder_.parent_path() : fs::path(".");
    const std::vector<fs::path> made = make(parent);
    try {
      sweep(parent);
      const std::unique_ptr<Staging> staging = staged(parent);
      step();
      std::error_code error;
      fs::rename(staging->path(), folder_, error);
      if (error == std::errc::file_exists || error == std::errc::directory_not_empty) return false;
      if (error) not_made(folder_.string(), error.message());
      staging->release();
      sync_folder(parent);
      return true;
    } catch (...) {
      std::error_code ignored;
      for (const fs::path& folder : made) fs::remove(folder, ignored);  // those that are empty
      throw;
    }
  }

  ResultFolder::Outcome into_existing() {
    ResultFolder::Outcome outcome;
    const FolderLock lock(folder_);
    for (const auto& [name, content] : contents_) require_free(name);
    require_own_manifest();
    sweep(folder_);
    if (folder_.has_parent_path()) sweep(folder_.parent_path());
    const std::vector<ListedFile> earlier = left_by_earlier_runs(folder_);
    const std::unique_ptr<Staging> staging = staged(folder_);
    Manifest begun = manifest_;
    begun.complete = false;
    begun.previous = earlier;
    write(*staging, "begun.json", [&](std::ostream& out) { out << begun.text(); });
    sync_folder(staging->path());

    take_name(staging->path() / "begun.json", manifest_name);
    sync_folder(folder_);
    for (const auto& [name, content] : contents_) take_name(staging->path() / name, name);
    clear(earlier, outcome.remarks);
    sync_folder(folder_);
    take_name(staging->path() / manifest_name, manifest_name);
    sync_folder(folder_);
    return outcome;
  }

 private:
  void step() const {
    if (before_step_) before_step_();
  }

  /// Every file and the manifest of a complete run, on the disk.
  std::unique_ptr<Staging> staged(const fs::path& beside) {
    step();
    std::unique_ptr<Staging> staging;
    try {
      staging = std::make_unique<Staging>(beside);
    } catch (const std::system_error& error) {
      throw NotCompleted("the folder '" + folder_.string() + "' cannot be written to: " + error.code().message());
    }
    manifest_ = {};
    manifest_.command = command_;
    for (const auto& [name, content] : contents_) manifest_.files.push_back(write(*staging, name, content));
    write(*staging, manifest_name, [&](std::ostream& out) { out << manifest_.text(); });
    sync_folder(staging->path());
    return staging;
  }

  ListedFile write(const Staging& staging, const std::string& name, const FileWriter& content) const {
    step();
    try {
      return staging.write(name, content);
    } catch (const std::system_error& error) {
      not_written(folder_ / name, error.code().message());
    }
  }

  /// The folder with those above it; returns the ones made, the deepest first.
  static std::vector<fs::path> make(const fs::path& folder) {
    std::vector<fs::path> made;
    for (fs::path at = folder; !at.empty() && !is_there(at); at = at.parent_path()) made.push_back(at);
    std::error_code error;
    fs::create_directories(folder, error);
    if (error) not_made(folder.string(), error.message());
    return made;
  }

  void require_free(const std::string& name) const {
    std::error_code ignored;
    if (fs::is_directory(fs::symlink_status(folder_ / name, ignored)))
      not_written(folder_ / name, "a folder of that name is in the way");
  }

  void require_own_manifest() const {
    require_free(manifest_name);
    const std::optional<std::string> text = text_of(folder_ / manifest_name);
    if (text && !text->empty() && !read_manifest(*text))
      not_written(folder_ / manifest_name, "a file of that name, which no run of this program wrote, is in the way");
  }

  void take_name(const fs::path& from, const std::string& name) const {
    step();
    std::error_code error;
    fs::rename(from, folder_ / name, error);
    if (error) {
      not_written(folder_ / name, error.message() + "; " + (folder_ / manifest_name).string() +
                                      " says which files of the folder are of this run, and which of an earlier one");
    }
  }

  /// Takes away what only earlier runs made.
  void clear(const std::vector<ListedFile>& earlier, std::vector<std::string>& remarks) const {
    std::vector<std::string> names = fixed_result_names();
    for (const ListedFile& file : earlier) {
      if (!contains(names, file.name)) names.push_back(file.name);
    }
    for (const std::string& name : names) {
      const bool of_this_run =
          std::any_of(contents_.begin(), contents_.end(), [&](const auto& c) { return c.first == name; });
      const fs::path path = folder_ / name;
      if (of_this_run || name == manifest_name || !is_there(path)) continue;
      if (!unchanged(path, earlier)) {
        remarks.push_back("'" + path.string() + "' does not belong to this run; it was there before and has been left");
        continue;
      }
      step();
      std::error_code error;
      fs::remove(path, error);
      remarks.push_back("'" + path.string() + "', of an earlier run, " +
                        (error ? "could not be removed: " + error.message() : "has been removed"));
    }
  }

  fs::path folder_;
  const std::string& command_;
  const Contents& contents_;
  const std::function<void()>& before_step_;
  Manifest manifest_;
};

fs::path without_slash(const std::string& folder) {
  std::string path = folder;
  while (path.size() > 1 && path.back() == '/') path.pop_back();
  return path;
}

}  // namespace

ResultFolder::ResultFolder(std::string path, std::string command)
    : path_(std::move(path)), command_(std::move(command)) {}

void ResultFolder::add(const std::string& name, std::string content) {
  add(name, [content = std::move(content)](std::ostream& out) { out << content; });
}

void ResultFolder::add(const std::string& name, FileWriter content) {
  const bool there = std::any_of(contents_.begin(), contents_.end(), [&](const auto& c) { return c.first == name; });
  if (!is_result_name(name) || name == manifest_name || there)
    throw std::logic_error("'" + name + "' is no name for a result");
  contents_.emplace_back(name, std::move(content));
}

ResultFolder::Outcome ResultFolder::write(const std::function<void()>& before_step) const {
  require_writable(path_);
  Switch run(without_slash(path_), command_, contents_, before_step);
  Outcome outcome;
  std::error_code ignored;
  if (fs::is_directory(path_, ignored) || !run.into_new()) outcome = run.into_existing();
  for (const auto& [name, content] : contents_) outcome.written.push_back((fs::path(path_) / name).string());
  outcome.written.push_back((fs::path(path_) / manifest_name).string());
  return outcome;
}

void require_writable(const std::string& folder) {
  std::error_code error;
  const fs::file_status status = fs::status(folder, error);
  if (fs::is_directory(status)) {
    if (access(folder.c_str(), W_OK | X_OK) == 0) return;
    throw NotCompleted("the folder '" + folder + "' cannot be written to: " + std::strerror(errno));
  }
  if (is_there(folder)) not_made(folder, "a file of that name is in the way");
  if (error && status.type() != fs::file_type::not_found) not_made(folder, error.message());
  fs::path above = without_slash(folder);
  do above = above.parent_path();
  while (!above.empty() && !is_there(above));
  if (above.empty()) above = ".";
  if (!fs::is_directory(above, error)) not_made(folder, "Not a directory");
  if (access(above.c_str(), W_OK | X_OK) != 0) not_made(folder, std::strerror(errno));
}

void require_inputs_kept(const std::string& folder, const std::vector<std::string>& inputs) {
  std::error_code error;
  const fs::path whole = fs::canonical(folder, error);
  if (error) return;  // not there: nothing in it
  const std::vector<ListedFile> earlier = left_by_earlier_runs(whole);
  for (const std::string& input : inputs) {
    if (params::is_stream(input)) continue;
    const fs::path given(input);
    const fs::path real = fs::canonical(given, error);
    if (error) continue;
    const fs::path beside = fs::canonical(given.has_parent_path() ? given.parent_path() : fs::path("."), error);
    for (const fs::path& at : {real, beside / given.filename()}) {
      const std::string name = at.filename().string();
      const bool listed =
          std::any_of(earlier.begin(), earlier.end(), [&](const ListedFile& f) { return f.name == name; });
      if (at.parent_path() != whole || (!listed && !contains(fixed_result_names(), name))) continue;
      throw CommandLineError("--out '" + folder + "': the results would take the place of '" + input +
                             "', which they are to be made from; give another folder");
    }
  }
}

std::vector<std::string> taken_names(const std::string& folder) {
  const std::vector<ListedFile> earlier = left_by_earlier_runs(folder);
  std::vector<std::string> names;
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    if (!unchanged(entry->path(), earlier)) names.push_back(entry->path().filename().string());
  }
  return names;
}

}  // namespace onegrain::app
