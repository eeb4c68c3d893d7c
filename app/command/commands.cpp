#include "app/command/commands.hpp"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdlib>
#include <new>
#include <ostream>

#include "app/command/data.hpp"
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

/// A number from 0 to 1; "nan", which no comparison catches, is none.
const CLI::Validator state_of_charge(
    [](const std::string& text) {
      double value = 0;
      const bool fine = CLI::detail::lexical_cast(text, value) && value >= 0 && value <= 1;
      return fine ? std::string() : "'" + text + "' is not a state of charge; write a number from 0 to 1";
    },
    "0..1");

const CLI::Validator not_empty(
    [](const std::string& text) { return text.empty() ? std::string("nothing is given") : std::string(); }, "");

void add_sheet(CLI::App& verb, Request& request) {
  verb.add_option_function<std::string>(
          "SHEET", [&request](const std::string& name) { request.files = {name}; },
          "cell sheet (YAML), or the name of a shipped one such as 'demo'")
      ->required();
}

void add_output(CLI::App& verb, Request& request) {
  verb.add_option("--out", request.out, "folder for curves.csv, summary.json and report.html")->check(not_empty);
  verb.add_flag("--json", request.json, "print the summary alone, as JSON");
}

void add_conditions(CLI::App& verb, Request& request) {
  verb.add_option("--temperature", request.temperature, "instead of that of the sheet, such as '10 degC'")
      ->check(not_empty);
  verb.add_option("--electrolyte", request.electrolyte,
                  "uniform: salt stays at its starting concentration; resolved: salt diffuses through the pores")
      ->check(CLI::IsMember({"uniform", "resolved"}))
      ->capture_default_str();
}

void add_start(CLI::App& verb, Request& request) {
  verb.add_option("--from-soc", request.from_soc, "start from this state of charge")->check(state_of_charge);
}

