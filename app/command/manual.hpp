#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

/// What the program says about its own use. Verbs and options are described where they are made (verbs.cpp,
/// options.cpp); help, manual page and completions are read off them here, so that none can name what another lacks.
namespace onegrain::app {

struct OptionText {
  std::vector<std::string> names;     ///< "--rates"; of what stands without a name the word for it, "SHEET"
  std::string value;                  ///< what follows: "RATES"; empty: nothing does
  std::string help;                   ///< one sentence, without a full stop
  std::string usual;                  ///< what holds where it is not given; empty: nothing to be said
  std::vector<std::string> choices;   ///< the only words that it takes; empty: any
  bool needed = false, many = false;  ///< `many`: may be several, as in FILES
};

struct Example {
  std::string command, what;
};

struct VerbText {
  std::string name, help;
  std::vector<OptionText> places, options;  ///< without a name, and with one
  std::vector<Example> examples;
};

struct Manual {
  std::string purpose;
  std::vector<OptionText> options;  ///< of the program itself
  std::vector<VerbText> verbs;
};

/// Of a program to which every verb has been added.
Manual manual_of(const CLI::App& program, const std::string& purpose);

/// `onegrain --help` and `onegrain VERB --help`, in lines of at most `columns` signs.
std::string help_text(const Manual& manual, std::size_t columns);
std::string help_text(const VerbText& verb, std::size_t columns);

/// The manual page onegrain(1), in the macros of man(7).
std::string manual_page(const Manual& manual);

/// What a shell completes a command line by. @param shell  "bash", "zsh" or "fish"
std::string completions(const Manual& manual, const std::string& shell);

}  // namespace onegrain::app
