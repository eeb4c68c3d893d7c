#pragma once

#include <string>
#include <vector>

#include "app/answer/answer.hpp"
#include "app/study/overlay.hpp"

/// Names, tables and plots of an overlay, for answer_overlay.cpp.
namespace onegrain::app::answer {

inline constexpr params::Kind charge_by_voltage_kind{{-2, -1, 4, 2}, "a charge per voltage", "mAh/V"};
inline constexpr params::Kind voltage_by_charge_kind{{2, 1, -4, -2}, "a voltage per charge", "mV/mAh"};

/// How the steps of an overlay are called. Where two share a rate, file and number tell them apart.
class StepNames {
 public:
  explicit StepNames(const study::Overlay& overlay) : overlay_(overlay) {}
  /// "5C"; "rest", "hold".
  std::string rate(study::StepAt place) const;
  /// "discharge at 5C".
  std::string plain(study::StepAt place) const;
  /// "5C, cell_a, step 2".
  std::string brief(study::StepAt place) const;
  /// "discharge at 5C, cell_a, step 2".
  std::string full(study::StepAt place) const;

 private:
  std::string marks(study::StepAt place) const;
  const study::Overlay& overlay_;
};

/// All steps, file by file.
std::vector<study::StepAt> all_steps(const study::Overlay& overlay);
/// Charges or discharges that are worth a curve, the slowest first: a cycler's change of mode may leave some of a row
/// or two.
std::vector<study::StepAt> sweeps_drawn(const study::Overlay& overlay, bool discharge);

/// The steps of one run, as summary and terminal hold them; of all runs, as the page does.
Table summary_steps(const study::OverlaidRun& run);
Table terminal_steps(const study::OverlaidRun& run);
Table page_steps(const study::Overlay& overlay);
/// Beside what needs no model.
Table yardstick_table(const study::Overlay& overlay);

/// Voltage against capacity with the residuals below, for one direction; empty where there is none.
std::vector<Block> sweep_plots(const Job& job, const study::Overlay& overlay, bool discharge);
/// The whole record against time, for runs of more than one step.
std::vector<Block> record_plots(const Job& job, const study::Overlay& overlay);
/// Temperature by the heat balance of the sheet beside the measured one; empty where it was not predicted.
std::vector<Block> temperature_blocks(const study::Overlay& overlay);
/// dQ/dV and dV/dQ, measured and calculated, of the slowest steps.
std::vector<Block> derivative_plots(const study::Overlay& overlay);
/// Model, one resistance and other cells, against the rate; empty where one rate alone can be compared.
std::vector<Block> yardstick_plots(const study::Overlay& overlay);

}  // namespace onegrain::app::answer
