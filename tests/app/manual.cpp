#include "app/command/manual.hpp"

#include <algorithm>

#include "app/command/verbs.hpp"
#include "tests/app/helpers.hpp"

// What the program says about its own use: help, manual page, completions, licences. What they must name is read off
// the help of each verb here, and off the words that each verb takes.

using namespace app_test;

namespace {

/// The options that a verb's help lists, "--rates", one a line that begins with two blanks.
std::vector<std::string> options_of(const std::string& verb) {
  std::istringstream help(program({verb, "--help"}).results);
  std::vector<std::string> options;
  for (std::string line; std::getline(help, line);)
    if (line.rfind("  --", 0) == 0) options.push_back(line.substr(2, line.find_first_of(" ,", 2) - 2));
  return options;
}

bool takes_an_option(const std::string& verb, const std::string& option) {
  const std::string said = program({verb, option, "--no-such-option"}).narration;
  return said.find("'" + option + "' is no option") == std::string::npos;
}

std::string without_backslashes(std::string text) {
  text.erase(std::remove(text.begin(), text.end(), '\\'), text.end());
  return text;
}

}  // namespace

TEST_CASE("the help of a verb lists the options that the verb takes, in words of the trade") {
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    const std::string name = verb.name, help = program({name, "--help"}).results;
    CAPTURE(name, help);
    const std::vector<std::string> options = options_of(name);
    CHECK(options.size() >= 2);
    for (const std::string& option : options) CHECK(takes_an_option(name, option));
    CHECK_FALSE(takes_an_option(name, "--no-such-thing"));
    CHECK_THAT(help, HasText(verb.help));
    for (const char* jargon : {"TEXT", "INT ", "UINT", "FLOAT", "REQUIRED", "Excludes", "OPTIONS", ":{"})
      CHECK(help.find(jargon) == std::string::npos);
    std::istringstream lines(help);
    for (std::string line; std::getline(lines, line);) CHECK(line.size() <= 101);
  }
  CHECK_THAT(program({"rates", "--help"}).results, HasText("--electrolyte uniform|resolved"));
  CHECK_THAT(program({"rates", "--help"}).results, HasText("--temperature TEMPERATURE"));
  CHECK_THAT(program({"follow", "--help"}).results, HasText("Usage: onegrain follow SHEET --protocol FILE [options]"));
}

TEST_CASE("the manual page and the completions name every verb and every option") {
  const std::string page = without_backslashes(program({"--manual"}).results);
  const std::string bash = program({"--completions", "bash"}).results, zsh = program({"--completions", "zsh"}).results,
                    fish = program({"--completions", "fish"}).results;
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    const std::string name = verb.name;
    CAPTURE(name);
    const std::size_t at = page.find("\n.SS onegrain " + name + " ");
    REQUIRE(at != std::string::npos);
    const std::string part = page.substr(at, page.find("\n.S", at + 4) - at);
    CHECK(zsh.find("\n    '" + name + ":") != std::string::npos);
    CHECK(fish.find("__fish_use_subcommand -a " + name + " ") != std::string::npos);
    CHECK(bash.find("\n    " + name + ")\n") != std::string::npos);
    for (const std::string& option : options_of(name)) {
      CAPTURE(option);
      CHECK(part.find("fB" + option + "fR") != std::string::npos);
      CHECK(zsh.find("'" + option + "[") != std::string::npos);
      CHECK(fish.find("from " + name + "' -l " + option.substr(2) + " ") != std::string::npos);
    }
    for (const onegrain::app::Example& example : verb.examples) CHECK_THAT(part, HasText(example.command));
  }
  // groff_man(7): a line that begins with a full stop or an apostrophe is a request; these are those of man(7)
  std::istringstream lines(program({"--manual"}).results);
  for (std::string line; std::getline(lines, line);) {
    if (line.empty() || (line[0] != '.' && line[0] != '\'')) continue;
    const std::string request = line.substr(0, line.find(' '));
    CAPTURE(line);
    CHECK(
        std::set<std::string>{".TH", ".SH", ".SS", ".TP", ".PP", ".RS", ".RE", ".EX", ".EE", ".B", ".I", ".\\\""}.count(
            request) == 1);
  }
  CHECK(program({"--completions", "csh"}).status == 2);
}

