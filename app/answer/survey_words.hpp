#pragma once

#include <string>
#include <utility>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/survey_ranking.hpp"
#include "app/study/surveying.hpp"

/// Words, tables and plots of `survey` and `merge`.
namespace onegrain::app::answer {

/// "energy per volume", and in what it is shown.
std::string name_of(study::Per per);
Measure energy_measure(study::Per per, int digits = 3);
Measure power_measure(study::Per per, int digits = 3);

/// "positive coating: thickness 72 um, porosity 35 %; negative: particle radius 5 um".
std::string values_words(const study::Survey& survey, const std::vector<double>& values);
/// "positive.coating.thickness" as a title: "positive coating: thickness".
std::string title_of(const std::string& path);
/// "design 23", as results.csv numbers them.
std::string design_words(int number);

/// Maps, lines or clouds of the most energy at each rate over what is varied.
Section survey_maps(const study::Survey& survey, const study::Ranking& ranking);
/// Energy against power, and against the time of a charge where one is asked for.
Section survey_fronts(const study::Survey& survey, const study::Ranking& ranking);
/// Every design in numbers, for results.csv.
CurvesTable survey_results(const study::Survey& survey, const study::SurveyParts& parts);
/// The sheet of a design and the cards that it needs, all beside each other in that folder.
std::vector<std::pair<std::string, std::string>> files_of_design(const Job& job, const study::Survey& survey,
                                                                 int number, const std::string& folder);
/// The script of an array of jobs for a cluster that runs Slurm, with the time and memory that were measured here.
Answer array_script(const Request& request, const study::Survey& survey);

}  // namespace onegrain::app::answer
