#include "params/keys/reader.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace onegrain::params {

void KeyReader::finish() {
  fields_.finish();
  if (!fault_if_empty_.empty() && !fields_.any_asked_for()) fields_.error_here(fault_if_empty_);
}

std::optional<std::size_t> KeyReader::only_one(const Fields& fields, const std::vector<WordsOrMappings::Mapping>& of) {
  std::optional<std::size_t> found;
  for (std::size_t k = 0; k < of.size(); ++k) {
    if (!fields.has(of[k].key)) continue;
    if (found) return std::nullopt;
    found = k;
  }
  return found;
}

std::vector<std::pair<const Node*, std::string>> KeyReader::items(const std::string& key, const ListOf& of) {
  std::vector<std::pair<const Node*, std::string>> result;
  const Node* list = fields_.node(key);
  if (list == nullptr) {
    if (of.needed) fields_.missing(key, of.missing);
  } else if (list->type != Node::Type::sequence || list->items.empty()) {
    fields_.error(key, of.expected);
  } else {
    for (std::size_t k = 0; k < list->items.size(); ++k) {
      const Node& item = list->items[k];
      const std::string path = fmt::format("{}[{}]", fields_.path_of(key), k + 1);
      if (item.type == Node::Type::mapping) {
        result.emplace_back(&item, path);
      } else {
        const DocumentReading& reading = fields_.reading();
        reading.faults->error(reading.at(item.line, item.column), path, shown(item), of.one_expected);
      }
    }
  }
  return result;
}

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
