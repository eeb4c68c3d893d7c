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
      {"check",
       "is this sheet, card, protocol or data file sound?",
       {files},
       about_program(answer::check),
       {{"onegrain check cell.yaml slow.csv",
         "every fault of a sheet, and the steps that were recognised in measured data"}}},
      {"bench",
       "the cell that these measurements make, and the current for each C-rate",
       {sheet, output, temperature, electrolyte, at_rate},
       about_cell(answer::bench),
       {{"onegrain bench demo", "the shipped demo: its capacity, its N/P, the current for each C-rate"}}},
      {"curve",
       "voltage against capacity and time at the rates asked for",
       {sheet, output, temperature, electrolyte, reaction, rates, direction, from_soc, points, bands},
       about_cell(answer::curve),
       {{"onegrain curve demo --rates C/10,1C --out curves", "two discharges, with plots in curves/report.html"},
        {"onegrain curve demo --rates 1C --charge --out charge.csv", "one charge as a table, in one file"}}},
      {"rates",
       "capacity, energy and mean voltage against C-rate",
       {sheet, output, temperature, electrolyte, reaction, rates, direction, both, from_soc, points, bands},
       about_cell(answer::rates),
       {{"onegrain rates demo --rates C/10,1C,5C", "the capacity that each rate gives"},
        {"onegrain rates demo --both --out rates.html", "charge and discharge, as one page for the browser"}}},
      {"follow",
       "a protocol, step by step",
       {sheet, protocol, output, temperature, electrolyte, reaction, from_soc, points},
       about_cell(answer::follow),
       {{"onegrain follow cell.yaml --protocol protocol.yaml --from-soc 0.5",
         "the steps of a protocol, from half full"}}},
      {"ceiling",
       "the highest charge rate that stays inside every limit, with confidence",
       {sheet, output, temperature, options::ceiling},
       about_cell(answer::ceiling),
       {{"onegrain ceiling demo --samples 256", "how fast a cell may be charged, and how sure that is"},
        {"onegrain ceiling cell.yaml --soc 0.1..0.8 --temperature '10 degC' --staircase --out fast",
         "a charge in steps in the cold, with its protocol"}}},
      {"losses",
       "where capacity goes at a rate, and which change at the bench wins most back",
       {sheet, one_rate, output, temperature, electrolyte, reaction, direction},
       about_cell(answer::losses),
       {{"onegrain losses demo --rate 2C", "what costs capacity at 2C, and what to change at the bench"}}},
      {"overlay",
       "measured against predicted: the model under the measured current",
       {sheet, data, output, temperature, electrolyte, reaction, from_soc, steps, options::overlay},
       about_cell(answer::overlay),
       {{"onegrain overlay cell.yaml slow.csv fast.csv --out overlay", "two measured curves over the predicted ones"}}},
      {"balance",
       "capacities of both electrodes and the lithium that they share, from a slow curve",
       {sheet, data, output, temperature, electrolyte, reaction_even, from_soc, steps, search},
       about_cell(answer::balance),
       {{"onegrain balance cell.yaml slow.csv --rested-at '4.15 V'",
         "which electrode lost material, and how much lithium is gone"}}},
      {"fit",
       "parameters from measured curves, with intervals, and what cannot be told apart",
       {sheet, data, output, temperature, electrolyte, reaction_even, from_soc, steps, search, options::fit},
       about_cell(answer::fit),
       {{"onegrain fit cell.yaml slow.csv fast.csv --free negative.diffusion_time,lithium --out found",
         "two values from two curves, and the new sheet found/fitted.yaml"}}},
      {"pulses",
       "resistance, and diffusion in the grains, from measured pulses and rests (GITT)",
       {sheet, data, output, temperature},
       about_cell(answer::pulses),
       {{"onegrain pulses half.yaml titration.csv", "diffusion in the grains from short currents and long rests"}}},
      {"spectrum",
       "impedance predicted at states of charge, and which arc is whose",
       {sheet, output, temperature, electrolyte, reaction, options::spectrum},
       about_cell(answer::spectrum),
       {{"onegrain spectrum demo --from-soc 0.2,0.5,0.8", "which arc is whose, from 1 mHz to 100 kHz"}}},
      {"page",
       "one file to teach with: the cell at work, and questions, offline in any browser",
       {options::page, temperature},
       about_cell_or_demo(answer::teaching_page),
       {{"onegrain page --out lesson.html", "of the demo"},
        {"onegrain page cell.yaml --out lesson.html", "of a cell of your own"}}},
      {"cards",
       "the shipped materials, electrolytes and sheets with their sources",
       {card, options::file_out},
       about_program(answer::cards),
       {{"onegrain cards", "what is shipped"}, {"onegrain cards demo --out cell.yaml", "a sheet to copy and change"}}},
      {"schema",
       "the published form of results, sheets, cards and protocols, for editors and other programs",
       {options::schema, options::file_out},
       about_program(answer::schema),
       {{"onegrain schema keys", "every key that a sheet, a card or a protocol may have"},
        {"onegrain schema sheet --out sheet.json", "for an editor that checks what you write"}}},
  };
  return all;
}

}  // namespace onegrain::app
