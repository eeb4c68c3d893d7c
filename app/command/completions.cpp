#include <stdexcept>

#include "app/command/manual.hpp"
#include "params/card/card.hpp"

namespace onegrain::app {

namespace {

/// Enough of a help to choose by: up to the first semicolon, colon or bracket.
std::string brief(const std::string& help) {
  const std::size_t end = help.find_first_of(";:(");
  return help.substr(0, end != std::string::npos && end > 0 && help[end - 1] == ' ' ? end - 1 : end);
}

/// A word between single quotes, for bash, zsh and (which reads \' inside them) fish.
std::string in_quotes(const std::string& text, const std::string& quote = "'\\''") {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? quote : std::string(1, c);
  return out + "'";
}

bool a_folder(const OptionText& option) { return option.value == "FOLDER"; }

/// What may stand for a file without being one: names of shipped sheets, or of all that is shipped.
std::string shipped_names(const std::string& place) {
  std::string names;
  for (const params::ShippedCard& card : params::shipped_cards()) {
    if (place == "NAME" || ((place == "SHEET" || place == "FILES") && card.folder == "cells"))
      names += (names.empty() ? "" : " ") + card.name;
  }
  return names;
}

std::string joined(const std::vector<std::string>& words) {
  std::string all;
  for (const std::string& word : words) all += (all.empty() ? "" : " ") + word;
  return all;
}

/// Words that may stand without an option: choices, or shipped names; files come in addition.
std::string words_of_places(const VerbText& verb) {
  std::string words;
  for (const OptionText& place : verb.places) {
    const std::string more = place.choices.empty() ? shipped_names(place.names.front()) : joined(place.choices);
    if (!more.empty()) words += (words.empty() ? "" : " ") + more;
  }
  return words;
}

bool takes_files(const VerbText& verb) {
  for (const OptionText& place : verb.places)
    if (place.choices.empty() && place.names.front() != "NAME") return true;
  return false;
}

std::string for_bash(const Manual& manual) {
  std::string verbs, cases;
  for (const VerbText& verb : manual.verbs) {
    verbs += (verbs.empty() ? "" : " ") + verb.name;
    std::string options, values;
    for (const OptionText& option : verb.options) {
      options += (options.empty() ? "" : " ") + option.names.front();
      if (option.value.empty()) continue;
      values += "        " + option.names.front() + ") ";
      if (!option.choices.empty()) {
        values += "words=" + in_quotes(joined(option.choices)) + " ;;\n";
      } else {
        values += a_folder(option) ? "folders=1 ;;\n" : "files=1 ;;\n";
      }
    }
    cases += "    " + verb.name + ")\n      options=" + in_quotes(options) +
             "\n      places=" + in_quotes(words_of_places(verb)) +
             "\n      place_files=" + (takes_files(verb) ? "1" : "") + "\n      case $before in\n" + values +
             "        *) words=$places; files=$place_files ;;\n      esac ;;\n";
  }
  std::string own;
  for (const OptionText& option : manual.options) own += " " + option.names.front();
  return "# bash completion of onegrain, written by `onegrain --completions bash`\n"
         "_onegrain() {\n"
         "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} verb=${COMP_WORDS[1]}\n"
         "  local words='' files='' folders='' options='' places='' place_files=''\n"
         "  COMPREPLY=()\n"
         "  if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
         "    mapfile -t COMPREPLY < <(compgen -W " +
         in_quotes(verbs + own) +
         " -- \"$word\")\n    return\n  fi\n"
         "  case $verb in\n" +
         cases +
         "  esac\n"
         "  case $word in -*) words=$options; files=; folders= ;; esac\n"
         "  [ -z \"$words\" ] || mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\")\n"
         "  [ -z \"$files\" ] || mapfile -t -O \"${#COMPREPLY[@]}\" COMPREPLY < <(compgen -f -- \"$word\")\n"
         "  [ -z \"$folders\" ] || mapfile -t -O \"${#COMPREPLY[@]}\" COMPREPLY < <(compgen -d -- \"$word\")\n"
         "  [ -z \"$files$folders\" ] || compopt -o filenames 2>/dev/null\n"
         "}\n"
         "complete -F _onegrain onegrain\n";
}

/// The help of an option inside a specification of zsh.
std::string in_brackets(const std::string& help) {
  std::string out;
  for (const char c : brief(help)) out += c == '[' || c == ']' || c == '\\' ? std::string("\\") + c : std::string(1, c);
  return out;
}

std::string for_zsh(const Manual& manual) {
  std::string verbs, cases, own;
  for (const VerbText& verb : manual.verbs) {
    verbs += "    " + in_quotes(verb.name + ":" + brief(verb.help)) + "\n";
    cases += "    " + verb.name + ")\n      _arguments";
    for (const OptionText& option : verb.options) {
      std::string spec = option.names.front() + "[" + in_brackets(option.help) + "]";
      if (!option.value.empty()) {
        spec += ":" + brief(option.value) + ":";
        if (!option.choices.empty()) {
          spec += "(" + joined(option.choices) + ")";
        } else {
          spec += a_folder(option) ? "_files -/" : "_files";
        }
      }
      cases += " \\\n        " + in_quotes(spec);
    }
    const std::string words = words_of_places(verb);
    std::string action = "_files";
    if (!words.empty())
      action = takes_files(verb) ? "_alternative 'files:file:_files' 'names:name:(" + words + ")'" : "(" + words + ")";
    cases += " \\\n        " + in_quotes("*:" + joined(verb.places.front().names) + ":" + action) + " ;;\n";
  }
  for (const OptionText& option : manual.options)
    own += "    " + in_quotes(option.names.front() + ":" + brief(option.help)) + "\n";
  return "#compdef onegrain\n# zsh completion of onegrain, written by `onegrain --completions zsh`\n"
         "_onegrain() {\n"
         "  local -a verbs own\n  verbs=(\n" +
         verbs + "  )\n  own=(\n" + own +
         "  )\n"
         "  if (( CURRENT == 2 )); then\n    _describe -t verbs verb verbs\n    _describe -o -t options option own\n   "
         " return\n  fi\n"
         "  shift words\n  (( CURRENT-- ))\n"
         "  case $words[1] in\n" +
         cases + "  esac\n}\n_onegrain \"$@\"\n";
}

std::string for_fish(const Manual& manual) {
  const auto quoted = [](const std::string& text) { return in_quotes(text, "\\'"); };
  std::string text = "# fish completion of onegrain, written by `onegrain --completions fish`\n";
  for (const OptionText& option : manual.options)
    text += "complete -c onegrain -n __fish_use_subcommand -l " + option.names.front().substr(2) +
            (option.choices.empty() ? "" : " -x -a " + quoted(joined(option.choices))) + " -d " +
            quoted(brief(option.help)) + "\n";
  for (const VerbText& verb : manual.verbs) {
    text +=
        "complete -c onegrain -f -n __fish_use_subcommand -a " + verb.name + " -d " + quoted(brief(verb.help)) + "\n";
    const std::string here = "complete -c onegrain -n '__fish_seen_subcommand_from " + verb.name + "'";
    const std::string words = words_of_places(verb);
    if (!words.empty()) text += here + (takes_files(verb) ? "" : " -f") + " -a " + quoted(words) + "\n";
    for (const OptionText& option : verb.options) {
      text += here + " -l " + option.names.front().substr(2);
      if (!option.choices.empty()) text += " -x -a " + quoted(joined(option.choices));
      if (!option.value.empty() && option.choices.empty()) {
        text += a_folder(option) ? " -x -a '(__fish_complete_directories)'" : " -r -F";
      }
      text += " -d " + quoted(brief(option.help)) + "\n";
    }
  }
  return text;
}

}  // namespace

std::string completions(const Manual& manual, const std::string& shell) {
  if (shell == "bash") return for_bash(manual);
  if (shell == "zsh") return for_zsh(manual);
  if (shell == "fish") return for_fish(manual);
  throw std::logic_error("no completions for the shell '" + shell + "'");
}

}  // namespace onegrain::app
