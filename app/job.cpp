#include "app/job.hpp"

#include <ostream>

#include "app/result_file.hpp"
#include "app/result_folder.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app {

namespace {

/// Warnings of the reader that the bench does not give in its own words.
std::vector<std::string> for_the_answer(const params::Faults& faults) {
  std::vector<std::string> warnings;
  for (params::Fault fault : faults.sorted()) {
    if (fault.severity != params::Severity::warning || fault.path == "maximum_concentration") continue;
    fault.severity = params::Severity::error;  // without the word: it stands among warnings
    warnings.push_back(params::valid_utf8(fault.text()));
  }
  return warnings;
}

/// Estimates try hundreds of curves with an even reaction, and say what the resolved one would move.
model::Reaction reaction_of(const Request& request) {
  const bool estimates = request.verb == "fit" || request.verb == "balance";
  const std::string& asked = request.reaction;
  if (estimates && asked == "uneven")
    throw CommandLineError("--reaction uneven: " + request.verb +
                           " takes the reaction as even, and says how far the resolved one would move the fitted "
                           "curves; where that is much, fit curves at lower rates");
  return asked == "even" || (asked.empty() && estimates) ? model::Reaction::even : model::Reaction::uneven;
}

}  // namespace

Job load_job(const Request& request, const Channels& channels) {
  params::Loaded<params::Sheet> loaded = params::load_sheet(request.files.front());
  if (!loaded.value) throw UnsoundInput(loaded.faults.text());
  channels.narration << loaded.faults.text();  // warnings
  if (!request.out.empty() && is_one_file(request.out)) {
    if (request.verb == "fit" || request.verb == "balance" || request.staircase)
      throw CommandLineError("--out '" + request.out + "': " + (request.staircase ? "--staircase" : request.verb) +
                             " writes a " + (request.staircase ? "protocol" : "sheet") + " too; give a folder");
    require_new_file(request.out);
  } else if (!request.out.empty()) {  // before the calculation, which may take long
    require_writable(request.out);
    std::vector<std::string> inputs(request.files.begin(), request.files.end());
    if (!request.protocol.empty()) inputs.push_back(request.protocol);
    for (const params::SourceFile& file : loaded.value->files) {
      if (!file.shipped) inputs.push_back(file.name);
    }
    require_inputs_kept(request.out, inputs);
  }

  params::Sheet sheet = std::move(*loaded.value);
  if (!request.temperature.empty()) {
    try {
      params::Value& temperature = sheet.temperature;
      temperature.si = params::parse<params::Temperature>(request.temperature).si();
      temperature.written = request.temperature;
      temperature.source = "command line";
    } catch (const params::QuantityError& error) {
      throw CommandLineError("--temperature '" + request.temperature + "': " + error.what());
    }
    if (!(sheet.temperature.si >= params::coldest && sheet.temperature.si <= params::hottest)) {
      throw CommandLineError("--temperature '" + request.temperature + "': outside -60 to 120 degC");
    }
  }
  params::Bench bench = params::bench(sheet);
  model::Cell cell = params::to_cell(sheet);
  const params::RateBase base = params::rate_base(sheet, model::one_hour_charge(cell, bench.window));
  return {std::move(sheet),
          std::move(bench),
          std::move(cell),
          base,
          request.electrolyte == "resolved" ? model::ElectrolyteModel::resolved : model::ElectrolyteModel::uniform,
          reaction_of(request),
          for_the_answer(loaded.faults)};
}

}  // namespace onegrain::app
