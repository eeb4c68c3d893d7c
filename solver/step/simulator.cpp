#include "solver/step/simulator.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace onegrain::solver {

namespace {
constexpr double longest_step_of_protocol = 1e10;  // s; a step that has not ended by then has no end
constexpr int most_modes = 96;

/// sum_k coefficients.col(k) h^k
Vector polynomial(const Eigen::MatrixXd& coefficients, double h) {
  Vector y = coefficients.col(coefficients.cols() - 1);
  for (Eigen::Index k = coefficients.cols() - 2; k >= 0; --k) y = y * h + coefficients.col(k);
  return y;
}
}  // namespace

std::string name_of(Ended ended) {
  switch (ended) {
    case Ended::voltage:
      return "voltage cut-off";
    case Ended::time:
      return "time";
    case Ended::current:
      return "current";
    case Ended::capacity:
      return "capacity";
    case Ended::temperature:
      return "temperature";
    case Ended::separator_side:
      return "potential at the separator side";
    case Ended::salt_used_up:
      return "salt used up";
    case Ended::positive_surface_full:
      return "positive grain surface full";
    case Ended::positive_surface_empty:
      return "positive grain surface empty";
    case Ended::negative_surface_full:
      return "negative grain surface full";
    case Ended::negative_surface_empty:
      return "negative grain surface empty";
  }
  return "";
}

ConstVectorView StepSolution::unknowns(double t) const {
  if (pieces_.empty() && y_.size() == 0) y_ = segment_->starting_unknowns();
  if (!pieces_.empty()) {
    const Piece& piece = piece_at(t);
    y_ = polynomial(piece.coefficients, t - piece.origin);
  }
  return {y_.data(), y_.size()};
}

const StepSolution::Piece& StepSolution::piece_at(double t) const {
  return *std::lower_bound(pieces_.begin(), pieces_.end() - 1, t,
                           [](const Piece& p, double time) { return p.end < time; });
}

std::vector<Vector> StepSolution::sensitivities(double t) const {
  if (pieces_.empty()) return segment_->starting_sensitivities();
  const Piece& piece = piece_at(t);
  std::vector<Vector> s;
  for (const Eigen::MatrixXd& coefficients : piece.sensitivities)
    s.push_back(polynomial(coefficients, t - piece.origin));
  return s;
}

SurfaceSlopes StepSolution::surface_slopes(double t) const {
  return segment_->surface_slopes(t, unknowns(t), sensitivities(t));
}

Point StepSolution::at(double t) const { return segment_->point(t, unknowns(t)); }
State StepSolution::final_state() const {
  State state = segment_->state(duration_, unknowns(duration_));
  if (segment_->sensitivity_count() > 0) segment_->add_slopes(state, sensitivities(duration_));
  return state;
}

Eigen::VectorXd StepSolution::positive_profile(double t, const Eigen::ArrayXd& rho) const {
  return segment_->positive_profile(t, unknowns(t), rho);
}
Eigen::VectorXd StepSolution::negative_profile(double t, const Eigen::ArrayXd& rho) const {
  return segment_->negative_profile(t, unknowns(t), rho);
}

Eigen::VectorXd StepSolution::salt_profile(double t, const Eigen::ArrayXd& x) const {
  return segment_->salt_profile(t, unknowns(t), x);
}

Eigen::VectorXd StepSolution::salt_amplitudes(double t) const { return segment_->salt_amplitudes(t, unknowns(t)); }
double StepSolution::temperature(double t) const { return segment_->temperature_at(t, unknowns(t)); }

double StepSolution::energy() const {
  // Gauss-Legendre, 5 points, in 12 intervals that halve towards the start and 32 even ones after it.
  constexpr std::array<double, 5> node = {-0.906179845938664, -0.538469310105683, 0, 0.538469310105683,
                                          0.906179845938664};
  constexpr std::array<double, 5> weight = {0.236926885056189, 0.478628670499366, 0.568888888888889, 0.478628670499366,
                                            0.236926885056189};
  std::vector<double> ends{0};
  for (int k = 12; k >= 1; --k) ends.push_back(duration_ / 32 * std::ldexp(1.0, -k));
  for (int k = 1; k <= 32; ++k) ends.push_back(duration_ / 32 * k);
  double sum = 0;
  for (std::size_t k = 1; k < ends.size(); ++k) {
    const double middle = 0.5 * (ends[k] + ends[k - 1]), half = 0.5 * (ends[k] - ends[k - 1]);
    for (std::size_t g = 0; g < node.size(); ++g) {
      const Point p = at(middle + half * node[g]);
      sum += weight[g] * half * p.terminal.voltage * p.current;
    }
  }
  return sum;
}

