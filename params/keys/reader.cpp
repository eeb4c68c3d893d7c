#include "params/keys/reader.hpp"

#include <algorithm>

namespace onegrain::params {

void KeyReader::alternatives(const Alternatives& list) {
  const auto has = [&](const std::string& key) { return fields_.has(key); };
  const auto begun = [&](const Alternative& set) { return std::any_of(set.needed.begin(), set.needed.end(), has); };
  const auto chosen = std::find_if(list.sets.begin(), list.sets.end(), begun);
  if (chosen == list.sets.end()) {
    if (list.about_the_whole) return fields_.error_here(list.none);
    return fields_.missing(list.sets.front().needed.front(), list.none);
  }
  for (auto other = list.sets.begin(); other != list.sets.end(); ++other) {
    if (other == chosen) continue;
    if (list.about_the_whole) {
      if (begun(*other)) return fields_.error_here(list.several);
      continue;
    }
    for (const auto* keys : {&other->needed, &other->optional}) {
      for (const std::string& key : *keys) {
        if (has(key)) fields_.error(key, list.several);
      }
    }
  }
  for (const std::string& key : chosen->needed) {
    if (!has(key)) fields_.missing(key, list.partly);
  }
}

}  // namespace onegrain::params
