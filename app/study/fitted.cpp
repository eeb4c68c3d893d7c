#include "app/study/fitted.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "params/record/levels.hpp"

namespace onegrain::app::study {

bool is_told(const Estimation& estimation, std::size_t index) {
  const solver::Estimate& e = estimation.result.estimates[index];
  const solver::FreeParameter& p = estimation.free()[index];
  if (p.quantity == solver::FreeQuantity::start)
    return e.profile.upper - e.profile.lower < 2 * p.unit && !e.profile.lower_open && !e.profile.upper_open;
  if (e.prior_share > 0.5) return false;
  return p.logarithmic
             ? e.profile.upper / std::max(e.profile.lower, 1e-300) < 4 && !e.profile.lower_open && !e.profile.upper_open
             : e.profile.upper - e.profile.lower < 2 * std::max(std::abs(e.value), p.unit) && !e.profile.upper_open;
}

namespace {

Derived derived(const solver::CellFit& fit, const solver::FitResult& result,
                const std::function<double(const model::Cell&)>& quantity) {
  const double value = quantity(fit.cell(result.z));
  Eigen::VectorXd gradient(fit.size());
  for (Eigen::Index k = 0; k < gradient.size(); ++k) {
    const double se = result.uncertainty.standard_error[k],
                 h = std::isfinite(se) ? std::clamp(0.05 * se, 1e-6, 0.02) : 1e-3;
    Eigen::VectorXd up = result.z, down = result.z;
    up[k] += h;
    down[k] -= h;
    try {
      gradient[k] = (quantity(fit.cell(up)) - quantity(fit.cell(down))) / (2 * h);
    } catch (const model::ImpossibleBalance&) {
      gradient[k] = 0;
    }
  }
  double variance = 0;
  for (Eigen::Index a = 0; a < gradient.size(); ++a) {
    for (Eigen::Index b = 0; b < gradient.size(); ++b) {
      if (gradient[a] != 0 && gradient[b] != 0)
        variance += gradient[a] * gradient[b] * result.uncertainty.covariance(a, b);
    }
  }
  const double half = result.uncertainty.quantile * std::sqrt(std::max(0.0, variance));
  return {value, value - half, value + half};
}

}  // namespace

Derived derived(const Estimation& estimation, const std::function<double(const model::Cell&)>& quantity) {
  Derived found = derived(*estimation.problem, estimation.result, quantity);
  if (!estimation.other) return found;
  const Derived other = derived(*estimation.other->problem, estimation.other->result, quantity);
  return {found.value, std::min(found.lower, other.lower), std::max(found.upper, other.upper)};
}

std::vector<FittedCurve> fitted_curves(const Estimation& estimation) {
  Eigen::VectorXd difference;
  estimation.problem->voltages(estimation.result.z, difference, nullptr);
  std::vector<FittedCurve> curves;
  Eigen::Index at = 0;
  for (std::size_t c = 0; c < estimation.recordings.size(); ++c) {
    const solver::FitCurve& given = estimation.fitting.problem.curves[c];
    FittedCurve curve{given.run.times, estimation.recordings[c].charge, {}, {}, {}};
    for (Eigen::Index k = 0; k < given.voltage.size(); ++k, ++at) {
      curve.measured.push_back(given.voltage[k]);
      curve.model.push_back(given.voltage[k] + difference[at]);
      curve.residual.push_back(difference[at]);
    }
    curves.push_back(std::move(curve));
  }
  return curves;
}

namespace {

/// For white noise of deviation s second differences have the deviation sqrt(6) s, and the median of their magnitude is
/// 0.6745 of it; the median does not feel where a current steps.
double noise_of_rows(const std::vector<double>& voltage, std::size_t from, std::size_t to) {
  std::vector<double> differences;
  for (std::size_t k = from + 1; k + 1 < to; ++k)
    differences.push_back(std::abs(voltage[k - 1] - 2 * voltage[k] + voltage[k + 1]));
  if (differences.empty()) return 0;
  return params::middle_of(std::move(differences)) / (0.6745 * std::sqrt(6.0));
}

}  // namespace

double rms_about_line(const std::vector<double>& x, const std::vector<double>& y) {
  const auto n = static_cast<double>(y.size());
  double x0 = 0, y0 = 0, xx = 0, xy = 0, yy = 0;
  for (std::size_t k = 0; k < y.size(); ++k) {
    x0 += x[k] / n;
    y0 += y[k] / n;
  }
  for (std::size_t k = 0; k < y.size(); ++k) {
    xx += (x[k] - x0) * (x[k] - x0);
    xy += (x[k] - x0) * (y[k] - y0);
    yy += (y[k] - y0) * (y[k] - y0);
  }
  return std::sqrt(std::max(0.0, yy - (xx > 0 ? xy * xy / xx : 0)) / n);
}

std::vector<CurveScale> curve_scales(const Estimation& estimation) {
  std::vector<CurveScale> list;
  for (std::size_t c = 0; c < estimation.recordings.size(); ++c) {
    const Recording& r = estimation.recordings[c];
    list.push_back({noise_of_rows(r.measured.record.voltage, r.rows.front(), r.rows.back() + 1),
                    rms_about_line(r.charge, {estimation.fitting.problem.curves[c].voltage.begin(),
                                              estimation.fitting.problem.curves[c].voltage.end()})});
  }
  return list;
}

std::vector<Correction> corrections(const Estimation& estimation) {
  const solver::FitResult& result = estimation.result;
  std::vector<Correction> list;
  auto from = static_cast<Eigen::Index>(estimation.free().size());
  for (const solver::FreePotential& p : estimation.fitting.problem.potentials) {
    Correction c{p.name, {}, {}, {}};
    const Eigen::Index n = p.coefficients();
    const auto covariance = result.uncertainty.covariance.block(from, from, n, n);
    for (int k = 0; k <= 100; ++k) {
      const double x = p.lower + (p.upper - p.lower) * k / 100;
      const Eigen::RowVectorXd basis = solver::correction_basis(p, x);
      c.stoichiometry.push_back(x);
      c.correction.push_back(basis.dot(result.z.segment(from, n)));
      c.deviation.push_back(std::sqrt(std::max(0.0, (basis * covariance * basis.transpose()).value())));
    }
    list.push_back(std::move(c));
    from += n;
  }
  return list;
}

}  // namespace onegrain::app::study
