#include "app/render/screen.hpp"

#include <algorithm>

#include "params/text/printable.hpp"

namespace onegrain::app {

Screen::Screen(std::ostream& to) : std::ostream(nullptr), buffer_(to) { rdbuf(&buffer_); }

Screen::Buffer::~Buffer() {
  if (!begun_.empty()) to_ << params::printable(begun_);
}

void Screen::Buffer::begin_line_anew() { to_ << "\r\033[K"; }

std::streambuf::int_type Screen::Buffer::overflow(int_type c) {
  if (traits_type::eq_int_type(c, traits_type::eof())) return traits_type::not_eof(c);
  const char one = traits_type::to_char_type(c);
  return xsputn(&one, 1) == 1 ? c : traits_type::eof();
}

std::streamsize Screen::Buffer::xsputn(const char* text, std::streamsize size) {
  constexpr std::streamsize piece = 16384;  // so that a long text is not copied whole
  for (std::streamsize at = 0; at < size && to_; at += piece) {
    put({text + at, static_cast<std::size_t>(std::min(piece, size - at))});
  }
  return to_ ? size : 0;
}

void Screen::Buffer::put(std::string_view text) {
  begun_ += text;
  std::size_t whole = begun_.size();  // without a character at the end of which more bytes may come
  for (std::size_t back = 1; back <= std::min<std::size_t>(3, begun_.size()); ++back) {
    bool begun = false;
    params::utf8_length(std::string_view(begun_).substr(begun_.size() - back), &begun);
    if (begun) whole = begun_.size() - back;
  }
  to_ << params::printable(std::string_view(begun_).substr(0, whole));
  begun_.erase(0, whole);
}

int Screen::Buffer::sync() {
  to_.flush();
  return to_ ? 0 : -1;
}

std::ostream& begin_line_anew(std::ostream& out) {
  if (auto* screen = dynamic_cast<Screen*>(&out)) screen->buffer_.begin_line_anew();
  return out;
}

}  // namespace onegrain::app
