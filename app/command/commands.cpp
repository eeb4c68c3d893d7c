#include "app/command/commands.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdlib>
#include <iostream>
#include <new>
#include <ostream>

#include "app/command/licences.hpp"
#include "app/command/manual.hpp"
#include "app/command/verbs.hpp"
#include "app/render/screen.hpp"
#include "model/balance.hpp"
#include "params/sheet/rate.hpp"
#include "params/text/faults.hpp"
#include "params/text/stream.hpp"
#include "solver/ode/cvode.hpp"

namespace onegrain::app {

namespace {

constexpr const char* purpose =
    "onegrain predicts voltage curves and rate capability of lithium-ion cells from what the bench knows of them. "
    "Predictions guide a test, they do not authorise it.";

int report_problem(std::ostream& narration, const char* kind, const std::string& what, Status status) {
  narration << kind << what;
  if (what.empty() || what.back() != '\n') narration << '\n';
  return static_cast<int>(status);
}

/// @throws CLI::ParseError unless the first word is a verb, and every option one of its own, or the first one of the
/// program
void require_known(const CLI::App& program, const std::vector<std::string>& words) {
  const std::string first = words.empty() ? "" : words.front();
  if (first.empty()) throw CLI::ParseError("no verb is given", CLI::ExitCodes::RequiredError);
  if (first.front() == '-') {
    if (program.get_option_no_throw(first) == nullptr) {
      throw CLI::ParseError("'" + first + "' is no option of onegrain itself; the verb comes first",
                            CLI::ExitCodes::ExtrasError);
    }
    return;
  }
  const auto verbs = program.get_subcommands([&](const CLI::App* verb) { return verb->check_name(first); });
  if (verbs.empty()) {
    std::vector<std::string> names;
    for (const CLI::App* verb : program.get_subcommands({})) names.push_back(verb->get_name());
    const std::string near = params::nearest(first, names);
    throw CLI::ParseError("'" + first + "' is no verb" + (near.empty() ? "" : "; did you mean '" + near + "'?"),
                          CLI::ExitCodes::ExtrasError);
  }
  std::vector<std::string> known;
  for (const CLI::Option* option : verbs.front()->get_options()) {
    for (const std::string& name : option->get_lnames()) known.push_back("--" + name);
  }
  for (std::size_t k = 1; k < words.size(); ++k) {
    const std::string option = words[k].substr(0, words[k].find('='));
    if (option.rfind("--", 0) != 0 || option.size() == 2 ||
        std::find(known.begin(), known.end(), option) != known.end())
      continue;
    const std::string near = params::nearest(option, known);
    throw CLI::ParseError(
        "'" + option + "' is no option of '" + first + "'" + (near.empty() ? "" : "; did you mean '" + near + "'?"),
        CLI::ExitCodes::ExtrasError);
  }
}

/// The status of a call that has printed all it has to say.
int finished(std::ostream& results, std::ostream& narration) {
  results.flush();
  if (results) return static_cast<int>(Status::done);
  return report_problem(narration, "onegrain: not completed: ", "the results could not be written to standard output",
                        Status::not_completed);
}

/// Signs of a line that a person reads on a terminal; more than 100 are hard to read, fewer than 40 leave no room.
std::size_t columns_of(const std::ostream& to) {
  winsize size{};
  if (&to != &std::cout || isatty(STDOUT_FILENO) == 0 || ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0 ||
      size.ws_col == 0)
    return 100;
  return std::clamp<std::size_t>(size.ws_col, 40, 100);
}

bool narration_is_watched() {
  const char* terminal = std::getenv("TERM");
  return isatty(STDERR_FILENO) != 0 && (terminal == nullptr || std::string(terminal) != "dumb");
}

void add_verbs(CLI::App& program, Request& request) {
  program.set_help_flag("--help,-h", "what the program can do; behind a verb, what that takes");
  program.set_version_flag("--version", "onegrain " ONEGRAIN_VERSION, "its version");
  program.add_flag_callback(
      "--licences", [] {}, "the licences of the program and of the libraries in it");
  program.add_flag_callback(
      "--manual", [] {}, "the manual page, for man");
  program.add_option("--completions", "what a shell completes command lines by, for its folder of completions")
      ->check(CLI::IsMember({"bash", "zsh", "fish"}));
  program.require_subcommand(0, 1);
  for (const Verb& verb : verbs()) {
    CLI::App* command = program.add_subcommand(verb.name, verb.help);
    command->set_help_flag("--help,-h", "this help");
    for (const auto add : verb.options) add(*command, request);
    command->add_flag("--quiet", request.quiet, "say nothing beside the results but warnings and errors");
  }
}

/// What is asked of the program itself, without a verb. @return false if that is nothing
bool tell_about_itself(const CLI::App& program, std::ostream& results) {
  if (program.count("--licences") > 0) {
    results << licences();
  } else if (program.count("--manual") > 0) {
    results << manual_page(manual_of(program, purpose));
  } else if (program.count("--completions") > 0) {
    results << completions(manual_of(program, purpose), program["--completions"]->as<std::string>());
  } else {
    return false;
  }
  return true;
}

/// The help of the program, or of the verb that comes first.
std::string help_asked_for(const CLI::App& program, const std::vector<std::string>& words, std::size_t columns) {
  const Manual manual = manual_of(program, purpose);
  for (const VerbText& verb : manual.verbs)
    if (!words.empty() && verb.name == words.front()) return help_text(verb, columns);
  return help_text(manual, columns);
}

}  // namespace

int run(const std::vector<std::string>& words, std::ostream& to_results, std::ostream& to_narration) {
  Screen results(to_results), narration(to_narration);
  const params::StreamsOfRun streams;
  Request request;
  request.words = words;
  CLI::App program{purpose, "onegrain"};
  add_verbs(program, request);
  const std::size_t columns = columns_of(to_results);

  const auto parse = [&]() -> std::optional<int> {
    try {
      require_known(program, words);
      std::vector<std::string> reversed(words.rbegin(), words.rend());  // as CLI11 wants them
      program.parse(reversed);
      if (!program.get_subcommands().empty()) return std::nullopt;
      if (!tell_about_itself(program, results))
        throw CLI::ParseError("no verb is given", CLI::ExitCodes::RequiredError);
      return finished(results, narration);
    } catch (const CLI::CallForHelp&) {
      results << help_asked_for(program, words, columns);
      return finished(results, narration);
    } catch (const CLI::Success& wish) {  // --version
      program.exit(wish, results, narration);
      return finished(results, narration);
    } catch (const CLI::ParseError& error) {
      narration << "onegrain: " << error.what()
                << "\nonegrain --help lists the verbs, onegrain VERB --help their options.\n";
      return static_cast<int>(Status::wrong_command_line);
    }
  };
  if (const auto status = parse()) return *status;

  const Channels channels{results, narration, narration_is_watched() && !request.quiet, request.quiet, columns};
  request.verb = program.get_subcommands().front()->get_name();
  try {
    for (const Verb& verb : verbs())
      if (request.verb == verb.name) verb.run(request, channels);
    return finished(results, narration);
  } catch (const CommandLineError& error) {
    return report_problem(narration, "onegrain: ", error.what(), Status::wrong_command_line);
  } catch (const params::RateError& error) {
    return report_problem(narration, "onegrain: ", error.what(), Status::wrong_command_line);
  } catch (const UnsoundInput& error) {
    return report_problem(narration, "", error.what(), Status::unsound_input);
  } catch (const model::ImpossibleBalance& error) {
    return report_problem(narration, "onegrain: impossible cell: ", error.what(), Status::unsound_input);
  } catch (const std::bad_alloc&) {
    to_narration << no_memory << std::flush;
    return static_cast<int>(Status::not_completed);
  } catch (const std::exception& error) {  // NotCompleted, IntegrationFailure, and what nobody foresaw
    return report_problem(narration, "onegrain: not completed: ", error.what(), Status::not_completed);
  }
}

}  // namespace onegrain::app
