#include "solver/ode/cvode.hpp"

#include <cvodes/cvodes.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_config.h>
#include <sundials/sundials_context.h>
#include <sundials/sundials_linearsolver.h>
#include <sundials/sundials_matrix.h>
#include <sundials/sundials_types.h>

#include <cmath>
#include <cstdlib>
#include <new>
#include <string>
#include <type_traits>

namespace onegrain::solver {

// Differences between SUNDIALS 6.4 (Debian 12) and 7.1 (Debian 13) are settled here.
namespace {

/// SUNDIALS is written in C: what could not be allocated comes back as null.
template <class Pointer>
Pointer allocated(Pointer made) {
  if (made == nullptr) throw std::bad_alloc();
  return made;
}

/// SUNContext_Create of 6.4 writes into a table that it could not allocate: what it needs, a kilobyte, is tried for
/// before, and so stays with the allocator of this thread. (Another thread that shares it may still snatch it away.)
void require_room() { std::free(allocated(std::malloc(std::size_t{96} << 10))); }

SUNContext make_context() {
  SUNContext context = nullptr;
  require_room();
#if SUNDIALS_VERSION_MAJOR >= 7
  SUNContext_Create(SUN_COMM_NULL, &context);
  allocated(context);
  SUNContext_ClearErrHandlers(context);  // failures come back as flags; nothing is printed
  SUNContext_PushErrHandler(
      context, [](int, const char*, const char*, const char*, SUNErrCode, void*, SUNContext) {}, nullptr);
#else
  SUNContext_Create(nullptr, &context);
#endif
  return allocated(context);
}

void silence([[maybe_unused]] void* cvode) {
#if SUNDIALS_VERSION_MAJOR < 7
  CVodeSetErrHandlerFn(
      cvode, [](int, const char*, const char*, char*, void*) {}, nullptr);
#endif
}

constexpr int no_error = 0;

// A margin: CVODE bounds the error of each of its steps, and these add up over a step of a protocol.
constexpr double step_share = 0.3;

}  // namespace

Counts& Counts::operator+=(const Counts& more) {
  steps += more.steps;
  rate_evaluations += more.rate_evaluations;
  linearisations += more.linearisations;
  factorisations += more.factorisations;
  error_test_failures += more.error_test_failures;
  root_evaluations += more.root_evaluations;
  return *this;
}

namespace {

/// Vectors made beforehand for SUNDIALS to take where it clones one. Its N_VClone writes into what it could not
/// allocate before it looks (6.4; so a thread died within CVodeInit): here memory runs out where it can be told.
class Spares {
 public:
  Spares(int count, sunindextype n, SUNContext context) : before_(current) {
    vectors_.reserve(static_cast<std::size_t>(count));
    for (int k = 0; k < count; ++k) {
      vectors_.emplace_back(allocated(N_VNew_Serial(n, context)));
      vectors_.back()->ops->nvclone = take;
    }
    current = this;
  }
  ~Spares() { current = before_; }
  Spares(const Spares&) = delete;
  Spares& operator=(const Spares&) = delete;

  static N_Vector take(N_Vector like) {
    if (current == nullptr || current->vectors_.empty()) return N_VClone_Serial(like);
    const N_Vector spare = current->vectors_.back().release();
    current->vectors_.pop_back();
    return spare;
  }

 private:
  struct Destroy {
    void operator()(N_Vector v) const { N_VDestroy(v); }
  };
  static inline thread_local Spares* current = nullptr;
  Spares* before_;
  std::vector<std::unique_ptr<std::remove_pointer_t<N_Vector>, Destroy>> vectors_;
};

// As many as CVODES 6.4 clones in the calls below: 7 for work, 6 of its history, 3 for Newton's method, 1 of
// tolerances; for each sensitivity 1 of ours, 5, 6 and 1.
constexpr int clones = 17, clones_of_a_sensitivity = 13;

/// What SUNDIALS allocates for one integrator; given back even where the last of it is not to be had.
struct Allocations {
  SUNContext context = make_context();
  N_Vector y = nullptr, tolerance = nullptr, work = nullptr;
  SUNMatrix matrix = nullptr;
  SUNLinearSolver linear_solver = nullptr;
  void* cvode = nullptr;
  int sensitivities;
  N_Vector* s = nullptr;  // `sensitivities` of them

  explicit Allocations(int parameters) : sensitivities(parameters) {}
  ~Allocations();
  Allocations(const Allocations&) = delete;
  Allocations& operator=(const Allocations&) = delete;
};

}  // namespace

struct Cvode::Impl : Allocations {
  int size;
  OdeSystem* system = nullptr;
  std::exception_ptr thrown;  // by the system; rethrown outside CVODE's C frames
  double t = 0, stop_time = 0, relative = 0;
  std::vector<int> roots;
  Counts own;  // what CVODE does not count: linearisations, factorisations

