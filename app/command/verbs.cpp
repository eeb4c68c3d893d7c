#include "app/command/verbs.hpp"

#include "app/answer/answers.hpp"
#include "app/command/options.hpp"
#include "app/command/present.hpp"
#include "app/job.hpp"

namespace onegrain::app {

namespace {

/// A verb that says something about the cell of a sheet.
auto about_cell(answer::Answer (*say)(const Request&, const Channels&, Job&)) {
  return [say](const Request& request, const Channels& channels) {
    Job job = load_job(request, channels);
    answer::Answer said = say(request, channels, job);
    complete(said, request, job);
    present(request, channels, said);
  };
}

/// A verb that shows the demo where no sheet is named.
auto about_cell_or_demo(answer::Answer (*say)(const Request&, const Channels&, Job&)) {
  return [say](const Request& request, const Channels& channels) {
    Request asked = request;
    if (asked.files.empty()) asked.files = {"demo"};
    about_cell(say)(asked, channels);
  };
}

/// A verb that needs no sheet.
auto about_program(answer::Answer (*say)(const Request&, const Channels&)) {
  return [say](const Request& request, const Channels& channels) {
    answer::Answer said = say(request, channels);
    complete(said, request);
    present(request, channels, said);
  };
}

}  // namespace

const std::vector<Verb>& verbs() {
  using namespace options;
  static const std::vector<Verb> all = {
      {"check", "is this sheet, card, protocol or data file sound?", {files}, about_program(answer::check)},
      {"bench",
       "the cell that these measurements make, and the current for each C-rate",
       {sheet, output, temperature, electrolyte, at_rate},
       about_cell(answer::bench)},
      {"curve",
       "voltage against capacity and time at the rates asked for",
       {sheet, output, temperature, electrolyte, reaction, rates, direction, from_soc, points, bands},
       about_cell(answer::curve)},
      {"rates",
       "capacity, energy and mean voltage against C-rate",
       {sheet, output, temperature, electrolyte, reaction, rates, direction, both, from_soc, points, bands},
       about_cell(answer::rates)},
      {"follow",
       "a protocol, step by step",
       {sheet, protocol, output, temperature, electrolyte, reaction, from_soc, points},
       about_cell(answer::follow)},
      {"ceiling",
       "the highest charge rate that stays inside every limit, with confidence",
       {sheet, output, temperature, options::ceiling},
       about_cell(answer::ceiling)},
      {"losses",
       "where capacity goes at a rate, and which change at the bench wins most back",
       {sheet, one_rate, output, temperature, electrolyte, reaction, direction},
       about_cell(answer::losses)},
      {"overlay",
       "measured against predicted: the model under the measured current",
       {sheet, data, output, temperature, electrolyte, reaction, from_soc, steps, options::overlay},
       about_cell(answer::overlay)},
      {"balance",
       "capacities of both electrodes and the lithium that they share, from a slow curve",
       {sheet, data, output, temperature, electrolyte, reaction_even, from_soc, steps, search},
       about_cell(answer::balance)},
      {"fit",
       "parameters from measured curves, with intervals, and what cannot be told apart",
       {sheet, data, output, temperature, electrolyte, reaction_even, from_soc, steps, search, options::fit},
       about_cell(answer::fit)},
      {"pulses",
       "resistance, and diffusion in the grains, from measured pulses and rests (GITT)",
       {sheet, data, output, temperature},
       about_cell(answer::pulses)},
      {"spectrum",
       "impedance predicted at states of charge, and which arc is whose",
       {sheet, output, temperature, electrolyte, reaction, options::spectrum},
       about_cell(answer::spectrum)},
      {"page",
       "one file to teach with: the cell at work, and questions, offline in any browser",
       {options::page, temperature},
       about_cell_or_demo(answer::teaching_page)},
      {"cards",
       "the shipped materials, electrolytes and sheets with their sources",
       {card},
       about_program(answer::cards)},
      {"schema",
       "the published form of results, sheets, cards and protocols, for editors and other programs",
       {options::schema},
       about_program(answer::schema)},
  };
  return all;
}

}  // namespace onegrain::app
