#include "app/study/ceiling.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/plausible.hpp"
#include "params/sheet/temperature.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/trust.hpp"

namespace onegrain::app::study {

namespace {

/// The cell as its sheet has it, from -10 to 45 degC in steps of 5 K.
std::vector<params::Sheet> at_temperatures(const params::Sheet& sheet) {
  std::vector<params::Sheet> sheets;
  for (int celsius = -10; celsius <= 45; celsius += 5) {
    sheets.push_back(sheet);
    sheets.back().temperature.si = 273.15 + celsius;
  }
  return sheets;
}

/// What `confident_share` of the plausible cells survive, at a few temperatures: the same cells at each of them.
/// Between them the logarithm of the share of the nominal rate is taken as linear.
void with_confidence(const std::vector<params::Sheet>& sheets, CeilingSearch& search, const OneByOne& one_by_one,
                     double least, std::vector<CeilingAtTemperature>& map, CeilingFound& found) {
  const std::vector<std::size_t> asked = {0, 2, 4, map.size() - 1};  // -10, 0, 10, 45 degC
  const int each = std::clamp(search.asked().samples / 12, 20, 200);
  std::vector<params::Sheet> some;
  std::vector<double> nominal;
  for (const std::size_t k : asked) {
    some.push_back(sheets[k]);
    nominal.push_back(map[k].current);
  }
  const ColdAndHot cells = cold_and_hot_cells(some, search, one_by_one, nominal, least, each);
  found.cold_and_hot_cells = each * static_cast<int>(asked.size());
  found.cold_and_hot_unsolved = cells.unsolved;
  std::vector<double> share(asked.size());  // logarithm of that of the nominal rate
  std::vector<char> none(asked.size(), 0);  // not even the slowest rate looked at is kept
  for (std::size_t w = 0; w < asked.size(); ++w) {
    const auto at = static_cast<std::size_t>((1 - confident_share) * static_cast<double>(each));
    const double low = cells.currents[w][at];
    none[w] = !(low > 0);
    share[w] = nominal[w] > 0 ? std::log(std::max(low, least) / std::max(nominal[w], least)) : 0;
  }
  for (std::size_t k = 0; k < map.size(); ++k) {
    std::size_t right = 1;
    while (right + 1 < asked.size() && asked[right] < k) ++right;
    const double w =
        static_cast<double>(k - std::min(k, asked[right - 1])) / static_cast<double>(asked[right] - asked[right - 1]);
    if ((w < 1 && none[right - 1]) || (w > 0 && none[right])) {
      map[k].confident_current = 0;  // a lowest rate looked at is no result
      continue;
    }
    map[k].confident_current = map[k].current * std::exp(std::min(0.0, (1 - w) * share[right - 1] + w * share[right]));
  }
}

/// What the ceilings found so far let expect at place k: the straight line of ln(current) through the two nearest ones.
/// 0 where fewer than two are found.
double expected(const std::vector<Searched>& searched, std::size_t k) {
  std::vector<std::pair<double, std::size_t>> near;  // distance, place
  for (std::size_t n = 0; n < searched.size(); ++n)
    if (searched[n].current > 0) near.emplace_back(std::abs(static_cast<double>(n) - static_cast<double>(k)), n);
  if (near.size() < 2) return 0;
  std::sort(near.begin(), near.end());
  const double a = static_cast<double>(near[0].second), b = static_cast<double>(near[1].second);
  const double at_a = std::log(searched[near[0].second].current), at_b = std::log(searched[near[1].second].current);
  return std::exp(at_a + (at_b - at_a) * (static_cast<double>(k) - a) / (b - a));
}

/// The ceiling of each sheet: of a few from the current of the nominal cell on, of the others from what their
/// neighbours let expect, which saves half of the charges.
std::vector<Searched> at_each(const std::vector<params::Sheet>& sheets, CeilingSearch& search, double nominal) {
  static constexpr std::array<std::array<int, 5>, 3> passes{{{1, 5, 9, -1, -1}, {0, 3, 7, 11, -1}, {2, 4, 6, 8, 10}}};
  std::vector<Searched> searched(sheets.size());
  int done = 0;
  for (const auto& pass : passes) {
    const std::vector<Searched> before = searched;
    const auto count = static_cast<int>(std::count_if(pass.begin(), pass.end(), [](int k) { return k >= 0; }));
    const auto work = [&](int n, int thread) {
      const auto k = static_cast<std::size_t>(pass[static_cast<std::size_t>(n)]);
      const double guess = expected(before, k);
      searched[k] = guess > 0 ? search.of(sheets[k], thread, guess, 1e-3, solver::Guess::near)
                              : search.of(sheets[k], thread, nominal, 1e-3);
    };
    search.on_all_threads(CeilingWork::temperatures, count, work, done, static_cast<int>(sheets.size()));
    done += count;
  }
  return searched;
}

/// @param one_by_one  nullptr: without plausible cells
void over_temperature(const params::Sheet& sheet, CeilingSearch& search, const OneByOne* one_by_one, double least,
                      CeilingFound& found) {
  const std::vector<params::Sheet> sheets = at_temperatures(sheet);
  const std::vector<Searched> searched = at_each(sheets, search, found.nominal.current);
  std::vector<CeilingAtTemperature> map;
  for (std::size_t k = 0; k < sheets.size(); ++k)
    map.push_back({sheets[k].temperature.si, searched[k].current, searched[k].current, searched[k].limited_by});
  if (one_by_one) with_confidence(sheets, search, *one_by_one, least, map, found);
  for (std::size_t k = 0; k < sheets.size(); ++k) {
    if (searched[k].found())
      found.temperatures.push_back(map[k]);
    else
      found.left_out.push_back({map[k].temperature, searched[k].because});
  }
}

/// The potentials on the way of a judged charge, and what an even reaction would have told.
ChargePath path_of(solver::ChargeStudy& study, solver::Workspace& workspace, const solver::JudgedCharge& charge) {
  model::Step step{model::CurrentDrive{study.sign() * charge.current}, {}, "charge"};
  step.until.capacity = (study.soc().to - study.soc().from) * study.whole();
  const solver::StepSolution solution = study.simulator().run(study.start(), step);
  solver::Simulator even(study.simulator().cell(), workspace, solver::charge_accuracy(model::Reaction::even),
                         model::ElectrolyteModel::resolved);
  const solver::StepSolution as_even = even.run(study.start(), step);
  ChargePath path;
  for (const double t : solver::moments(solution, 81, true)) {
    const model::Terminal v = solution.at(t).terminal;
    path.soc.push_back(study.soc().from + charge.current * t / study.whole());
    path.voltage.push_back(v.voltage);
    path.separator_side.push_back(v.separator_side);
    path.even.push_back(as_even.at(std::min(t, as_even.duration())).terminal.separator_side);
  }
  return path;
}

}  // namespace

StaircaseFound find_staircase(solver::ChargeStudy& study, solver::Workspace& workspace, double nominal,
                              double recommended) {
  const model::Cell& cell = study.simulator().cell();
  const model::Window window = model::equilibrium_window(cell);
  StaircaseFound found{};
  const double highest = std::max(nominal, solver::TrustLimits{}.limiting_current_share *
                                               solver::limiting_current(cell, study.sign() > 0, cell.temperature));
  found.ride = solver::ride_limits(study, highest);
  found.share = std::min(1.0, recommended / nominal);
  solver::ChargeLimits but_voltage = study.limits();
  but_voltage.keep_voltage = false;
  solver::ChargeStudy held(cell, window, study.soc(), but_voltage, workspace);
  found.constant_voltage_time =
      solver::constant_current_constant_voltage(held, found.share * held.ceiling(nominal, 1e-3).current);
  found.staircase = solver::cut(study, found.ride, 6, highest);
  if (found.share < 1) found.staircase = solver::scaled(study, found.staircase, found.share);
  return found;
}

void add_staircase(solver::ChargeStudy& study, solver::Workspace& workspace, CeilingFound& found) {
  if (!(found.nominal.current > 0 && found.recommended > 0)) {
    found.no_staircase = NoStaircase::no_rate;
    return;
  }
  try {
    found.staircase = find_staircase(study, workspace, found.nominal.current, found.recommended);
    found.staircase->constant_current_time = found.charge.duration;
  } catch (const solver::IntegrationFailure& failure) {
    found.no_staircase = NoStaircase::charge_without_end;
    found.no_staircase_because = failure.what();
  }
  if (found.staircase && found.staircase->staircase.steps.empty()) {
    found.staircase.reset();
    found.no_staircase = NoStaircase::no_first_step;
  }
}

CeilingFound find_ceiling(const Job& job, const CeilingAsked& asked, const CeilingProgress& progress) {
  const InterruptGuard guard;
  CeilingSearch search(asked, progress);
  CeilingFound found{};
  const Subject nominal(job.sheet);
  solver::ChargeStudy study(nominal.cell, nominal.window, asked.soc, asked.limits, search.workspace());
  const double least = study.whole() / 3600 / 200;
  found.nominal = study.ceiling(study.whole() / 3600, 2e-4);
  const double i0 = found.nominal.current;
  found.even_current = search.of(nominal, i0, 1e-3, solver::Description::even).current;
  found.plain_current = search.of(nominal, i0, 1e-3, solver::Description::plain).current;

  std::optional<OneByOne> one_by_one;
  if (asked.samples > 0 && !unknowns(job.sheet).empty()) one_by_one.emplace(job.sheet, search, i0, least);
  if (params::tells_of_temperature(job.sheet))
    over_temperature(job.sheet, search, one_by_one ? &*one_by_one : nullptr, least, found);
  if (one_by_one) found.plausible = plausible_cells(job.sheet, search, *one_by_one, i0, least);

  found.recommended = found.plausible ? found.plausible->confident : i0;
  found.limited_by = found.nominal.charge.tightest;
  if (found.plausible) found.limited_by = found.plausible->limited_by.value_or(found.limited_by);
  found.charge = study.judge(std::max(found.recommended, least));
  found.path = path_of(study, search.workspace(), found.charge);
  if (asked.staircase) add_staircase(study, search.workspace(), found);
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");
  return found;
}

}  // namespace onegrain::app::study