Cvode& Workspace::integrator(int size, int sensitivities) {
  return integrators_.try_emplace({size, sensitivities}, size, sensitivities).first->second;
}

Simulator::Simulator(const model::Cell& cell, Workspace& workspace, Accuracy accuracy,
                     model::ElectrolyteModel electrolyte)
    : cell_(cell),
      workspace_(&workspace),
      accuracy_(accuracy),
      electrolyte_(electrolyte),
      modes_(accuracy.fewest_modes) {
  make_model();
}

void Simulator::make_model() {
  const bool resolved = electrolyte_ == model::ElectrolyteModel::resolved;
  model_ = std::make_shared<const model::SingleParticle>(cell_, modes_, modes_, resolved ? accuracy_.salt_degree : 0);
}

State Simulator::at_rest(double q) const {
  State s;
  s.charge = q;
  s.temperature = cell_.temperature;
  return s;
}

State Simulator::at_rest(model::Stoichiometries x) const {
  return at_rest((cell_.inventory.positive - x.positive) * cell_.positive.capacity());
}

StepSolution Simulator::run(const State& start, const model::Step& step) {
  for (;;) {
    StepSolution solution = attempt(start, step);
    if (solution.truncation() <= accuracy_.truncation || modes_ >= most_modes) return solution;
    modes_ = std::min(most_modes, modes_ + modes_ / 2);
    make_model();
  }
}

StepSolution Simulator::attempt(const State& start, const model::Step& step) {
  StepSolution solution;
  const auto segment = std::make_shared<Segment>(model_, start, step, accuracy_.sensitivities);
  solution.segment_ = segment;
  if (const auto ended = segment->ended_at_start()) {
    solution.ended_ = *ended;
    return solution;
  }
  Cvode& integrator = workspace_->integrator(segment->size(), segment->sensitivity_count());
  const double stop = std::min(segment->stop_time(), longest_step_of_protocol);
  integrator.start(*segment, 0, segment->starting_unknowns(),
                   {accuracy_.relative_tolerance, accuracy_.absolute_factor * segment->absolute_tolerance()},
                   segment->longest_step(), std::min(stop, segment->next_bend(0)), segment->starting_sensitivities());
  for (;;) {
    const Cvode::Event event = integrator.advance();
    const double t = integrator.time();
    if (!segment->closed_form() || segment->sensitivity_count() > 0) {
      StepSolution::Piece piece{t, 0, {}, {}};
      integrator.last_polynomial(piece.origin, piece.coefficients);
      piece.sensitivities.resize(static_cast<std::size_t>(segment->sensitivity_count()));
      for (int k = 0; k < segment->sensitivity_count(); ++k) {
        integrator.last_sensitivity_polynomial(k, piece.sensitivities[static_cast<std::size_t>(k)]);
      }
      solution.pieces_.push_back(std::move(piece));
      solution.truncation_ = std::max(solution.truncation_, segment->truncation(t, integrator.state()));
      if (solution.truncation_ > accuracy_.truncation && modes_ < most_modes)
        return solution;  // run() takes more modes
    }
    if (event == Cvode::Event::step) continue;
    if (event == Cvode::Event::stop && t < stop * (1 - 1e-12)) {
      integrator.go_on(std::min(stop, segment->next_bend(t)));
      continue;
    }
    solution.duration_ = t;
    solution.ended_ =
        event == Cvode::Event::root ? segment->root_reason(integrator.roots_found()) : segment->stop_reason();
    break;
  }
  if (solution.ended_ == Ended::time && solution.duration_ >= longest_step_of_protocol) {
    throw IntegrationFailure("the step '" + step.label + "' meets none of its ends");
  }
  solution.counts_ = integrator.counts();
  return solution;
}

}  // namespace onegrain::solver
