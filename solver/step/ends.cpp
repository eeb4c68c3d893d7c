#include "solver/step/ends.hpp"

#include <algorithm>
#include <cmath>
#include <variant>

#include "solver/step/segment.hpp"

namespace onegrain::solver {

std::string name_of(Ended ended, bool full_cell) {
  switch (ended) {
    case Ended::voltage:
      return "voltage cut-off";
    case Ended::time:
      return "time";
    case Ended::current:
      return "current";
    case Ended::capacity:
      return "capacity";
    case Ended::temperature:
      return "temperature";
    case Ended::separator_side:
      return "potential at the separator side";
    case Ended::salt_used_up:
      return "salt used up";
    case Ended::positive_surface_full:
      return full_cell ? "positive grain surface full" : "grain surface full";
    case Ended::positive_surface_empty:
      return full_cell ? "positive grain surface empty" : "grain surface empty";
    case Ended::negative_surface_full:
      return "negative grain surface full";
    case Ended::negative_surface_empty:
      return "negative grain surface empty";
  }
  return "";
}

bool is_physical(Ended ended) {
  switch (ended) {
    case Ended::salt_used_up:
    case Ended::positive_surface_full:
    case Ended::positive_surface_empty:
    case Ended::negative_surface_full:
    case Ended::negative_surface_empty:
      return true;
    default:
      return false;
  }
}

namespace {

constexpr double far_beyond = 1e-3;                 // of a surface: no voltage of a cell is still to be met there
constexpr double limit_met = 1e-7;                  // a limit counts as reached at the start of a step this close to it
constexpr double salt_wavers = 0.1 * used_up_salt;  // the least of the salt does so, from polynomial to polynomial

}  // namespace

void Segment::look_for(Ended reason, double (Segment::*value)(const Here&) const, double limit, double side) {
  ends_looked_for_.push_back({reason, value, limit, side});
}

/// Ends by the clock, and by charge at constant current, are known beforehand; the others are looked for.
void Segment::prepare_ends(const Here& now) {
  if (ends_.time) stop_time_ = *ends_.time;
  if (ends_.capacity && !is_hold() && !given_current_ && current0_ != 0) {
    const double at = *ends_.capacity / std::abs(current0_);
    if (at < stop_time_) {
      stop_time_ = at;
      stop_reason_ = Ended::capacity;
    }
  }
  if (ends_.voltage && !held_voltage_) {
    const bool rises = current0_ > 0 || (current0_ == 0 && terminal(now).voltage < *ends_.voltage);
    look_for(Ended::voltage, &Segment::terminal_voltage, *ends_.voltage, rises ? 1 : -1);
  }
  if (ends_.current && is_hold()) look_for(Ended::current, &Segment::current_passed, *ends_.current, -1);
  if (ends_.capacity && (is_hold() || given_current_)) {
    look_for(Ended::capacity, &Segment::charge_passed, *ends_.capacity, 1);
  }
  if (ends_.separator_side && !held_separator_side_) {
    look_for(Ended::separator_side, &Segment::separator_side, *ends_.separator_side, -1);
  }
  if (ends_.temperature && !isothermal() && !held_temperature_) {
    look_for(Ended::temperature, &Segment::temperature_reached, *ends_.temperature,
             temperature_ < *ends_.temperature ? 1 : -1);
  }
  const bool rests = !is_hold() && !given_current_ && current0_ == 0;
  // A voltage that is held, or that ends the step on the side to which it is driven, is met before a surface is full or
  // empty to the last digit, since potential and kinetics have no bound there. The surface then only guards against
  // voltages that are none.
  const bool bounded = held_voltage_ || (ends_.voltage && !is_hold() && !given_current_);
  // Where the reaction is resolved it leaves the places that have no salt, and a run that some voltage bounds goes on.
  const bool goes_on = bounded && reaction() == model::Reaction::uneven;
  if (model_->salt() && !rests && !goes_on)
    look_for(Ended::salt_used_up, &Segment::lowest_salt_share, used_up_salt, -1);
  if (beyond_surfaces_) return;

  // Where the reaction is resolved, lithium that leaves a layer may enter some of its grains: the same holds for them.
  const double away = reaction() == model::Reaction::uneven ? -far_beyond : surface_limit;
  using Value = double (Segment::*)(const Here&) const;
  const auto surface = [&](Ended full, Value fullest, Ended empty, Value emptiest, bool fills) {
    const double beyond = bounded && (held_voltage_ || current0_ != 0) ? -far_beyond : rests ? away : surface_limit;
    look_for(full, fullest, 1 - (held_voltage_ || fills ? beyond : away), 1);
    look_for(empty, emptiest, held_voltage_ || !fills ? beyond : away, -1);
  };
  surface(Ended::positive_surface_full, &Segment::fullest_positive, Ended::positive_surface_empty,
          &Segment::emptiest_positive, current0_ < 0);
  if (model_->negative()) {
    surface(Ended::negative_surface_full, &Segment::fullest_negative, Ended::negative_surface_empty,
            &Segment::emptiest_negative, current0_ > 0);
  }
}

void Segment::roots(double t, ConstVectorView y, double* g) {
  const Here h = here(t, y);
  for (const LookedFor& end : ends_looked_for_) *g++ = value_of(end, h);
}

Ended Segment::root_reason(const std::vector<int>& found) const {
  for (std::size_t k = 0; k < found.size(); ++k) {
    if (found[k] != 0) return ends_looked_for_[k].reason;
  }
  return Ended::time;
}

void Segment::look_at_the_start() {
  const Vector start = starting_unknowns();
  const Here h = here(0, {start.data(), start.size()});
  for (LookedFor& end : ends_looked_for_) {
    const double value = value_of(end, h), met = end.reason == Ended::salt_used_up ? salt_wavers : limit_met;
    if (is_physical(end.reason) ? value <= met && drives_further(end.reason) : value <= 0) {
      ended_at_start_ = end.reason;
      return;
    }
    // A limit that the step does not drive into at once may still be driven into later: it is met where it goes beyond
    // what it is now.
    if (!is_physical(end.reason) || value >= met) continue;
    if (end.reason == Ended::salt_used_up) {
      end.limit = 0.5 * std::max(lowest_salt_share(h), 0.0);  // half of what is left: the least of a polynomial wavers
    } else {
      end.limit += end.side * (limit_met - value);
    }
  }
}

bool Segment::drives_further(Ended limit) const {
  // A smaller current than the one before gives way, for a while at least; a larger one does not.
  const double before = current_before_;
  const bool charges = current0_ > 0 && current0_ >= before, discharges = current0_ < 0 && current0_ <= before;
  switch (limit) {
    case Ended::positive_surface_full:
    case Ended::negative_surface_empty:
      return discharges;
    case Ended::positive_surface_empty:
    case Ended::negative_surface_full:
      return charges;
    default:
      return current0_ * before >= 0 && (charges || discharges);
  }
}

std::optional<Segment::VoltageEnd> Segment::nearest_voltage_end(double t, ConstVectorView y) const {
  std::optional<VoltageEnd> nearest;
  std::optional<Here> h;
  for (const LookedFor& end : ends_looked_for_) {
    if (end.reason != Ended::voltage && end.reason != Ended::separator_side) continue;
    if (!h) h = here(t, y);
    const double left = value_of(end, *h);
    if (!nearest || left < nearest->distance) nearest = {left, end.reason};
  }
  return nearest;
}

}  // namespace onegrain::solver