TEST_CASE("bash completes verbs, options, the words that an option takes, and shipped names") {
  const Folder folder;
  folder.write("completion", program({"--completions", "bash"}).results);
  folder.write("cell-of-mine.yaml", "");
  const auto completed = [](const std::string& words, int at) {
    const std::string script = "source ./completion; COMP_WORDS=(" + words + "); COMP_CWORD=" + std::to_string(at) +
                               "; _onegrain; printf '%s\\n' \"${COMPREPLY[@]}\"";
    std::istringstream lines(shell("bash -c " + quoted(script)).results);
    std::set<std::string> found;
    for (std::string line; std::getline(lines, line);) found.insert(line);
    return found;
  };
  CHECK(completed("onegrain ra", 1) == std::set<std::string>{"rates"});
  CHECK(completed("onegrain --li", 1) == std::set<std::string>{"--licences"});
  CHECK(completed("onegrain rates --elec", 2) == std::set<std::string>{"--electrolyte"});
  CHECK(completed("onegrain rates demo --electrolyte ''", 4) == std::set<std::string>{"resolved", "uniform"});
  CHECK(completed("onegrain rates cell-of", 2) == std::set<std::string>{"cell-of-mine.yaml"});
  CHECK(completed("onegrain rates demo_h", 2) == std::set<std::string>{"demo_half_cell"});
  CHECK(completed("onegrain cards graph", 2).count("graphite") == 1);
  CHECK(completed("onegrain schema ''", 2) == std::set<std::string>{"card", "keys", "protocol", "sheet", "summary"});
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    const std::vector<std::string> options = options_of(verb.name);
    CAPTURE(verb.name);
    CHECK(completed("onegrain " + std::string(verb.name) + " --", 2) ==
          std::set<std::string>(options.begin(), options.end()));
  }
}

TEST_CASE("the examples of the help are command lines that the program takes") {
  for (const onegrain::app::Verb& verb : onegrain::app::verbs()) {
    CHECK_FALSE(verb.examples.empty());
    for (const onegrain::app::Example& example : verb.examples) {
      const Folder folder;
      CAPTURE(example.command);
      CHECK(example.command.rfind("onegrain " + std::string(verb.name), 0) == 0);
      if (std::string(verb.name) == "ceiling") continue;  // README.md runs it, for some seconds
      const Outcome outcome =
          shell(quoted(ONEGRAIN_PROGRAM) + example.command.substr(std::string("onegrain").size()) + " >/dev/null");
      CAPTURE(outcome.results);
      const bool without_files = example.command.find(".yaml ") == std::string::npos;  // others: no such files here
      CHECK(outcome.status == (without_files ? 0 : 3));
    }
  }
}

TEST_CASE(
    "the licences of all that the program is made of are printed whole, and that of the drawing goes with a page") {
  const std::string text = program({"--licences"}).results;
  for (const char* phrase :
       {"MIT License", "Mozilla Public License Version 2.0", "Boost Software License - Version 1.0",
        "Lawrence Livermore National Security", "Victor Zverovich", "Niels Lohmann", "University of Cincinnati",
        "Ingo Berg", "Jesse Beder", "Mike Bostock", "GCC Runtime Library Exception"})
    CHECK_THAT(text, HasText(phrase));
  const Folder folder;
  REQUIRE(program({"rates", "demo", "--rates", "1C", "--out", "page.html"}).status == 0);
  const std::string page = folder.read("page.html");
  CHECK_THAT(page, HasText("Permission to use, copy, modify, and/or distribute this software for any purpose"));
  CHECK_THAT(page, HasText("onegrain --licences"));
}
