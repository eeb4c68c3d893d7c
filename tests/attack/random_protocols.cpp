#include "tests/attack/random_protocols.hpp"

#include <fmt/format.h>

namespace onegrain::attack {

namespace {

std::string rest(Random& random) {
  return fmt::format("  - {{drive: rest, until: {{time: {:.3g} s}}}}\n", random.log_between(1, 2e4));
}

std::string ends_of_current(Random& random, bool charge, double lower, double upper, bool thermal) {
  std::string ends;
  const auto add = [&](const std::string& end) { ends += (ends.empty() ? "" : ", ") + end; };
  if (random.chance(0.75)) {
    const bool inside = random.chance(0.25);
    add(fmt::format("voltage: {:.3f} V", inside ? random.between(lower, upper) : charge ? upper : lower));
  }
  if (random.chance(0.5)) add(fmt::format("time: {:.3g} s", random.log_between(5, 4e4)));
  if (random.chance(0.2)) add(fmt::format("capacity: {:.3g} mAh/cm2", random.log_between(0.01, 3)));
  if (thermal && random.chance(0.3)) add(fmt::format("temperature: {:.3g} degC", random.between(0, 60)));
  if (ends.empty()) add(fmt::format("time: {:.3g} h", random.log_between(0.05, 20)));
  return ends;
}

std::string current(Random& random, double lower, double upper, bool thermal) {
  const bool charge = random.chance(0.5);
  return fmt::format("  - {{drive: {{rate: {:.3g}C, sense: {}}}, until: {{{}}}}}\n", random.log_between(0.05, 10),
                     charge ? "charge" : "discharge", ends_of_current(random, charge, lower, upper, thermal));
}

std::string hold(Random& random, double lower, double upper) {
  const double voltage = random.chance(0.6) ? upper : random.chance(0.3) ? lower : random.between(lower, upper);
  std::string ends = fmt::format("time: {:.3g} s", random.log_between(10, 4e4));
  if (random.chance(0.6)) ends += fmt::format(", rate: {:.3g}C", random.log_between(0.01, 0.3));
  if (random.chance(0.15)) ends += fmt::format(", capacity: {:.3g} mAh/cm2", random.log_between(0.01, 3));
  return fmt::format("  - {{drive: {{voltage: {:.3f} V}}, until: {{{}}}}}\n", voltage, ends);
}

std::string pulse(Random& random) {
  return fmt::format("  - {{drive: {{rate: {:.3g}C, sense: {}}}, until: {{time: {:.3g} s}}}}\n",
                     random.log_between(0.1, 10), random.chance(0.5) ? "charge" : "discharge",
                     random.log_between(0.01, 60)) +
         rest(random);
}

}  // namespace

std::string random_protocol(Random& random, double lower, double upper, bool thermal) {
  std::string text = "steps:\n";
  for (int k = random.whole(1, 6); k > 0; --k) {
    const double kind = random.share();
    text += kind < 0.5    ? current(random, lower, upper, thermal)
            : kind < 0.65 ? rest(random)
            : kind < 0.85 ? hold(random, lower, upper)
                          : pulse(random);
  }
  if (random.chance(0.3)) text += fmt::format("repeat: {}\n", random.whole(2, random.chance(0.1) ? 12 : 3));
  return text;
}

}  // namespace onegrain::attack
