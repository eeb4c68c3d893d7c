#include <algorithm>
#include <cmath>

#include "app/answer/measured_words.hpp"
#include "app/study/fitting.hpp"

// What is to be said of a fit.
namespace onegrain::app {

using solver::FreeParameter;

std::string direction_text(const solver::Direction& direction, const Fitting& fitting) {
  std::vector<std::pair<double, std::string>> parts;
  for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
    parts.emplace_back(direction.weights[static_cast<Eigen::Index>(k)], fitting.problem.free[k].name);
  }
  auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
  for (const solver::FreePotential& p : fitting.problem.potentials) {
    parts.emplace_back(direction.weights.segment(from, p.coefficients()).norm(), p.name);
    from += p.coefficients();
  }
  std::sort(parts.begin(), parts.end(),
            [](const auto& a, const auto& b) { return std::abs(a.first) > std::abs(b.first); });
  if (std::abs(parts.front().first) > 0.95) return parts.front().second;
  std::string text;
  for (std::size_t k = 0; k < parts.size() && std::abs(parts[k].first) > 0.25; ++k) {
    text += (k == 0 ? "" : k == 1 ? " against " : ", ") + parts[k].second;
  }
  return text;
}

namespace {

bool told(const solver::Estimate& e, const FreeParameter& p) {
  if (e.prior_share > 0.5) return false;
  return p.logarithmic
             ? e.profile.upper / std::max(e.profile.lower, 1e-300) < 4 && !e.profile.lower_open && !e.profile.upper_open
             : e.profile.upper - e.profile.lower < 2 * std::max(std::abs(e.value), p.unit) && !e.profile.upper_open;
}

std::string remark_on(const solver::Estimate& e, const FreeParameter& p) {
  if (e.at_bound) return "at the end of the range that was searched";
  if (e.prior_share > 0.8) return "the data tell next to nothing beyond the sheet";
  if (e.prior_share > 0.5) return "told by the sheet more than by the data";
  if (!told(e, p)) return "only its order of magnitude";
  return "";
}

}  // namespace

bool is_told(const Fitting& fitting, const solver::FitResult& result, std::size_t index) {
  return told(result.estimates[index], fitting.problem.free[index]);
}
std::string remark(const Fitting& fitting, const solver::FitResult& result, std::size_t index) {
  return remark_on(result.estimates[index], fitting.problem.free[index]);
}

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

