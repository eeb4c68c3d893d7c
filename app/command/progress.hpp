#pragma once

#include <string>

#include "app/command/commands.hpp"

/// Where a calculation is, on one line of the narration that is written anew, where a person watches; nothing else.
namespace onegrain::app {

class Progress {
 public:
  explicit Progress(const Channels& channels) : channels_(channels) {}
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;
  /// Leaves no trace of the line.
  ~Progress();

  /// "plausible cells [####......] 40/100"
  void bar(const std::string& what, int done, int of);
  void line(const std::string& text);

 private:
  const Channels& channels_;
  bool shown_ = false;
};

}  // namespace onegrain::app
