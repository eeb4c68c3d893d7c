#include "app/command/progress.hpp"

#include <fmt/format.h>

#include <ostream>

#include "app/render/screen.hpp"

namespace onegrain::app {

Progress::~Progress() {
  if (shown_) channels_.narration << begin_line_anew << std::flush;
}

void Progress::bar(const std::string& what, int done, int of) {
  if (of == 0) return;
  const auto filled = static_cast<std::size_t>(30 * done / of);
  line(fmt::format("{} [{}{}] {}/{}", what, std::string(filled, '#'), std::string(30 - filled, '.'), done, of));
}

void Progress::line(const std::string& text) {
  if (!channels_.watched) return;
  shown_ = true;
  channels_.narration << begin_line_anew << text << std::flush;
}

}  // namespace onegrain::app
