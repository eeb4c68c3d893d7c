#include "benchmarks/porous_electrode.hpp"

#include <ida/ida.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_config.h>
#include <sundials/sundials_context.h>
#include <sundials/sundials_linearsolver.h>
#include <sundials/sundials_matrix.h>
#include <sundials/sundials_types.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <exception>
#include <string>
#include <utility>

#include "benchmarks/porous_equations.hpp"

namespace onegrain::benchmarks {

namespace {

using View = Eigen::Map<const Eigen::VectorXd>;
using WritableView = Eigen::Map<Eigen::VectorXd>;

View view(N_Vector v) { return {N_VGetArrayPointer(v), static_cast<Eigen::Index>(N_VGetLength(v))}; }
WritableView writable(N_Vector v) { return {N_VGetArrayPointer(v), static_cast<Eigen::Index>(N_VGetLength(v))}; }

constexpr int recoverable = 1, unrecoverable = -1;

/// IDA for one calculation. As in solver/ode/cvode.cpp the SUNMatrix is an empty token; the equations keep their own
/// factors.
class Ida {
 public:
  Ida(PorousEquations& equations, const Load& load, double tolerance) : equations_(equations), stop_(load.voltage) {
#if SUNDIALS_VERSION_MAJOR >= 7
    SUNContext_Create(SUN_COMM_NULL, &context_);
    SUNContext_ClearErrHandlers(context_);
#else
    SUNContext_Create(nullptr, &context_);
#endif
    const int n = equations.size();
    y = N_VNew_Serial(n, context_);
    rate_ = N_VNew_Serial(n, context_);
    tolerances_ = N_VNew_Serial(n, context_);
    Eigen::VectorXd y0, rate0;
    equations.start(load.start, y0, rate0);
    writable(y) = y0;
    writable(rate_) = rate0;
    writable(tolerances_) = equations.absolute_tolerances(tolerance);
    matrix_ = SUNMatNewEmpty(context_);
    matrix_->ops->getid = [](SUNMatrix) { return SUNMATRIX_CUSTOM; };
    matrix_->ops->zero = [](SUNMatrix) { return 0; };
    linear_solver_ = SUNLinSolNewEmpty(context_);
    linear_solver_->ops->gettype = [](SUNLinearSolver) { return SUNLINEARSOLVER_DIRECT; };
    linear_solver_->ops->setup = [](SUNLinearSolver, SUNMatrix) { return 0; };
    linear_solver_->ops->solve = solve;
    linear_solver_->content = this;
    ida_ = IDACreate(context_);
#if SUNDIALS_VERSION_MAJOR < 7
    IDASetErrHandlerFn(
        ida_, [](int, const char*, const char*, char*, void*) {}, nullptr);
#endif
    check(IDAInit(ida_, residual, 0, y, rate_), "IDAInit");
    check(IDASetUserData(ida_, this), "IDASetUserData");
    check(IDASVtolerances(ida_, tolerance, tolerances_), "IDASVtolerances");
    check(IDASetLinearSolver(ida_, linear_solver_, matrix_), "IDASetLinearSolver");
    check(IDASetJacFn(ida_, factor), "IDASetJacFn");
    check(IDASetMaxNumSteps(ida_, 1000000), "IDASetMaxNumSteps");
    check(IDASetStopTime(ida_, load.charge / std::abs(load.current)), "IDASetStopTime");
    // Salt and filling settle quickly after the jump of the current: the first step must see it.
    check(IDASetInitStep(ida_, 1e-6), "IDASetInitStep");
    if (stop_) check(IDARootInit(ida_, 1, root), "IDARootInit");
  }
  ~Ida() {
    if (ida_) IDAFree(&ida_);
    if (linear_solver_) SUNLinSolFreeEmpty(linear_solver_);
    if (matrix_) SUNMatFreeEmpty(matrix_);
    for (N_Vector v : {y, rate_, tolerances_}) {
      if (v) N_VDestroy(v);
    }
    SUNContext_Free(&context_);
  }
  Ida(const Ida&) = delete;
  Ida& operator=(const Ida&) = delete;

  enum class Event { step, voltage, charge };
  Event advance(double far) {
    const int flag = IDASolve(ida_, far, &t, y, rate_, IDA_ONE_STEP);
    check(flag, "IDASolve");
    return flag == IDA_ROOT_RETURN ? Event::voltage : flag == IDA_TSTOP_RETURN ? Event::charge : Event::step;
  }
  void interpolate(double when, N_Vector result) { check(IDAGetDky(ida_, when, 0, result), "IDAGetDky"); }
  N_Vector scratch() { return tolerances_; }  // IDA has its own copy
  long steps() const {
    long n = 0;
    IDAGetNumSteps(ida_, &n);
    return n;
  }
  long factorisations() const { return factorisations_; }

  N_Vector y = nullptr;
  sunrealtype t = 0;

