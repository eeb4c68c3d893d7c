#include <charconv>
#include <cmath>

#include "app/answer/ceiling_words.hpp"
#include "params/number/quantity.hpp"

// What is asked of `ceiling`, from the words of the command line.

namespace onegrain::app::answer {

namespace {

/// "0..0.8"
solver::ChargeWindow window_of(const std::string& text) {
  const auto wrong = [&] {
    throw CommandLineError(
        "--soc '" + text +
        "': write two states of charge such as 0..0.8, the first below the second, both from 0 to 1");
  };
  const auto dots = text.find("..");
  if (dots == std::string::npos) wrong();
  const auto number_in = [&](std::string part) {
    double value = std::nan("");
    const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), value);
    if (error != std::errc{} || end != part.data() + part.size()) wrong();
    return value;
  };
  const solver::ChargeWindow window{number_in(text.substr(0, dots)), number_in(text.substr(dots + 2))};
  if (!(window.from >= 0 && window.from < window.to && window.to <= 1)) wrong();
  return window;
}

}  // namespace

study::CeilingAsked ceiling_asked(const Request& request, const Job& job) {
  study::CeilingAsked asked;
  asked.soc = window_of(request.soc);
  asked.soc.empties = empties(job);
  try {
    asked.limits.plating_margin = params::parse_quantity(request.margin, params::Voltage::kind(), "mV");
  } catch (const params::QuantityError& error) {
    throw CommandLineError("--margin '" + request.margin + "': " + error.what());
  }
  if (!(asked.limits.plating_margin >= 0 && asked.limits.plating_margin <= 0.5)) {
    throw CommandLineError("--margin '" + request.margin + "': outside 0 to 500 mV");
  }
  asked.samples = request.samples;
  try {
    asked.within = params::parse_quantity(request.within, params::FractionKind::kind, "%");
  } catch (const params::QuantityError& error) {
    throw CommandLineError("--within '" + request.within + "': " + error.what());
  }
  if (!(asked.within >= 0.001 && asked.within <= 1)) {
    throw CommandLineError("--within '" + request.within + "': outside 0.1 to 100 %");
  }
  asked.seed = request.seed;
  asked.threads = request.threads;
  asked.staircase = request.staircase;
  return asked;
}

}  // namespace onegrain::app::answer
