#pragma once

#include <cmath>
#include <optional>
#include <vector>

#include "model/root_search.hpp"
#include "solver/step/segment.hpp"

namespace onegrain::solver {

/// A voltage that ends a step may be passed and left again between two steps of the integrator, which sees its own
/// steps only: just after a jump of the current, or on a flat potential. This looks in between: at moments that grow by
/// a factor after the start, where everything moves with the logarithm of the time, and in the middle of later steps;
/// where the distance to the end is smallest at an inner moment, its minimum is searched.
class VoltageWatch {
 public:
  explicit VoltageWatch(const Segment& segment) : segment_(segment) {
    const Vector start = segment.starting_unknowns();
    const auto nearest = segment.nearest_voltage_end(0, {start.data(), start.size()});
    watching_ = nearest.has_value();
    if (watching_) seen_.push_back({0, nearest->distance});
  }

  /// @param t         reached by the integrator
  /// @param unknowns  at any moment since the last look
  /// @return the first moment at which the voltage is met, if it was
  template <class Unknowns>
  std::optional<double> look(double t, Unknowns unknowns) {
    if (!watching_) return std::nullopt;
    const auto distance = [&](double at) { return segment_.nearest_voltage_end(at, unknowns(at))->distance; };
    const Seen before = seen_.back(), now{t, distance(t)};
    // Far from the end compared with what a step changes nothing can have happened.
    if (std::min(before.distance, now.distance) > near + 2 * std::abs(before.distance - now.distance)) {
      seen_ = {before, now};
      return std::nullopt;
    }
    std::vector<double> moments;
    if (before.time == 0) {
      for (int k = 7; k >= 1; --k) moments.push_back(t * std::pow(3.0, -k));
    } else {
      moments.push_back(0.5 * (before.time + t));
    }
    moments.push_back(t);
    for (const double at : moments) {
      seen_.push_back({at, at == t ? now.distance : distance(at)});
      if (seen_.size() > 3) seen_.erase(seen_.begin());
      if (const auto met = met_in(distance, at == t)) return met;
    }
    return std::nullopt;
  }

 private:
  struct Seen {
    double time, distance;
  };
  static constexpr double near = 0.1;  // V

  /// In the moments seen last: between the first two and the minimum around the middle one.
  template <class Distance>
  std::optional<double> met_in(Distance distance, bool at_step) {
    const Seen last = seen_.back();
    // What has fallen through zero at the end of a step is the integrator's to find.
    if (last.distance <= 0 && !at_step) return first_zero(distance, seen_[seen_.size() - 2], last);
    if (seen_.size() < 3 || !(seen_[1].distance <= seen_[0].distance && seen_[1].distance < last.distance))
      return std::nullopt;
    if (last.distance <= 0) return std::nullopt;
    double a = seen_[0].time, b = last.time;  // golden section
    constexpr double golden = 0.381966011250105;
    double x = a + golden * (b - a), y = b - golden * (b - a), fx = distance(x), fy = distance(y);
    for (int k = 0; k < 30 && fx > 0 && fy > 0; ++k) {
      if (fx < fy) {
        b = y;
        y = x;
        fy = fx;
        fx = distance(x = a + golden * (b - a));
      } else {
        a = x;
        x = y;
        fx = fy;
        fy = distance(y = b - golden * (b - a));
      }
    }
    if (fx > 0 && fy > 0) return std::nullopt;
    return first_zero(distance, seen_[0], fx <= 0 ? Seen{x, fx} : Seen{y, fy});
  }

  template <class Distance>
  static double first_zero(Distance distance, Seen above, Seen below) {
    if (above.distance <= 0) return above.time;
    return model::bracketed_root(
        [&](double at) {  // what was seen at the ends counts: the polynomial of another step may be a rounding off
          return at == above.time ? above.distance : at == below.time ? below.distance : distance(at);
        },
        above.time, below.time);
  }

  const Segment& segment_;
  bool watching_ = false;
  std::vector<Seen> seen_;
};

}  // namespace onegrain::solver
