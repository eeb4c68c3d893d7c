#include "app/answer/curves_table.hpp"

namespace onegrain::app::answer {

CurvesTable calculated_curves(const Job& job, bool repeated) {
  const bool full = job.cell.is_full_cell();
  const std::string p = full ? "Positive" : "Working";
  const bool uneven = job.reaction == model::Reaction::uneven;
  const Measure volts = measure<params::Voltage>(), millivolts = measure<params::Voltage>("mV");
  CurvesTable course{{{"Test Time", measure<params::Time>("s")},
                      {"Voltage", volts},
                      {"Current", measure<params::Current>("A")},
                      {"Step", Measure{}},
                      {"Step Time", measure<params::Time>("s")},
                      {"Capacity", measure<params::Charge>("mAh")},
                      {p + " Surface Stoichiometry", Measure{}},
                      {p + " Mean Stoichiometry", Measure{}},
                      {p + " Potential vs Li", volts},
                      {p + " Diffusion Overpotential", millivolts},
                      {p + " Charge-Transfer Overpotential", millivolts}},
                     {}};
  if (full) {
    course.columns.insert(course.columns.end(), {{"Negative Surface Stoichiometry", Measure{}},
                                                 {"Negative Mean Stoichiometry", Measure{}},
                                                 {"Negative Potential vs Li", volts},
                                                 {"Negative Diffusion Overpotential", millivolts},
                                                 {"Negative Charge-Transfer Overpotential", millivolts}});
  } else {
    course.columns.push_back({"Lithium Charge-Transfer Overpotential", millivolts});
  }
  course.columns.insert(course.columns.end(), {{"Electrolyte Drop", millivolts},
                                               {"Concentration Overpotential", millivolts},
                                               {"Electronic Drop", millivolts},
                                               {"Contact Drop", millivolts},
                                               {"Separator-Side Potential vs Li", volts},
                                               {"Temperature", measure<params::Temperature>("degC")}});
  if (uneven) {
    course.columns.insert(course.columns.end(), {{p + " Foil-Side Stoichiometry", Measure{}},
                                                 {p + " Separator-Side Stoichiometry", Measure{}}});
    if (full)
      course.columns.insert(course.columns.end(), {{"Negative Foil-Side Stoichiometry", Measure{}},
                                                   {"Negative Separator-Side Stoichiometry", Measure{}}});
  }
  if (repeated) course.columns.push_back({"Cycle Count", Measure{}});
  return course;
}

void add_step(CurvesTable& course, const Job& job, const solver::StepSolution& step, const std::vector<double>& moments,
              double start_time, int index, const study::SeparatorSide* side, std::optional<int> repetition) {
  const model::Cell& cell = job.cell;
  const double area = cell.plate_area, start_charge = step.first().charge;
  for (const double t : moments) {
    const solver::Point p = step.at(t);
    const model::Terminal& v = p.terminal;
    Row row{start_time + t,
            v.voltage,
            p.current * area,
            static_cast<double>(index),
            t,
            (p.charge - start_charge) * area,
            p.positive_surface,
            p.positive_mean,
            v.positive_potential + v.positive_overpotential,
            v.positive_potential - cell.positive.host.potential(p.positive_mean, p.temperature),
            v.positive_overpotential};
    if (cell.negative) {
      const double rest = cell.negative->host.potential(p.negative_mean, p.temperature);
      row.insert(row.end(), {p.negative_surface, p.negative_mean, v.negative_potential + v.negative_overpotential,
                             v.negative_potential - rest, v.negative_overpotential});
    } else {
      row.emplace_back(v.negative_overpotential);
    }
    row.insert(row.end(), {v.electrolyte, v.concentration, v.electronic, v.contact,
                           side ? side->at(t) : v.separator_side, p.temperature});
    if (step.reaction() == model::Reaction::uneven) {
      static const Eigen::ArrayXd sides = Eigen::Array2d(0, 1);
      for (const bool positive : {true, false}) {
        if (!positive && !cell.negative) continue;
        const Eigen::ArrayXd filling = step.over_depth(t, positive, sides).filling;
        row.insert(row.end(), {filling[0], filling[1]});
      }
    }
    if (repetition) row.emplace_back(static_cast<double>(*repetition));
    course.rows.add(row);
  }
}

}  // namespace onegrain::app::answer
