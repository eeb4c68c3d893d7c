#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/words.hpp"
#include "app/render/output.hpp"
#include "app/render/screen.hpp"
#include "app/render/table.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/fitting.hpp"

namespace onegrain::app {

namespace {

std::vector<std::string> words_of(const std::string& list) {
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

std::string interval_text(const Fitting& fitting, const solver::FitResult& r, std::size_t k) {
  const solver::ProfileInterval& p = r.estimates[k].profile;
  const std::string lower = show_estimate(fitting, k, std::max(p.lower, fitting.problem.free[k].lower)),
                    upper = show_estimate(fitting, k, p.upper);
  return fmt::format("{}{} to {}{}", p.lower_open ? "< " : "", lower, upper, p.upper_open ? " or more" : "");
}

std::string headline(const Fitting& fitting, const solver::FitResult& r) {
  double worst = 0;
  for (const solver::CurveMisfit& m : r.misfits) worst = std::max(worst, m.rms);
  std::vector<std::string> told, not_told;
  for (std::size_t k = 0; k < r.estimates.size(); ++k)
    (is_told(fitting, r, k) ? told : not_told).push_back(r.estimates[k].name);
  std::string text = fmt::format("The model meets {} within {} mV rms.",
                                 r.misfits.size() == 1 ? "the curve" : fmt::format("the {} curves", r.misfits.size()),
                                 millivolts(worst));
  const auto listed = [](const std::vector<std::string>& names) {
    std::string list;
    for (std::size_t k = 0; k < names.size(); ++k)
      list += (k == 0 ? "" : k + 1 == names.size() ? " and " : ", ") + names[k];
    return list;
  };
  if (!told.empty()) text += " The data tell " + listed(told) + ".";
  if (!not_told.empty()) text += " They do not tell " + listed(not_told) + " better than by order of magnitude.";
  if (!r.converged) text += fmt::format(" The search has not settled ({}): distrust the intervals.", r.ended_by);
  return text;
}

/// For each poorly known parameter the test that helps most.
std::vector<std::string> advice(const Fitting& fitting, const solver::FitResult& r,
                                const std::vector<FurtherTest>& tests) {
  std::vector<std::string> list;
  for (std::size_t k = 0; k < r.estimates.size(); ++k) {
    if (is_told(fitting, r, k) || tests.empty()) continue;
    const auto best = std::max_element(tests.begin(), tests.end(), [&](const FurtherTest& a, const FurtherTest& b) {
      return a.narrower[k] < b.narrower[k];
    });
    if (best->narrower[k] < 1.3)
      list.push_back(
          fmt::format("{}: none of the tests tried would tell it much better; impedance, or another temperature, may",
                      r.estimates[k].name));
    else
      list.push_back(fmt::format("{}: {} would make its interval {} times narrower", r.estimates[k].name, best->test,
                                 digits(best->narrower[k], 2)));
  }
  return list;
}

void print(std::ostream& out, const Job& job, const Fitting& fitting, const solver::FitResult& r,
           const std::vector<Recording>& recordings, const std::vector<FurtherTest>& tests) {
  out << job.sheet.name << "\n" << wrapped(headline(fitting, r)) << "\n";
  for (const std::string& note : fitting.notes) out << "note: " << wrapped(note, 100, "  ");
  Table table({{"", Table::Align::left},
               {"unit", Table::Align::left},
               {"sheet"},
               {"estimate"},
               {"95 % interval", Table::Align::left},
               {"linearised", Table::Align::left},
               {"", Table::Align::left}});
  for (std::size_t k = 0; k < r.estimates.size(); ++k) {
    const solver::Estimate& e = r.estimates[k];
    table.add(
        {e.name, fitting.units[k], show_estimate(fitting, k, fitting.problem.free[k].nominal),
         show_estimate(fitting, k, e.value), interval_text(fitting, r, k),
         fmt::format("{} to {}", show_estimate(fitting, k, std::max(e.linearised.lower, fitting.problem.free[k].lower)),
                     show_estimate(fitting, k, e.linearised.upper)),
         remark(fitting, r, k)});
  }
  out << table.text();
  for (const solver::FreePotential& p : fitting.problem.potentials)
    out << p.name << ": its shape was corrected by a spline of " << p.pieces << " pieces; see the new card\n";
  out << wrapped(
             "Diffusion times and exchange current densities are those at 25 degC and half filling. Intervals count "
             "points that repeat their neighbours once: "
             "a model that is not quite right leaves residuals that hang together.")
      << "\n";

  Table misfit({{"curve", Table::Align::left},
                {"rows read"},
                {"left out"},
                {"compared"},
                {"rms / mV"},
                {"mean"},
                {"largest"},
                {"independent"}});
  for (std::size_t c = 0; c < r.misfits.size(); ++c) {
    const solver::CurveMisfit& m = r.misfits[c];
    misfit.add({m.name, std::to_string(recordings[c].measured.rows_read),
                std::to_string(recordings[c].measured.doubts.left_out()), std::to_string(recordings[c].rows.size()),
                millivolts(m.rms), millivolts(m.mean), millivolts(m.largest),
                digits(static_cast<double>(recordings[c].rows.size()) / m.correlation_time, 2)});
  }
  out << misfit.text();
  for (const Recording& rec : recordings)
    out << "  " << rec.file << ": " << wrapped(answer::start_words(rec), 100, "    ");
  out << "\n";

  std::string pairs;
  for (std::size_t a = 0; a < r.estimates.size(); ++a) {
    for (std::size_t b = a + 1; b < r.estimates.size(); ++b) {
      const double c = r.uncertainty.correlation(static_cast<Eigen::Index>(a), static_cast<Eigen::Index>(b));
      if (std::abs(c) > 0.9)
        pairs += fmt::format("{}{} and {} ({:+.2f})", pairs.empty() ? "" : "; ", r.estimates[a].name,
                             r.estimates[b].name, c);
    }
  }
  if (!pairs.empty()) out << "strongly correlated: " << wrapped(pairs, 100, "  ");
  if (!r.untold.empty()) {
    out << "what the curves alone do not tell:\n";
    for (const solver::Direction& d : r.untold) out << "- " << wrapped(direction_text(d, fitting), 100, "  ");
  }
  const std::vector<std::string> further = advice(fitting, r, tests);
  if (!further.empty()) {
    out << "what to measure next, by the sensitivities of this very model:\n";
    for (const std::string& line : further) out << "- " << wrapped(line, 100, "  ");
  }
  out << fmt::format("search: {} of {} starts arrive at the same minimum; {}\n", r.starts_agreeing, r.starts,
                     r.ended_by);
  out << "\n" << wrapped(electrolyte_remark(job.electrolyte)) << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

}  // namespace

void fit(const Request& request, const Channels& channels) {
  Job job = load_job(request, channels);
  std::vector<Recording> recordings;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    recordings.push_back(
        load_recording(request, channels, job, request.files[k], static_cast<std::size_t>(request.fit_points)));
  }
  const Fitting fitting = prepare_fit(job, recordings, words_of(request.free_values));
  const solver::CellFit problem(fitting.problem);
  if (!request.out.empty()) fitted_files(job, fitting, problem, as_given(fitting, problem), recordings, request.out);
  InterruptGuard guard;
  solver::FitOptions options;
  options.starts = fit_starts(fitting, request.fit_starts);
  options.profiles = !request.no_profiles;
  options.interrupted = [] { return interrupted(); };
  if (channels.watched)
    options.progress = [&](const std::string& text) { channels.narration << begin_line_anew << text << std::flush; };
  const solver::FitResult r = solver::fit(problem, options);
  if (channels.watched) channels.narration << begin_line_anew;
  if (interrupted()) throw NotCompleted("interrupted");
  const std::vector<FurtherTest> tests = further_tests(job, fitting, problem, r);

  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = headline(fitting, r);
  summary["fit"] = fit_json(job, fitting, problem, r, recordings, tests);
  summary["fit"]["advice"] = advice(fitting, r, tests);
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, fitting, r, recordings, tests);
  if (request.out.empty()) return;
  nlohmann::json document = cell_document(request, job, headline(fitting, r));
  document["fit"] = summary["fit"];
  write_results(request, channels, summary, document, "",
                fitted_files(job, fitting, problem, r, recordings, request.out));
}

}  // namespace onegrain::app
