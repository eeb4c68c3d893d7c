#pragma once

#include <string>
#include <string_view>
#include <vector>

/// What is wrong with a file, so that its reader can mend it without opening our source.
namespace onegrain::params {

/// A spot in a file; lines and columns count from 1, 0 stands for "the file as a whole".
struct Place {
  std::string file;
  int line = 0;
  int column = 0;
};

enum class Severity { error, warning };

struct Fault {
  Place place;
  std::string path;     ///< key as a path, "positive.particle_radius"; may be empty
  std::string value;    ///< as written; may be empty
  std::string message;  ///< what is wrong, and what would be right
  Severity severity = Severity::error;
  std::string suggestion = {};  ///< the key or the word that was probably meant; may be empty; stands in `message` too

  /// coin07.yaml:18:20: positive.particle_radius = '4.8': no unit given; expected a length, such as '4.8 um'
  /// A warning has "warning: " in front of the path. It is one line, printable (params::one_line()); long values are
  /// cut.
  std::string text() const;
};

/// All faults of one run, so that they can be mended together.
class Faults {
 public:
  void add(Fault fault);
  void error(Place place, std::string path, std::string value, std::string message, std::string suggestion = {});
  void warning(Place place, std::string path, std::string value, std::string message);

  bool any_error() const { return errors_ > 0; }
  bool empty() const { return list_.empty(); }
  int errors() const { return errors_; }
  /// By file in the order of first mention, then line, column.
  std::vector<Fault> sorted() const;
  /// One fault a line, each line ended.
  std::string text() const;

 private:
  std::vector<Fault> list_;
  int errors_ = 0;
};

/// The candidate with the smallest edit distance (insert, delete, replace, swap of neighbours), if that is at most a
/// third of the longer word's length and at least one letter may differ; else empty.
std::string nearest(std::string_view word, const std::vector<std::string>& candidates);

}  // namespace onegrain::params