nlohmann::json fit_json(const Job& job, const Fitting& fitting, const solver::CellFit& fit,
                        const solver::FitResult& result, const std::vector<Recording>& recordings,
                        const std::vector<FurtherTest>& tests) {
  using nlohmann::json;
  const auto value = [&](std::size_t k, double si) { return number(in_estimate_unit(fitting, k, si)); };
  json parameters = json::array(), names = json::array();
  for (std::size_t k = 0; k < result.estimates.size(); ++k) {
    const solver::Estimate& e = result.estimates[k];
    const FreeParameter& p = fitting.problem.free[k];
    names.push_back(e.name);
    parameters.push_back({{"name", e.name},
                          {"label", fitting.labels[k]},
                          {"unit", fitting.units[k]},
                          {"before", value(k, p.nominal)},
                          {"estimate", value(k, e.value)},
                          {"lower", value(k, std::max(e.profile.lower, p.lower))},
                          {"upper", value(k, e.profile.upper)},
                          {"lower_open", e.profile.lower_open},
                          {"upper_open", e.profile.upper_open},
                          {"linear_lower", value(k, std::max(e.linearised.lower, p.lower))},
                          {"linear_upper", value(k, e.linearised.upper)},
                          {"logarithmic", p.logarithmic},
                          {"share_known_before", number(e.prior_share)},
                          {"at_bound", e.at_bound},
                          {"told", told(e, p)},
                          {"remark", remark_on(e, p)}});
  }
  json matrix = json::array();
  for (std::size_t a = 0; a < result.estimates.size(); ++a) {
    json row = json::array();
    for (std::size_t b = 0; b < result.estimates.size(); ++b)
      row.push_back(number(result.uncertainty.correlation(static_cast<Eigen::Index>(a), static_cast<Eigen::Index>(b))));
    matrix.push_back(std::move(row));
  }
  json untold = json::array(), further = json::array();
  for (const solver::Direction& d : result.untold) untold.push_back(direction_text(d, fitting));
  for (const FurtherTest& t : tests) {
    json narrower;
    for (std::size_t k = 0; k < t.narrower.size(); ++k) narrower[fitting.problem.free[k].name] = number(t.narrower[k]);
    further.push_back({{"test", t.test}, {"narrower", narrower}});
  }
  Eigen::VectorXd difference;
  fit.voltages(result.z, difference, nullptr);
  json curves = json::array();
  Eigen::Index at = 0;
  for (std::size_t c = 0; c < fitting.problem.curves.size(); ++c) {
    const solver::FitCurve& curve = fitting.problem.curves[c];
    const solver::CurveMisfit& m = result.misfits[c];
    json time = json::array(), charge = time, measured = time, model = time, residual = time;
    for (std::size_t k = 0; k < recordings[c].rows.size(); ++k, ++at) {
      const double V = curve.voltage[static_cast<Eigen::Index>(k)];
      time.push_back(number(curve.run.times[k] / 3600));
      charge.push_back(number(recordings[c].charge[k] / 3.6));
      measured.push_back(number(V));
      model.push_back(number(V + difference[at]));
      residual.push_back(number(1e3 * difference[at]));
    }
    curves.push_back({{"file", m.name},
                      {"rms_mV", number(1e3 * m.rms)},
                      {"mean_mV", number(1e3 * m.mean)},
                      {"largest_mV", number(1e3 * m.largest)},
                      {"correlation_points", number(m.correlation_time)},
                      {"points", curve.voltage.size()},
                      {"start", answer::start_words(recordings[c])},
                      {"rows_read", recordings[c].measured.rows_read},
                      {"rows_left_out", recordings[c].measured.doubts.left_out()},
                      {"trace",
                       {{"time_h", time},
                        {"charge_mAh", charge},
                        {"measured_V", measured},
                        {"model_V", model},
                        {"residual_mV", residual}}}});
  }
  json potentials = json::array();
  auto from = static_cast<Eigen::Index>(fitting.problem.free.size());
  for (const solver::FreePotential& p : fitting.problem.potentials) {
    json x = json::array(), correction = x, deviation = x;
    const Eigen::Index n = p.coefficients();
    for (int k = 0; k <= 100; ++k) {
      const double here = p.lower + (p.upper - p.lower) * k / 100;
      const Eigen::RowVectorXd basis = solver::correction_basis(p, here);
      x.push_back(number(here));
      correction.push_back(number(1e3 * basis.dot(result.z.segment(from, n))));
      deviation.push_back(number(
          1e3 *
          std::sqrt(std::max(
              0.0, (basis * result.uncertainty.covariance.block(from, from, n, n) * basis.transpose()).value()))));
    }
    potentials.push_back(
        {{"name", p.name}, {"stoichiometry", x}, {"correction_mV", correction}, {"standard_deviation_mV", deviation}});
    from += n;
  }
  return {{"parameters", parameters},
          {"correlation", {{"names", names}, {"matrix", matrix}}},
          {"untold", untold},
          {"further_tests", further},
          {"curves", curves},
          {"potentials", potentials},
          {"noise_mV", number(1e3 * result.noise)},
          {"independent_points", number(result.independent_points)},
          {"starts", result.starts},
          {"starts_agreeing", result.starts_agreeing},
          {"evaluations", result.evaluations},
          {"converged", result.converged},
          {"ended_by", result.ended_by},
          {"notes", fitting.notes},
          {"electrolyte", job.electrolyte == model::ElectrolyteModel::resolved ? "resolved" : "uniform"}};
}

}  // namespace onegrain::app