 private:
  void check(int flag, const char* call) {
    if (thrown_) std::rethrow_exception(std::exchange(thrown_, nullptr));
    if (flag >= 0) return;
    char* name = IDAGetReturnFlagName(flag);
    std::string message = std::string(call) + " returned " + (name ? name : "an unknown flag");
    std::free(name);
    sunrealtype now = 0;
    if (ida_ && IDAGetCurrentTime(ida_, &now) == 0) message += " at t = " + std::to_string(now) + " s";
    throw CalculationFailure(message);
  }
  template <class Work>
  int guarded(Work work) noexcept {
    try {
      return work();
    } catch (...) {
      thrown_ = std::current_exception();
      return unrecoverable;
    }
  }
  static int residual(sunrealtype, N_Vector y, N_Vector rate, N_Vector r, void* self) noexcept {
    auto& ida = *static_cast<Ida*>(self);
    return ida.guarded([&] { return ida.equations_.residual(view(y), view(rate), writable(r)) ? 0 : recoverable; });
  }
  static int factor(sunrealtype, sunrealtype alpha, N_Vector y, N_Vector, N_Vector, SUNMatrix, void* self, N_Vector,
                    N_Vector, N_Vector) noexcept {
    auto& ida = *static_cast<Ida*>(self);
    ++ida.factorisations_;
    return ida.guarded([&] { return ida.equations_.factor(view(y), alpha) ? 0 : recoverable; });
  }
  static int solve(SUNLinearSolver s, SUNMatrix, N_Vector x, N_Vector b, sunrealtype) noexcept {
    auto& ida = *static_cast<Ida*>(s->content);
    return ida.guarded([&] {
      writable(x) = view(b);
      ida.equations_.solve(writable(x));
      return 0;
    });
  }
  static int root(sunrealtype, N_Vector y, N_Vector, sunrealtype* g, void* self) noexcept {
    auto& ida = *static_cast<Ida*>(self);
    return ida.guarded([&] {
      g[0] = ida.equations_.voltage(view(y)) - *ida.stop_;
      return 0;
    });
  }

  PorousEquations& equations_;
  std::optional<double> stop_;
  std::exception_ptr thrown_;
  long factorisations_ = 0;
  SUNContext context_ = nullptr;
  N_Vector rate_ = nullptr, tolerances_ = nullptr;
  SUNMatrix matrix_ = nullptr;
  SUNLinearSolver linear_solver_ = nullptr;
  void* ida_ = nullptr;
};

}  // namespace

Run porous_electrode(const model::Cell& cell, const Load& load, const Grid& grid, double tolerance) {
  PorousEquations equations(cell, grid, load.current);
  Ida ida(equations, load, tolerance);
  Run run;
  run.points.push_back(equations.point(0, view(ida.y)));
  if (load.voltage && (run.points.front().voltage - *load.voltage) * load.current >= 0) {
    run.met_voltage = true;
    return run;
  }
  auto wanted = std::upper_bound(load.times.begin(), load.times.end(), 0.0);
  const double far = load.charge / std::abs(load.current);
  for (;;) {
    const auto event = ida.advance(far);
    for (; wanted != load.times.end() && *wanted < ida.t; ++wanted) {
      ida.interpolate(*wanted, ida.scratch());
      run.points.push_back(equations.point(*wanted, view(ida.scratch())));
    }
    if (load.times.empty() || event != Ida::Event::step) run.points.push_back(equations.point(ida.t, view(ida.y)));
    if (event == Ida::Event::step) continue;
    run.met_voltage = event == Ida::Event::voltage;
    break;
  }
  run.steps = ida.steps();
  run.factorisations = ida.factorisations();
  return run;
}

double lowest_separator_side_potential(const Run& run) {
  return std::min_element(
             run.points.begin(), run.points.end(),
             [](const Point& a, const Point& b) { return a.separator_side_potential < b.separator_side_potential; })
      ->separator_side_potential;
}

double plating_onset_current(const model::Cell& cell, model::Stoichiometries start, double charge, const Grid& grid,
                             double guess, double margin) {
  constexpr double out_of_reach = -0.2;  // V, for a current that the salt cannot carry to the end: far too high
  const auto excess = [&](double i) {
    try {
      return lowest_separator_side_potential(porous_electrode(cell, {i, start, {}, charge, {}}, grid)) - margin;
    } catch (const CalculationFailure&) {
      return out_of_reach;
    }
  };
  double low = 0, f_low = 0, high = 0, f_high = 0;  // of larger and larger size, whatever the sign
  for (double i = guess;; i *= f_low > 0 && high == 0 ? 1.15 : 1 / 1.15) {
    const double f = excess(i);
    (f > 0 ? low : high) = i;
    (f > 0 ? f_low : f_high) = f;
    if (low != 0 && high != 0) break;
    if (!(i / guess > 1e-3 && i / guess < 1e3)) throw CalculationFailure("no plating onset within a factor 1000");
  }
  for (int k = 0; k < 60 && std::abs(high - low) > 1e-6 * std::abs(high); ++k) {  // regula falsi, Illinois variant
    const double i = low + (high - low) * f_low / (f_low - f_high);
    const double f = excess(i);
    if (std::abs(f) < 1e-8) return i;
    if (f > 0) {
      low = i;
      f_low = f;
      f_high /= 2;
    } else {
      high = i;
      f_high = f;
      f_low /= 2;
    }
  }
  return low;
}

}  // namespace onegrain::benchmarks
