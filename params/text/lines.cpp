#include "params/text/lines.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

namespace onegrain::params {

namespace {

LineReader::Source pieces_of(std::string_view text) {
  return [text, at = std::size_t{0}](char* into, std::size_t room) mutable {
    const std::size_t some = text.copy(into, room, at);
    at += some;
    return some;
  };
}

}  // namespace

bool is_comment_line(std::string_view content) {
  return !content.empty() && (content.front() == '#' || content.front() == '%');
}

LineReader::LineReader(Source source, std::size_t room) : source_(std::move(source)), buffer_(room) {
  fill();
  utf16_ = view().substr(0, 2) == "\xFF\xFE" || view().substr(0, 2) == "\xFE\xFF";
  if (view().substr(0, 3) == "\xEF\xBB\xBF") at_ = 3;  // as spreadsheets write it
  const std::size_t feed = view().find('\n');
  if (feed == std::string_view::npos && view().find('\r') != std::string_view::npos) line_end_ = '\r';
}

// One byte more than the text, so that its end is seen at once.
LineReader::LineReader(std::string_view text)
    : LineReader(pieces_of(text), std::min(text.size() + 1, std::size_t{4} << 20)) {}

bool LineReader::next(std::string_view& line) {
  for (;;) {
    const char* begin = buffer_.data() + at_;
    const void* found = std::memchr(begin, line_end_, end_ - at_);
    if (found != nullptr) {
      const std::size_t length = static_cast<std::size_t>(static_cast<const char*>(found) - begin);
      line = {begin, length};
      at_ += length + 1;
      return true;
    }
    if (fill()) continue;
    line = view();
    at_ = end_;
    return !line.empty();
  }
}

bool LineReader::fill() {
  std::memmove(buffer_.data(), buffer_.data() + at_, end_ - at_);
  end_ -= at_;
  at_ = 0;
  if (end_ == buffer_.size()) buffer_.resize(2 * buffer_.size());  // a very long line
  const std::size_t room = buffer_.size() - end_, got = source_(buffer_.data() + end_, room);
  ended_ = got < room;
  binary_ = binary_ || std::memchr(buffer_.data() + end_, '\0', got) != nullptr;
  end_ += got;
  return got > 0;
}

}  // namespace onegrain::params