  std::vector<ConstVectorView> s_now;
  std::vector<VectorView> s_rate;

  Impl(int n, int parameters);

  void check(int flag, const char* call) const;
  /// The same while this is made. Where memory runs out, CVODES 6.4 frees vectors and CVodeFree would free them again:
  /// what is left of it is better lost.
  void set_up(int flag, const char* call, int no_memory = CV_MEM_FAIL) {
    if (flag == no_memory) {
      cvode = nullptr;
      throw std::bad_alloc();
    }
    check(flag, call);
  }

  template <class Work>
  int guarded(Work work_to_do) noexcept {
    try {
      return work_to_do();
    } catch (...) {
      thrown = std::current_exception();
      return -1;
    }
  }
  /// Taylor's polynomial about the time reached; derivative(t, order) leaves the derivative in `work`.
  template <class Derivative>
  void polynomial(double& origin, Eigen::MatrixXd& coefficients, Derivative derivative) {
    int order = 0;
    sunrealtype now = 0;
    check(CVodeGetLastOrder(cvode, &order), "CVodeGetLastOrder");
    check(CVodeGetCurrentTime(cvode, &now), "CVodeGetCurrentTime");
    origin = now;
    coefficients.resize(size, order + 1);
    double factorial = 1;
    for (int k = 0; k <= order; ++k) {
      if (k > 1) factorial *= k;
      check(derivative(now, k), "the derivatives of the last step");
      coefficients.col(k) = view(work) / factorial;
    }
  }
  static ConstVectorView view(N_Vector v) { return {N_VGetArrayPointer(v), Eigen::Index(N_VGetLength(v))}; }
  static VectorView writable(N_Vector v) { return {N_VGetArrayPointer(v), Eigen::Index(N_VGetLength(v))}; }

  static int call_rate(sunrealtype t, N_Vector y, N_Vector ydot, void* self) noexcept {
    auto& impl = *static_cast<Impl*>(self);
    return impl.guarded([&] { return impl.system->rate(t, view(y), writable(ydot)) == Evaluation::ok ? 0 : 1; });
  }

  static int call_sensitivities(int count, sunrealtype t, N_Vector y, N_Vector /*ydot*/, N_Vector* s, N_Vector* sdot,
                                void* self, N_Vector, N_Vector) noexcept {
    auto& impl = *static_cast<Impl*>(self);
    return impl.guarded([&] {
      impl.s_now.clear();
      impl.s_rate.clear();
      for (int k = 0; k < count; ++k) {
        impl.s_now.push_back(view(s[k]));
        impl.s_rate.push_back(writable(sdot[k]));
      }
      return impl.system->sensitivity_rates(t, view(y), impl.s_now, impl.s_rate) == Evaluation::ok ? 0 : 1;
    });
  }

  static int call_weights(N_Vector y, N_Vector weights, void* self) noexcept {
    auto& impl = *static_cast<Impl*>(self);
    return impl.guarded([&] {
      VectorView allowed = writable(weights);
      allowed = impl.relative * view(y).cwiseAbs() + view(impl.tolerance);
      impl.system->tighten(view(y), allowed);
      allowed = allowed.cwiseInverse().eval();
      return allowed.allFinite() ? 0 : -1;
    });
  }

  static int call_roots(sunrealtype t, N_Vector y, sunrealtype* g, void* self) noexcept {
    auto& impl = *static_cast<Impl*>(self);
    return impl.guarded([&] {
      impl.system->roots(t, view(y), g);
      return 0;
    });
  }

  /// CVODE asks for I - gamma J. The system keeps both; the SUNMatrix is an empty token between the two calls.
  /// (The two flags are of a boolean type that is int in every version, under different names.)
  static int call_linear_system(sunrealtype t, N_Vector y, N_Vector /*fy*/, SUNMatrix /*m*/, int jacobian_still_good,
                                int* jacobian_is_new, sunrealtype gamma, void* self, N_Vector, N_Vector,
                                N_Vector) noexcept {
    auto& impl = *static_cast<Impl*>(self);
    return impl.guarded([&] {
      *jacobian_is_new = !jacobian_still_good;
      if (!jacobian_still_good) {
        ++impl.own.linearisations;
        if (impl.system->linearise(t, view(y)) != Evaluation::ok) return 1;
      }
      ++impl.own.factorisations;
      return impl.system->factor(gamma) ? 0 : 1;
    });
  }

