#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/job.hpp"
#include "solver/charge/staircase.hpp"

/// How fast may this cell be charged before it has ever been tested: the ceiling of the cell as the sheet has it, of
/// the cells that its spreads allow, over temperature, and as a staircase.
namespace onegrain::app {

struct CeilingOptions {
  solver::ChargeWindow soc;
  solver::ChargeLimits limits;
  int samples = 0;  ///< 0: the nominal cell only
  std::uint64_t seed = 1;
  int threads = 0;  ///< 0: all cores
  bool temperatures = true;
  bool staircase = false;
};
constexpr double confidence = 0.95;

/// Which unknown costs most.
struct Cost {
  std::string path, written;
  double slope;             ///< d ln(current) per standard deviation
  double current_if_known;  ///< what `confidence` of the cells would survive if this were known exactly [A/m2]
};

struct AtTemperature {
  double temperature;        ///< [K]
  double current;            ///< of the nominal cell [A/m2]
  double confident_current;  ///< from fewer plausible cells than the recommendation; equal to `current` without samples
                             ///< [A/m2]
  solver::Limit limited_by;
};

struct CeilingResult {
  solver::Ceiling nominal;
  double even_current, plain_current;  ///< what coarser descriptions say [A/m2]
  double recommended;                  ///< current: that of the confidence, or the nominal one without samples [A/m2]
  double median;                       ///< [A/m2]
  std::vector<double> currents;        ///< of the plausible cells, ascending; an unsolved one counts as 0 [A/m2]
  solver::Limit limited_by;            ///< of the recommendation: what stops most of the cells that survive least
  double limited_share = 1;            ///< of those cells, the share that it stops
  int unsolved = 0;
  std::string unsolved_because;             ///< of the first of them
  std::vector<Cost> costs;                  ///< dearest first
  std::vector<AtTemperature> temperatures;  ///< empty where the cards say nothing about temperature
  std::string temperature_remark;           ///< what the cards leave out; empty if nothing
  solver::JudgedCharge charge;              ///< the nominal cell at the recommended current
  solver::Ride ride;
  double staircase_share = 1;        ///< recommended / nominal, at most 1
  solver::Staircase staircase;       ///< at that share of the nominal one
  std::string no_staircase_because;  ///< asked for and not to be had; empty otherwise
  double constant_current_time, constant_current_constant_voltage_time;  ///< to the end of the window [s]
};

/// Throws NotCompleted where the user interrupts.
CeilingResult find_ceiling(const Job& job, const CeilingOptions& options, const Channels& channels);

/// "lithium plating on the negative", ...
std::string name_of(solver::Limit limit, const Job& job);
std::string ceiling_headline(const Job& job, const CeilingOptions& options, const CeilingResult& result);
nlohmann::json margins_json(const Job& job, const solver::JudgedCharge& charge);
/// For the summary, and (with the arrays that plots need) for the report.
nlohmann::json ceiling_json(const Job& job, const CeilingOptions& options, const CeilingResult& result);
nlohmann::json ceiling_document(const Job& job, const CeilingOptions& options, const CeilingResult& result);
/// The staircase as a protocol file that `follow` runs.
std::string staircase_protocol(const Job& job, const solver::Staircase& staircase);

}  // namespace onegrain::app
