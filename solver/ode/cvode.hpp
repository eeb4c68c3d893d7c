#pragma once

#include <Eigen/Dense>
#include <memory>
#include <stdexcept>
#include <vector>

/// Stiff ordinary differential equations by CVODE: variable-order, variable-step BDF with Newton's method, root
/// finding, dense output, and forward sensitivities (CVODES, staggered). SUNDIALS is seen in cvode.cpp alone.
/// Source: A. C. Hindmarsh et al., ACM Trans. Math. Softw. 31 (2005) 363.
namespace onegrain::solver {

using Vector = Eigen::VectorXd;
using VectorView = Eigen::Map<Eigen::VectorXd>;
using ConstVectorView = Eigen::Map<const Eigen::VectorXd>;

/// What a right-hand side says of the point it was given.
enum class Evaluation { ok, retry_smaller_step };

/// dy/dt = f(t, y) with its own linear algebra: whoever writes the equations knows the structure of their Jacobian J.
class OdeSystem {
 public:
  virtual ~OdeSystem() = default;
  virtual int size() const = 0;
  virtual Evaluation rate(double t, ConstVectorView y, VectorView ydot) = 0;
  /// Takes J = df/dy at (t, y).
  virtual Evaluation linearise(double t, ConstVectorView y) = 0;
  /// Factors I - gamma J for the J taken last. False if singular.
  virtual bool factor(double gamma) = 0;
  /// b <- (I - gamma J)^-1 b
  virtual void solve(VectorView b) = 0;
  /// Where this says so, `tighten` is asked at every step: it may lower what each unknown is allowed to be off, given
  /// as relative |y| + absolute.
  virtual bool tightens() const { return false; }
  virtual void tighten(ConstVectorView /*y*/, VectorView /*allowed*/) {}
  /// Functions of the state that are watched: a root is met where one of them falls through zero. One that rises, or
  /// that starts below zero and has not been above it, meets none.
  virtual int root_count() const { return 0; }
  virtual void roots(double /*t*/, ConstVectorView /*y*/, double* /*g*/) {}
  /// Forward sensitivities s_k = dy/dp_k to that many parameters, ds_k/dt = J s_k + df/dp_k.
  virtual int sensitivity_count() const { return 0; }
  virtual Evaluation sensitivity_rates(double /*t*/, ConstVectorView /*y*/, const std::vector<ConstVectorView>& /*s*/,
                                       std::vector<VectorView>& /*sdot*/) {
    return Evaluation::ok;
  }
};

struct Tolerances {
  double relative = 1e-6;
  Vector absolute;  ///< per unknown
  double sensitivity_relative = 1e-6, sensitivity_absolute = 1e-8;
  /// Share of the error test that Newton's iteration may use up. CVODE's own 0.1 lets enough of an old Jacobian's error
  /// into a step for the error test to fail every tenth time where diffusivities vary, and makes step sequences a
  /// matter of round-off. With 0.003 it does not fail, and steps are so much longer that fewer rates are evaluated in
  /// all.
  double newton_share = 0.003;
};

/// The integrator could not go on; `what()` says where and why.
struct IntegrationFailure : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct Counts {
  long steps = 0, rate_evaluations = 0, linearisations = 0, factorisations = 0, error_test_failures = 0,
       root_evaluations = 0;
  Counts& operator+=(const Counts& more);
};

/// An integrator for systems of one size and number of sensitivities, to be used again for any number of such problems.
class Cvode {
 public:
  explicit Cvode(int size, int sensitivities = 0);
  ~Cvode();
  Cvode(Cvode&&) noexcept;
  Cvode& operator=(Cvode&&) noexcept;

  enum class Event { step, root, stop };

  /// Begins anew at (t, y). `system` must outlive the integration.
  void start(OdeSystem& system, double t, const Vector& y, const Tolerances& tolerances, double longest_step,
             double stop_time, const std::vector<Vector>& sensitivities = {});
  /// One internal step, cut short at a root or at the stop time.
  /// @throws IntegrationFailure; anything that the system threw
  Event advance();

  /// After Event::stop: goes on to this time.
  void go_on(double stop_time);

  double time() const;                          ///< reached by advance()
  ConstVectorView state() const;                ///< at time()
  const std::vector<int>& roots_found() const;  ///< after Event::root: nonzero where a root was met

  /// The interpolating polynomial of the last internal step: sum_k coefficients.col(k) (t - origin)^k, valid from the
  /// time before the step to time().
  void last_polynomial(double& origin, Eigen::MatrixXd& coefficients) const;
  /// The same for sensitivity k, about the same origin.
  void last_sensitivity_polynomial(int k, Eigen::MatrixXd& coefficients) const;

  Counts counts() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace onegrain::solver
