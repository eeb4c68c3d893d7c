#pragma once

#include <string>
#include <vector>

#include "params/number/value.hpp"

/// Putting new values into a sheet or a card without touching what else stands there.
namespace onegrain::params {

struct Revision {
  std::string path;  ///< keys joined by points: "contact_resistance", "positive.accessible_fraction"
  std::string yaml;  ///< the new value as one line of YAML: "{value: 93 %, spread: 1 %}"; empty: the key is taken out
};

/// The text with every revision done, in their order.
///
/// A key that is there gets the new value in place. One that is not is added at the end of its mapping, with the
/// mappings above it, `{...}`, that are not there either. Every other byte stays: order, blank lines, line ends,
/// comments, also the comment behind a replaced value. Where a mapping over several lines is replaced by a mapping, its
/// keys are revised one by one, so that the comments between them stay; where it is replaced by anything else they
/// become lines of their own. A key that is taken out takes the comments in and behind its value along; the last key of
/// a mapping leaves `{}`. Taking out what is not there changes nothing.
///
/// The result has been read again: it says what the text said, but for the revisions.
/// @param file  name of the text, for messages
/// @throws std::logic_error for a text that read_document() faults, a path through what is no mapping, a new value that
///         is not one line of YAML, and a text laid out so oddly that the result would say something else
std::string revised(const std::string& text, const std::string& file, const std::vector<Revision>& revisions);

/// The words as a double-quoted scalar of YAML 1.2 (section 7.3.1), on one line. `words` is UTF-8; what is not
/// printable (section 5.1) is escaped.
std::string quoted(const std::string& words);

/// A value as one line of YAML: `{value: 4.8 um, spread: 0.4 um, source: "..."}`, or `4.8 um` where neither spread nor
/// source is given.
///
/// @param si      SI, finite
/// @param spread  an absolute one in SI; written with three digits
/// @param unit    instead of that of the kind; "" only where the kind has no dimension: `0.93` for 93 %
/// @param digits  of the value at least; more where rounding would move it by a hundredth of its spread
/// @throws std::invalid_argument  for what is not finite, an absolute spread that is not > 0, a factor that is not > 1
std::string yaml_value(double si, const Kind& kind, const Spread& spread, const std::string& source,
                       const char* unit = nullptr, int digits = 6);

}  // namespace onegrain::params