void add_rates(CLI::App& verb, Request& request) {
  verb.add_option("--rates", request.rates, "such as C/10,C/2,1C,2mA,3mA/cm2,160mA/g")->capture_default_str();
  auto* charge = verb.add_flag("--charge", request.charge, "charge from empty");
  verb.add_flag_callback(
          "--discharge", [] {}, "discharge from full (default)")
      ->excludes(charge);
}

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

  auto* check_verb = program.add_subcommand("check", "is this sheet, card, protocol or data file sound?");
  check_verb->add_option("FILES", request.files, "files; a protocol is checked against the sheet named with it")
      ->required();
  check_verb->add_option("--columns", request.columns,
                         "columns of a data file by title, behind the files: time=t/h voltage=U/V current=I/mA; also "
                         "temperature, capacity, "
                         "state, cycle, step; a unit that the title lacks behind a colon, time=Zeit:h; words of the "
                         "state, charge=CHA rest=PAU");
  auto* bench_verb =
      program.add_subcommand("bench", "the cell that these measurements make, and the current for each C-rate");
  auto* curve_verb = program.add_subcommand("curve", "voltage against capacity and time at the rates asked for");
  auto* rates_verb = program.add_subcommand("rates", "capacity, energy and mean voltage against C-rate");
  auto* follow_verb = program.add_subcommand("follow", "a protocol, step by step");
  auto* ceiling_verb =
      program.add_subcommand("ceiling", "the highest charge rate that stays inside every limit, with confidence");
  auto* losses_verb =
      program.add_subcommand("losses", "where capacity goes at a rate, and which change at the bench wins most back");
  auto* overlay_verb =
      program.add_subcommand("overlay", "measured against predicted: the model under the measured current");
  auto* balance_verb = program.add_subcommand(
      "balance", "capacities of both electrodes and the lithium that they share, from a slow curve");
  auto* fit_verb =
      program.add_subcommand("fit", "parameters from measured curves, with intervals, and what cannot be told apart");
  auto* pulses_verb = program.add_subcommand(
      "pulses", "resistance, and diffusion in the grains, from measured pulses and rests (GITT)");
  auto* cards_verb =
      program.add_subcommand("cards", "the shipped materials, electrolytes and sheets with their sources");
  for (auto* verb : {bench_verb, curve_verb, rates_verb, follow_verb}) {
    add_sheet(*verb, request);
    add_output(*verb, request);
    add_conditions(*verb, request);
  }
  for (auto* verb : {curve_verb, rates_verb}) add_rates(*verb, request);
  for (auto* verb : {curve_verb, rates_verb, follow_verb}) {
    add_start(*verb, request);
    verb->add_option("--points", request.points, "moments of each curve in the results")
        ->check(CLI::Range(2, 100000))
        ->capture_default_str();
  }
  add_sheet(*losses_verb, request);
  add_output(*losses_verb, request);
  add_conditions(*losses_verb, request);
  losses_verb->add_option("--rate", request.rate, "the rate to look at, such as 2C or 3 mA")->required();
  auto* losses_charge = losses_verb->add_flag("--charge", request.charge, "charge from empty");
  losses_verb
      ->add_flag_callback(
          "--discharge", [] {}, "discharge from full (default)")
      ->excludes(losses_charge);
  for (auto* verb : {overlay_verb, balance_verb, fit_verb}) {
    add_sheet(*verb, request);
    add_data(*verb, request);
    add_output(*verb, request);
    add_conditions(*verb, request);
    add_start(*verb, request);
    verb->add_option("--steps", request.steps, "steps of the file that take part, as `check` numbers them: 2..4");
  }
  overlay_verb->add_flag("--recognised", request.recognised,
                         "run the protocol that was recognised instead of the measured current");
  overlay_verb->add_option("--smoothing", request.smoothing, "window of dQ/dV and dV/dQ, as a share of the range")
      ->capture_default_str();
  fit_verb->add_option("--free", request.free_values,
                       "what is estimated, such as positive.diffusion_time,contact_resistance,lithium");
  for (auto* verb : {balance_verb, fit_verb}) {
    verb->add_option("--points", request.fit_points, "rows of each file that take part")
        ->check(CLI::Range(20, 5000))
        ->capture_default_str();
    verb->add_option("--starts", request.fit_starts,
                     "starting points of the search, drawn from the spreads of the sheet")
        ->check(CLI::Range(1, 1000))
        ->capture_default_str();
  }
  fit_verb->add_flag("--linear", request.no_profiles, "intervals of the linearised model only");
  add_sheet(*pulses_verb, request);
  add_data(*pulses_verb, request);
  add_output(*pulses_verb, request);
  pulses_verb->add_option("--temperature", request.temperature, "instead of that of the sheet, such as '10 degC'")
      ->check(not_empty);
  add_sheet(*ceiling_verb, request);
  add_output(*ceiling_verb, request);
  ceiling_verb->add_option("--temperature", request.temperature, "instead of that of the sheet, such as '10 degC'")
      ->check(not_empty);
  ceiling_verb->add_option("--soc", request.soc, "the charge: from one state of charge to another")
      ->capture_default_str();
  ceiling_verb->add_option("--margin", request.margin, "how far above lithium's potential the negative must stay")
      ->capture_default_str();
  ceiling_verb
      ->add_option("--samples", request.samples, "plausible cells, drawn from the spreads; 0: the nominal cell only")
      ->check(CLI::Range(0, 100000))
      ->capture_default_str();
  ceiling_verb->add_option("--seed", request.seed, "another number draws other cells")->capture_default_str();
  ceiling_verb->add_option("--threads", request.threads, "0: one for each core; the results are the same")
      ->check(CLI::Range(0, 256))
      ->capture_default_str();
  ceiling_verb->add_flag("--staircase", request.staircase, "also the fastest charge in steps, as a protocol");
  rates_verb->add_flag("--both", request.both, "discharge and charge");
  follow_verb->add_option("--protocol", request.protocol, "protocol file (YAML)")->required();
  cards_verb->add_option("NAME", request.files, "print this card or sheet whole, to copy and change it");
  cards_verb->add_flag("--json", request.json, "print the list as JSON");

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
    if (request.verb == "check") check(request, channels);
    if (request.verb == "bench") bench(request, channels);
    if (request.verb == "curve") curve(request, channels);
    if (request.verb == "rates") rates(request, channels);
    if (request.verb == "follow") follow(request, channels);
    if (request.verb == "ceiling") ceiling(request, channels);
    if (request.verb == "losses") losses(request, channels);
    if (request.verb == "overlay") overlay(request, channels);
    if (request.verb == "balance") balance(request, channels);
    if (request.verb == "fit") fit(request, channels);
    if (request.verb == "pulses") pulses(request, channels);
    if (request.verb == "cards") cards(request, channels);
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
