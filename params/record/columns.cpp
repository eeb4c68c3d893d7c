#include "params/record/columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <iterator>
#include <map>

#include "params/text/delimited.hpp"

namespace onegrain::params {

namespace {

constexpr const char* role_names[role_count] = {"time",     "voltage", "current", "temperature",
                                                "capacity", "state",   "cycle",   "step"};

struct Known {
  ColumnRole role;
  const Kind* kind;                 ///< nullptr: words or counts, without unit
  std::vector<const char*> labels;  ///< of the open standard, without unit
  std::vector<const char*> machine;
  std::vector<const char*> words;  ///< plain titles in lower case, without unit
};

// The required labels are those of the standard's reference; the further ones are from memory.
const std::vector<Known>& known_columns() {
  static const std::vector<Known> all = {
      {ColumnRole::time,
       &TimeKind::kind,
       {"Test Time"},
       {"test_time_second"},
       {"test time", "time", "t", "total time", "elapsed time", "zeit", "temps", "tiempo"}},
      {ColumnRole::voltage,
       &VoltageKind::kind,
       {"Voltage"},
       {"voltage_volt"},
       {"voltage", "u", "v", "e", "cell voltage", "potential", "spannung", "tension"}},
      {ColumnRole::current, &CurrentKind::kind, {"Current"}, {"current_ampere"}, {"current", "i", "strom", "courant"}},
      {ColumnRole::temperature,
       &TemperatureKind::kind,
       {"Surface Temperature", "Temperature T1", "Ambient Temperature"},
       {"surface_temperature_celsius", "temperature_t1_celsius", "ambient_temperature_celsius"},
       {"temperature", "cell temperature", "temperatur"}},
      {ColumnRole::capacity,
       &ChargeKind::kind,
       {"Step Capacity"},
       {"step_capacity_ah"},
       {"capacity", "charge", "step capacity", "kapazität"}},
      {ColumnRole::state, nullptr, {}, {}, {"state", "status", "step type", "mode", "zustand"}},
      {ColumnRole::cycle, nullptr, {"Cycle Count"}, {"cycle_count"}, {"cycle", "cycle number", "zyklus"}},
      {ColumnRole::step,
       nullptr,
       {"Step Count", "Step Index", "Step ID"},
       {"step_count", "step_index", "step_id"},
       {"step", "step number", "schritt"}},
  };
  return all;
}

std::string lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return out;
}

/// "test_time" and "Test  Time" alike.
std::string plain_words(std::string_view text) {
  std::string out;
  for (const char c : lower(text)) {
    const char letter = c == '_' || c == '-' ? ' ' : c;
    if (letter == ' ' && (out.empty() || out.back() == ' ')) continue;
    out += letter;
  }
  return std::string(trimmed_cell(out));
}

std::optional<Unit> column_unit(std::string_view text) {
  static const std::map<std::string, const char*, std::less<>> written_out = {
      {"sec", "s"},       {"secs", "s"},     {"second", "s"},       {"seconds", "s"},    {"minute", "min"},
      {"minutes", "min"}, {"mins", "min"},   {"hour", "h"},         {"hours", "h"},      {"hr", "h"},
      {"hrs", "h"},       {"volt", "V"},     {"volts", "V"},        {"ampere", "A"},     {"amp", "A"},
      {"amps", "A"},      {"amperes", "A"},  {"milliampere", "mA"}, {"milliamps", "mA"}, {"ah", "Ah"},
      {"mah", "mAh"},     {"ma", "mA"},      {"celsius", "degC"},   {"kelvin", "K"},     {"hertz", "Hz"},
      {"degree", "deg"},  {"degrees", "deg"}};
  const std::string_view unit = trimmed_cell(text);
  if (unit.empty()) return std::nullopt;
  try {
    return parse_unit(unit);
  } catch (const UnitError&) {
    const auto found = written_out.find(lower(unit));
    if (found == written_out.end()) return std::nullopt;
    return parse_unit(found->second);
  }
}

std::string quoted_list(const std::vector<std::string>& names) {
  std::string list;
  std::size_t shown = 0;
  for (const std::string& name : names) {
    if (shown == 30) {
      list += fmt::format(" and {} more", names.size() - shown);
      break;
    }
    list += (shown++ == 0 ? "'" : ", '") + name + "'";
  }
  return list;
}

const Known& known(ColumnRole role) { return known_columns()[static_cast<std::size_t>(role)]; }

/// The column that a choice names, and the unit written behind it.
struct Named {
  std::optional<std::size_t> index;
  std::string unit;
  bool turned = false;
};

Named find_named(const std::string& text, ColumnRole role, const std::vector<std::string>& titles) {
  const auto index_of = [&](std::string_view wanted) -> std::optional<std::size_t> {
    if (wanted.size() > 1 && wanted.front() == '#') {
      const std::optional<double> number = parse_number(wanted.substr(1));
      if (number && *number >= 1 && *number <= static_cast<double>(titles.size()) &&
          *number == static_cast<double>(static_cast<std::size_t>(*number)))
        return static_cast<std::size_t>(*number) - 1;
    }
    for (std::size_t c = 0; c < titles.size(); ++c) {
      if (titles[c] == wanted) return c;
    }
    std::optional<std::size_t> found;
    for (std::size_t c = 0; c < titles.size(); ++c) {
      const bool same =
          lower(titles[c]) == lower(wanted) ||
          (known(role).kind != nullptr && lower(title_unit(titles[c], *known(role).kind).name) == lower(wanted));
      if (!same) continue;
      if (found) return std::nullopt;  // two columns fit: the whole title is needed
      found = c;
    }
    return found;
  };
  const auto with_unit = [&](std::string_view whole) -> Named {
    if (const auto index = index_of(trimmed_cell(whole))) return {index, "", false};
    const std::size_t colon = whole.rfind(':');
    if (colon == std::string_view::npos) return {};
    return {index_of(trimmed_cell(whole.substr(0, colon))), std::string(trimmed_cell(whole.substr(colon + 1))), false};
  };
  Named named = with_unit(text);
  if (!named.index && role == ColumnRole::current && text.size() > 1 && text.front() == '-') {
    named = with_unit(std::string_view(text).substr(1));
    named.turned = true;
  }
  return named;
}

/// The only column that fits; by the labels of the standard, then by plain words.
std::optional<std::size_t> find_unasked(ColumnRole role, const std::vector<std::string>& titles,
                                        const std::vector<bool>& taken) {
  const Known& k = known(role);
  const auto matches = [&](const auto& fits) {
    std::vector<std::size_t> found;
    for (std::size_t c = 0; c < titles.size(); ++c) {
      if (!taken[c] && fits(titles[c])) found.push_back(c);
    }
    return found;
  };
  for (const char* machine : k.machine) {
    const auto found = matches([&](const std::string& title) { return title == machine; });
    if (!found.empty()) return found.front();
  }
  for (const char* label : k.labels) {
    const auto found =
        matches([&](const std::string& title) { return trimmed_cell(title.substr(0, title.find(" / "))) == label; });
    if (!found.empty()) return found.front();
  }
  const auto name_of = [&](const std::string& title) {
    return plain_words(k.kind != nullptr ? title_unit(title, *k.kind).name : title.substr(0, title.find(" / ")));
  };
  const auto found = matches([&](const std::string& title) {
    return std::find(k.words.begin(), k.words.end(), name_of(title)) != k.words.end();
  });
  if (found.size() == 1) return found.front();
  // "Time" beside "Test Time": the words are in the order of preference.
  for (const char* word : k.words) {
    const auto exact = matches([&](const std::string& title) { return name_of(title) == word; });
    if (exact.size() == 1) return exact.front();
    if (!exact.empty()) return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace

const char* role_name(ColumnRole role) { return role_names[static_cast<std::size_t>(role)]; }

bool ColumnMap::empty() const {
  return std::none_of(columns.begin(), columns.end(), [](const auto& c) { return c.has_value(); }) && rest.empty() &&
         charge.empty() && discharge.empty();
}

ColumnMap parse_column_map(const std::vector<std::string>& words) {
  ColumnMap map;
  for (const std::string& word : words) {
    const std::size_t equals = word.find('=');
    if (equals == std::string::npos)
      throw ColumnMapError(
          fmt::format("--columns: '{}' names no column; write time=TITLE voltage=TITLE current=TITLE", word));
    const std::string name = lower(trimmed_cell(std::string_view(word).substr(0, equals)));
    const std::string value(trimmed_cell(std::string_view(word).substr(equals + 1)));
    if (value.empty()) throw ColumnMapError(fmt::format("--columns: no title behind '{}='", name));
    const auto role = std::find(std::begin(role_names), std::end(role_names), name);
    if (role != std::end(role_names)) {
      auto& column = map.columns[static_cast<std::size_t>(role - std::begin(role_names))];
      if (column) throw ColumnMapError(fmt::format("--columns: '{}' is given twice", name));
      column = ColumnChoice{value};
      continue;
    }
    std::vector<std::string>* list = name == "rest"        ? &map.rest
                                     : name == "charge"    ? &map.charge
                                     : name == "discharge" ? &map.discharge
                                                           : nullptr;
    if (list == nullptr) {
      std::vector<std::string> names(std::begin(role_names), std::end(role_names));
      names.insert(names.end(), {"rest", "charge", "discharge"});
      const std::string near = nearest(name, names);
      throw ColumnMapError(fmt::format("--columns: '{}' is not known{}; known are {}", name,
                                       near.empty() ? "" : fmt::format(", did you mean '{}'?", near),
                                       quoted_list(names)));
    }
    for (std::size_t at = 0; at <= value.size();) {
      const std::size_t comma = std::min(value.find(',', at), value.size());
      list->emplace_back(trimmed_cell(std::string_view(value).substr(at, comma - at)));
      at = comma + 1;
    }
  }
  return map;
}

TitleUnit title_unit(std::string_view title, const Kind& kind) {
  title = trimmed_cell(title);
  TitleUnit other{std::string(title), "", std::nullopt};
  for (const TitleSplit& split : title_splits(title, true)) {
    const std::optional<Unit> unit = column_unit(split.unit);
    if (!unit) continue;
    if (unit->dimension == kind.dimension) return {std::string(split.name), std::string(split.unit), unit};
    if (other.unit_text.empty() && !unit->dimension.none()) {
      other.name = split.name;
      other.unit_text = split.unit;
    }
  }
  return other;
}

namespace {

bool needed(ColumnRole role) { return static_cast<std::size_t>(role) < 3; }

/// The columns that the user names, by role, marked as taken; looked for first, so that nothing else takes them.
std::vector<std::optional<Named>> named_by_user(const ColumnMap& map, const std::vector<std::string>& titles,
                                                const Place& where, Faults& faults, std::vector<bool>& taken) {
  std::vector<std::optional<Named>> named(role_count);
  for (const Known& k : known_columns()) {
    const auto& choice = map.columns[static_cast<std::size_t>(k.role)];
    if (!choice) continue;
    const Named found = find_named(choice->text, k.role, titles);
    if (!found.index) {
      faults.error(where, "", "",
                   fmt::format("--columns {}='{}': no such column; the titles are {}", role_name(k.role), choice->text,
                               quoted_list(titles)));
    } else if (taken[*found.index]) {
      faults.error(where, "", titles[*found.index], "taken for two things by --columns");
    } else {
      taken[*found.index] = true;
      named[static_cast<std::size_t>(k.role)] = found;
    }
  }
  return named;
}

void fault_absent(const Known& k, const Place& where, Faults& faults) {
  const char* unit = k.role == ColumnRole::time ? "s" : k.role == ColumnRole::voltage ? "V" : "A";
  faults.error(where, "", "",
               fmt::format("no column '{} / {}' (or '{}'), and none that is surely the {}", k.labels[0], unit,
                           k.machine[0], role_name(k.role)));
}

/// Gives the column the unit that stands in its title, or that the user wrote behind the title.
/// @return false where there is none that fits; a guess that does not hold is no fault
bool take_unit(const Known& k, const Named& named, bool clock, bool asked, const Place& where, Faults& faults,
               TakenColumn& column) {
  TitleUnit part = title_unit(column.title, *k.kind);
  if (!named.unit.empty()) {
    part.unit_text = named.unit;
    part.unit = column_unit(named.unit);
    if (!part.unit) {
      faults.error(where, "", "",
                   fmt::format("--columns {}: '{}' is not a known unit", role_name(k.role), part.unit_text));
      return false;
    }
    if (!(part.unit->dimension == k.kind->dimension)) part.unit.reset();
  }
  if (clock) {
    column.unit = "clock time";
  } else if (part.unit) {
    column.unit = part.unit_text;
    column.factor = part.unit->factor;
    column.offset = k.kind->absolute_temperature ? part.unit->offset : 0;
  } else if (needed(k.role) || asked) {
    const char* right = k.role == ColumnRole::time ? "s" : k.kind->unit;
    faults.error(where, "", column.title,
                 part.unit_text.empty() ? fmt::format("no unit is given; write it behind a colon: --columns {}='{}:{}'",
                                                      role_name(k.role), column.title, right)
                                        : fmt::format("{} where {} is expected; another column is named by --columns "
                                                      "{}=TITLE, another unit by --columns {}='{}:{}'",
                                                      describe(column_unit(part.unit_text)->dimension), k.kind->noun,
                                                      role_name(k.role), role_name(k.role), column.title, right));
  }
  return clock || part.unit;
}

}  // namespace

std::vector<TakenColumn> take_columns(const ColumnMap& map, const std::vector<std::string>& titles,
                                      const std::vector<bool>& clock_time, const Place& where, Faults& faults) {
  std::vector<TakenColumn> columns;
  std::vector<bool> taken(titles.size(), false);
  std::vector<std::optional<Named>> named = named_by_user(map, titles, where, faults, taken);
  bool offer = false;
  for (const Known& k : known_columns()) {
    const std::size_t r = static_cast<std::size_t>(k.role);
    const bool asked = map.columns[r].has_value();
    if (!named[r] && asked) continue;  // already faulted
    if (!named[r]) {
      const auto index = find_unasked(k.role, titles, taken);
      if (!index) {
        if (needed(k.role)) fault_absent(k, where, faults);
        offer = offer || needed(k.role);
        continue;
      }
      named[r] = Named{index, "", false};
    }
    const std::size_t index = *named[r]->index;
    TakenColumn column{k.role, index, titles[index], "", 1, 0};
    const bool clock = k.role == ColumnRole::time && clock_time[index];
    if (k.kind != nullptr && !take_unit(k, *named[r], clock, asked, where, faults, column)) continue;
    if (named[r]->turned) column.factor = -column.factor;
    taken[index] = true;
    columns.push_back(std::move(column));
  }
  if (offer) {
    faults.error(where, "", "",
                 "name the columns: --columns time='TITLE' voltage='TITLE' current='TITLE'; a unit that the title "
                 "lacks stands behind a colon, time='TITLE:s'; the titles are " +
                     quoted_list(titles));
  }
  return columns;
}

RowState state_of(std::string_view word, const ColumnMap& map) {
  word = trimmed_cell(word);
  const auto in = [&](const std::vector<std::string>& list) {
    return std::find(list.begin(), list.end(), word) != list.end();
  };
  if (in(map.charge)) return RowState::charge;
  if (in(map.discharge)) return RowState::discharge;
  if (in(map.rest)) return RowState::rest;
  const std::string plain = plain_words(word);
  if (plain.empty()) return RowState::unknown;
  const auto has = [&](std::initializer_list<const char*> parts) {
    return std::any_of(parts.begin(), parts.end(),
                       [&](const char* part) { return plain.find(part) != std::string::npos; });
  };
  const auto is = [&](std::initializer_list<const char*> words) {
    return std::any_of(words.begin(), words.end(), [&](const char* w) { return plain == w; });
  };
  // "discharge" holds "charge", "entladen" holds "laden": these come first
  if (map.discharge.empty() && (has({"disch", "dchg", "dch", "entlad"}) || is({"d", "dis", "-"})))
    return RowState::discharge;
  if (has({"disch", "dchg", "entlad"})) return RowState::unknown;
  if (map.charge.empty() && (has({"charg", "chg", "laden", "ladung"}) || is({"c", "cha", "+"})))
    return RowState::charge;
  if (map.rest.empty() &&
      (has({"rest", "pause", "relax", "idle", "ruhe", "open circuit"}) || is({"r", "ocv", "p", "0"})))
    return RowState::rest;
  if (has({"hold", "constant voltage"}) || is({"cv"})) return RowState::hold;
  return RowState::unknown;
}

}  // namespace onegrain::params
