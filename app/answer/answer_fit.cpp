#include <fmt/format.h>

#include <algorithm>
#include <ostream>

#include "app/answer/answers.hpp"
#include "app/answer/examination.hpp"
#include "app/answer/fit_words.hpp"
#include "app/answer/fitted_sheet.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/words.hpp"

namespace onegrain::app::answer {

namespace {

std::vector<std::string> split_at_commas(const std::string& list) {
  std::vector<std::string> words;
  std::string word;
  for (const char c : list + ",") {
    if (c == ',') {
      if (!word.empty()) words.push_back(word);
      word.clear();
    } else if (c != ' ') {
      word += c;
    }
  }
  return words;
}

std::string headline_of(const study::Estimation& estimation) {
  const solver::FitResult& r = estimation.result;
  double worst = 0;
  for (const solver::CurveMisfit& m : r.misfits) worst = std::max(worst, m.rms);
  std::vector<std::string> told, not_told;
  for (std::size_t k = 0; k < r.estimates.size(); ++k)
    if (estimation.free()[k].quantity != solver::FreeQuantity::start)
      (study::is_told(estimation, k) ? told : not_told).push_back(r.estimates[k].name);
  std::string text = fmt::format("The model meets {} within {} mV rms.",
                                 r.misfits.size() == 1 ? "the curve" : fmt::format("the {} curves", r.misfits.size()),
                                 millivolts(std::max(worst, 1e-5)));
  if (!told.empty()) text += " The data tell " + listed(told) + ".";
  if (!not_told.empty()) text += " They do not tell " + listed(not_told) + " better than by order of magnitude.";
  return text;
}

}  // namespace

Answer fit(const Request& request, const Channels& channels, Job& job) {
  refuse_several_sizes(job, "estimates take the grains of an electrode for alike");
  study::Estimation estimation = study::estimation(request, channels, job, split_at_commas(request.free_values), false);
  if (!request.out.empty()) fitted_files(job, estimation, study::as_given(estimation), request.out);
  std::vector<Finding> findings = searched(request, channels, job, estimation, !request.no_profiles);
  const std::vector<study::FurtherTest> tests = study::further_tests(job, estimation);

  Answer said;
  said.headline = headline_of(estimation);
  said.findings = std::move(findings);
  said.sections = {estimates_section(estimation, !request.no_profiles), curves_section(job, estimation),
                   potentials_section(estimation), correlation_section(estimation), further_section(estimation, tests)};
  state_the_estimation(said, job, estimation);
  if (!request.out.empty()) said.more_files = fitted_files(job, estimation, estimation.result, request.out);
  return said;
}

}  // namespace onegrain::app::answer
