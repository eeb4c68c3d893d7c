#include "solver/step/replay.hpp"

#include <algorithm>
#include <cmath>

#include "model/root_search.hpp"

namespace onegrain::solver {

double starting_charge(const model::Cell& cell, const Start& start) {
  if (!start.rest_voltage) return start.passed;
  const double V = *start.rest_voltage;
  const double Qp = cell.positive.capacity(), Qn = cell.negative ? cell.negative->capacity() : 1;
  const auto at = [&](double q) {
    return model::Stoichiometries{cell.inventory.positive - q / Qp,
                                  cell.negative ? cell.inventory.negative + q / Qn : 0.0};
  };
  // charging (q up) empties the positive and fills the negative; the voltage rises
  double low = -(1 - cell.inventory.positive) * Qp, high = cell.inventory.positive * Qp;
  if (cell.negative) {
    low = std::max(low, -cell.inventory.negative * Qn);
    high = std::min(high, (1 - cell.inventory.negative) * Qn);
  }
  const double margin = 1e-9 * Qp;
  low += margin;
  high -= margin;
  const auto excess = [&](double q) { return model::equilibrium_voltage(cell, at(q), cell.temperature) - V; };
  if (!(low < high) || excess(low) > 0 || excess(high) < 0) {
    throw model::ImpossibleBalance("no filling of the grains gives the voltage that was measured at the start");
  }
  return model::bracketed_root(excess, low, high, 1e-13 * Qp) + start.passed;
}

std::size_t Replay::step_at(double t) const {
  const auto next = std::lower_bound(starts.begin() + 1, starts.end(), t);  // the first that starts at t or later
  return static_cast<std::size_t>(next - starts.begin()) - 1;
}

Point Replay::at(double t) const {
  const std::size_t k = step_at(t);
  return steps[k].at(std::clamp(t - starts[k], 0.0, steps[k].duration()));
}

Replay replay(Simulator& simulator, const State& start, const Run& run) {
  Replay done;
  State state = start;
  for (const Stretch& stretch : run.stretches) {
    done.steps.push_back(simulator.run(state, stretch.step));
    done.starts.push_back(stretch.start);
    const StepSolution& step = done.steps.back();
    done.end = stretch.start + step.duration();
    if (step.ended_by() != Ended::time) {
      done.cut_short = step.ended_by();
      break;
    }
    state = step.final_state();
  }
  return done;
}

namespace {

/// One row of Response::slopes.
void fill_slopes(Eigen::Ref<Eigen::RowVectorXd> row, const Point& p, const SurfaceSlopes& s) {
  const auto column = [&](Sensitive what) -> double& { return row[static_cast<Eigen::Index>(what)]; };
  const model::Terminal& v = p.terminal;
  column(Sensitive::positive_diffusion_time) = v.by_positive_surface * s.positive[0];
  column(Sensitive::negative_diffusion_time) = v.by_negative_surface * s.negative[0];
  column(Sensitive::positive_exchange) = v.by_positive_exchange;
  column(Sensitive::negative_exchange) = v.by_negative_exchange;
  column(Sensitive::positive_capacity) = v.by_positive_surface * s.positive[1] + v.positive_area_share;
  column(Sensitive::negative_capacity) = v.by_negative_surface * s.negative[1] + v.negative_area_share;
  column(Sensitive::positive_start) = v.by_positive_surface * s.positive[2];
  column(Sensitive::negative_start) = v.by_negative_surface * s.negative[2];
  column(Sensitive::contact_resistance) = p.current;
}

}  // namespace

ElectrolyteCourse electrolyte_course(const model::Cell& cell, const Run& run, Workspace& workspace,
                                     model::ElectrolyteModel electrolyte, const Accuracy& accuracy) {
  Run whole = run;
  for (Stretch& stretch : whole.stretches) stretch.step.beyond_surfaces = true;
  Accuracy plain = accuracy;
  plain.sensitivities = false;
  Simulator simulator(cell, workspace, plain, electrolyte);
  const Replay done = replay(simulator, simulator.at_rest(0), whole);
  ElectrolyteCourse course;
  if (done.cut_short) course.cut_short = name_of(*done.cut_short);
  for (const double t : run.times) {
    if (t > done.end * (1 + 1e-12)) break;
    const std::size_t k = done.step_at(t);
    const StepSolution& step = done.steps[k];
    const double since = std::clamp(t - done.starts[k], 0.0, step.duration());
    const double T = step.temperature(since);
    const model::SingleParticle& m = step.model();
    course.at.push_back(m.salt() ? m.salt()->ionic(step.salt_amplitudes(since), T) : m.uniform(T));
  }
  return course;
}

Response respond(const model::Cell& cell, const Run& run, Workspace& workspace, const ElectrolyteCourse& electrolyte,
                 const Accuracy& accuracy, bool beyond_surfaces) {
  Run whole = run;
  for (Stretch& stretch : whole.stretches) stretch.step.beyond_surfaces = beyond_surfaces;
  Simulator simulator(cell, workspace, accuracy, model::ElectrolyteModel::uniform);  // the grains do not feel the salt
  const Replay done = replay(simulator, simulator.at_rest(0), whole);
  const auto n = static_cast<Eigen::Index>(run.times.size());
  Response response;
  response.voltage = response.positive_surface = response.negative_surface =
      Eigen::VectorXd::Constant(n, std::numeric_limits<double>::quiet_NaN());
  if (accuracy.sensitivities) response.slopes = Eigen::MatrixXd::Zero(n, sensitive_count);
  for (std::size_t k = 0; k < run.times.size(); ++k) {
    const double t = run.times[k];
    if (k >= electrolyte.at.size() || t > done.end * (1 + 1e-12)) {
      response.complete = false;
      break;
    }
    const auto row = static_cast<Eigen::Index>(k);
    const std::size_t step = done.step_at(t);
    const StepSolution& solution = done.steps[step];
    const double since = std::clamp(t - done.starts[step], 0.0, solution.duration());
    Point p = solution.at(since);
    p.terminal =
        solution.model().terminal(p.positive_surface, p.negative_surface, p.current, p.temperature, electrolyte.at[k]);
    response.voltage[row] = p.terminal.voltage;
    response.positive_surface[row] = p.positive_surface;
    response.negative_surface[row] = p.negative_surface;
    if (!accuracy.sensitivities) continue;
    Eigen::RowVectorXd slopes(sensitive_count);
    fill_slopes(slopes, p, solution.surface_slopes(since));
    response.slopes.row(row) = slopes;
  }
  return response;
}

double ReactionCourse::rms() const {
  double sum = 0;
  for (const double v : adds) sum += v * v;
  return adds.empty() ? 0 : std::sqrt(sum / static_cast<double>(adds.size()));
}

double ReactionCourse::largest() const {
  double most = 0;
  for (const double v : adds)
    if (std::abs(v) > std::abs(most)) most = v;
  return most;
}

ReactionCourse reaction_course(const model::Cell& cell, const Run& run, Workspace& workspace,
                               model::ElectrolyteModel electrolyte, const ElectrolyteCourse& course,
                               const Accuracy& accuracy, int points) {
  Accuracy plain = accuracy;
  plain.sensitivities = false;
  const Response even = respond(cell, run, workspace, course, plain, true);
  Accuracy fine = usual_accuracy(model::Reaction::uneven);
  fine.fewest_points = std::max(fine.fewest_points, points);
  Simulator simulator(cell, workspace, fine, electrolyte, model::Reaction::uneven);
  State state = simulator.at_rest(0);
  ReactionCourse result;
  std::size_t k = 0;
  try {
    for (const Stretch& stretch : run.stretches) {
      model::Step step = stretch.step;
      step.beyond_surfaces = true;
      const StepSolution done = simulator.run(state, step);
      const double end = stretch.start + done.duration();
      for (; k < run.times.size() && run.times[k] <= end * (1 + 1e-12); ++k) {
        const auto row = static_cast<Eigen::Index>(k);
        const double since = std::clamp(run.times[k] - stretch.start, 0.0, done.duration());
        const double adds = done.at(since).terminal.voltage - even.voltage[row];
        if (!std::isfinite(adds)) return result;
        result.adds.push_back(adds);
      }
      result.points = simulator.points();
      if (done.ended_by() != Ended::time) {
        result.cut_short = name_of(done.ended_by(), cell.is_full_cell());
        break;
      }
      state = done.final_state();
    }
  } catch (const IntegrationFailure& failure) {
    result.cut_short = failure.what();
  }
  return result;
}

}  // namespace onegrain::solver
