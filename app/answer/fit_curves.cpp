#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/fit_words.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"

// What `fit` and `balance` show of the curves that they met, and of potentials that they corrected.
namespace onegrain::app::answer {

namespace {

std::string search_words(const solver::FitResult& r) {
  return (r.starts > 1 ? fmt::format("{} of {} starts arrive at the same minimum.", r.starts_agreeing, r.starts)
                       : std::string("The search began from the sheet alone; more starts would tell whether there is "
                                     "another minimum.")) +
         fmt::format(
             " It ended because {}. Neighbouring points repeat each other: they count as {} independent ones of {} mV.",
             r.ended_by, digits(r.independent_points, 2), millivolts(r.noise));
}

/// "Resolved over the depth of the coatings the reaction would move the fitted curves by 0.3 mV rms, 1.2 mV at most."
std::string reaction_words(const Job& job, const study::Estimation& estimation) {
  double rms = 0, largest = 0;
  for (const solver::ReactionCourse& course : estimation.reaction) {
    rms = std::max(rms, course.rms());
    largest = std::max(largest, std::abs(course.largest()));
  }
  if (estimation.reaction.empty()) return "";
  const std::string of_coatings = job.cell.is_full_cell() ? "coatings" : "coating";
  const std::string curves = estimation.reaction.size() == 1 ? "the fitted curve" : "a fitted curve";
  if (job.reaction == model::Reaction::uneven)
    return fmt::format(
        "The reaction is resolved over the depth of the {}: against an even one that moves {} by up to "
        "{} mV rms, {} mV at most.",
        of_coatings, curves, millivolts(rms), millivolts(largest));
  return fmt::format(
      "The reaction is taken as even over the depth of the {}. Resolved, it would move {} by up to {} mV "
      "rms, {} mV at most (--reaction uneven).",
      of_coatings, curves, millivolts(rms), millivolts(largest));
}

Table curves_table(const study::Estimation& estimation, const std::vector<study::FittedCurve>& curves) {
  const Measure mV = measure<params::Voltage>("mV", 3), volts = measure<params::Voltage>();
  Table table{"fit.curves",
              "How well each curve is met: calculated minus measured",
              {{"file", "file", {}},
               {"rms", "rms", mV},
               {"mean", "mean", mV},
               {"largest", "largest", mV},
               {"reaction_rms", "", mV, summary},
               {"reaction_largest", "", mV, summary},
               {"rows_read", "rows read", counted()},
               {"rows_left_out", "left out", counted()},
               {"rows_compared", "compared", counted()},
               {"correlation_points", "", Measure{}, summary},
               {"", "independent", measure<params::Number>(nullptr, 2), read},
               {"start", "begins", {}, off_screen},
               {"start_state_of_charge", "", Measure{}, summary},
               {"start_spread", "", Measure{}, summary},
               {"trace.time", "", measure<params::Time>("h"), summary},
               {"trace.charge", "", measure<params::Charge>(), summary},
               {"trace.measured", "", volts, summary},
               {"trace.model", "", volts, summary},
               {"trace.residual", "", mV, summary}},
              {}};
  const model::Cell cell = estimation.fitted_cell();
  const double holds = model::equilibrium_window(cell).capacity * cell.plate_area;
  const auto start_of = [&](const Recording& r) {
    const Beginning& b = r.beginning;
    return b.state_of_charge + (b.unrecorded_taken ? r.unrecorded_charge() / holds : 0);
  };
  for (std::size_t c = 0; c < curves.size(); ++c) {
    const solver::CurveMisfit& m = estimation.result.misfits[c];
    const Recording& r = estimation.recordings[c];
    const auto points = static_cast<double>(r.rows.size());
    const bool resolved = c < estimation.reaction.size();
    table.rows.add({m.name, m.rms, m.mean, m.largest, resolved ? TableCell(estimation.reaction[c].rms()) : TableCell(),
                    resolved ? TableCell(estimation.reaction[c].largest()) : TableCell(),
                    static_cast<double>(r.measured.rows_read), static_cast<double>(r.measured.doubts.left_out()),
                    points, m.correlation_time, points / m.correlation_time, start_words(r), start_of(r),
                    r.beginning.spread, curves[c].time, curves[c].charge, curves[c].measured, curves[c].model,
                    curves[c].residual});
  }
  return table;
}

/// True where the charge passed goes one way, so that a curve may be drawn over it.
bool one_way(const std::vector<double>& charge) {
  for (std::size_t k = 1; k < charge.size(); ++k)
    if (std::abs(charge[k]) < std::abs(charge[k - 1]) - 1e-6) return false;
  return !charge.empty() && charge.back() != 0;
}

std::vector<Block> curve_plots(const Job& job, const study::Estimation& estimation,
                               const std::vector<study::FittedCurve>& curves) {
  std::vector<Compared> over_charge, over_time;
  std::string charge_names, time_names;
  for (std::size_t c = 0; c < curves.size(); ++c) {
    const bool charge = one_way(curves[c].charge);
    const std::string& file = estimation.recordings[c].file;
    Compared compared{file_stem(file), charge ? curves[c].charge : curves[c].time, curves[c].measured, curves[c].model};
    if (charge)
      for (double& q : compared.x) q = std::abs(q);
    std::string& names = charge ? charge_names : time_names;
    names += (names.empty() ? "" : ", ") + file_name(file);
    (charge ? over_charge : over_time).push_back(std::move(compared));
  }
  std::vector<Block> plots;
  const auto draw = [&](const std::vector<Compared>& some, const std::string& names, const Axis& x) {
    ComparedOver over{"", "Measured and calculated voltage: " + names + ".", x};
    if (!job.cell.is_full_cell()) over.voltage = "Voltage against lithium";
    const std::vector<Block> pair = compared_plots(some, over);
    plots.insert(plots.end(), pair.begin(), pair.end());
  };
  draw(over_charge, charge_names, {"Charge passed", measure<params::Charge>(), {0.0}});
  draw(over_time, time_names, {"Time", measure<params::Time>("h"), {0.0}});
  return plots;
}

Figures search_figures(const solver::FitResult& r) {
  Figures figures{"fit", "", {}, summary};
  const auto add = [&](const char* key, double value, const Measure& m) {
    figures.figures.push_back({key, "", value, m});
    figures.figures.back().alone = true;
  };
  add("noise", r.noise, measure<params::Voltage>("mV", 3));
  add("independent_points", r.independent_points, Measure{});
  add("starts", r.starts, counted());
  add("starts_agreeing", r.starts_agreeing, counted());
  add("evaluations", r.evaluations, counted());
  return figures;
}

}  // namespace

Section curves_section(const Job& job, const study::Estimation& estimation) {
  const std::vector<study::FittedCurve> curves = study::fitted_curves(estimation);
  const solver::FitResult& r = estimation.result;
  Section section{"The fitted curves", curve_plots(job, estimation, curves)};
  section.blocks.push_back(curves_table(estimation, curves));
  for (const Recording& recording : estimation.recordings)
    section.blocks.push_back(Paragraph{recording.file + ": " + start_words(recording) + "; " +
                                           temperature_words(recording) + mended_words(recording) + ".",
                                       terminal});
  section.blocks.push_back(Paragraph{search_words(r)});
  section.blocks.push_back(Paragraph{reaction_words(job, estimation)});
  section.blocks.push_back(search_figures(r));
  section.blocks.push_back(Facts{
      "fit",
      {{"converged", r.converged},
       {"ended_by", r.ended_by},
       {"reaction", std::string(job.reaction == model::Reaction::uneven ? "uneven" : "even")},
       {"electrolyte", std::string(job.electrolyte == model::ElectrolyteModel::resolved ? "resolved" : "uniform")}}});
  return section;
}

Section potentials_section(const study::Estimation& estimation) {
  const Measure mV = measure<params::Voltage>("mV", 3);
  Section section{"The corrected potential", {}};
  Table table{"fit.potentials",
              "",
              {{"name", "", {}, summary},
               {"stoichiometries", "", Measure{}, summary},
               {"correction", "", mV, summary},
               {"standard_deviation", "", mV, summary}},
              {},
              summary};
  const std::vector<study::Correction> all = study::corrections(estimation);
  if (!all.empty())
    section.blocks.push_back(
        Paragraph{"The shape of the potential was left free to follow the curves. Where the band holds zero, the "
                  "card's own potential would do as well. Band: two standard deviations.",
                  page});
  for (std::size_t k = 0; k < all.size(); ++k) {
    const study::Correction& c = all[k];
    table.rows.add({c.name, c.stoichiometry, c.correction, c.deviation});
    section.blocks.push_back(
        Paragraph{fmt::format("{}: its shape was corrected by a spline of {} pieces; the new card holds it.", c.name,
                              estimation.fitting.problem.potentials[k].pieces),
                  terminal});
    Plot plot;
    plot.title = c.name;
    plot.description = "Correction of the potential of the card against stoichiometry, with two standard deviations.";
    plot.x = {"Stoichiometry", measure<params::Number>(nullptr, 3)};
    plot.y = {"Added to the card", mV, {0.0}};
    plot.names = Plot::Names::none;
    plot.low = true;
    plot.levels = {{0, ""}};
    Series line{"", LineRole::predicted};
    line.x = c.stoichiometry;
    line.y = c.correction;
    for (std::size_t i = 0; i < c.correction.size(); ++i) {
      line.low.push_back(c.correction[i] - 2 * c.deviation[i]);
      line.high.push_back(c.correction[i] + 2 * c.deviation[i]);
    }
    line.also = {{"two standard deviations", mV, {}}};
    for (const double d : c.deviation) line.also.front().values.push_back(2 * d);
    plot.series = {std::move(line)};
    section.blocks.push_back(std::move(plot));
  }
  section.blocks.push_back(std::move(table));
  return section;
}

}  // namespace onegrain::app::answer
