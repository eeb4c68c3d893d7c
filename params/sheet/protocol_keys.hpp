#pragma once

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "params/keys/tree.hpp"
#include "params/sheet/rate.hpp"
#include "params/sheet/sheet.hpp"

/// Every key of a protocol, once: kind, limits, whether it is needed, what it means. See keys/tree.hpp.
namespace onegrain::params {

/// A step as it is written; `Step` of the model is what it means.
struct WrittenStep {
  enum class Driven { rest, rate, current, voltage };
  Driven driven = Driven::rest;
  Rate rate{};         ///< of a driven rate or current
  bool charge = true;  ///< its sense
  Given<Voltage> voltage;
  struct Until {
    std::optional<Given<Voltage>> voltage;
    std::optional<Given<Time>> time;
    std::optional<double> current_density;  ///< of a rate or a current [A/m2]
    std::optional<double> capacity;         ///< [C/m2]
    std::optional<Given<Temperature>> temperature;
  } until;
  std::string name;
};

/// For what a program has made the steps; people need not say it.
struct WrittenMadeFor {
  Given<Temperature> temperature;
  Given<Fraction> from_soc;
  std::optional<Given<Fraction>> confidence;
};

struct WrittenProtocol {
  const Sheet& sheet;    ///< of the cell that is driven
  const RateBase& base;  ///< of its rates
  std::vector<WrittenStep> steps;
  std::optional<Given<Number>> repeat;
  std::optional<WrittenMadeFor> made_for = {};
};

/// Charge per cell (mAh), per plate area (mAh/cm2) or per mass of active material (mAh/g), as one per plate area
/// [C/m2], > 0. @throws QuantityError
double parse_passed_charge(std::string_view text, const RateBase& base);

/// Faults the key 'voltage' where it lies outside the window of the cell.
void check_in_window(Fields& fields, const Value& voltage, const Sheet& sheet);

/// The k-th thing that can be driven: a rate, a current, a held voltage.
template <class V>
void keys_of_drive(V& v, std::size_t k, WrittenStep& step, const WrittenProtocol& p) {
  if (k == 2) {
    v.value("voltage", step.voltage, limits::any, "within the window of the cell");
    v.reading([&](Fields& fields, bool) {
      check_in_window(fields, step.voltage, p.sheet);
      if (fields.node("sense") != nullptr) fields.error("sense", "a held voltage needs no sense");
    });
    return;
  }
  const std::string example = k == 0 ? "such as C/5 or 0.2C" : "such as 1.5 mA";
  v.parsed(k == 0 ? "rate" : "current", KeyNode::Form::rate, true, example, example,
           [&](const std::string& text) { step.rate = parse_rate(text, p.base); });
  v.choice("sense", {"charge", "discharge"}, "charge: into the cell",
           [&](std::size_t word) { step.charge = word == 0; });
}

template <class V>
void keys_of_until(V& v, WrittenStep& step, const WrittenProtocol& p) {
  using Driven = WrittenStep::Driven;
  WrittenStep::Until& until = step.until;
  v.value("voltage", until.voltage, limits::any, "within the window of the cell");
  v.reading([&](Fields& fields, bool) {
    if (!until.voltage) return;
    check_in_window(fields, *until.voltage, p.sheet);
    if (step.driven == Driven::voltage)
      fields.error("voltage", "the voltage is held in this step; end it by time, current or capacity");
  });
  const Limits ten_years{.lower = 0,
                         .upper = 10 * 365.25 * 86400,
                         .lower_open = true,
                         .reason = "must be greater than 0 and at most ten years"};
  v.value("time", until.time, ten_years, "at most ten years");
  v.reading([&](Fields& fields, bool) {
    if (fields.has("rate") && fields.has("current")) fields.error("rate", "either 'rate' or 'current', not both");
  });
  const auto fades_to = [&](const std::string& text) {
    until.current_density = parse_rate(text, p.base).current_density;
  };
  v.parsed("rate", KeyNode::Form::rate, false, "", "of a held voltage: the current has faded to this rate", fades_to);
  v.parsed("current", KeyNode::Form::rate, false, "", "the same as a current", fades_to);
  v.reading([&](Fields& fields, bool) {
    if (until.current_density && step.driven != Driven::voltage) {
      fields.error(fields.has("rate") ? "rate" : "current",
                   "the current does not fall in this step; such an end belongs to a held voltage");
    }
  });
  v.parsed("capacity", KeyNode::Form::text, false, "", "charge passed: mAh, mAh/cm2 or mAh/g",
           [&](const std::string& text) { until.capacity = parse_passed_charge(text, p.base); });
  v.value("temperature", until.temperature, limits::between(150, 500), "of a cell with 'thermal'");
  v.reading([&](Fields& fields, bool) {
    if (until.temperature && !p.sheet.thermal)
      fields.error("temperature", "the sheet has no 'thermal', so the temperature stays what it is");
  });
  v.at_least_one("an end is missing: voltage, time, rate, current, capacity or temperature");
  v.reading([&](Fields& fields, bool) {
    if (fields.any_asked_for() && step.driven == Driven::rest && !fields.has("time"))
      fields.error_here("a rest needs a time, such as {time: 30 min}; without one it may never end");
  });
}

template <class V>
void keys(V& v, WrittenStep& step, const WrittenProtocol& p) {
  const std::string driven =
      "'rest', {rate: 0.5C, sense: charge}, {current: 1 mA, sense: discharge} or {voltage: 4.2 V}";
  v.either(
      "drive",
      {.words = {"rest"},
       .mappings = {{"rate", "a rate"}, {"current", "a current"}, {"voltage", "a held voltage"}},
       .expected = driven,
       .none = "nothing is driven; expected " + driven,
       .several = "one thing is driven at a time: rate, current or voltage"},
      "what is driven: a rate, a current, a voltage, or nothing (rest)",
      [&](std::size_t k) { step.driven = static_cast<WrittenStep::Driven>(k); },
      [&](auto& of, std::size_t k) { keys_of_drive(of, k, step, p); });
  v.group("until", "one end or more, such as {voltage: 4.2 V, time: 2 h}",
          "one end or more; the first that is met ends the step", [&](auto& of) { keys_of_until(of, step, p); });
  v.text("name", &step.name, false, "", "shown instead of what is driven");
}

template <class V>
void keys(V& v, WrittenProtocol& p) {
  v.version("onegrain_protocol", false);
  v.text("name", nullptr, false, "", "a name for reports");
  v.text("note", nullptr, false, "", "anything worth knowing");
  v.text("source", nullptr, false, "", "where it comes from");
  v.group("made_for", p.made_for, "where the steps hold, such as {temperature: 25 degC, from_soc: 0 %}",
          "where steps hold that were calculated; `follow` says where it is asked for something else",
          [&](auto& of, WrittenMadeFor& made_for) {
            of.value("temperature", made_for.temperature, {.lower = coldest, .upper = hottest}, "of the cell at rest");
            of.value("from_soc", made_for.from_soc, limits::share, "state of charge from which they start, at rest");
            of.value("confidence", made_for.confidence, limits::share,
                     "share of the plausible cells that survive them");
          });
  v.list("steps", p.steps,
         {.one = "a step",
          .missing = "a list, such as '- {drive: {rate: 0.5C, sense: charge}, until: {voltage: 4.2 V}}'",
          .expected = "a list of steps is expected, such as '- {drive: rest, until: {time: 30 min}}'",
          .one_expected = "a step is expected, such as {drive: rest, until: {time: 30 min}}"},
         "what is done, in this order", [&](auto& of, WrittenStep& step) { keys(of, step, p); });
  v.value("repeat", p.repeat, limits::between(1, 100000), "how often all steps are run; a whole number");
  v.reading([&](Fields& fields, bool) {
    if (p.repeat && p.repeat->si != std::floor(p.repeat->si)) fields.error("repeat", "a whole number is expected");
  });
}

}  // namespace onegrain::params
