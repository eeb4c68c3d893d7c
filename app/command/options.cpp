#include "app/command/options.hpp"

#include <CLI/CLI.hpp>

#include "app/command/data.hpp"

namespace onegrain::app::options {

namespace {

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

}  // namespace

void sheet(CLI::App& verb, Request& request) {
  verb.add_option_function<std::string>(
          "SHEET", [&request](const std::string& name) { request.files = {name}; },
          "cell sheet (YAML), or the name of a shipped one such as 'demo'")
      ->required();
}

void files(CLI::App& verb, Request& request) {
  verb.add_option("FILES", request.files, "files; a protocol is checked against the sheet named with it")->required();
  verb.add_option("--columns", request.columns,
                  "columns of a data file by title, behind the files: time=t/h voltage=U/V current=I/mA; also "
                  "temperature, capacity, state, cycle, step; a unit that the title lacks behind a colon, time=Zeit:h; "
                  "words of the state, charge=CHA rest=PAU")
      ->type_name("WHAT=TITLE ...");
  verb.add_flag("--json", request.json, "print what was found as JSON: faults, recognised steps, doubtful rows");
}

void data(CLI::App& verb, Request& request) { add_data(verb, request); }

void output(CLI::App& verb, Request& request) {
  verb.add_option("--out", request.out,
                  "folder for report.html, curves.csv and summary.json; a name that ends in .html, .csv or .json is "
                  "that one file alone")
      ->type_name("FOLDER")
      ->check(not_empty);
  verb.add_flag("--json", request.json, "print the summary alone, as JSON");
}

void file_out(CLI::App& verb, Request& request) {
  verb.add_option("--out", request.out, "write it into this file, which must not be there yet, instead of printing it")
      ->type_name("FILE")
      ->check(not_empty);
}

void temperature(CLI::App& verb, Request& request) {
  verb.add_option("--temperature", request.temperature, "instead of that of the sheet, such as '10 degC'")
      ->type_name("TEMPERATURE")
      ->check(not_empty);
}

void electrolyte(CLI::App& verb, Request& request) {
  verb.add_option("--electrolyte", request.electrolyte,
                  "uniform: salt stays at its starting concentration; resolved: salt diffuses through the pores")
      ->check(CLI::IsMember({"uniform", "resolved"}))
      ->capture_default_str();
}

namespace {
void add_reaction(CLI::App& verb, Request& request, const char* usual) {
  verb.add_option("--reaction", request.reaction,
                  "even: one grain stands for a whole coating; uneven: the reaction resolved over its depth")
      ->check(CLI::IsMember({"even", "uneven"}))
      ->default_str(usual);
}
}  // namespace

void reaction(CLI::App& verb, Request& request) { add_reaction(verb, request, "uneven"); }
void reaction_even(CLI::App& verb, Request& request) { add_reaction(verb, request, "even"); }

void from_soc(CLI::App& verb, Request& request) {
  verb.add_option("--from-soc", request.from_soc, "start from this state of charge, such as 0.5")
      ->type_name("0..1")
      ->check(state_of_charge);
}

void points(CLI::App& verb, Request& request) {
  verb.add_option("--points", request.points, "moments of each curve in the results, 2 to 100000")
      ->type_name("NUMBER")
      ->check(CLI::Range(2, 100000))
      ->capture_default_str();
}

void rates(CLI::App& verb, Request& request) {
  verb.add_option_function<std::vector<std::string>>(
          "--rates",
          [&request](const std::vector<std::string>& lists) {
            request.rates.clear();
            for (std::size_t k = 0; k < lists.size(); ++k) request.rates += (k > 0 ? "," : "") + lists[k];
          },
          "such as C/10,C/2,1C,2mA,3mA/cm2,160mA/g; given more than once, all of them")
      ->expected(1)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll)
      ->allow_extra_args(false)
      ->type_name("RATES")
      ->default_str(request.rates);
}

void direction(CLI::App& verb, Request& request) {
  auto* charge = verb.add_flag("--charge", request.charge, "charge from empty");
  verb.add_flag_callback(
          "--discharge", [] {}, "discharge from full (default)")
      ->excludes(charge);
}

void both(CLI::App& verb, Request& request) { verb.add_flag("--both", request.both, "discharge and charge"); }

void protocol(CLI::App& verb, Request& request) {
  verb.add_option("--protocol", request.protocol, "protocol file (YAML)")->type_name("FILE")->required();
}

void one_rate(CLI::App& verb, Request& request) {
  verb.add_option("--rate", request.rate, "the rate to look at, such as 2C or 3 mA")->type_name("RATE")->required();
}

