#pragma once

#include <functional>
#include <iosfwd>
#include <string>
#include <utility>
#include <vector>

namespace onegrain::app {

/// Result files that appear whole or not at all: all are first written beside their final names, then renamed.
class ResultFolder {
 public:
  /// Makes the folder if it is not there. @throws NotCompleted naming what cannot be written and why
  explicit ResultFolder(std::string path);

  void add(const std::string& name, std::string content);
  /// A file that is written piece by piece when its turn comes.
  void add(const std::string& name, std::function<void(std::ostream&)> write) {
    contents_.emplace_back(name, std::move(write));
  }
  /// Writes them. On any failure none of them is left behind. Returns the paths.
  std::vector<std::string> write() const;

 private:
  std::string path_;
  std::vector<std::pair<std::string, std::function<void(std::ostream&)>>> contents_;
};

}  // namespace onegrain::app
