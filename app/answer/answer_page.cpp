#include <fmt/format.h>

#include "app/answer/answers.hpp"
#include "app/answer/examination.hpp"
#include "app/result_file.hpp"
#include "model/balance.hpp"
#include "params/sheet/temperature.hpp"

// `page`: a cell to teach with, handed over as numbers to the solver inside the page.

namespace onegrain::app::answer {

namespace {

/// The positive of a full cell by itself, against the shipped lithium metal, charged as far as in the cell; empty where
/// that makes no cell.
std::vector<double> half_cell_of(const params::Sheet& sheet, const model::MadeCell& made, const model::Window& window) {
  const auto metal = params::load_lithium_metal("lithium_metal");
  if (!metal.value) return {};
  model::MadeCell half{made.cell, made.positive, {}, {}};
  half.cell.negative.reset();
  half.cell.charged_state.reset();
  half.cell.thermal.reset();
  half.cell.rated_capacity = 0;
  half.cell.counter = metal.value->to_model({sheet.temperature.si, false});
  half.cell.upper_voltage = made.cell.positive.host.potential(window.full.positive, made.cell.temperature);
  half.cell.inventory = model::lithium_of(half.cell, {});
  try {
    model::equilibrium_window(half.cell);
  } catch (const model::ImpossibleBalance&) {
    return {};
  }
  return model::numbers_of(half);
}

/// A host of which lithium may come out as metal: one that comes near to lithium's potential before it is full.
bool comes_near_to_lithium(const model::Cell& cell) {
  constexpr double far = 0.5;  // V: a titanate or an oxide stays above it
  const model::Electrode& takes_up = cell.negative ? *cell.negative : cell.positive;
  return takes_up.host.potential(0.95, cell.temperature) < far;
}

}  // namespace

Answer teaching_page(const Request& request, const Channels&, Job& job) {
  refuse_several_sizes(job, "the page calculates with grains that are alike");
  require_new_file(request.page_file);
  const model::MadeCell made = params::to_made_cell(job.sheet, false);
  Teaching teaching{.file = request.page_file,
                    .cell = model::numbers_of(made),
                    .cell_of_any_temperature = model::numbers_of(params::to_made_cell(job.sheet, true)),
                    .half_cell = {},
                    .full_cell = job.cell.is_full_cell(),
                    .tells_of_temperature = params::tells_of_temperature(job.sheet),
                    .unknown_over_temperature = params::unknown_over_temperature(job.sheet),
                    .can_plate = comes_near_to_lithium(job.cell),
                    .positive_material = job.sheet.positive.material.name,
                    .negative_material = job.sheet.negative ? job.sheet.negative->material.name : "lithium metal"};
  if (job.cell.is_full_cell()) teaching.half_cell = half_cell_of(job.sheet, made, job.bench.window);
  Answer said;
  said.headline = fmt::format(
      "{} shows this cell at work, with ten questions for a class. Open it by double click: it needs no "
      "network and no installation.",
      request.page_file);
  said.sections.push_back({"", {Facts{"page", {{"written_to", request.page_file}}}}});
  said.teaching = std::make_shared<const Teaching>(std::move(teaching));
  return said;
}

}  // namespace onegrain::app::answer
