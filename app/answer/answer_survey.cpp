#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <functional>

#include "app/answer/answers.hpp"
#include "app/answer/ceiling_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/survey_words.hpp"
#include "app/answer/words.hpp"
#include "app/command/progress.hpp"

namespace onegrain::app::answer {

using study::Best, study::Per, study::Ranking, study::Survey, study::SurveyParts;

namespace {

namespace fs = std::filesystem;

/// A folder for temporary files that goes with it.
class TemporaryFolder {
 public:
  TemporaryFolder() : path_((fs::temp_directory_path() / "onegrain-survey-XXXXXX").string()) {
    if (::mkdtemp(path_.data()) == nullptr) throw NotCompleted("no folder for temporary files can be made: " + path_);
  }
  ~TemporaryFolder() {
    std::error_code left;
    fs::remove_all(path_, left);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  const std::string& path() const { return path_; }

 private:
  std::string path_;
};

std::optional<study::ChargeAsked> charge_asked(const Request& request, const Job& job) {
  if (request.survey.charge_within.empty()) return std::nullopt;
  const study::CeilingAsked asked = ceiling_asked(request, job);
  return study::ChargeAsked{asked.soc, asked.limits, request.survey.samples};
}

void run_part(const Survey& survey, const study::Part& part, const std::string& folder, const Request& request,
              const Channels& channels) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) throw NotCompleted(folder + ": " + error.message());
  study::SurveyFile file((fs::path(folder) / part.file_name()).string(), survey.head(), part);
  Progress progress(channels);
  survey.run(part, file, request.threads, [&](int done, int of) { progress.bar("designs", done, of); });
}

/// "positive coating: thickness 72 um, porosity 35 %; negative: particle radius 5 um", each value by `say`.
std::string grouped(const Survey& survey, const std::function<std::string(std::size_t)>& say) {
  std::string words, group;
  for (std::size_t n = 0; n < survey.designs().varied().size(); ++n) {
    const std::string title = title_of(survey.designs().varied()[n].path);
    const std::size_t colon = title.find(": ");
    const std::string of = colon == std::string::npos ? "" : title.substr(0, colon + 2),
                      name = colon == std::string::npos ? title : title.substr(colon + 2);
    words += n == 0 ? of : of == group ? ", " : "; " + of;
    words += name + " " + say(n);
    group = of;
  }
  return words;
}

/// The best design of the rate nearest to 1C, by the first way of counting.
const Best& asked_first(const Survey& survey, const Ranking& ranking) {
  std::size_t nearest = 0;
  for (std::size_t r = 1; r < survey.rates().size(); ++r)
    if (std::abs(std::log(survey.rates()[r].c_rate)) < std::abs(std::log(survey.rates()[nearest].c_rate))) nearest = r;
  return *std::find_if(ranking.best.begin(), ranking.best.end(),
                       [&](const Best& b) { return b.question.discharge == nearest; });
}

std::string as_good_words(const Survey& survey, const Best& best) {
  return grouped(survey, [&](std::size_t n) {
    const params::Kind& kind = *survey.designs().varied()[n].kind;
    const auto [low, high] = best.as_good[n];
    return low == high ? params::show(low, kind, 3) : params::show(low, kind, 3) + " to " + params::show(high, kind, 3);
  });
}

std::string headline_of(const Survey& survey, const Ranking& ranking, const Best& best) {
  if (best.number < 0)
    return fmt::format(
        "None of {} designs qualifies: {} are too slow to charge, {} cannot be built or calculated, {} give no "
        "discharge that is to be relied on.",
        ranking.count, ranking.too_slow, ranking.left_out, ranking.doubtful);
  std::string text = fmt::format(
      "Of {} designs {} gives the most {} at {}, {}, with {}. Within {} % of it lie designs with {}.",
      ranking.count - ranking.left_out, design_words(best.number), name_of(best.question.per),
      survey.rates()[best.question.discharge].written, text_of(best.value, energy_measure(best.question.per)),
      values_words(survey, survey.designs().values(best.number)), digits(100 * study::as_good, 1),
      as_good_words(survey, best));
  if (best.told.charge)
    text +=
        fmt::format(" It charges from {} to {} % in {} and keeps every limit{}.",
                    digits(100 * survey.asked().charge->window.from, 2),
                    digits(100 * survey.asked().charge->window.to, 2), minutes_words(best.told.charge->duration),
                    best.told.charge->confident < best.told.charge->current ? "" : ", its uncertainties not counted");
  return text;
}

/// Values at whose end of the range the best design lies: the best may lie beyond.
std::optional<Finding> best_at_the_edge(const Survey& survey, const Best& best) {
  if (best.number < 0) return std::nullopt;
  std::vector<std::string> names;
  const std::vector<double> values = survey.designs().values(best.number);
  for (std::size_t n = 0; n < values.size(); ++n) {
    const study::Varied& varied = survey.designs().varied()[n];
    const double share = (values[n] - varied.from) / (varied.to - varied.from);
    const bool sampled = !survey.designs().on_a_grid();
    if (varied.from < varied.to && (sampled ? share < 0.02 || share > 0.98 : share < 1e-9 || share > 1 - 1e-9))
      names.push_back(title_of(varied.path) + " (" + params::show(values[n], *varied.kind, 3) + ")");
  }
  if (names.empty()) return std::nullopt;
  return Finding{"best_at_the_edge", "the best design lies at the end of the range of " + listed(names) +
                                         "; a better one may lie beyond, so that this is no optimum: widen the range."};
}

std::optional<Finding> many_left_out(const Ranking& ranking) {
  if (2 * ranking.left_out < ranking.count) return std::nullopt;
  return Finding{"designs_left_out",
                 fmt::format("{} of {} designs cannot be built or calculated, the first of them because {}.",
                             ranking.left_out, ranking.count, ranking.left_out_because)};
}

Table best_table(const Survey& survey, const Ranking& ranking) {
  Table table{"best",
              "The best design for each question",
              {{"", "most", {}, read},
               {"counted_by", "", {}, summary},
               {"rate", "at", {}},
               {"", "", {}, read},
               {"design", "design", counted()},
               {"values", "with", {}},
               {"as_good", fmt::format("within {} % of it", digits(100 * study::as_good, 1)), {}}}};
  table.columns.push_back({"energy_per_volume", "", energy_measure(Per::volume, 5), summary});
  table.columns.push_back({"energy_per_mass", "", energy_measure(Per::mass, 5), summary});
  table.columns.push_back({"energy_per_area", "", energy_measure(Per::area, 5), summary});
  if (survey.asked().charge) table.columns.push_back({"charge_time", "charges in", lasting()});
  for (const Best& best : ranking.best) {
    if (best.number < 0) continue;
    const auto by = [&](Per per) {
      const double value = study::Question{best.question.discharge, per}.value(best.told);
      return std::isfinite(value) ? TableCell(value) : TableCell();
    };
    Row row{name_of(best.question.per),
            std::string(best.question.per == Per::volume ? "volume"
                        : best.question.per == Per::mass ? "mass"
                                                         : "area"),
            survey.rates()[best.question.discharge].written,
            text_of(best.value, energy_measure(best.question.per)),
            static_cast<double>(best.number + 1),
            values_words(survey, survey.designs().values(best.number)),
            as_good_words(survey, best),
            by(Per::volume),
            by(Per::mass),
            by(Per::area)};
    if (survey.asked().charge) row.emplace_back(best.told.charge->duration);
    table.rows.add(row);
  }
  return table;
}

Figures counts(const Ranking& ranking, const SurveyParts& parts) {
  Figures figures{"survey", "Designs", {}, everywhere};
  const auto add = [&](const char* key, const char* label, int count) {
    Figure figure{key, label, static_cast<double>(count), answer::counted()};
    figure.alone = true;
    figures.figures.push_back(std::move(figure));
  };
  add("designs", "looked at", ranking.count);
  add("designs_left_out", "that cannot be built or calculated", ranking.left_out);
  add("designs_doubtful", "with a discharge that is not to be relied on", ranking.doubtful);
  add("designs_too_slow", "that charge too slowly", ranking.too_slow);
  add("designs_missing", "that no part holds", parts.missing());
  return figures;
}

void state_the_survey(Answer& said, const Survey& survey, const Job& job) {
  const study::SurveyAsked& asked = survey.asked();
  said.assumptions.push_back(
      "Designs: a coating that is varied is drawn from the same ink. Its thickness takes the loading along at the same "
      "porosity, its porosity the thickness at "
      "the same loading; where two of the three are varied they make the third. A tortuosity that the sheet states "
      "stays; else it follows from the porosity. "
      "The rated capacity of the sheet is left out: 1C is that of each design.");
  if (job.cell.is_full_cell())
    said.assumptions.push_back(
        fmt::format("Volume and mass are those of both coatings, the separator, half of each foil (aluminium {}, "
                    "copper {}, each coated on both sides) and the "
                    "electrolyte in all pores; tabs, case and spare electrolyte are not counted. Densities: aluminium "
                    "2.7, copper 8.96, wet electrolyte 1.2, separator polymer 0.95 g/cm3, "
                    "carbon and binder of a `layer` 1.85 g/cm3.",
                    params::show(asked.foils.positive, params::LengthKind::kind),
                    params::show(asked.foils.negative, params::LengthKind::kind)));
  said.assumptions.push_back(asked.reaction == model::Reaction::even
                                 ? "The reaction is taken as even over each coating, which flatters thick ones at high "
                                   "rates; `--reaction uneven` resolves it, some seven times slower."
                                 : "The reaction is resolved over the depth of each coating.");
  if (asked.charge)
    said.assumptions.push_back(
        fmt::format("Charge: at the constant rate that 95 % of the plausible cells of each design survive, from the "
                    "spreads of the sheet ({} cells at most); designs that take longer than {} do not qualify.",
                    asked.charge->samples, duration(survey.charge_within())));
}

Answer told(const Request& request, const Job& job, const Survey& survey, const SurveyParts& parts) {
  const auto each = [&](const std::function<void(const study::Surveyed&)>& see) { parts.each(see); };
  const Ranking ranking = study::rank(survey.designs(), each, survey.rates().size(), survey.slowest(),
                                      job.cell.is_full_cell(), survey.charge_within());
  if (ranking.left_out == ranking.count)
    throw NotCompleted(fmt::format("none of {} designs can be built and calculated; the first of them: {}",
                                   ranking.count, ranking.left_out_because));
  const Best& first = asked_first(survey, ranking);
  Answer said;
  if (!parts.gaps().empty())
    take(said.findings, Finding{"parts_missing", fmt::format("{} of {} designs are missing: {}.", parts.missing(),
                                                             parts.head().count, listed(parts.gaps()))});
  take(said.findings, many_left_out(ranking));
  take(said.findings, best_at_the_edge(survey, first));
  said.headline = headline_of(survey, ranking, first);
  if (ranking.left_out > 0)
    said.warnings.push_back(fmt::format("{} of {} designs are left out, the first of them because {}", ranking.left_out,
                                        ranking.count, ranking.left_out_because));
  if (ranking.doubtful > 0)
    said.doubts.push_back(fmt::format(
        "{} of {} designs have a discharge that is not to be relied on; none of these is called the best at that rate",
        ranking.doubtful, ranking.count));
  said.recommends = survey.asked().charge.has_value();
  if (first.number >= 0) {
    said.sections.push_back(survey_maps(survey, ranking));
    said.sections.push_back(survey_fronts(survey, ranking));
  }
  said.sections.push_back({"The best designs", {best_table(survey, ranking), counts(ranking, parts)}});
  state_the_survey(said, survey, job);
  if (request.out.empty()) return said;
  said.more_curves.emplace_back("results.csv", survey_results(survey, parts));
  const int design = request.survey.design ? *request.survey.design - 1 : first.number;
  if (design >= 0) {
    auto files = files_of_design(job, survey, design, request.out);
    said.more_files.insert(said.more_files.end(), files.begin(), files.end());
  }
  return said;
}

}  // namespace

