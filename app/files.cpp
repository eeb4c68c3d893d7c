#include "app/files.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <system_error>

#include "app/command/commands.hpp"

namespace onegrain::app {

namespace fs = std::filesystem;

ResultFolder::ResultFolder(std::string path) : path_(std::move(path)) {
  std::error_code error;
  if (fs::exists(path_, error) && !fs::is_directory(path_, error)) {
    throw NotCompleted("the folder '" + path_ + "' cannot be made: a file of that name is in the way");
  }
  fs::create_directories(path_, error);
  if (error) throw NotCompleted("the folder '" + path_ + "' cannot be made: " + error.message());
  if (access(path_.c_str(), W_OK) != 0) {
    throw NotCompleted("the folder '" + path_ + "' cannot be written to: " + std::strerror(errno));
  }
}

void ResultFolder::add(const std::string& name, std::string content) {
  contents_.emplace_back(name, [content = std::move(content)](std::ostream& out) { out << content; });
}

std::vector<std::string> ResultFolder::write() const {
  std::vector<std::pair<fs::path, fs::path>> written;  // temporary, final
  const auto give_up = [&](const std::string& what) {
    std::error_code ignored;
    for (const auto& [temporary, final_path] : written) fs::remove(temporary, ignored);
    throw NotCompleted(what);
  };
  for (const auto& [name, ignored_content] : contents_) {  // before anything is touched: can every file take its name?
    const fs::path final_path = fs::path(path_) / name;
    std::error_code ignored;
    if (fs::is_directory(final_path, ignored))
      give_up("'" + final_path.string() + "' cannot be written: a folder of that name is in the way");
  }
  for (const auto& [name, content] : contents_) {
    const fs::path final_path = fs::path(path_) / name;
    const fs::path temporary = fs::path(path_) / ("." + name + "." + std::to_string(getpid()) + ".part");
    written.emplace_back(temporary, final_path);
    std::ofstream out(temporary, std::ios::binary);
    try {
      content(out);
    } catch (const std::exception& error) {
      give_up("'" + final_path.string() + "' cannot be written: " + error.what());
    }
    out.close();
    if (!out) give_up("'" + final_path.string() + "' cannot be written: " + std::strerror(errno));
  }
  std::vector<std::string> paths;
  for (const auto& [temporary, final_path] : written) {
    std::error_code error;
    fs::rename(temporary, final_path, error);
    if (error) give_up("'" + final_path.string() + "' cannot be written: " + error.message());
    paths.push_back(final_path.string());
  }
  return paths;
}

}  // namespace onegrain::app
