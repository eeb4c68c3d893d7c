#include "model/potential.hpp"

#include <algorithm>
#include <cmath>

#include "model/constants.hpp"

namespace onegrain::model {

namespace {
constexpr double nearest = 1e-6;  // closer to 0 or 1 than this the logarithm gives way to its tangent

/// ln(y / y0) - (y - y0) / y0 for y in (0, y0]: zero with zero slope at y0, to minus infinity as y -> 0; and d/dy.
/// Below `edge` its tangent there.
ValueAndSlope curved_part_of_logarithm(double y, double y0, double edge) {
  const double at = std::max(y, std::min(edge, y0));
  const double slope = 1 / at - 1 / y0;
  const double value = std::log(at / y0) - (at - y0) / y0;
  return {value + slope * (y - at), slope};
}
}  // namespace

OpenCircuitPotential::OpenCircuitPotential(Property potential, Curve entropic)
    : potential_(std::move(potential)),
      entropic_(std::move(entropic)),
      lower_(potential_.curve().is_constant() ? 0.0 : potential_.curve().lower()),
      upper_(potential_.curve().is_constant() ? 1.0 : potential_.curve().upper()),
      edge_(nearest) {}

OpenCircuitPotential OpenCircuitPotential::plus(Curve addition) const {
  OpenCircuitPotential sum = *this;
  sum.addition_ = std::move(addition);
  return sum;
}

OpenCircuitPotential OpenCircuitPotential::with_edge(double edge) const {
  OpenCircuitPotential gentle = *this;
  gentle.edge_ = edge;
  return gentle;
}

Property::Value OpenCircuitPotential::at(double x, double T) const {
  Property::Value v = potential_.at(x, T);
  const ValueAndSlope entropic = entropic_.at(x);
  v.value += (T - reference_temperature) * entropic.value;
  v.by_composition += (T - reference_temperature) * entropic.slope;
  v.by_temperature += entropic.value;
  if (addition_) {
    const ValueAndSlope added = addition_->at(x);
    v.value += added.value;
    v.by_composition += added.slope;
  }
  if (x > upper_ && upper_ < 1 - nearest) {
    const double scale = gas_constant * T / faraday_constant;
    const ValueAndSlope tail = curved_part_of_logarithm(1 - x, 1 - upper_, edge_);
    v.value += scale * tail.value;
    v.by_composition -= scale * tail.slope;
    v.by_temperature += scale / T * tail.value;
  } else if (x < lower_ && lower_ > nearest) {
    const double scale = gas_constant * T / faraday_constant;
    const ValueAndSlope tail = curved_part_of_logarithm(x, lower_, edge_);
    v.value -= scale * tail.value;
    v.by_composition -= scale * tail.slope;
    v.by_temperature -= scale / T * tail.value;
  } else if (edge_ == nearest && (x > 1 || x < 0)) {
    // A potential that is known up to the last site has no logarithm, and no host takes more than it has sites for;
    // with a gentler edge it goes on straight.
    const double steepness = gas_constant * T / faraday_constant / edge_;
    v.value -= steepness * (x > 1 ? x - 1 : x);
    v.by_composition -= steepness;
    v.by_temperature -= steepness / T * (x > 1 ? x - 1 : x);
  }
  return v;
}

}  // namespace onegrain::model
