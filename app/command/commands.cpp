#include "app/command/commands.hpp"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdlib>
#include <new>
#include <ostream>

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
    "onegrain predicts voltage curves and rate capability of lithium-ion cells from what the bench knows of them.\n"
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
  if (verbs.empty()) throw CLI::ParseError("'" + first + "' is no verb", CLI::ExitCodes::ExtrasError);
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

}  // namespace

int run(const std::vector<std::string>& words, std::ostream& to_results, std::ostream& to_narration) {
  Screen results(to_results), narration(to_narration);
  const params::StreamsOfRun streams;
  Request request;
  request.words = words;
  CLI::App program{purpose, "onegrain"};
  program.set_version_flag("--version", "onegrain " ONEGRAIN_VERSION);
  program.require_subcommand(1);
  program.footer("onegrain VERB --help tells more. Rates: C/5, 0.2C, 2C, 1.5 mA, 3 mA/cm2, 160 mA/g.");

  for (const Verb& verb : verbs()) {
    CLI::App* command = program.add_subcommand(verb.name, verb.help);
    for (const auto add : verb.options) add(*command, request);
  }

  const auto parse = [&]() -> std::optional<int> {
    try {
      require_known(program, words);
      std::vector<std::string> reversed(words.rbegin(), words.rend());  // as CLI11 wants them
      program.parse(reversed);
      return std::nullopt;
    } catch (const CLI::Success& wish) {  // --help, --version
      program.exit(wish, results, narration);
      return finished(results, narration);
    } catch (const CLI::ParseError& error) {
      narration << "onegrain: " << error.what()
                << "\nonegrain --help lists the verbs, onegrain VERB --help their options.\n";
      return static_cast<int>(Status::wrong_command_line);
    }
  };
  if (const auto status = parse()) return *status;

  const Channels channels{results, narration, isatty(STDOUT_FILENO) != 0 && std::getenv("NO_COLOR") == nullptr,
                          isatty(STDERR_FILENO) != 0};
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
