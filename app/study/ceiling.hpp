#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "app/study/sampled_quantile.hpp"
#include "solver/charge/staircase.hpp"

/// How fast may this cell be charged before it has ever been tested: the ceiling of the cell as the sheet has it, of
/// the cells that its spreads allow, over temperature, and as a staircase. Currents per plate area.
namespace onegrain::app::study {

struct CeilingAsked {
  solver::ChargeWindow soc;
  solver::ChargeLimits limits;
  int samples = 0;  ///< plausible cells at most, least_samples at least; 0: the cell as the sheet has it alone
  std::uint64_t seed = 1;
  int threads = 0;  ///< 0: all cores
  bool staircase = false;
  double within = 0.03;  ///< plausible cells are enough once the half-width of the interval of the rate is below it
};

/// What `confident_share` of the plausible cells survive is recommended.
constexpr double confident_share = 0.95;

/// Fewer cells cannot bound from below, at 97.5 %, what `confident_share` of all survive (0.95^73 = 0.024); twice as
/// many leave a rank or two.
constexpr int least_samples = 128;
/// So many are given a ceiling of their own: the median and the slopes are theirs.
constexpr int first_cells = 256, first_over_temperature = 64;
/// How well, and with how many cells, the map over temperature is to be known.
constexpr double within_over_temperature = 0.1;
constexpr int most_samples_over_temperature = 1024;

/// What it is at, for who waits.
enum class CeilingWork { temperatures, cold_and_hot_cells, plausible_cells, staircase };
using CeilingProgress = std::function<void(CeilingWork work, int done, int of)>;

/// What one value that is not known well costs.
struct UnknownCost {
  std::string path, written;  ///< as Unknown
  double slope;               ///< d ln(current) per standard deviation
  double current_if_known;    ///< what `confident_share` of the cells would survive if this were known exactly [A/m2]
};

struct CeilingAtTemperature {
  double temperature;        ///< [K]
  double current;            ///< of the cell as the sheet has it [A/m2]
  double confident_current;  ///< lower end of what `confident_share` survive; equal to `current` without samples [A/m2]
  solver::Limit limited_by;
  std::optional<SampledQuantile> sampled;  ///< where plausible cells were looked at; none: from its neighbours
};

/// A temperature at which the ceiling of the cell as the sheet has it could not be found, and why.
struct TemperatureLeftOut {
  double temperature;  ///< [K]
  std::string because;
};

/// The ceiling of some of the cells that the spreads allow, and the share of all that it stands for.
struct PlausibleCell {
  double current, share;  ///< of one that could not be solved 0 [A/m2]; [1]
};

/// The cells that the spreads allow.
struct PlausibleCells {
  std::vector<PlausibleCell> cells;  ///< ascending; the shares add up to 1
  int count = 0;                     ///< how many were looked at
  int resolved = 0;                  ///< those whose own ceiling was searched for in the finest description
  int unsolved = 0;
  std::string unsolved_because;             ///< of the first of them
  SampledQuantile confident, median;        ///< what `confident_share` and what half of them survive [A/m2]
  std::optional<solver::Limit> limited_by;  ///< what stops most of those that survive least; none: all are unsolved
  double limited_share = 1;                 ///< of those, the share that it stops
  std::vector<UnknownCost> costs;           ///< dearest first

  double share_that_keeps(double current) const;
};

/// The recommended charge of the cell as the sheet has it, on its way.
struct ChargePath {
  std::vector<double> soc, voltage;    ///< [1], [V]
  std::vector<double> separator_side;  ///< with the reaction resolved over the depth of the layers [V]
  std::vector<double> even;            ///< the same had the reaction been even [V]
};

/// Why there is no staircase where one was asked for.
enum class NoStaircase {
  none,                ///< there is one, or none was asked for
  no_rate,             ///< no rate is recommended
  no_first_step,       ///< the slowest charge looked at breaks a limit in the first step
  charge_without_end,  ///< one of its charges could not be calculated where the ceiling could
  too_uncertain        ///< at no factor of its currents do enough of the plausible cells survive
};

/// The plausible cells that survive steps given to a cycler.
struct CountedSteps {
  double factor;      ///< of the currents at which they were counted
  int counted, kept;  ///< cells
};

/// The fastest charge along the limits, cut into steps of constant current.
struct StaircaseFound {
  solver::Ride ride;
  double share = 1;              ///< of what the cell as the sheet has it allows that the steps and the ride take
  solver::Staircase staircase;   ///< at that share
  double constant_current_time;  ///< at the recommended current, to the end of the window [s]
  double constant_voltage_time;  ///< the same with the voltage held where it is met [s]; infinite: never
  std::optional<CountedSteps> counted;  ///< without plausible cells none
};

struct CeilingFound {
  solver::Ceiling nominal;             ///< of the cell as the sheet has it
  double even_current, plain_current;  ///< what coarser descriptions say [A/m2]
  std::optional<PlausibleCells> plausible;
  double recommended;  ///< lower end of what the plausible cells allow, or the nominal one where there are none [A/m2]
  solver::Limit limited_by;                        ///< of that recommendation
  std::vector<CeilingAtTemperature> temperatures;  ///< empty where the cards say nothing about temperature
  std::vector<TemperatureLeftOut> left_out;
  int cold_and_hot_cells = 0, cold_and_hot_unsolved = 0;  ///< plausible cells behind `temperatures`, the coldest and
                                                          ///< hottest among them; not those of the recommendation
  solver::JudgedCharge charge;  ///< the nominal cell at the recommended current, or the least looked at if that is 0
  ChargePath path;
  std::optional<StaircaseFound> staircase;
  NoStaircase no_staircase = NoStaircase::none;
  std::string no_staircase_because;  ///< of charge_without_end
};

/// @throws NotCompleted  where the user interrupts
/// @throws solver::IntegrationFailure, model::ImpossibleBalance  the cell as the sheet has it cannot be calculated; no
///         trouble of another cell is thrown
CeilingFound find_ceiling(const Job& job, const CeilingAsked& asked, const CeilingProgress& progress);

/// The staircase of a study at this recommended current; the time at that current is left to the caller.
/// @param nominal, recommended  > 0 [A/m2]
/// @throws solver::IntegrationFailure  one of its charges cannot be calculated
StaircaseFound find_staircase(solver::ChargeStudy& study, solver::Workspace& workspace, double nominal,
                              double recommended);

/// The staircase of what was found, or why there is none: the ceiling stands all the same.
void add_staircase(solver::ChargeStudy& study, solver::Workspace& workspace, CeilingFound& found);

}  // namespace onegrain::app::study
