#include "tests/attack/failures.hpp"

namespace onegrain::attack {

const std::vector<Reason>& allowed_reasons() {
  static const std::vector<Reason> reasons = {
      {"no end is met", "meets none of its ends",
       "the protocol asks for an end that the cell never comes to, such as a voltage beyond that of a held "
       "equilibrium"},
      {"cut-offs leave no charge", "lies less than 1 % of the capacity of the",
       "the sheet contradicts itself: nothing can be moved between the cut-offs"},
      {"cut-off below the cell as assembled", "lies below the voltage of the cell as assembled",
       "a first charge that would have to discharge"},
      {"no step can begin", "no step of the protocol can begin: Step 1",
       "every step has an end that is met already when it would start, which is said of the first of them"},
      {"layer under the grain surfaces not resolved", "is thinner than can be resolved",
       "a hold on large grains that conduct lithium slowly ends within its first seconds: what follows would be wrong "
       "by "
       "volts"},
  };
  return reasons;
}

std::optional<std::string> reason_of(const std::string& message) {
  for (const Reason& reason : allowed_reasons()) {
    if (message.find(reason.pattern) != std::string::npos) return reason.name;
  }
  return std::nullopt;
}

}  // namespace onegrain::attack