std::string title_of(const std::string& path) {
  std::string title = path;
  const std::size_t last = title.rfind('.');
  if (last != std::string::npos) title.replace(last, 1, ": ");
  std::replace(title.begin(), title.end(), '.', ' ');
  std::replace(title.begin(), title.end(), '_', ' ');
  return title;
}

std::string design_words(int number) { return fmt::format("design {}", number + 1); }

std::string values_words(const Survey& survey, const std::vector<double>& values) {
  return grouped(survey, [&](std::size_t n) { return params::show(values[n], *survey.designs().varied()[n].kind, 3); });
}

Answer survey(const Request& request, const Channels& channels, Job& job) {
  const Survey survey(request, job, charge_asked(request, job));
  if (request.survey.design && (*request.survey.design < 1 || *request.survey.design > survey.designs().count()))
    throw CommandLineError(
        fmt::format("--design {}: there are designs 1 to {}", *request.survey.design, survey.designs().count()));
  if (request.survey.slurm > 0) return array_script(request, survey);
  if (!request.survey.part.empty()) {
    if (request.out.empty()) throw CommandLineError("--part: name the folder that all parts share, --out FOLDER");
    const study::Part part = study::Part::parse(request.survey.part);
    run_part(survey, part, request.out, request, channels);
    Answer said;
    said.headline =
        fmt::format("Part {} of {} is whole: {}. When all are, `onegrain merge {}` tells what came of them.",
                    part.number, part.of, (fs::path(request.out) / part.file_name()).string(), request.out);
    return said;
  }
  const TemporaryFolder folder;
  run_part(survey, {}, folder.path(), request, channels);
  return told(request, job, survey, SurveyParts(folder.path()));
}

Answer merge(const Request& request, const Channels&, Job& job, const std::string& folder) {
  const Survey survey(request, job, charge_asked(request, job));
  const SurveyParts parts(folder);
  if (parts.head().digest != survey.head().digest)
    throw NotCompleted("the parts in " + folder + " were made of another sheet than '" + request.files.front() +
                       "' is now (or its cards, or by another version of the program)");
  return told(request, job, survey, parts);
}

}  // namespace onegrain::app::answer
