#include "app/answer/thinned.hpp"

#include <algorithm>
#include <cmath>

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
    std::size_t low = from, high = from;
    std::vector<std::size_t> some = {from};
    for (std::size_t k = from; k < to; ++k) {
      if (!std::isfinite(y[k])) {
        if (k == 0 || std::isfinite(y[k - 1])) some.push_back(k);
        continue;
      }
      if (!(y[low] <= y[k])) low = k;
      if (!(y[high] > y[k])) high = k;
    }
    some.insert(some.end(), {low, high});
    std::sort(some.begin(), some.end());
    kept.insert(kept.end(), some.begin(), std::unique(some.begin(), some.end()));
  }
  if (kept.back() != y.size() - 1) kept.push_back(y.size() - 1);
  return kept;
}

void ThinnedLine::put(Point p) {
  std::size_t index = static_cast<std::size_t>((p.x - start_) / width_);
  while (index >= most_) {  // two stretches become one
    std::vector<Stretch> merged;
    for (std::size_t k = 0; k < stretches_.size(); k += 2) {
      Stretch one = stretches_[k];
      if (k + 1 < stretches_.size()) {
        const Stretch& next = stretches_[k + 1];
        if (next.low.y < one.low.y) one.low = next.low;
        if (next.high.y > one.high.y) one.high = next.high;
        one.last = next.last;
      }
      merged.push_back(one);
    }
    stretches_ = std::move(merged);
    width_ *= 2;
    index = static_cast<std::size_t>((p.x - start_) / width_);
  }
  // a stretch without any point of its own repeats the last one
  while (stretches_.size() <= index) {
    const Point held = stretches_.empty() || stretches_.size() == index ? p : stretches_.back().last;
    stretches_.push_back({held, held, held, held});
  }
  Stretch& here = stretches_[index];
  if (p.y < here.low.y) here.low = p;
  if (p.y > here.high.y) here.high = p;
  here.last = p;
}

void ThinnedLine::add(double x, double y) {
  if (!stretches_.empty()) return put({x, y});
  all_.push_back({x, y});
  const double span = x - all_.front().x;
  if (all_.size() < room_ || !(span > 0)) return;
  start_ = all_.front().x;
  width_ = 2 * span / static_cast<double>(most_);
  for (const Point& p : all_) put(p);
  std::vector<Point>().swap(all_);
}

ThinnedLine::Kept ThinnedLine::kept() const {
  Kept kept;
  const auto keep = [&](const Point& p) {
    if (!kept.x.empty() && kept.x.back() == p.x && kept.y.back() == p.y) return;
    kept.x.push_back(p.x);
    kept.y.push_back(p.y);
  };
  for (const Point& p : all_) keep(p);
  for (const Stretch& s : stretches_) {
    keep(s.first);
    const bool low_first = s.low.x <= s.high.x;
    keep(low_first ? s.low : s.high);
    keep(low_first ? s.high : s.low);
    keep(s.last);
  }
  return kept;
}

}  // namespace onegrain::app::answer
