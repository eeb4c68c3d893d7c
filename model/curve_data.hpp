#pragma once

#include <algorithm>
#include <cmath>

#include "model/curve.hpp"

/// The inside of a Curve, for the sources that make and evaluate it.
namespace onegrain::model {

namespace detail {

constexpr int piece_degree = Curve::approximation_degree;  // 11 nodes, and monomials in [-1, 1] stay well conditioned

/// sum_m c[m] u^m and its derivative.
inline ValueAndSlope horner(const double* c, int count, double u) {
  if (count == piece_degree + 1) {
    // Even and odd powers apart, E(u^2) + u O(u^2): sums half as long, side by side.
    static_assert(piece_degree % 2 == 0);
    const double square = u * u;
    double even = c[piece_degree], odd = c[piece_degree - 1], even_slope = 0, odd_slope = 0;
    for (int m = piece_degree - 2; m > 0; m -= 2) {
      even_slope = even_slope * square + even;
      even = even * square + c[m];
      odd_slope = odd_slope * square + odd;
      odd = odd * square + c[m - 1];
    }
    even_slope = even_slope * square + even;
    even = even * square + c[0];
    return {even + u * odd, odd + 2 * u * (even_slope + u * odd_slope)};
  }
  double value = c[count - 1];
  double slope = 0;
  for (int m = count - 2; m >= 0; --m) {
    slope = slope * u + value;
    value = value * u + c[m];
  }
  return {value, slope};
}

}  // namespace detail

struct Curve::Data {
  struct Piece {
    double upper;   ///< holds up to here
    double origin;  ///< u = (x - origin) * scale
    double scale;
    int first, count;  ///< coefficients[first .. first + count)
  };
  double lower = 0, upper = 0;
  Beyond beyond = Beyond::hold;
  bool constant = false;
  double buckets_per_x = 0;
  std::vector<Piece> pieces;
  std::vector<double> coefficients;
  std::vector<int> piece_of_bucket;  ///< first piece that reaches into each of equal buckets of [lower, upper]

  void add(double piece_upper, double origin, double scale, const std::vector<double>& c) {
    pieces.push_back({piece_upper, origin, scale, static_cast<int>(coefficients.size()), static_cast<int>(c.size())});
    coefficients.insert(coefficients.end(), c.begin(), c.end());
  }

  void index() {
    const std::size_t buckets = std::clamp<std::size_t>(4 * pieces.size(), 1, 4096);
    piece_of_bucket.resize(buckets);
    buckets_per_x = static_cast<double>(buckets) / (upper - lower);
    std::size_t piece = 0;
    for (std::size_t b = 0; b < buckets; ++b) {
      const double start = lower + (upper - lower) * static_cast<double>(b) / static_cast<double>(buckets);
      while (piece + 1 < pieces.size() && pieces[piece].upper < start) ++piece;
      piece_of_bucket[b] = static_cast<int>(piece);
    }
  }

  /// Approximations on the same pieces.
  bool has_pieces_of(const Data& other) const {
    const auto same = [](const Piece& p, const Piece& q) {
      return p.upper == q.upper && p.origin == q.origin && p.scale == q.scale && p.first == q.first &&
             p.count == detail::piece_degree + 1 && q.count == detail::piece_degree + 1;
    };
    return !constant && !other.constant && lower == other.lower && upper == other.upper && beyond == other.beyond &&
           std::equal(pieces.begin(), pieces.end(), other.pieces.begin(), other.pieces.end(), same);
  }

  std::size_t piece_at(double x) const {
    const double share = (x - lower) * buckets_per_x;
    const auto bucket = std::min(static_cast<std::size_t>(std::max(share, 0.0)), piece_of_bucket.size() - 1);
    auto piece = static_cast<std::size_t>(piece_of_bucket[bucket]);
    while (piece > 0 && x < pieces[piece - 1].upper) --piece;  // rounding in `share`
    while (piece + 1 < pieces.size() && x > pieces[piece].upper) ++piece;
    return piece;
  }

  ValueAndSlope inside(double x) const {
    const Piece& p = pieces[piece_at(x)];
    const ValueAndSlope v = detail::horner(coefficients.data() + p.first, p.count, (x - p.origin) * p.scale);
    return {v.value, v.slope * p.scale};
  }
};

}  // namespace onegrain::model
