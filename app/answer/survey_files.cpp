#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/survey_words.hpp"
#include "app/result_folder.hpp"
#include "app/study/new_sheet.hpp"

// What a survey leaves in files: every design in numbers, the sheet of one of them, the script of an array of jobs.

namespace onegrain::app::answer {

using study::Per, study::Survey, study::SurveyParts;

namespace {

/// What was weighed of the coating of the sheet is not the coating of the design.
void replace_masses(const params::ElectrodeSheet& before, const params::ElectrodeSheet& after,
                    const std::string& source, NewSheet& sheet) {
  if (!before.coating || before.coating->loading || !after.coating->loading) return;
  const std::string path = before.key + ".coating.";
  for (const char* key : {"coated_disc_mass", "foil_mass", "disc_diameter"}) sheet.revise(path + key, "");
  sheet.revise(path + "loading", params::yaml_value(after.coating->loading->si, params::LoadingKind::kind,
                                                    after.coating->loading->spread, source));
}

/// A word as a shell takes it for one.
std::string shell_word(const std::string& word) {
  if (!word.empty() &&
      word.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-+=./,:%") ==
          std::string::npos)
    return word;
  std::string quoted = "'";
  for (const char c : word) quoted += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return quoted + "'";
}

/// hours:minutes:seconds
std::string clock_time(double seconds) {
  const auto s = static_cast<long long>(std::ceil(seconds / 60) * 60);
  return fmt::format("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
}

}  // namespace

CurvesTable survey_results(const Survey& survey, const SurveyParts& parts) {
  CurvesTable table;
  const auto add = [&](const std::string& title, const Measure& measure) {
    table.columns.emplace_back(title, measure);
  };
  add("Design", counted());
  for (const study::Varied& varied : survey.designs().varied()) add(title_of(varied.path), {varied.kind, nullptr, 6});
  add("N/P", measure<params::Number>());
  add("Areal Capacity", measure<params::ArealCapacity>());
  add("Positive Thickness", measure<params::Length>());
  add("Positive Porosity", measure<params::Fraction>());
  add("Negative Thickness", measure<params::Length>());
  add("Negative Porosity", measure<params::Fraction>());
  add("Stack Thickness", measure<params::Length>());
  add("Stack Mass", measure<params::Loading>());
  for (const params::Rate& rate : survey.rates()) {
    const std::string at = " at " + rate.written;
    add("Capacity" + at, measure<params::ArealCapacity>());
    add("Energy per Area" + at, energy_measure(Per::area, 5));
    add("Energy per Volume" + at, energy_measure(Per::volume, 5));
    add("Energy per Mass" + at, energy_measure(Per::mass, 5));
    add("Mean Power per Area" + at, power_measure(Per::area, 5));
    add("Hottest" + at, measure<params::Temperature>());
    add("To Be Relied On" + at, measure<params::Number>());
  }
  if (survey.asked().charge) {
    add("Charge Ceiling", measure<params::CurrentDensity>());
    add("Charge Ceiling with Confidence", measure<params::CurrentDensity>(nullptr, 4, Rounding::down));
    add("Charge Time", measure<params::Time>());
  }
  parts.each([&](const study::Surveyed& told) {
    Row row{static_cast<double>(told.number + 1)};
    const auto cell = [&](double value) { row.push_back(std::isfinite(value) ? TableCell(value) : TableCell()); };
    for (const double value : survey.designs().values(told.number)) cell(value);
    for (const double value : {told.n_to_p, told.one_hour_charge, told.positive.thickness, told.positive.porosity,
                               told.negative.thickness, told.negative.porosity, told.thickness, told.mass})
      cell(value);
    for (std::size_t r = 0; r < survey.rates().size(); ++r) {
      const study::DischargeTold d = r < told.discharges.size() ? told.discharges[r] : study::DischargeTold{};
      for (const double value :
           {d.capacity, d.energy, d.energy / told.thickness, d.energy / told.mass, d.mean_power(), d.hottest})
        cell(value);
      cell(told.left_out.empty() ? (d.trusted ? 1.0 : 0.0) : study::unknown);
    }
    if (survey.asked().charge) {
      const study::ChargeTold charge = told.charge.value_or(study::ChargeTold{});
      for (const double value : {charge.current, charge.confident, charge.duration}) cell(value);
    }
    table.rows.add(row);
  });
  return table;
}

std::vector<std::pair<std::string, std::string>> files_of_design(const Job& job, const Survey& survey, int number,
                                                                 const std::string& folder) {
  NewSheet sheet(job.sheet, taken_names(folder));
  params::Sheet after = survey.designs().sheet_of(survey.designs().values(number));
  const std::string source = "survey of " + job.sheet.name + ", " + design_words(number);
  params::for_each_value(job.sheet, [&](const std::string& path, const params::Value& before) {
    const params::Value* value = params::find_value(after, path);
    if (value != nullptr && value->si != before.si)
      sheet.revise(path, params::yaml_value(value->si, *value->kind, before.spread, source));
  });
  replace_masses(job.sheet.positive, after.positive, source, sheet);
  if (after.negative) replace_masses(*job.sheet.negative, *after.negative, source, sheet);
  if (job.sheet.rated_capacity) sheet.revise("rated_capacity", "");
  std::vector<std::pair<std::string, std::string>> files = sheet.files();
  files.front().first = fmt::format("design_{}.yaml", number + 1);
  return files;
}

Answer array_script(const Request& request, const Survey& survey) {
  if (request.out.empty()) throw CommandLineError("--slurm: name the folder that all parts will share, --out FOLDER");
  const int parts = request.survey.slurm;
  if (parts > survey.designs().count())
    throw CommandLineError(fmt::format("--slurm {}: there are {} designs only", parts, survey.designs().count()));
  const Survey::Cost cost = survey.measured_cost();
  const double of_a_part = std::ceil(static_cast<double>(survey.designs().count()) / parts) * cost.seconds;
  const double allowed = 600 + 3 * of_a_part, memory = std::ceil(2 * cost.memory / 1e8) * 100;
  std::string command = "onegrain";
  for (std::size_t k = 0; k < request.words.size(); ++k) {
    const std::string& word = request.words[k];
    if (word == "--slurm" || word == "--threads" || word == "--part") {
      ++k;
      continue;
    }
    if (word.rfind("--slurm=", 0) == 0 || word.rfind("--threads=", 0) == 0 || word.rfind("--part=", 0) == 0) continue;
    command += " " + shell_word(word);
  }
  const std::string script = fmt::format(
      "#!/bin/sh\n"
      "# {} designs in {} parts, about {} each on the machine that wrote this. In the folder where that was done:\n"
      "#   sbatch {}/survey.sbatch\n"
      "# Parts that were cut short go on where they were when this is submitted once more. Then: onegrain merge {}\n"
      "#SBATCH --job-name=onegrain-survey\n"
      "#SBATCH --array=1-{}\n"
      "#SBATCH --ntasks=1\n"
      "#SBATCH --cpus-per-task=1\n"
      "#SBATCH --time={}\n"
      "#SBATCH --mem={:.0f}M\n"
      "#SBATCH --requeue\n"
      "#SBATCH --output={}/part-%a.log\n"
      "#SBATCH --open-mode=append\n"
      "exec {} --threads 1 --quiet --part \"$SLURM_ARRAY_TASK_ID/{}\"\n",
      survey.designs().count(), parts, duration(of_a_part), request.out, request.out, parts, clock_time(allowed),
      memory, request.out, command, parts);
  Answer said;
  said.headline = fmt::format(
      "An array of {} jobs for {} designs: about {} and {:.0f} MB each, measured on {} designs here. Submit it with "
      "`sbatch {}/survey.sbatch`; "
      "when all are done, `onegrain merge {}` tells what came of them.",
      parts, survey.designs().count(), duration(of_a_part), memory, std::min(8, survey.designs().count()), request.out,
      request.out);
  said.more_files.emplace_back("survey.sbatch", script);
  return said;
}

}  // namespace onegrain::app::answer
