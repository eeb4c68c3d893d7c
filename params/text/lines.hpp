#pragma once

#include <cstddef>
#include <functional>
#include <string_view>
#include <vector>

/// Lines of a text that may be larger than memory should hold.
namespace onegrain::params {

/// Without blanks, tabs and carriage returns at either end.
inline std::string_view trimmed_cell(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

/// A line that says nothing of its own: '#' or '%' in front. `content` is trimmed.
bool is_comment_line(std::string_view content);

/// Hands out lines of a source, one at a time, without a copy of the whole. A byte order mark is passed over; lines end
/// by "\n", or by "\r" where the head of the text has no "\n" (a "\r" before "\n" stays with the line).
class LineReader {
 public:
  /// Fills the buffer with the bytes that come next and returns how many; 0 at the end.
  using Source = std::function<std::size_t(char* into, std::size_t room)>;

  /// @param room  bytes to begin with
  explicit LineReader(Source source, std::size_t room = std::size_t{4} << 20);
  /// Of a text that outlives the reader.
  explicit LineReader(std::string_view text);

  /// What has been read and not yet been handed out; at first the head of the text, some megabytes of it.
  std::string_view view() const { return {buffer_.data() + at_, end_ - at_}; }
  bool all_in_view() const { return ended_; }  ///< nothing comes behind view()
  char line_end() const { return line_end_; }
  bool binary() const { return binary_; }  ///< a NUL was among what has been read
  bool utf16() const { return utf16_; }    ///< the text begins with the byte order mark of UTF-16

  /// The next line without its end, valid until the next call; false at the end.
  bool next(std::string_view& line);

 private:
  bool fill();

  Source source_;
  std::vector<char> buffer_;
  std::size_t at_ = 0, end_ = 0;
  char line_end_ = '\n';
  bool binary_ = false, utf16_ = false, ended_ = false;
};

}  // namespace onegrain::params
