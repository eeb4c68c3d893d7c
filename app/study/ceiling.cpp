#include "app/study/ceiling.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "app/study/ceiling_search.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/plausible.hpp"
#include "app/study/staircase_share.hpp"
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

/// The same cells at a few temperatures, and at that of the sheet the recommendation itself. Between them the logarithm
/// of the share of the nominal rate is taken as linear in the temperature.
void with_confidence(const UncertainCell& uncertain, CeilingSearch& search, const OneByOne& one_by_one, double least,
                     CeilingFound& found) {
  std::vector<CeilingAtTemperature>& map = found.temperatures;
  std::vector<std::size_t> known;
  int done = 0;
  const int each = std::min(most_samples_over_temperature, found.plausible->count);
  for (std::size_t k = 0; k < map.size(); ++k) {
    if (map[k].temperature == uncertain.sheet().temperature.si) {
      map[k].sampled = found.plausible->confident;
    } else if (const double celsius = map[k].temperature - 273.15;
               k == 0 || k + 1 == map.size() || std::abs(celsius) < 0.1 || std::abs(celsius - 10) < 0.1) {
      const UncertainCell there = uncertain.at(map[k].temperature);
      PlausibleSearch cells(there, search, one_by_one, map[k].current, least, first_over_temperature);
      cells.take(CeilingWork::cold_and_hot_cells, each, within_over_temperature, done, 4 * each);
      done += each;
      map[k].sampled = cells.confident();
      found.cold_and_hot_cells += cells.taken();
      found.cold_and_hot_unsolved += cells.unsolved();
    } else {
      continue;
    }
    map[k].confident_current = map[k].sampled->low;
    known.push_back(k);
  }
  const auto share = [&](std::size_t k) {  // logarithm of that of the nominal rate
    return std::log(std::max(map[k].sampled->low, least) / std::max(map[k].current, least));
  };
  for (std::size_t n = 1; n < known.size(); ++n) {
    const std::size_t a = known[n - 1], b = known[n];
    for (std::size_t k = a + 1; k < b; ++k) {
      map[k].confident_current = 0;  // a lowest rate looked at is no result
      if (!(map[a].sampled->low > 0 && map[b].sampled->low > 0)) continue;
      const double w = (map[k].temperature - map[a].temperature) / (map[b].temperature - map[a].temperature);
      map[k].confident_current = map[k].current * std::exp(std::min(0.0, (1 - w) * share(a) + w * share(b)));
    }
  }
}

/// What the ceilings found so far let expect at place k: the straight line of ln(current) through the two nearest ones.
/// A current of 0 where fewer than two are found.
solver::Guess expected(const std::vector<Searched>& searched, std::size_t k) {
  std::vector<std::pair<double, std::size_t>> near;  // distance, place
  for (std::size_t n = 0; n < searched.size(); ++n)
    if (searched[n].current > 0) near.emplace_back(std::abs(static_cast<double>(n) - static_cast<double>(k)), n);
  if (near.size() < 2) return 0;
  std::sort(near.begin(), near.end());
  const double a = static_cast<double>(near[0].second), b = static_cast<double>(near[1].second);
  const double at_a = std::log(searched[near[0].second].current), at_b = std::log(searched[near[1].second].current);
  return {std::exp(at_a + (at_b - at_a) * (static_cast<double>(k) - a) / (b - a)), true,
          searched[near[0].second].slope};
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
      const solver::Guess guess = expected(before, k);
      searched[k] = search.of([&] { return params::to_cell(sheets[k]); }, thread,
                              guess.current > 0 ? guess : solver::Guess(nominal), 1e-3);
    };
    search.on_all_threads(CeilingWork::temperatures, count, work, done, static_cast<int>(sheets.size()));
    done += count;
  }
  return searched;
}

/// The cell as its sheet has it; at the sheet's own temperature as found already.
void over_temperature(const params::Sheet& sheet, CeilingSearch& search, CeilingFound& found) {
  const std::vector<params::Sheet> sheets = at_temperatures(sheet);
  const std::vector<Searched> searched = at_each(sheets, search, found.nominal.current);
  const double own = sheet.temperature.si;
  for (std::size_t k = 0; k < sheets.size(); ++k) {
    const double there = sheets[k].temperature.si;
    if (std::abs(there - own) < 0.01) continue;
    if (searched[k].found())
      found.temperatures.push_back({there, searched[k].current, searched[k].current, searched[k].limited_by, {}});
    else
      found.left_out.push_back({there, searched[k].because});
  }
  const CeilingAtTemperature at_own{
      own, found.nominal.current, found.nominal.current, found.nominal.charge.tightest, {}};
  const auto place = std::find_if(found.temperatures.begin(), found.temperatures.end(),
                                  [&](const CeilingAtTemperature& t) { return t.temperature > own; });
  found.temperatures.insert(place, at_own);
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

double PlausibleCells::share_that_keeps(double current) const {
  double share = 0;
  for (const PlausibleCell& cell : cells)
    if (cell.current >= current) share += cell.share;
  return std::min(1.0, share);
}

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

namespace {

/// The steps at the confidence asked for instead of the share that the constant rate has.
void at_confidence(const UncertainCell& uncertain, const Subject& nominal, solver::ChargeStudy& study,
                   CeilingSearch& search, CeilingFound& found) {
  StaircaseFound& s = *found.staircase;
  s.counted = counted_steps(uncertain, s.staircase, nominal, 1 / s.share, search);
  if (!s.counted) {
    found.staircase.reset();
    found.no_staircase = NoStaircase::too_uncertain;
    return;
  }
  s.share *= s.counted->factor;
  s.staircase = solver::scaled(study, s.staircase, s.counted->factor);
}

}  // namespace

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

  const bool over = params::tells_of_temperature(job.sheet);
  if (over) over_temperature(job.sheet, search, found);
  const UncertainCell uncertain(job.sheet);
  if (asked.samples > 0 && uncertain.count() > 0) {
    const OneByOne one_by_one(uncertain, search, found.even_current, least);
    PlausibleSearch cells(uncertain, search, one_by_one, i0, least, first_cells);
    const int most = std::max(least_samples, asked.samples);
    cells.take(CeilingWork::plausible_cells, most, asked.within, 0, most);
    found.plausible = cells.tell();
    if (over) with_confidence(uncertain, search, one_by_one, least, found);
  }

  found.recommended = found.plausible ? found.plausible->confident.low : i0;
  found.limited_by = found.nominal.charge.tightest;
  if (found.plausible) found.limited_by = found.plausible->limited_by.value_or(found.limited_by);
  found.charge = study.judge(std::max(found.recommended, least));
  found.path = path_of(study, search.workspace(), found.charge);
  if (asked.staircase) add_staircase(study, search.workspace(), found);
  if (found.staircase && found.plausible) at_confidence(uncertain, nominal, study, search, found);
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");
  return found;
}

}  // namespace onegrain::app::study