void at_rate(CLI::App& verb, Request& request) {
  verb.add_option("--rate", request.at_rate, "the rate at which it counts what second phases of a powder cost")
      ->type_name("RATE")
      ->capture_default_str();
  verb.add_option("--for", request.wanted,
                  "which coating to draw: 'n_to_p = 1.10', 'areal_capacity = 2 mAh/cm2', 'negative.porosity = 30 %'; "
                  "with a tolerance behind it, '+- 0.05', how far loading or thickness may be off")
      ->check(not_empty)
      ->expected(1)
      ->take_all();
}

void steps(CLI::App& verb, Request& request) {
  verb.add_option("--steps", request.steps, "steps of the file that take part, as `check` numbers them: 2..4")
      ->type_name("STEPS");
  verb.add_option("--rested-at", request.rested_at,
                  "voltage at rest before the data, '4.15 V', or a file of measured data that ends with that rest")
      ->type_name("VOLTAGE|FILE")
      ->check(not_empty)
      ->excludes("--from-soc");
}

void overlay(CLI::App& verb, Request& request) {
  verb.add_flag("--recognised", request.recognised,
                "run the protocol that was recognised instead of the measured current");
  verb.add_option("--smoothing", request.smoothing, "window of dQ/dV and dV/dQ, as a share of the range")
      ->type_name("SHARE")
      ->capture_default_str();
}

void search(CLI::App& verb, Request& request) {
  verb.add_option("--points", request.fit_points, "rows of each file that take part, 20 to 5000")
      ->type_name("NUMBER")
      ->check(CLI::Range(20, 5000))
      ->capture_default_str();
  verb.add_option("--starts", request.fit_starts, "starting points of the search, drawn from the spreads of the sheet")
      ->type_name("NUMBER")
      ->check(CLI::Range(1, 1000))
      ->capture_default_str();
}

void fit(CLI::App& verb, Request& request) {
  verb.add_option("--free", request.free_values,
                  "what is estimated, such as positive.diffusion_time,contact_resistance,lithium")
      ->type_name("NAMES");
  verb.add_flag("--linear", request.no_profiles, "intervals of the linearised model only");
}

void spectrum(CLI::App& verb, Request& request) {
  verb.add_option_function<std::vector<std::string>>(
      "DATA",
      [&request](const std::vector<std::string>& files) {
        request.files.insert(request.files.end(), files.begin(), files.end());
      },
      "measured spectra, to be laid over the prediction: Battery Data Format, or other delimited text");
  verb.add_option("--columns", request.columns,
                  "columns of the data by title, behind the files: frequency=f/Hz real=Re(Z)/Ohm imaginary=-Im(Z)/Ohm, "
                  "or magnitude= and phase=")
      ->type_name("WHAT=TITLE ...");
  verb.add_option("--from-soc", request.states,
                  "states of charge at which the cell rests, such as 0.2,0.5,0.8; of measured spectra one, or one for "
                  "each; 0.5 unless told")
      ->type_name("NUMBERS");
  verb.add_option("--frequencies", request.frequencies, "in hertz: a range, or a list such as 0.1,1,10")
      ->type_name("FROM..TO")
      ->capture_default_str();
  verb.add_option("--per-decade", request.per_decade, "frequencies in every decade of a range")
      ->type_name("NUMBER")
      ->check(CLI::Range(1, 200))
      ->capture_default_str();
}

namespace {

/// Of what draws plausible cells.
void drawing(CLI::App& verb, Request& request) {
  verb.add_option("--seed", request.seed, "another number draws other cells")
      ->type_name("NUMBER")
      ->capture_default_str();
  verb.add_option("--threads", request.threads, "0: one for each core; the results are the same")
      ->type_name("NUMBER")
      ->check(CLI::Range(0, 256))
      ->capture_default_str();
}

}  // namespace

void ceiling(CLI::App& verb, Request& request) {
  verb.add_option("--soc", request.soc, "the charge: from one state of charge to another")
      ->type_name("FROM..TO")
      ->capture_default_str();
  verb.add_option("--margin", request.margin, "how far above lithium's potential the negative must stay")
      ->type_name("VOLTAGE")
      ->capture_default_str();
  verb.add_option("--samples", request.samples, "plausible cells at most, and at least 128; 0: the nominal cell only")
      ->type_name("NUMBER")
      ->check(CLI::Range(0, 100000))
      ->capture_default_str();
  verb.add_option("--within", request.within,
                  "cells are added until the sampling error of the rate (half of its 95 % interval) is below this")
      ->type_name("SHARE")
      ->capture_default_str();
  drawing(verb, request);
  verb.add_flag("--staircase", request.staircase, "also the fastest charge in steps, as a protocol");
}

