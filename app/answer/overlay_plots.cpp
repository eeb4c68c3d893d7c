#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/overlay_words.hpp"

namespace onegrain::app::answer {

using study::Derivative;
using study::OverlaidStep;
using study::Overlay;
using study::StepAt;

namespace {

constexpr std::size_t curves_together = 8, runs_shown = 6, derivatives_shown = 5;

std::string voltage_title(const Job& job) { return job.cell.is_full_cell() ? "Voltage" : "Voltage against lithium"; }

/// What is known, as far as was measured, without its gaps: where rows lie wider apart than the smoothing reaches it is
/// drawn straight across.
Series derivative_line(const Derivative& d, const Derivative& measured, LineRole role, const char* label) {
  Series line{label, role};
  for (std::size_t k = 0; k < d.x.size(); ++k) {
    if (!std::isfinite(d.value[k]) || d.x[k] < measured.x.front() || d.x[k] > measured.x.back()) continue;
    line.x.push_back(d.x[k]);
    line.y.push_back(d.value[k]);
  }
  return line;
}

/// A row or two that a cycler's change of mode has left.
bool is_scrap(const OverlaidStep& step) { return step.time.size() < 3; }

/// "cell_a/curves" of "data/cell_a/curves.csv".
std::string with_folder(const std::string& path) {
  const std::string stem = file_stem(path);
  const auto slash = path.find_last_of("/\\");
  return slash == std::string::npos ? stem : file_name(path.substr(0, slash)) + "/" + stem;
}

std::string capital(std::string text) {
  text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

/// dQ/dV: as high as what was measured, and half as much again for the calculated one.
void scale_to_peaks(Plot& plot) {
  const std::vector<double>& measured = plot.series[0].y;
  const auto [low, high] = std::minmax_element(measured.begin(), measured.end());
  plot.y.least = std::min(0.0, *low);
  plot.y.most = 1.5 * *high;
}

/// dV/dQ: the ends rise without limit; between them lie the features that tell the electrodes apart.
void scale_to_middle(Plot& plot) {
  const Series& measured = plot.series[0];
  const double from = measured.x.front(), to = measured.x.back();
  double low = 0, high = 0;
  for (std::size_t k = 0; k < measured.x.size(); ++k) {
    if (!(measured.x[k] > from + 0.06 * (to - from) && measured.x[k] < to - 0.12 * (to - from))) continue;
    low = std::min(low, measured.y[k]);
    high = std::max(high, measured.y[k]);
  }
  plot.y.least = low;
  plot.y.most = 1.5 * high;
}

std::optional<Plot> derivative_plot(const std::string& name, const Derivative& measured, const Derivative& model,
                                    bool by_voltage) {
  if (measured.x.size() < 2) return std::nullopt;
  Plot plot;
  plot.title = name + (by_voltage ? ": dQ/dV" : ": dV/dQ");
  plot.description =
      std::string(by_voltage ? "dQ/dV against voltage" : "dV/dQ against capacity") + ", measured and calculated.";
  plot.x = by_voltage ? Axis{"Voltage", measure<params::Voltage>()} : Axis{"Capacity", measure<params::Charge>()};
  plot.y = by_voltage ? Axis{"dQ/dV", {&charge_by_voltage_kind, nullptr, 3}, {0.0}}
                      : Axis{"dV/dQ", {&voltage_by_charge_kind, nullptr, 3}, {0.0}};
  plot.key = compared_key();
  plot.names = Plot::Names::none;
  plot.low = true;
  plot.series = {derivative_line(measured, measured, LineRole::measured, "measured"),
                 derivative_line(model, measured, LineRole::calculated, "calculated")};
  if (plot.series[0].x.size() < 2) return std::nullopt;
  by_voltage ? scale_to_peaks(plot) : scale_to_middle(plot);
  return plot;
}

}  // namespace

std::string StepNames::rate(StepAt place) const {
  const OverlaidStep& step = overlay_.at(place);
  return step.is_sweep() ? nominal_rate(step.c_rate) : params::step_kind_name(step.recorded.kind);
}

std::string StepNames::plain(StepAt place) const {
  const OverlaidStep& step = overlay_.at(place);
  return step.is_sweep() ? fmt::format("{} at {}", params::step_kind_name(step.recorded.kind), rate(place))
                         : rate(place);
}

std::string StepNames::marks(StepAt place) const {
  bool other_file = false, same_file = false, same_name = false;
  const auto stem = [&](StepAt at) { return file_stem(overlay_.runs[at.run].recording.file); };
  for (const StepAt other : all_steps(overlay_)) {
    if (other.run == place.run && other.step == place.step) continue;
    if (plain(other) != plain(place) || is_scrap(overlay_.at(other))) continue;
    (other.run == place.run ? same_file : other_file) = true;
    same_name = same_name || (other.run != place.run && stem(other) == stem(place));
  }
  std::string words;
  if (other_file) words += ", " + (same_name ? with_folder(overlay_.runs[place.run].recording.file) : stem(place));
  if (same_file) words += fmt::format(", step {}", overlay_.at(place).number + 1);
  return words;
}

std::string StepNames::brief(StepAt place) const { return rate(place) + marks(place); }
std::string StepNames::full(StepAt place) const { return plain(place) + marks(place); }

std::vector<StepAt> all_steps(const Overlay& overlay) {
  std::vector<StepAt> all;
  for (std::size_t r = 0; r < overlay.runs.size(); ++r)
    for (std::size_t s = 0; s < overlay.runs[r].steps.size(); ++s) all.push_back({r, s});
  return all;
}

std::vector<StepAt> sweeps_drawn(const Overlay& overlay, bool discharge) {
  double most = 0;
  for (const StepAt place : all_steps(overlay))
    if (overlay.at(place).is_sweep()) most = std::max(most, overlay.at(place).capacity);
  std::vector<StepAt> some;
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& step = overlay.at(place);
    if (step.is_sweep() && step.discharges() == discharge && step.capacity > 0.01 * most && step.time.size() > 2)
      some.push_back(place);
  }
  std::stable_sort(some.begin(), some.end(),
                   [&](StepAt a, StepAt b) { return overlay.at(a).c_rate < overlay.at(b).c_rate; });
  return some;
}

std::vector<Block> sweep_plots(const Job& job, const Overlay& overlay, bool discharge) {
  const StepNames names(overlay);
  const std::vector<StepAt> some = sweeps_drawn(overlay, discharge);
  std::vector<Compared> curves;
  std::string told;
  for (const StepAt place : some) {
    if (curves.size() == curves_together) break;
    const OverlaidStep& step = overlay.at(place);
    curves.push_back({names.brief(place), step.charge, step.measured, step.model, !step.trust.trusted()});
    told += fmt::format(" {}: {} mV rms.", names.full(place), millivolts(step.distance.rms));
  }
  std::vector<Block> blocks = compared_plots(curves, {discharge ? "Discharge" : "Charge",
                                                      "Voltage against capacity, measured and calculated." + told,
                                                      {"Capacity", measure<params::Charge>(nullptr, 3), {0.0}},
                                                      voltage_title(job),
                                                      {},
                                                      discharge ? Plot::Names::below : Plot::Names::above});
  if (!blocks.empty() && some.size() > curves.size())
    blocks.push_back(Paragraph{fmt::format("{} faster steps stand in curves.csv.", some.size() - curves.size()), page});
  return blocks;
}

std::vector<Block> record_plots(const Job& job, const Overlay& overlay) {
  const StepNames names(overlay);
  std::vector<Block> blocks;
  std::size_t shown = 0;
  for (std::size_t r = 0; r < overlay.runs.size() && shown < runs_shown; ++r) {
    const study::OverlaidRun& run = overlay.runs[r];
    if (run.steps.size() < 2) continue;
    ++shown;
    Compared whole;
    ComparedOver over;
    over.title = run.recording.name();
    over.description = fmt::format("Voltage against time over {} steps, measured and calculated.", run.steps.size());
    over.voltage = voltage_title(job);
    over.names = Plot::Names::none;
    for (std::size_t s = 0; s < run.steps.size(); ++s) {
      const OverlaidStep& step = run.steps[s];
      if (s > 0) {
        whole.x.push_back(step.time.front());
        whole.measured.push_back(NAN);
        whole.model.push_back(NAN);
      }
      whole.x.insert(whole.x.end(), step.time.begin(), step.time.end());
      whole.measured.insert(whole.measured.end(), step.measured.begin(), step.measured.end());
      whole.model.insert(whole.model.end(), step.model.begin(), step.model.end());
      const std::string kind = is_scrap(step) ? "" : params::step_kind_name(step.recorded.kind);
      over.stages.push_back({step.time.front(), step.time.back(),
                             step.is_sweep() && !kind.empty() ? names.rate({r, s}) + " " + kind : kind});
    }
    over.x = {"Time", measure<params::Time>(whole.x.back() < 3600 ? "min" : "h"), {0.0}};
    const std::vector<Block> both = compared_plots({whole}, over);
    blocks.insert(blocks.end(), both.begin(), both.end());
  }
  return blocks;
}

std::vector<Block> derivative_plots(const Overlay& overlay) {
  const StepNames names(overlay);
  std::vector<StepAt> some = sweeps_drawn(overlay, true);
  const std::vector<StepAt> charges = sweeps_drawn(overlay, false);
  some.insert(some.end(), charges.begin(), charges.end());
  std::stable_sort(some.begin(), some.end(),
                   [&](StepAt a, StepAt b) { return overlay.at(a).c_rate < overlay.at(b).c_rate; });
  std::vector<Block> blocks;
  for (std::size_t k = 0; k < some.size() && k < derivatives_shown; ++k) {
    const OverlaidStep& step = overlay.at(some[k]);
    for (const bool by_voltage : {true, false}) {
      const auto of = [&](const study::Derivatives& d) {
        return by_voltage ? d.charge_by_voltage : d.voltage_by_charge;
      };
      if (auto plot = derivative_plot(capital(names.full(some[k])), of(*step.measured_derivatives),
                                      of(*step.model_derivatives), by_voltage))
        blocks.push_back(std::move(*plot));
    }
  }
  if (some.size() > derivatives_shown && !blocks.empty())
    blocks.push_back(Paragraph{
        fmt::format("{} faster steps are not drawn; they stand in summary.json.", some.size() - derivatives_shown),
        page});
  return blocks;
}

std::vector<Block> yardstick_plots(const Overlay& overlay) {
  const StepNames names(overlay);
  std::vector<Block> blocks;
  for (const study::Yardstick& yardstick : overlay.yardsticks) {
    Plot plot;
    plot.title = yardstick.discharge ? "Discharge" : "Charge";
    plot.description = "Distance from the measured curve against C-rate, of the model and of what needs no model.";
    plot.x = {"C-rate, logarithmic", measure<params::Number>(nullptr, 3)};
    plot.x.logarithmic = true;
    plot.y = {"Off the measured curve, rms", measure<params::Voltage>("mV", 3), {0.0}};
    plot.names = Plot::Names::right;
    Series model{"the model", LineRole::predicted}, line{"slow curve less one resistance", LineRole::other},
        cells{"other cells, same test", LineRole::in_time};
    for (Series* s : {&model, &line, &cells}) s->marked = true;
    const auto add = [](Series& s, double x, const std::optional<double>& y) {
      if (!y) return;
      s.x.push_back(x);
      s.y.push_back(*y);
    };
    for (const StepAt place : sweeps_drawn(overlay, yardstick.discharge)) {
      const OverlaidStep& step = overlay.at(place);
      if (!step.model_rms_there || !step.resistance_rms) continue;
      add(model, step.c_rate, step.model_rms_there);
      add(line, step.c_rate, step.resistance_rms);
      add(cells, step.c_rate, step.between_cells_rms);
      line.at_points.push_back(step.resistance_fitted_here ? "fitted here" : "");
      plot.x.ticks.push_back({step.c_rate, names.rate(place)});
    }
    if (model.x.size() < 2) continue;
    plot.series = {std::move(model), std::move(line)};
    if (!cells.x.empty()) plot.series.push_back(std::move(cells));
    blocks.push_back(std::move(plot));
  }
  return blocks;
}

}  // namespace onegrain::app::answer
