#include "app/answer/thinned.hpp"

#include <algorithm>

namespace onegrain::app::answer {

std::vector<std::size_t> thinned(const std::vector<double>& y, std::size_t most) {
  std::vector<std::size_t> kept;
  if (y.size() <= most) {
    for (std::size_t k = 0; k < y.size(); ++k) kept.push_back(k);
    return kept;
  }
  const std::size_t stretches = std::max<std::size_t>(1, most / 3);
  for (std::size_t s = 0; s < stretches; ++s) {
    const std::size_t from = s * y.size() / stretches, to = (s + 1) * y.size() / stretches;
    const auto at = [&](std::size_t k) { return y.begin() + static_cast<std::ptrdiff_t>(k); };
    const auto [low, high] = std::minmax_element(at(from), at(to));
    std::vector<std::size_t> some = {from, static_cast<std::size_t>(low - y.begin()),
                                     static_cast<std::size_t>(high - y.begin())};
    std::sort(some.begin(), some.end());
    kept.insert(kept.end(), some.begin(), std::unique(some.begin(), some.end()));
  }
  if (kept.back() != y.size() - 1) kept.push_back(y.size() - 1);
  return kept;
}

void ThinnedLine::add(double x, double y) {
  x_.push_back(x);
  y_.push_back(y);
  if (x_.size() < room_) return;
  std::vector<double> fewer_x, fewer_y;
  for (const std::size_t k : thinned(y_, room_ / 3)) {
    fewer_x.push_back(x_[k]);
    fewer_y.push_back(y_[k]);
  }
  x_ = std::move(fewer_x);
  y_ = std::move(fewer_y);
}

}  // namespace onegrain::app::answer
