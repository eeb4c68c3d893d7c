#pragma once

#include <ostream>
#include <streambuf>
#include <string>
#include <string_view>

namespace onegrain::app {

/// A stream in front of another that lets nothing through that a terminal would act upon, see params::printable().
///
/// Every word that the program says goes through one of these, so that no name, key, column title or file name from
/// outside can steer a terminal, whoever forgets to think of it. What the program itself wants of the terminal it asks
/// for by begin_line_anew.
class Screen : public std::ostream {
 public:
  explicit Screen(std::ostream& to);

 private:
  class Buffer : public std::streambuf {
   public:
    explicit Buffer(std::ostream& to) : to_(to) {}
    Buffer(const Buffer&) = delete;
    Buffer& operator=(const Buffer&) = delete;
    ~Buffer() override;
    void begin_line_anew();

   protected:
    int_type overflow(int_type c) override;
    std::streamsize xsputn(const char* text, std::streamsize size) override;
    int sync() override;

   private:
    void put(std::string_view text);

    std::ostream& to_;
    std::string begun_;  // the bytes so far of a character that is not complete
  };
  friend std::ostream& begin_line_anew(std::ostream& out);

  Buffer buffer_;
};

/// Back to the start of the line, and the line is cleared: for a line that tells progress. Only a Screen understands
/// it.
std::ostream& begin_line_anew(std::ostream& out);

}  // namespace onegrain::app
