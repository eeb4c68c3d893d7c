#include "app/commands.hpp"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdlib>
#include <ostream>

#include "model/balance.hpp"
#include "params/rate.hpp"
#include "solver/cvode.hpp"

namespace onegrain::app {

namespace {

constexpr const char* purpose =
    "onegrain predicts voltage curves and rate capability of lithium-ion cells from what the bench knows of them.\n"
    "Predictions guide a test, they do not authorise it.";

void add_sheet(CLI::App& verb, Request& request) {
  verb.add_option("SHEET", request.files, "cell sheet (YAML), or the name of a shipped one such as 'demo'")
      ->required()
      ->expected(1);
}

void add_output(CLI::App& verb, Request& request) {
  verb.add_option("--out", request.out, "folder for curves.csv, summary.json and report.html");
  verb.add_flag("--json", request.json, "print the summary alone, as JSON");
}

void add_conditions(CLI::App& verb, Request& request) {
  verb.add_option("--temperature", request.temperature, "instead of that of the sheet, such as '10 degC'");
  verb.add_option("--electrolyte", request.electrolyte,
                  "uniform: salt stays at its starting concentration; resolved: salt diffuses through the pores")
      ->check(CLI::IsMember({"uniform", "resolved"}))
      ->capture_default_str();
}

void add_start(CLI::App& verb, Request& request) {
  verb.add_option("--from-soc", request.from_soc, "start from this state of charge, 0 to 1")->check(CLI::Range(0.0, 1.0));
}

void add_rates(CLI::App& verb, Request& request) {
  verb.add_option("--rates", request.rates, "such as C/10,C/2,1C,2mA,3mA/cm2,160mA/g")->capture_default_str();
  auto* charge = verb.add_flag("--charge", request.charge, "charge from empty");
  verb.add_flag_callback("--discharge", [] {}, "discharge from full (default)")->excludes(charge);
}

int report_problem(std::ostream& narration, const char* kind, const std::string& what, Status status) {
  narration << kind << what;
  if (what.empty() || what.back() != '\n') narration << '\n';
  return static_cast<int>(status);
}

}  // namespace

int run(const std::vector<std::string>& words, std::ostream& results, std::ostream& narration) {
  Request request;
  request.words = words;
  CLI::App program{purpose, "onegrain"};
  program.set_version_flag("--version", "onegrain " ONEGRAIN_VERSION);
  program.require_subcommand(1);
  program.footer("onegrain VERB --help tells more. Rates: C/5, 0.2C, 2C, 1.5 mA, 3 mA/cm2, 160 mA/g.");

  auto* check_verb = program.add_subcommand("check", "is this sheet, card, protocol or data file sound?");
  check_verb->add_option("FILES", request.files, "files; a protocol is checked against the sheet named with it")->required();
  auto* bench_verb = program.add_subcommand("bench", "the cell that these measurements make, and the current for each C-rate");
  auto* curve_verb = program.add_subcommand("curve", "voltage against capacity and time at the rates asked for");
  auto* rates_verb = program.add_subcommand("rates", "capacity, energy and mean voltage against C-rate");
  auto* follow_verb = program.add_subcommand("follow", "a protocol, step by step");
  auto* cards_verb = program.add_subcommand("cards", "the shipped materials, electrolytes and sheets with their sources");
  for (auto* verb : {bench_verb, curve_verb, rates_verb, follow_verb}) {
    add_sheet(*verb, request);
    add_output(*verb, request);
    add_conditions(*verb, request);
  }
  for (auto* verb : {curve_verb, rates_verb}) add_rates(*verb, request);
  for (auto* verb : {curve_verb, rates_verb, follow_verb}) {
    add_start(*verb, request);
    verb->add_option("--points", request.points, "moments of each curve in the results")->check(CLI::Range(2, 100000))->capture_default_str();
  }
  rates_verb->add_flag("--both", request.both, "discharge and charge");
  follow_verb->add_option("--protocol", request.protocol, "protocol file (YAML)")->required();
  cards_verb->add_option("NAME", request.files, "print this card or sheet whole, to copy and change it");
  cards_verb->add_flag("--json", request.json, "print the list as JSON");

  const auto parse = [&]() -> std::optional<int> {
    try {
      std::vector<std::string> reversed(words.rbegin(), words.rend());  // as CLI11 wants them
      program.parse(reversed);
      return std::nullopt;
    } catch (const CLI::Success& wish) {  // --help, --version
      program.exit(wish, results, narration);
      return static_cast<int>(Status::done);
    } catch (const CLI::ParseError& error) {
      narration << "onegrain: " << error.what() << "\nonegrain --help lists the verbs, onegrain VERB --help their options.\n";
      return static_cast<int>(Status::wrong_command_line);
    }
  };
  if (const auto status = parse()) return *status;

  const Channels channels{results, narration, isatty(STDOUT_FILENO) != 0 && std::getenv("NO_COLOR") == nullptr};
  request.verb = program.get_subcommands().front()->get_name();
  try {
    if (request.verb == "check") check(request, channels);
    if (request.verb == "bench") bench(request, channels);
    if (request.verb == "curve") curve(request, channels);
    if (request.verb == "rates") rates(request, channels);
    if (request.verb == "follow") follow(request, channels);
    if (request.verb == "cards") cards(request, channels);
    results.flush();
    if (!results) throw NotCompleted("the results could not be written to standard output");
    return static_cast<int>(Status::done);
  } catch (const CommandLineError& error) {
    return report_problem(narration, "onegrain: ", error.what(), Status::wrong_command_line);
  } catch (const params::RateError& error) {
    return report_problem(narration, "onegrain: ", error.what(), Status::wrong_command_line);
  } catch (const UnsoundInput& error) {
    return report_problem(narration, "", error.what(), Status::unsound_input);
  } catch (const model::ImpossibleBalance& error) {
    return report_problem(narration, "onegrain: impossible cell: ", error.what(), Status::unsound_input);
  } catch (const std::exception& error) {  // NotCompleted, IntegrationFailure, and what nobody foresaw
    return report_problem(narration, "onegrain: not completed: ", error.what(), Status::not_completed);
  }
}

}  // namespace onegrain::app
