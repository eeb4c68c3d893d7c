#pragma once

#include <cstddef>
#include <vector>

namespace onegrain::app::answer {

/// Which points of a line are kept so that at most about `most` of them show its course: all where there are no more,
/// else of each of equal stretches the first, the lowest and the highest, and the last of all. Of neighbours that are
/// not known (NaN) the first is kept, so that the line keeps its gap.
std::vector<std::size_t> thinned(const std::vector<double>& y, std::size_t most);

/// A line that grows without end in flat memory. Beyond `room` points it is kept as the first, lowest, highest and last
/// point of each of at most `stretches` equal stretches of x; a stretch doubles whenever that is not enough.
class ThinnedLine {
 public:
  explicit ThinnedLine(std::size_t room = 6000, std::size_t stretches = 375) : room_(room), most_(stretches) {}
  /// @param x  not below the one before
  void add(double x, double y);
  /// What is kept, x in order.
  struct Kept {
    std::vector<double> x, y;
  };
  Kept kept() const;

 private:
  struct Point {
    double x, y;
  };
  struct Stretch {
    Point first, low, high, last;
  };
  void put(Point p);

  std::size_t room_, most_;
  std::vector<Point> all_;  // while few
  std::vector<Stretch> stretches_;
  double start_ = 0, width_ = 0;
};

}  // namespace onegrain::app::answer
