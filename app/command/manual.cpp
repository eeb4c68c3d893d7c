#include "app/command/manual.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>

#include "app/command/verbs.hpp"
#include "app/render/table.hpp"

namespace onegrain::app {

namespace {

/// Words for what follows an option where nobody has found a better one.
std::string in_plain_words(const std::string& type) {
  if (type == "INT" || type == "UINT" || type == "FLOAT") return "NUMBER";
  return type == "TEXT" ? "WORDS" : type;
}

/// "{a,b}" in what the checks of an option say: the words that it takes.
std::vector<std::string> choices_in(const std::string& type) {
  std::vector<std::string> choices;
  const std::size_t open = type.find('{'), close = type.find('}');
  if (open == std::string::npos || close == std::string::npos) return choices;
  for (std::size_t at = open + 1; at < close;) {
    const std::size_t end = std::min(type.find(',', at), close);
    choices.push_back(type.substr(at, end - at));
    at = end + 1;
  }
  return choices;
}

OptionText text_of(const CLI::Option& option) {
  OptionText text;
  const std::string type = option.get_type_name();  // its name, and what its checks say, divided by colons
  text.help = option.get_description();
  text.needed = option.get_required();
  text.many = option.get_items_expected_max() > 1;
  text.choices = choices_in(type);
  if (option.get_positional()) {
    text.names = {option.get_name(true, false)};
    return text;
  }
  for (const std::string& name : option.get_lnames()) text.names.push_back("--" + name);
  for (const std::string& name : option.get_snames()) text.names.push_back("-" + name);
  if (option.get_items_expected_max() == 0) return text;
  for (const std::string& choice : text.choices) text.value += (text.value.empty() ? "" : "|") + choice;
  if (text.value.empty()) text.value = in_plain_words(type.substr(0, type.find(':')));
  text.usual = option.get_default_str();
  return text;
}

std::string place_in_usage(const OptionText& place) {
  const std::string word = place.names.front() + (place.many ? " ..." : "");
  return place.needed ? word : "[" + word + "]";
}

std::string left_column(const OptionText& option) {
  std::string left;
  for (const std::string& name : option.names) left += (left.empty() ? "" : ", ") + name;
  return option.value.empty() ? left : left + " " + option.value;
}

std::string right_column(const OptionText& option) {
  std::string right = option.help;
  if (option.needed && !option.value.empty()) right += "; always needed";
  if (!option.usual.empty()) right += "; otherwise " + option.usual;
  return right;
}

/// Two columns: the right one is broken into lines, below where the left one is long.
std::string in_two_columns(const std::vector<std::pair<std::string, std::string>>& rows, std::size_t columns) {
  std::size_t left = 0;
  for (const auto& row : rows)
    if (width(row.first) <= 24) left = std::max(left, width(row.first));
  const std::size_t margin = std::min(left + 4, columns / 3), room = columns > margin + 20 ? columns - margin : 20;
  const std::string indent(margin, ' ');
  std::string text;
  for (const auto& [first, second] : rows) {
    text += "  " + first;
    const std::size_t used = width(first) + 2;
    text += used + 2 <= margin ? std::string(margin - used, ' ') : "\n" + indent;
    text += wrapped(second, room, indent);
  }
  return text;
}

}  // namespace

Manual manual_of(const CLI::App& program, const std::string& what_for) {
  Manual manual;
  manual.purpose = what_for;
  for (const CLI::Option* option : program.get_options()) manual.options.push_back(text_of(*option));
  for (const Verb& verb : verbs()) {
    VerbText text{verb.name, verb.help, {}, {}, verb.examples};
    for (const CLI::Option* option : program.get_subcommand(verb.name)->get_options()) {
      (option->get_positional() ? text.places : text.options).push_back(text_of(*option));
    }
    const auto is_help = [](const OptionText& option) { return option.names.front() == "--help"; };  // to the end
    std::stable_partition(text.options.begin(), text.options.end(), [&](const OptionText& o) { return !is_help(o); });
    manual.verbs.push_back(std::move(text));
  }
  return manual;
}

std::string help_text(const Manual& manual, std::size_t columns) {
  std::string text = "Usage: onegrain VERB ... [options]\n\n" + wrapped(manual.purpose, columns) + "\nVerbs\n";
  std::vector<std::pair<std::string, std::string>> rows;
  for (const VerbText& verb : manual.verbs) rows.emplace_back(verb.name, verb.help);
  text += in_two_columns(rows, columns) + "\nOptions\n";
  rows.clear();
  for (const OptionText& option : manual.options) rows.emplace_back(left_column(option), right_column(option));
  text += in_two_columns(rows, columns);
  text += "\nExamples\n";
  for (const char* name : {"bench", "rates", "ceiling"}) {
    for (const VerbText& verb : manual.verbs)
      if (verb.name == name && !verb.examples.empty()) {
        text += "  " + verb.examples.front().command + "\n" + std::string(6, ' ') +
                wrapped(verb.examples.front().what, columns - 6, std::string(6, ' '));
      }
  }
  return text + "\n" +
         wrapped("onegrain VERB --help tells more. Rates: C/5, 0.2C, 2C, 1.5 mA, 3 mA/cm2, 160 mA/g.", columns);
}

std::string help_text(const VerbText& verb, std::size_t columns) {
  std::string usage = "Usage: onegrain " + verb.name;
  for (const OptionText& place : verb.places) usage += " " + place_in_usage(place);
  for (const OptionText& option : verb.options)
    if (option.needed) usage += " " + left_column(option);
  std::string text = wrapped(usage + " [options]", columns, "       ") + "\n" + wrapped(verb.help, columns) + "\n";
  std::vector<std::pair<std::string, std::string>> rows;
  for (const OptionText& place : verb.places) {
    std::string help = place.help, list;
    for (const std::string& choice : place.choices) list += (list.empty() ? "; one of " : ", ") + choice;
    rows.emplace_back(place.names.front() + (place.many ? " ..." : ""), help + list);
  }
  text += in_two_columns(rows, columns) + "\nOptions\n";
  rows.clear();
  for (const OptionText& option : verb.options) rows.emplace_back(left_column(option), right_column(option));
  text += in_two_columns(rows, columns);
  if (!verb.examples.empty()) text += "\nExamples\n";
  for (const Example& example : verb.examples)
    text +=
        "  " + example.command + "\n" + std::string(6, ' ') + wrapped(example.what, columns - 6, std::string(6, ' '));
  return text;
}

}  // namespace onegrain::app
