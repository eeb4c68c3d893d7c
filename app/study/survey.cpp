#include "app/study/survey.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

#include "app/study/ceiling_search.hpp"
#include "app/study/plausible.hpp"
#include "params/sheet/bench.hpp"
#include "params/sheet/rate.hpp"
#include "solver/step/curves.hpp"
#include "solver/step/trust.hpp"

namespace onegrain::app::study {

namespace {

DrawnCoating drawn(const params::ElectrodeSheet& electrode, double area) {
  DrawnCoating coating{electrode.thickness(), electrode.porosity(area), unknown};
  if (const auto loading = electrode.loading(area)) {
    coating.loading = *loading;
  } else if (const auto host = electrode.active_loading(area)) {
    coating.loading = *host + electrode.inactive_fraction(area) * electrode.thickness() * carbon_and_binder;
  }
  return coating;
}

/// Thickness and mass of coatings, separator and half of each foil.
void add_stack(Surveyed& told, const params::Sheet& sheet, const Foils& foils) {
  if (!sheet.is_full_cell()) return;
  const double separator = sheet.separator.thickness.si, open = sheet.separator.porosity.si;
  told.thickness =
      told.positive.thickness + told.negative.thickness + separator + 0.5 * (foils.positive + foils.negative);
  const double pores = told.positive.porosity * told.positive.thickness +
                       told.negative.porosity * told.negative.thickness + open * separator;
  told.mass = told.positive.loading + told.negative.loading + pores * wet_electrolyte +
              (1 - open) * separator * separator_polymer + 0.5 * (foils.positive * aluminium + foils.negative * copper);
}

DischargeTold discharged(solver::Simulator& simulator, const solver::State& full, double current) {
  const solver::ConstantCurrentCurve curve = solver::constant_current(simulator, full, -current);
  DischargeTold told{curve.capacity, curve.energy, curve.step.duration()};
  told.trusted = solver::judge(curve.step).trusted();
  if (simulator.cell().thermal) {
    told.hottest = simulator.cell().temperature;
    for (const double t : solver::moments(curve.step, 41, false))
      told.hottest = std::max(told.hottest, curve.step.temperature(t));
  }
  return told;
}

/// The ceiling of a design, and what its plausible cells leave of it.
ChargeTold charged(const params::Sheet& sheet, const Subject& nominal, const ChargeAsked& asked, std::uint64_t seed) {
  CeilingAsked one{asked.window, asked.limits, asked.samples, seed, 1};
  CeilingSearch search(one, {});
  solver::ChargeStudy study(nominal.cell, nominal.window, asked.window, asked.limits, search.workspace());
  const solver::Ceiling ceiling = study.ceiling(study.whole() / 3600, 1e-3);
  ChargeTold told{ceiling.current, ceiling.current, unknown};
  const UncertainCell uncertain(sheet);
  if (asked.samples > 0 && uncertain.count() > 0) {
    const double least = study.whole() / 3600 / 200;
    const double even = search.of(nominal, ceiling.current, 1e-3, solver::Description::even).current;
    const OneByOne one_by_one(uncertain, search, even, least);
    PlausibleSearch cells(uncertain, search, one_by_one, ceiling.current, least, first_over_temperature);
    cells.take(CeilingWork::plausible_cells, std::max(least_samples, asked.samples), within_over_temperature);
    told.confident = cells.confident().low;
  }
  told.duration = told.confident > 0 ? (asked.window.to - asked.window.from) * study.whole() / told.confident
                                     : std::numeric_limits<double>::infinity();
  return told;
}

}  // namespace

Surveyed survey_design(const Designs& designs, int k, const SurveyAsked& asked, solver::Workspace& workspace) {
  Surveyed told;
  told.number = k;
  try {
    const params::Sheet sheet = designs.sheet_of(designs.values(k));
    const Subject subject(sheet);
    const double area = sheet.plate_area();
    const params::RateBase base = params::rate_base(sheet, model::one_hour_charge(subject.cell, subject.window));
    told.one_hour_charge = base.one_hour_charge;
    told.positive = drawn(sheet.positive, area);
    if (sheet.negative) {
      told.negative = drawn(*sheet.negative, area);
      told.n_to_p = params::capacity_ratio(sheet, subject.cell, subject.window);
    }
    add_stack(told, sheet, asked.foils);
    solver::Simulator simulator(subject.cell, workspace, asked.electrolyte, asked.reaction);
    const solver::State full = solver::start_of(simulator, subject.window, false);
    for (const params::Rate& rate : params::parse_rates(asked.rates, base))
      told.discharges.push_back(discharged(simulator, full, rate.current_density));
    if (asked.charge) told.charge = charged(sheet, subject, *asked.charge, asked.seed);
  } catch (const model::ImpossibleBalance& impossible) {
    told = {k, impossible.what()};
  } catch (const std::domain_error& nowhere) {
    told = {k, nowhere.what()};
  } catch (const solver::IntegrationFailure& failure) {
    told = {k, std::string("not calculated: ") + failure.what()};
  }
  return told;
}

std::vector<double> Surveyed::numbers() const {
  std::vector<double> all{n_to_p,
                          one_hour_charge,
                          positive.thickness,
                          positive.porosity,
                          positive.loading,
                          negative.thickness,
                          negative.porosity,
                          negative.loading,
                          thickness,
                          mass};
  for (const DischargeTold& d : discharges)
    all.insert(all.end(), {d.capacity, d.energy, d.duration, d.hottest, d.trusted ? 1.0 : 0.0});
  if (charge) all.insert(all.end(), {charge->current, charge->confident, charge->duration});
  return all;
}

Surveyed Surveyed::from_numbers(int number, const std::vector<double>& numbers, std::size_t discharges, bool charge) {
  if (numbers.size() != 10 + 5 * discharges + (charge ? 3 : 0)) throw std::invalid_argument("a row of another length");
  std::size_t at = 0;
  const auto next = [&] { return numbers[at++]; };
  Surveyed told;
  told.number = number;
  for (double* to :
       {&told.n_to_p, &told.one_hour_charge, &told.positive.thickness, &told.positive.porosity, &told.positive.loading,
        &told.negative.thickness, &told.negative.porosity, &told.negative.loading, &told.thickness, &told.mass})
    *to = next();
  for (std::size_t r = 0; r < discharges; ++r) {
    DischargeTold d;
    for (double* to : {&d.capacity, &d.energy, &d.duration, &d.hottest}) *to = next();
    d.trusted = next() > 0.5;
    told.discharges.push_back(d);
  }
  if (charge) {
    told.charge.emplace();
    for (double* to : {&told.charge->current, &told.charge->confident, &told.charge->duration}) *to = next();
  }
  return told;
}

}  // namespace onegrain::app::study
