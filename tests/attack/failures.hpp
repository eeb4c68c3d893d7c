#pragma once

#include <optional>
#include <string>
#include <vector>

namespace onegrain::attack {

/// A reason for which a sound cell may end without a result. The list is closed: any other message is a fault.
struct Reason {
  const char* name;     ///< for the table of frequencies
  const char* pattern;  ///< words of the message
  const char* why;      ///< what makes it right to give up
};
const std::vector<Reason>& allowed_reasons();

/// The name of the reason that a message gives; nothing where it is not on the list.
std::optional<std::string> reason_of(const std::string& message);

}  // namespace onegrain::attack
