#include "solver/step/simulator.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "solver/step/even.hpp"
#include "solver/step/uneven.hpp"
#include "solver/step/voltage_watch.hpp"

namespace onegrain::solver {

namespace {
constexpr double longest_step_of_protocol = 1e10;  // s; a step that has not ended by then has no end
constexpr int most_modes = 96;
constexpr int most_points = 16;  // a front that they do not hold twenty do not hold either
constexpr int few_points = 6;
constexpr double gained_by_point = 2;       // one point more leaves at most half of the error over the depth
constexpr double moment_of_a_wall = 0.005;  // of the time since the step began
constexpr double coarse_salt = 0.02;        // of its mean, in the highest polynomial of a layer: a front
constexpr int degree_of_front = 20;
constexpr int steps_between_looks = 2;
constexpr double of_several_sizes = 10;  // times the relative tolerance, where many classes share an error: 0.01 mV
constexpr double absurd = 0.1;           // V that an unresolved layer costs when a step ends: nothing true can follow
constexpr int most_absurd_steps = 5000;  // of the integrator in such a layer: it follows noise then
const std::string layer_too_thin = "the layer of lithium under the grain surfaces is thinner than can be resolved";

/// sum_k coefficients.col(k) h^k
Vector polynomial(const Eigen::MatrixXd& coefficients, double h) {
  Vector y = coefficients.col(coefficients.cols() - 1);
  for (Eigen::Index k = coefficients.cols() - 2; k >= 0; --k) y = y * h + coefficients.col(k);
  return y;
}

}  // namespace

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
  state.unresolved = left_unresolved_;
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

Segment::OverDepth StepSolution::over_depth(double t, bool of_positive, const Eigen::ArrayXd& places) const {
  return segment_->over_depth(t, unknowns(t), of_positive, places);
}

Eigen::MatrixXd StepSolution::grains_over_depth(double t, bool of_positive, const Eigen::ArrayXd& rho,
                                                const Eigen::ArrayXd& places) const {
  return segment_->grains_over_depth(t, unknowns(t), of_positive, rho, places);
}

Eigen::VectorXd StepSolution::salt_amplitudes(double t) const { return segment_->salt_amplitudes(t, unknowns(t)); }
double StepSolution::temperature(double t) const { return segment_->temperature_at(t, unknowns(t)); }

double StepSolution::energy() const {
  // Gauss-Legendre, 6 points, in even intervals of the root of time, in which a voltage starts smoothly; more of them
  // where a given current bends.
  constexpr std::array<double, 3> node = {0.238619186083197, 0.661209386466265, 0.932469514203152};
  constexpr std::array<double, 3> weight = {0.467913934572691, 0.360761573048139, 0.171324492379170};
  const int intervals = std::isfinite(segment_->next_bend(0)) ? 40 : 24;
  double sum = 0;
  for (int k = 0; k < intervals; ++k) {
    const double middle = (k + 0.5) / intervals, half = 0.5 / intervals;
    for (std::size_t g = 0; g < 2 * node.size(); ++g) {
      const double root = middle + (g % 2 == 0 ? -half : half) * node[g / 2];
      const Point p = at(duration_ * root * root);
      sum += weight[g / 2] * half * 2 * root * duration_ * p.terminal.voltage * p.current;
    }
  }
  return sum;
}

Cvode& Workspace::integrator(int size, int sensitivities) {
  return integrators_.try_emplace({size, sensitivities}, size, sensitivities).first->second;
}

Accuracy usual_accuracy(model::Reaction reaction) {
  if (reaction == model::Reaction::even) return {};
  return {.relative_tolerance = 1e-3, .absolute_factor = 2, .truncation = 2e-4, .fewest_modes = 8};
}

Simulator::Simulator(const model::Cell& cell, Workspace& workspace, Accuracy accuracy,
                     model::ElectrolyteModel electrolyte, model::Reaction reaction)
    : cell_(cell),
      workspace_(&workspace),
      accuracy_(accuracy),
      electrolyte_(electrolyte),
      reaction_(reaction),
      modes_(accuracy.fewest_modes),
      points_(accuracy.fewest_points),
      salt_degree_(accuracy.salt_degree),
      points_allowed_(most_points) {
  make_model();
}

void Simulator::make_model() {
  const bool resolved = electrolyte_ == model::ElectrolyteModel::resolved;
  model_ = std::make_shared<const model::SingleParticle>(cell_, modes_, modes_, resolved ? salt_degree() : 0);
  const bool classes = !cell_.positive.classes.empty() || (cell_.negative && !cell_.negative->classes.empty());
  if (reaction_ == model::Reaction::uneven)
    depth_ = &model::LayerPoints::of(points_);
  else if (classes)
    depth_ = &model::LayerPoints::even();
  if (classes && accuracy_.sensitivities) throw IntegrationFailure("sensitivities are known for grains that are alike");
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

int Simulator::salt_degree() const {
  return reaction_ == model::Reaction::uneven ? std::max(salt_degree_, points_ + 3) : salt_degree_;
}

bool Simulator::salt_is_coarse(const Segment& segment, double t, ConstVectorView y) const {
  const model::Salt* salt = model_->salt();
  return salt && salt_degree() < degree_of_front &&
         salt->tail(segment.salt_amplitudes(t, y)) > coarse_salt * salt->mean();
}

State Simulator::with_own_salt(const State& start) const {
  State own = start;
  if (model_->salt() && start.salt.size() > 0 && start.salt.size() != model_->salt()->count())
    own.salt =
        model_->salt()->amplitudes_of(model::Salt::of_count(cell_, static_cast<int>(start.salt.size())), start.salt);
  return own;
}

bool Simulator::Lasting::counts(double error, double small, double t) {
  if (error <= small) small_at = t;
  return small_at == t || t - small_at > moment_of_a_wall * t;
}

void Simulator::start_coarse() {
  if (points_ == accuracy_.fewest_points && salt_degree_ == accuracy_.salt_degree) return;
  points_ = accuracy_.fewest_points;
  salt_degree_ = accuracy_.salt_degree;
  make_model();
}

void Simulator::take_more_points(double depth_error) {
  const double more = std::ceil(std::log(depth_error / accuracy_.depth) / std::log(gained_by_point));
  points_ = std::min(points_allowed_, points_ + std::clamp(static_cast<int>(more), 1, 4));
}

namespace {

/// What is held may leave currents that are round-off, which no spread over a layer is found for.
State without_depth(State state) {
  state.positive_depth = state.negative_depth = {};
  for (Jump& jump : state.jumps) jump.positive = jump.negative = {};
  return state;
}

}  // namespace

StepSolution Simulator::run(const State& start, const model::Step& step) {
  points_allowed_ = most_points;
  for (;;) {
    StepSolution solution;
    try {
      solution = attempt(with_own_salt(start), step);
    } catch (const IntegrationFailure& failure) {
      // Few points always find a way, and say what they cost.
      if (depth_ && points_allowed_ > few_points && points_ > few_points) {
        points_allowed_ = points_ = few_points;
        salt_degree_ = accuracy_.salt_degree;
        make_model();
        continue;
      }
      if (depth_ && !depth_->is_even() && !std::holds_alternative<model::CurrentDrive>(step.drive)) {
        Simulator even(cell_, *workspace_, {}, electrolyte_);
        solution = even.run(even.depth_ ? start : without_depth(start), step);
        solution.depth_error_ = std::numeric_limits<double>::infinity();  // told as a doubt
        return solution;
      }
      throw IntegrationFailure("the step '" + step.label + "' " + failure.what());
    }
    const bool enough_points = !wants_more_points(solution.depth_error());
    if (solution.coarse_salt_)
      salt_degree_ = degree_of_front;
    else if (enough_points && (solution.truncation() <= accuracy_.truncation || modes_ >= most_modes)) {
      // Where a current is given, one grain of many may have such a layer: it is told among the doubts.
      const bool one_of_many = depth_ && (std::holds_alternative<model::CurrentDrive>(step.drive) ||
                                          std::holds_alternative<model::CourseDrive>(step.drive));
      if (solution.left_unresolved_.volts > absurd && !step.beyond_surfaces && !one_of_many)
        throw IntegrationFailure("the step '" + step.label + "' ends while " + layer_too_thin);
      return solution;
    } else if (enough_points)
      modes_ = std::min(most_modes, modes_ + modes_ / 2);
    else
      take_more_points(solution.depth_error());
    make_model();
  }
}

/// The layer that the step before left, and the time that the one which this step leaves will last.
void Simulator::add_unresolved(const UnresolvedLayer& before, StepSolution& solution) {
  const double duration = solution.duration_;
  UnresolvedLayer& left = solution.left_unresolved_;
  if (left.volts > accuracy_.truncation)
    left.seconds = solution.segment_->time_to_resolve(duration, solution.unknowns(duration));
  else
    left = {};
  if (before.volts > doubtful_layer && before.seconds > 0)
    solution.unresolved_until_ = std::max(solution.unresolved_until_, std::min(duration, before.seconds));
  if (before.seconds > duration && before.volts > left.volts) left = {before.volts, before.seconds - duration};
}

/// Whether the estimates of error at (t, y) leave the solution as it is; false: run() takes more modes, points, or
/// polynomials for the salt.
bool Simulator::fine_enough(const Segment& segment, double t, ConstVectorView y, bool goes_on, Doubts& doubts,
                            StepSolution& solution) const {
  if (depth_ && (!goes_on || ++doubts.unlooked >= steps_between_looks)) {
    doubts.unlooked = 0;
    const double error = segment.depth_error(t, y);
    const bool lasts = doubts.depth.counts(error, accuracy_.depth, t) || points_allowed_ < most_points;
    if (lasts) solution.depth_error_ = std::max(solution.depth_error_, error);
    solution.coarse_salt_ = salt_is_coarse(segment, t, y);
    if (solution.coarse_salt_ || wants_more_points(solution.depth_error_)) return false;
  }
  const double truncation = segment.truncation(t, y);
  const bool counts = !depth_ || doubts.modes.counts(truncation, accuracy_.truncation, t);
  if (counts) solution.truncation_ = std::max(solution.truncation_, truncation);
  const double doubt = std::max(counts ? truncation : 0, segment.unseen_layer(t, y));
  solution.left_unresolved_ = {doubt, 0};
  if (doubt > doubtful_layer) {
    solution.unresolved_until_ = t;
    solution.truncation_ = std::max(solution.truncation_, doubt);
  }
  if (doubt > absurd && ++doubts.absurd_steps > most_absurd_steps) throw IntegrationFailure("fails: " + layer_too_thin);
  return solution.truncation_ <= accuracy_.truncation || modes_ >= most_modes;
}

StepSolution Simulator::attempt(const State& start, const model::Step& step) {
  StepSolution solution;
  std::shared_ptr<Segment> segment;
  if (depth_)
    segment = std::make_shared<UnevenSegment>(model_, *depth_, start, step);
  else
    segment = std::make_shared<EvenSegment>(model_, start, step, accuracy_.sensitivities);
  solution.segment_ = segment;
  if (const auto ended = segment->ended_at_start()) {
    solution.ended_ = *ended;
    solution.left_unresolved_ = start.unresolved;
    return solution;
  }
  Cvode& integrator = workspace_->integrator(segment->size(), segment->sensitivity_count());
  const double stop = std::min(segment->stop_time(), longest_step_of_protocol);
  Tolerances tolerances{accuracy_.relative_tolerance, accuracy_.absolute_factor * segment->absolute_tolerance()};
  if (depth_) tolerances.newton_share = 0.01;  // every round costs two spreads of the current
  if (depth_ && depth_->is_even()) tolerances.relative *= of_several_sizes;
  integrator.start(*segment, 0, segment->starting_unknowns(), tolerances, segment->longest_step(),
                   std::min(stop, segment->next_bend(0)), segment->starting_sensitivities());
  VoltageWatch watch(*segment);
  Doubts doubts;
  if (depth_) {  // the first moment already tells most
    const Vector first = segment->starting_unknowns();
    solution.depth_error_ = segment->depth_error(0, {first.data(), first.size()});
    if (wants_more_points(solution.depth_error_)) return solution;
  }
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
      const bool goes_on = event == Cvode::Event::step;
      if (!fine_enough(*segment, t, integrator.state(), goes_on, doubts, solution)) return solution;
    }
    const auto unknowns = [&](double at) { return solution.unknowns(at); };
    if (const auto met = watch.look(t, unknowns)) {
      solution.duration_ = *met;
      solution.ended_ = segment->nearest_voltage_end(*met, unknowns(*met))->reason;
      break;
    }
    if (event == Cvode::Event::step) continue;
    if (event == Cvode::Event::stop && t < stop * (1 - 1e-12)) {
      integrator.go_on(std::min(stop, segment->next_bend(t)));
      continue;
    }
    solution.duration_ = t;
    if (event == Cvode::Event::stop && t >= longest_step_of_protocol)
      throw IntegrationFailure("meets none of its ends");
    solution.ended_ =
        event == Cvode::Event::root ? segment->root_reason(integrator.roots_found()) : segment->stop_reason();
    break;
  }
  solution.counts_ = integrator.counts();
  add_unresolved(start.unresolved, solution);
  return solution;
}

}  // namespace onegrain::solver
