#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/overlay_words.hpp"

// The temperature that the heat balance of a sheet gives, beside the one that was measured.
namespace onegrain::app::answer {

using study::OverlaidRun;
using study::OverlaidStep;
using study::Overlay;
using study::StepAt;

namespace {

constexpr std::size_t files_drawn = 6;

/// The highest of what is known [K]; of the model where it was measured too.
double highest(const std::vector<double>& values, const OverlaidStep& step) {
  double most = -INFINITY;
  for (std::size_t k = 0; k < values.size(); ++k)
    if (std::isfinite(step.measured_temperature[k] - step.model_temperature[k])) most = std::max(most, values[k]);
  return most;
}

Table temperature_table(const Overlay& overlay) {
  const StepNames names(overlay);
  const Measure celsius = measure<params::Temperature>(nullptr, 3),
                kelvin = measure<params::TemperatureDifference>("K", 2);
  Table table{"",
              "Temperature: calculated minus measured, weighted with time",
              {{"", "step", {}},
               {"", "highest measured", celsius},
               {"", "highest calculated", celsius},
               {"", "rms", kelvin},
               {"", "mean", kelvin},
               {"", "largest", kelvin}},
              {},
              read,
              read};
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& step = overlay.at(place);
    if (!step.temperature_distance || step.temperature_distance->rows == 0) continue;
    const study::Distance& d = *step.temperature_distance;
    const auto seen = [](double off) { return std::abs(off) < 0.005 ? 0.0 : off; };  // nothing reads finer
    table.rows.add({names.full(place), highest(step.measured_temperature, step), highest(step.model_temperature, step),
                    seen(d.rms), seen(d.mean), seen(d.largest)});
  }
  return table;
}

std::vector<Block> temperature_plots(const Overlay& overlay) {
  std::vector<Block> blocks;
  std::size_t shown = 0;
  for (const OverlaidRun& run : overlay.runs) {
    if (run.steps.empty() || !run.steps.front().predicts_temperature() || shown++ == files_drawn) continue;
    Compared whole;
    for (const OverlaidStep& step : run.steps) {
      whole.x.insert(whole.x.end(), step.time.begin(), step.time.end());
      whole.measured.insert(whole.measured.end(), step.measured_temperature.begin(), step.measured_temperature.end());
      whole.model.insert(whole.model.end(), step.model_temperature.begin(), step.model_temperature.end());
    }
    ComparedOver over;
    over.title = run.recording.name();
    over.description = "Temperature of the cell against time, measured and calculated.";
    over.x = {"Time", measure<params::Time>(whole.x.back() < 3600 ? "min" : "h"), {0.0}};
    over.voltage = "Temperature";
    over.value = measure<params::Temperature>(nullptr, 3);
    over.difference = measure<params::TemperatureDifference>("K", 2);
    over.names = Plot::Names::none;
    const std::vector<Block> both = compared_plots({whole}, over);
    blocks.insert(blocks.end(), both.begin(), both.end());
  }
  return blocks;
}

}  // namespace

std::vector<Block> temperature_blocks(const Overlay& overlay) {
  Table table = temperature_table(overlay);
  if (table.rows.size() == 0) return {};
  std::vector<Block> blocks = {
      Paragraph{"Calculated: one temperature of the whole cell, by the heat balance of the sheet, from the first "
                "measured one on. Measured: where the sensor sits; inside a cell is warmer than its surface. The "
                "voltages above were calculated at this temperature."}};
  const std::vector<Block> plots = temperature_plots(overlay);
  blocks.insert(blocks.end(), plots.begin(), plots.end());
  blocks.emplace_back(std::move(table));
  return blocks;
}

}  // namespace onegrain::app::answer