void survey(CLI::App& verb, Request& request) {
  SurveyRequest& s = request.survey;
  verb.add_option("--vary", s.vary,
                  "a value of the sheet and its range, such as positive.coating.thickness=30..120um or "
                  "negative.particle_radius=2,5,10um; once for each value")
      ->type_name("PATH=RANGE")
      ->expected(1)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll)
      ->allow_extra_args(false)
      ->required();
  verb.add_option("--places", s.places,
                  "places of each value on a grid: one number for all, or one for each such as 9,5")
      ->type_name("NUMBERS")
      ->capture_default_str();
  verb.add_option("--sample", s.sample, "so many designs that fill the ranges evenly, instead of a grid")
      ->type_name("NUMBER")
      ->check(CLI::Range(1, 10000000));
  verb.add_flag("--same-n-to-p", s.same_n_to_p,
                "the electrode that is not varied is drawn to the other, so that N/P stays");
  verb.add_option("--rates", s.rates, "discharges, such as C/5,1C,3C; a C-rate is that of each design")
      ->type_name("RATES")
      ->capture_default_str();
  verb.add_option("--positive-foil", s.positive_foil, "thickness of the aluminium foil, half of which counts")
      ->type_name("LENGTH")
      ->capture_default_str();
  verb.add_option("--negative-foil", s.negative_foil, "thickness of the copper foil, half of which counts")
      ->type_name("LENGTH")
      ->capture_default_str();
  verb.add_option("--charge-within", s.charge_within,
                  "only designs that charge within this time at a rate that keeps every limit, such as '45 min'")
      ->type_name("TIME");
  verb.add_option("--soc", request.soc, "that charge: from one state of charge to another")
      ->type_name("FROM..TO")
      ->capture_default_str();
  verb.add_option("--margin", request.margin, "how far above lithium's potential the negative must stay in it")
      ->type_name("VOLTAGE")
      ->capture_default_str();
  verb.add_option("--samples", s.samples, "plausible cells of each design at most; 0: the design as it is alone")
      ->type_name("NUMBER")
      ->check(CLI::Range(0, 100000))
      ->capture_default_str();
  verb.add_option("--part", s.part,
                  "only this part of the designs, such as 3/16, into a file in the folder of --out; a part that was "
                  "cut short goes on")
      ->type_name("K/N");
  verb.add_option("--slurm", s.slurm, "the script of an array of so many parts for a cluster")
      ->type_name("NUMBER")
      ->check(CLI::Range(1, 10000));
  verb.add_option("--design", s.design, "write the sheet of this design instead of that of the best")
      ->type_name("NUMBER");
  drawing(verb, request);
}

void folder(CLI::App& verb, Request& request) {
  verb.add_option("FOLDER", request.files,
                  "folder with the parts of a survey; then the sheet, where it is no longer where it was")
      ->required()
      ->expected(1, 2);
  verb.add_option("--design", request.survey.design, "write the sheet of this design instead of that of the best")
      ->type_name("NUMBER");
}

void bands(CLI::App& verb, Request& request) {
  verb.add_option("--samples", request.band_cells,
                  "plausible cells, drawn from the spreads, of which 95 % bands are told; 0: none, else at least 64")
      ->type_name("NUMBER")
      ->check(CLI::Range(0, 100000))
      ->capture_default_str();
  drawing(verb, request);
}

void page(CLI::App& verb, Request& request) {
  verb.add_option_function<std::string>(
          "SHEET", [&request](const std::string& name) { request.files = {name}; },
          "cell sheet (YAML), or the name of a shipped one; the demo where none is named")
      ->type_name("");
  verb.add_option("--out", request.page_file, "the file to write, which must not be there yet")
      ->type_name("FILE")
      ->check(not_empty)
      ->capture_default_str();
  verb.add_flag("--json", request.json, "print the summary alone, as JSON");
}

void card(CLI::App& verb, Request& request) {
  verb.add_option("NAME", request.files, "print this card or sheet whole, to copy and change it");
  verb.add_flag("--json", request.json, "print the list as JSON");
}

void schema(CLI::App& verb, Request& request) {
  verb.add_option("WHAT", request.files,
                  "the JSON Schema of summary.json (summary), of a sheet, a card or a protocol; keys: a table of all "
                  "keys of the last three")
      ->required()
      ->expected(1)
      ->check(CLI::IsMember({"summary", "sheet", "card", "protocol", "keys"}));
}

}  // namespace onegrain::app::options