  static int call_solve(SUNLinearSolver s, SUNMatrix /*m*/, N_Vector x, N_Vector b,
                        sunrealtype /*tolerance*/) noexcept {
    auto& impl = *static_cast<Impl*>(s->content);
    return impl.guarded([&] {
      writable(x) = view(b);
      impl.system->solve(writable(x));
      return 0;
    });
  }
};

Cvode::Impl::Impl(int n, int parameters) : Allocations(parameters), size(n) {
  y = allocated(N_VNew_Serial(n, context));
  tolerance = allocated(N_VNew_Serial(n, context));
  work = allocated(N_VNew_Serial(n, context));
  matrix = allocated(SUNMatNewEmpty(context));
  matrix->ops->getid = [](SUNMatrix) { return SUNMATRIX_CUSTOM; };
  matrix->ops->zero = [](SUNMatrix) { return no_error; };
  matrix->ops->clone = nullptr;
  linear_solver = allocated(SUNLinSolNewEmpty(context));
  linear_solver->ops->gettype = [](SUNLinearSolver) { return SUNLINEARSOLVER_DIRECT; };
  linear_solver->ops->setup = [](SUNLinearSolver, SUNMatrix) { return no_error; };
  linear_solver->ops->solve = call_solve;
  linear_solver->content = this;
  const Spares spares(clones + clones_of_a_sensitivity * parameters, n, context);
  cvode = allocated(CVodeCreate(CV_BDF, context));
  silence(cvode);
  N_VConst(0.0, y);
  N_VConst(0.0, tolerance);
  y->ops->nvclone = Spares::take;
  set_up(CVodeInit(cvode, call_rate, 0.0, y), "CVodeInit");
  check(CVodeSetUserData(cvode, this), "CVodeSetUserData");
  check(CVodeSVtolerances(cvode, 1e-6, tolerance), "CVodeSVtolerances");  // start() gives those that count
  set_up(CVodeSetLinearSolver(cvode, linear_solver, matrix), "CVodeSetLinearSolver", CVLS_MEM_FAIL);
  check(CVodeSetLinSysFn(cvode, call_linear_system), "CVodeSetLinSysFn");
  check(CVodeSetMaxNumSteps(cvode, 1000000), "CVodeSetMaxNumSteps");
  // Where a grain is full to the last site a held voltage stops the current within microseconds, in the midst of steps
  // of minutes: more failures in a row than CVODE's 7 (and 10 of Newton's iteration) are in order.
  check(CVodeSetMaxErrTestFails(cvode, 30), "CVodeSetMaxErrTestFails");
  check(CVodeSetMaxConvFails(cvode, 30), "CVodeSetMaxConvFails");
  if (sensitivities == 0) return;
  s = allocated(N_VCloneVectorArray(sensitivities, y));
  for (int k = 0; k < sensitivities; ++k) N_VConst(0.0, s[k]);
  set_up(CVodeSensInit(cvode, sensitivities, CV_STAGGERED, call_sensitivities, s), "CVodeSensInit");
  check(CVodeSetSensErrCon(cvode, 1), "CVodeSetSensErrCon");  // they start steeply where the state itself is smooth
}

Allocations::~Allocations() {
  if (cvode) CVodeFree(&cvode);
  if (s) N_VDestroyVectorArray(s, sensitivities);
  if (linear_solver) SUNLinSolFreeEmpty(linear_solver);
  if (matrix) SUNMatFreeEmpty(matrix);
  for (N_Vector v : {y, tolerance, work}) {
    if (v) N_VDestroy(v);
  }
  SUNContext_Free(&context);
}

void Cvode::Impl::check(int flag, const char* call) const {
  if (thrown) {
    const std::exception_ptr again = thrown;
    const_cast<Impl*>(this)->thrown = nullptr;
    std::rethrow_exception(again);
  }
  if (flag >= 0) return;
  if (flag == CV_MEM_FAIL) throw std::bad_alloc();  // says nothing of the equations
  char* name = CVodeGetReturnFlagName(flag);
  std::string message = std::string(call) + " returned " + (name ? name : "an unknown flag");
  std::free(name);
  long steps = 0;
  sunrealtype last = 0, now = 0;
  if (CVodeGetNumSteps(cvode, &steps) == 0 && CVodeGetCurrentTime(cvode, &now) == 0 &&
      CVodeGetLastStep(cvode, &last) == 0) {
    message += " at t = " + std::to_string(now) + " s, after " + std::to_string(steps) + " steps, the last of " +
               std::to_string(last) + " s";
  }
  throw IntegrationFailure(message);
}

Cvode::Cvode(int size, int sensitivities) : impl_(std::make_unique<Impl>(size, sensitivities)) {}
Cvode::~Cvode() = default;
Cvode::Cvode(Cvode&&) noexcept = default;
Cvode& Cvode::operator=(Cvode&&) noexcept = default;

void Cvode::start(OdeSystem& system, double t, const Vector& y, const Tolerances& tolerances, double longest_step,
                  double stop_time, const std::vector<Vector>& sensitivities) {
  Impl& m = *impl_;
  if (system.size() != m.size || y.size() != m.size || tolerances.absolute.size() != m.size ||
      system.sensitivity_count() != m.sensitivities || static_cast<int>(sensitivities.size()) != m.sensitivities) {
    throw std::invalid_argument("Cvode::start: a system of another size");
  }
  m.system = &system;
  m.t = t;
  m.stop_time = stop_time;  // CVODE also takes the scale of its first step from it
  m.own = {};
  Impl::writable(m.y) = y;
  Impl::writable(m.tolerance) = tolerances.absolute;
  m.check(CVodeReInit(m.cvode, t, m.y), "CVodeReInit");
  m.relative = step_share * tolerances.relative;
  if (system.tightens())
    m.check(CVodeWFtolerances(m.cvode, Impl::call_weights), "CVodeWFtolerances");
  else
    m.check(CVodeSVtolerances(m.cvode, m.relative, m.tolerance), "CVodeSVtolerances");
  if (m.sensitivities > 0) {
    for (int k = 0; k < m.sensitivities; ++k) Impl::writable(m.s[k]) = sensitivities[static_cast<std::size_t>(k)];
    m.check(CVodeSensReInit(m.cvode, CV_STAGGERED, m.s), "CVodeSensReInit");
    std::vector<double> absolute(static_cast<std::size_t>(m.sensitivities), tolerances.sensitivity_absolute);
    m.check(CVodeSensSStolerances(m.cvode, tolerances.sensitivity_relative, absolute.data()), "CVodeSensSStolerances");
  }
  m.check(CVodeSetNonlinConvCoef(m.cvode, tolerances.newton_share), "CVodeSetNonlinConvCoef");
  m.check(CVodeSetMaxStep(m.cvode, longest_step), "CVodeSetMaxStep");
  m.check(CVodeSetStopTime(m.cvode, stop_time), "CVodeSetStopTime");
  m.check(CVodeRootInit(m.cvode, system.root_count(), system.root_count() > 0 ? Impl::call_roots : nullptr),
          "CVodeRootInit");
  if (system.root_count() > 0) {
    std::vector<int> falling(static_cast<std::size_t>(system.root_count()), -1);
    m.check(CVodeSetRootDirection(m.cvode, falling.data()), "CVodeSetRootDirection");
  }
  m.check(CVodeSetNoInactiveRootWarn(m.cvode), "CVodeSetNoInactiveRootWarn");
  m.roots.assign(static_cast<std::size_t>(system.root_count()), 0);
}

Cvode::Event Cvode::advance() {
  Impl& m = *impl_;
  sunrealtype reached = m.t;
  const int flag = CVode(m.cvode, m.stop_time, m.y, &reached, CV_ONE_STEP);
  m.check(flag, "CVode");
  m.t = reached;
  if (flag == CV_ROOT_RETURN) {
    m.check(CVodeGetRootInfo(m.cvode, m.roots.data()), "CVodeGetRootInfo");
    return Event::root;
  }
  return flag == CV_TSTOP_RETURN ? Event::stop : Event::step;
}

void Cvode::go_on(double stop_time) {
  impl_->stop_time = stop_time;
  impl_->check(CVodeSetStopTime(impl_->cvode, stop_time), "CVodeSetStopTime");
}

double Cvode::time() const { return impl_->t; }
ConstVectorView Cvode::state() const { return Impl::view(impl_->y); }
const std::vector<int>& Cvode::roots_found() const { return impl_->roots; }

void Cvode::last_polynomial(double& origin, Eigen::MatrixXd& coefficients) const {
  impl_->polynomial(origin, coefficients,
                    [&](double at, int order) { return CVodeGetDky(impl_->cvode, at, order, impl_->work); });
}

void Cvode::last_sensitivity_polynomial(int k, Eigen::MatrixXd& coefficients) const {
  double origin = 0;  // that of last_polynomial()
  impl_->polynomial(origin, coefficients,
                    [&](double at, int order) { return CVodeGetSensDky1(impl_->cvode, at, order, k, impl_->work); });
}

Counts Cvode::counts() const {
  Counts c = impl_->own;
  CVodeGetNumSteps(impl_->cvode, &c.steps);
  CVodeGetNumRhsEvals(impl_->cvode, &c.rate_evaluations);
  CVodeGetNumErrTestFails(impl_->cvode, &c.error_test_failures);
  CVodeGetNumGEvals(impl_->cvode, &c.root_evaluations);
  return c;
}

}  // namespace onegrain::solver
