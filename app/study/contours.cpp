#include "app/study/contours.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <utility>

namespace onegrain::app::study {

namespace {

/// An edge of the grid: from node (row, column) to the right, or upwards.
struct Edge {
  Eigen::Index row, column;
  bool upwards;
  auto operator<=>(const Edge&) const = default;
};

class Tracer {
 public:
  Tracer(const std::vector<double>& x, const std::vector<double>& y, const Eigen::MatrixXd& values, double level)
      : x_(x), y_(y), values_(values), level_(level) {
    for (Eigen::Index r = 0; r + 1 < values.rows(); ++r)
      for (Eigen::Index c = 0; c + 1 < values.cols(); ++c) cross(r, c);
  }

  std::vector<Contour> lines() {
    std::vector<Contour> found;
    for (const bool open_ones : {true, false}) {  // lines that end at an edge are begun there
      for (auto& [edge, beside] : next_)
        if (!beside.empty() && (!open_ones || beside.size() == 1)) found.push_back(follow(edge));
    }
    return found;
  }

 private:
  bool above(Eigen::Index r, Eigen::Index c) const { return values_(r, c) >= level_; }

  void join(const Edge& a, const Edge& b) {
    next_[a].push_back(b);
    next_[b].push_back(a);
  }

  void cross(Eigen::Index r, Eigen::Index c) {
    if (!values_.block(r, c, 2, 2).allFinite()) return;
    const std::array<Edge, 4> edges{Edge{r, c, false}, Edge{r, c + 1, true}, Edge{r + 1, c, false}, Edge{r, c, true}};
    const std::array<bool, 4> corner{above(r, c), above(r, c + 1), above(r + 1, c + 1), above(r + 1, c)};
    std::vector<Edge> met;
    for (std::size_t k = 0; k < 4; ++k)
      if (corner[k] != corner[(k + 1) % 4]) met.push_back(edges[k]);
    if (met.size() == 2) join(met[0], met[1]);
    if (met.size() == 4) {
      const bool middle = values_.block(r, c, 2, 2).mean() >= level_;
      const bool apart = middle == corner[0];  // corners 1 and 3 are cut off
      join(met[0], apart ? met[1] : met[3]);
      join(met[2], apart ? met[3] : met[1]);
    }
  }

  std::pair<double, double> place(const Edge& e) const {
    const double a = values_(e.row, e.column),
                 b = e.upwards ? values_(e.row + 1, e.column) : values_(e.row, e.column + 1);
    const double share = std::clamp((level_ - a) / (b - a), 0.0, 1.0);
    const auto r = static_cast<std::size_t>(e.row), c = static_cast<std::size_t>(e.column);
    return e.upwards ? std::pair(x_[c], y_[r] + share * (y_[r + 1] - y_[r]))
                     : std::pair(x_[c] + share * (x_[c + 1] - x_[c]), y_[r]);
  }

  Contour follow(Edge edge) {
    Contour line;
    for (;;) {
      const auto [x, y] = place(edge);
      line.x.push_back(x);
      line.y.push_back(y);
      std::vector<Edge>& beside = next_[edge];
      if (beside.empty()) return line;
      const Edge to = beside.back();
      beside.pop_back();
      std::vector<Edge>& back = next_[to];
      back.erase(std::find(back.begin(), back.end(), edge));
      edge = to;
    }
  }

  const std::vector<double>&x_, &y_;
  const Eigen::MatrixXd& values_;
  double level_;
  std::map<Edge, std::vector<Edge>> next_;
};

}  // namespace

std::vector<Contour> contours(const std::vector<double>& x, const std::vector<double>& y, const Eigen::MatrixXd& values,
                              double level) {
  return Tracer(x, y, values, level).lines();
}

std::vector<double> round_levels(const Eigen::MatrixXd& values) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (const double v : values.reshaped()) {
    if (!std::isfinite(v)) continue;
    low = std::min(low, v);
    high = std::max(high, v);
  }
  if (!(low < high)) return {};
  const double rough = (high - low) / 6, power = std::pow(10, std::floor(std::log10(rough)));
  double step = 10 * power;
  for (const double nice : {5.0, 2.5, 2.0, 1.0})
    if (nice * power >= rough * 0.999) step = nice * power;
  std::vector<double> levels;
  for (double n = std::ceil(low / step); n * step < high; ++n)
    if (n * step > low) levels.push_back(n * step);
  return levels;
}

}  // namespace onegrain::app::study
