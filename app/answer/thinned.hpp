#pragma once

#include <cstddef>
#include <vector>

namespace onegrain::app::answer {

/// Which points of a line are kept so that at most about `most` of them show its course: all where there are no more,
/// else of each of equal stretches the first, the lowest and the highest, and the last of all.
std::vector<std::size_t> thinned(const std::vector<double>& y, std::size_t most);

/// A line that grows without end in flat memory: whenever it has `room` points it is thinned to a third of them.
class ThinnedLine {
 public:
  explicit ThinnedLine(std::size_t room = 12000) : room_(room) {}
  void add(double x, double y);
  const std::vector<double>& x() const { return x_; }
  const std::vector<double>& y() const { return y_; }

 private:
  std::size_t room_;
  std::vector<double> x_, y_;
};

}  // namespace onegrain::app::answer
