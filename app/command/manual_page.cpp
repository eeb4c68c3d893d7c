#include "app/answer/words.hpp"
#include "app/command/manual.hpp"

namespace onegrain::app {

namespace {

/// Text of the page: what roff would act upon is escaped, and a hyphen of a command stays one that can be copied.
std::string roff(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '\\') {
      out += "\\e";
    } else if (c == '-') {
      out += "\\-";
    } else if ((c == '.' || c == '\'') && (out.empty() || out.back() == '\n')) {
      out += std::string("\\&") + c;
    } else {
      out += c;
    }
  }
  return out;
}

/// A sentence has its full stop, unless it ends otherwise.
std::string ended(const std::string& text) { return roff(text) + (!text.empty() && text.back() == '?' ? "\n" : ".\n"); }

std::string described(const std::vector<OptionText>& options) {
  std::string page;
  for (const OptionText& option : options) {
    page += ".TP\n";
    std::string names;
    for (const std::string& name : option.names) names += (names.empty() ? "" : ", ") + ("\\fB" + roff(name) + "\\fR");
    page += names + (option.many && option.value.empty() ? " ..." : "");
    if (!option.value.empty()) page += " \\fI" + roff(option.value) + "\\fR";
    std::string help = option.help;
    if (option.value.empty() && !option.choices.empty()) {
      help += "; one of ";
      for (std::size_t k = 0; k < option.choices.size(); ++k) help += (k ? ", " : "") + option.choices[k];
    }
    if (option.needed && !option.value.empty()) help += "; always needed";
    if (!option.usual.empty()) help += "; otherwise " + option.usual;
    page += "\n" + ended(help);
  }
  return page;
}

std::string of_verb(const VerbText& verb) {
  std::string page = ".SS onegrain " + verb.name;
  for (const OptionText& place : verb.places) {
    const std::string word = place.names.front() + (place.many ? " ..." : "");
    page += " " + (place.needed ? word : "[" + word + "]");
  }
  page += " [options]\n" + ended(verb.help) + described(verb.places) + described(verb.options);
  for (const Example& example : verb.examples) {
    page += ".PP\n" + roff(example.what) + ":\n.PP\n.RS 4\n.EX\n" + roff(example.command) + "\n.EE\n.RE\n";
  }
  return page;
}

}  // namespace

std::string manual_page(const Manual& manual) {
  std::string page = ".\\\" Written by `onegrain --manual` from the verbs and options of the program.\n";
  page += ".TH ONEGRAIN 1 \"\" \"onegrain " ONEGRAIN_VERSION "\" \"User commands\"\n";
  page +=
      ".SH NAME\nonegrain \\- voltage curves, charge rates and losses of lithium\\-ion cells from what the bench knows "
      "of them\n";
  page += ".SH SYNOPSIS\n.B onegrain\n.I VERB\n\\&...\n[options]\n";
  page +=
      ".SH DESCRIPTION\n" + roff(manual.purpose) +
      "\n.PP\nA sheet (YAML) describes the cell: masses, thicknesses, recipes, materials.\n\\fBonegrain cards demo\\fR"
      " prints one to copy.\nA file may be \\- (standard input) or a pipe.\n";
  page += ".SH OPTIONS\n" + described(manual.options);
  page += ".SH VERBS\n";
  for (const VerbText& verb : manual.verbs) page += of_verb(verb);
  page +=
      ".SH EXIT STATUS\n"
      ".TP\n\\fB0\\fR\ndone, and what was to be written has been written.\n"
      ".TP\n\\fB2\\fR\nthe command line is wrong.\n"
      ".TP\n\\fB3\\fR\na file is not sound; every fault is named with its line.\n"
      ".TP\n\\fB4\\fR\nnot completed: the calculation, or the writing of its results; the reason is named.\n";
  page += ".SH CAUTIONS\n";
  for (std::size_t k = 0; k < cautions().size(); ++k) page += (k > 0 ? ".PP\n" : "") + roff(cautions()[k]) + "\n";
  page += ".SH LICENCE\nMIT. \\fBonegrain \\-\\-licences\\fR prints it with those of the libraries.\n";
  return page;
}

}  // namespace onegrain::app
