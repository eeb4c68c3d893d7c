#include "app/answer/fit_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/record_examination.hpp"
#include "app/answer/words.hpp"
#include "app/command/progress.hpp"
#include "params/sheet/rate.hpp"

namespace onegrain::app::answer {

using solver::FreeParameter;
using solver::FreeQuantity;

namespace {

std::string called(const params::ElectrodeSheet& electrode) {
  return electrode.key == "working" ? "working electrode" : electrode.key;
}

}  // namespace

Measure measure_of(const study::Estimation& estimation, std::size_t index) {
  const params::Kind* kind = estimation.fitting.kinds[index];
  return {kind, estimation.free()[index].quantity == FreeQuantity::diffusion_time ? "s" : nullptr, 3};
}

std::string label_of(const study::Estimation& estimation, std::size_t index) {
  const FreeParameter& p = estimation.free()[index];
  const std::string electrode = called(estimation.electrode(p.negative));
  switch (p.quantity) {
    case FreeQuantity::diffusion_time:
      return "time of diffusion R\u00b2/D in the grains of the " + electrode;
    case FreeQuantity::exchange_current_density:
      return "exchange current density of the " + electrode;
    case FreeQuantity::capacity:
      return "capacity of the " + electrode + ", full minus empty";
    case FreeQuantity::lithium:
      return "lithium that both electrodes share";
    case FreeQuantity::contact_resistance:
      return "contact resistance";
    case FreeQuantity::start:
      return fmt::format("charge from rest at {} V to where {} begins",
                         digits(*estimation.fitting.problem.curves[p.curve].start.rest_voltage, 4),
                         estimation.recordings[p.curve].name());
    case FreeQuantity::other:
      break;
  }
  return p.name;
}

std::string remark(const study::Estimation& estimation, std::size_t index) {
  const solver::Estimate& e = estimation.result.estimates[index];
  if (e.at_bound) return "at the end of the range that was searched";
  if (estimation.free()[index].quantity == FreeQuantity::start)
    return e.prior_share > 0.5 ? "told by how the record begins more than by its course" : "";
  if (e.prior_share > 0.8) return "the data tell next to nothing beyond the sheet";
  if (e.prior_share > 0.5) return "told by the sheet more than by the data";
  if (!study::is_told(estimation, index)) return "only its order of magnitude";
  return "";
}

std::string direction_words(const solver::Direction& direction, const study::Estimation& estimation) {
  std::vector<std::pair<double, std::string>> parts;
  for (std::size_t k = 0; k < estimation.free().size(); ++k)
    parts.emplace_back(direction.weights[static_cast<Eigen::Index>(k)], estimation.free()[k].name);
  auto from = static_cast<Eigen::Index>(estimation.free().size());
  for (const solver::FreePotential& p : estimation.fitting.problem.potentials) {
    parts.emplace_back(direction.weights.segment(from, p.coefficients()).norm(), p.name);
    from += p.coefficients();
  }
  std::sort(parts.begin(), parts.end(),
            [](const auto& a, const auto& b) { return std::abs(a.first) > std::abs(b.first); });
  if (std::abs(parts.front().first) > 0.95) return parts.front().second;
  std::string text;
  for (std::size_t k = 0; k < parts.size() && std::abs(parts[k].first) > 0.25; ++k)
    text += (k == 0 ? "" : k == 1 ? " against " : ", ") + parts[k].second;
  return text;
}

std::string name_of(const study::FurtherTest& test, const study::Estimation& estimation) {
  switch (test.kind) {
    case study::FurtherTest::Kind::discharge:
      return fmt::format("a discharge at {} from full", params::rate_name(test.c_rate));
    case study::FurtherTest::Kind::pulse:
      return "a pulse of ten minutes at 1C from half charge, and an hour of rest";
    case study::FurtherTest::Kind::half_cell:
      break;
  }
  return fmt::format("a half cell of the {} against lithium, at C/20 and 1C", estimation.electrode(test.negative).key);
}

std::vector<std::string> advice(const study::Estimation& estimation, const std::vector<study::FurtherTest>& tests) {
  std::vector<std::string> list;
  for (std::size_t k = 0; k < estimation.free().size(); ++k) {
    if (study::is_told(estimation, k) || tests.empty() || estimation.free()[k].quantity == FreeQuantity::start)
      continue;
    const std::string& name = estimation.free()[k].name;
    const auto best = std::max_element(
        tests.begin(), tests.end(),
        [&](const study::FurtherTest& a, const study::FurtherTest& b) { return a.narrower[k] < b.narrower[k]; });
    list.push_back(
        best->narrower[k] < 1.3
            ? name + ": none of the tests tried would tell it much better; impedance, or another temperature, may"
            : fmt::format("{}: {} would make its interval {} times narrower", name, name_of(*best, estimation),
                          digits(best->narrower[k], 2)));
  }
  return list;
}

std::vector<std::string> notes(const study::Estimation& estimation) {
  std::vector<std::string> list;
  for (const study::Fitting::Replaced& r : estimation.fitting.replaced)
    list.push_back(
        fmt::format("{} was asked for. No voltage tells a radius and a diffusion coefficient apart: only R^2/D shows. "
                    "{}.diffusion_time is estimated instead; with the radius of the sheet it gives D. A micrograph "
                    "tells the radius.",
                    r.asked, r.electrode));
  return list;
}

namespace {

constexpr double told_start = 0.1;  // of the capacity: a curve that leaves more open tells no start

/// What an even reaction costs more than all else that the fit leaves open is no detail: the estimates make up for it.
void examine_reaction(const Job& job, const study::Estimation& estimation, std::vector<Finding>& findings) {
  constexpr double noticed = 2e-3;  // V rms, judgement: below it estimates move by less than cells differ
  for (std::size_t c = 0; c < estimation.reaction.size(); ++c) {
    const solver::ReactionCourse& course = estimation.reaction[c];
    const solver::CurveMisfit& m = estimation.result.misfits[c];
    const std::size_t rows = estimation.recordings[c].rows.size();
    if (job.reaction == model::Reaction::uneven && course.adds.size() < rows)
      take(findings,
           Finding{"reaction_not_resolved",
                   fmt::format("the resolved reaction cannot follow {} to its end ({}): the last {} of {} rows are "
                               "taken as if it went on as before.",
                               m.name, course.cut_short.empty() ? "the run ends early" : course.cut_short,
                               rows - course.adds.size(), rows)});
    if (job.reaction == model::Reaction::even && course.rms() > std::max(noticed, m.rms))
      take(findings,
           Finding{"even_reaction",
                   fmt::format(
                       "the fit takes the reaction as even over the depth of the coatings. Resolved, it would "
                       "move {} by {} mV rms, {} mV at most, more than the {} mV that the fit leaves: estimates "
                       "make up for it. Fit curves at lower rates.",
                       m.name, millivolts(course.rms()), millivolts(std::abs(course.largest())), millivolts(m.rms))});
  }
}

/// @throws NotCompleted where a curve is missed by more than a straight line misses it
void examine_search(const study::Estimation& estimation, std::vector<Finding>& findings) {
  const solver::FitResult& r = estimation.result;
  const std::vector<study::CurveScale> scales = study::curve_scales(estimation);
  for (std::size_t c = 0; c < r.misfits.size(); ++c)
    take(findings, misfit({r.misfits.size() == 1 ? "the curve" : "the curve " + r.misfits[c].name, r.misfits[c].rms,
                           scales[c].noise, scales[c].line}));
  if (!r.converged)
    take(findings, Finding{"not_settled",
                           fmt::format("the search has not settled ({}): distrust the estimates and their intervals.",
                                       r.ended_by)});
  take(findings, lonely_minimum(r.starts_agreeing, r.starts));
  std::vector<std::string> at_ends;
  for (std::size_t k = 0; k < r.estimates.size(); ++k) {
    const solver::Estimate& e = r.estimates[k];
    if (e.at_bound && e.value != 0)  // a resistance of nothing is a value that may be
      at_ends.push_back(
          fmt::format("the {} ({}, {})", label_of(estimation, k), e.name, text_of(e.value, measure_of(estimation, k))));
  }
  take(findings, ends_of_range(at_ends));
}

}  // namespace

std::vector<Finding> searched(const Request& request, const Channels& channels, const Job& job,
                              study::Estimation& estimation, bool profiles) {
  {
    Progress progress(channels);
    study::search(estimation, request, profiles, [&](const std::string& text) { progress.line(text); });
  }
  std::vector<Finding> findings = examined(job, recordings_of(estimation));
  try {
    examine_search(estimation, findings);
  } catch (const NotCompleted& refused) {  // what was seen of the records may be why
    std::string all = refused.what();
    for (const Finding& finding : findings) all += ". " + finding.sentence;
    throw NotCompleted(all);
  }
  examine_reaction(job, estimation, findings);
  const double capacity = model::equilibrium_window(estimation.fitted_cell()).capacity;
  for (const Recording& r : estimation.recordings)
    for (std::size_t s = r.first_step; s <= r.last_step; ++s)
      take(findings, sensor_unchecked(job, r, s, capacity, job.bench.window.capacity));
  for (const Recording& r : estimation.recordings)
    if (r.beginning.with_others && (r.beginning.at_end || r.beginning.spread > told_start)) ask_for_start(r);
  return findings;
}

void state_the_estimation(Answer& said, const Job& job, const study::Estimation& estimation) {
  const std::string remark = model_remark(job);
  said.sections.push_back({"", {Paragraph{remark, terminal}}, Section::Beside::none, terminal});
  said.assumptions.push_back(remark);
  const solver::Accuracy& used = estimation.fitting.problem.accuracy;
  said.assumptions.push_back(
      fmt::format("Numerics: even polynomials inside each grain, as many as keep an estimate of their error below {:g} "
                  "mV (at least {}); CVODE with a relative tolerance of {:g} on what has no closed form. Least squares "
                  "with derivatives by forward sensitivities.",
                  1e3 * used.truncation, used.fewest_modes, used.relative_tolerance));
}

}  // namespace onegrain::app::answer
