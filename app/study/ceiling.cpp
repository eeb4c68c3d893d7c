#include "app/study/ceiling.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <new>
#include <ostream>

#include "app/answer/results.hpp"
#include "app/render/screen.hpp"
#include "app/render/table.hpp"
#include "app/study/ensemble.hpp"
#include "params/sheet/temperature.hpp"
#include "params/text/revision.hpp"

namespace onegrain::app {

namespace {

constexpr double one_sided_95 = 1.644853626951473;  // of the normal distribution

/// A cell with what a study of its charges needs.
struct Subject {
  model::Cell cell;
  model::Window window;

  explicit Subject(const params::Sheet& sheet)
      : cell(params::to_cell(sheet)), window(model::equilibrium_window(cell)) {}
};

solver::Ceiling ceiling_of(const Subject& subject, const CeilingOptions& options, solver::Workspace& workspace,
                           double guess, double tolerance,
                           solver::Description description = solver::Description::uneven) {
  solver::ChargeStudy study(subject.cell, subject.window, options.soc, options.limits, workspace, description);
  return study.ceiling(guess > 0 ? guess : study.whole() / 3600, tolerance);
}

/// A bar on the terminal for work that takes a while.
class Progress {
 public:
  Progress(const Channels& channels, const char* what) : channels_(channels), what_(what) {}
  ~Progress() {
    if (shown_) channels_.narration << begin_line_anew << std::flush;
  }
  void operator()(int done, int of) {
    if (!channels_.watched || of == 0) return;
    shown_ = true;
    const int filled = 30 * done / of;
    channels_.narration << begin_line_anew << what_ << " [" << std::string(static_cast<std::size_t>(filled), '#')
                        << std::string(static_cast<std::size_t>(30 - filled), '.') << "] " << done << "/" << of
                        << std::flush;
  }

 private:
  const Channels& channels_;
  const char* what_;
  bool shown_ = false;
};

void stop_if_interrupted() {
  if (interrupted()) throw NotCompleted("interrupted; nothing was written");
}

double log_of(double current, double least) { return std::log(std::max(current, least)); }

std::string percent(double share) { return fmt::format("{:.4g} %", 100 * share); }

std::string quantity_of(solver::Limit limit, double value) {
  switch (limit) {
    case solver::Limit::plating:
      return fmt::format("{:.1f} mV", 1e3 * value);
    case solver::Limit::voltage:
      return fmt::format("{:.3f} V", value);
    case solver::Limit::positive_surface:
    case solver::Limit::negative_surface:
      return fmt::format("{:.3f}", value);
    case solver::Limit::temperature:
      return fmt::format("{:.1f} degC", value - 273.15);
    case solver::Limit::positive_stress:
    case solver::Limit::negative_stress:
      return fmt::format("{:.1f} MPa", 1e-6 * value);
    case solver::Limit::salt:
      return fmt::format("{:.1f} %", 100 * value);
    case solver::Limit::unsolved:
      return "-";
  }
  return "";
}

const char* quantity_name(solver::Limit limit, bool full) {
  switch (limit) {
    case solver::Limit::plating:
      return full ? "potential of the negative against lithium, at its separator side"
                  : "potential of the working electrode against lithium, at its separator side";
    case solver::Limit::voltage:
      return "voltage at the terminals";
    case solver::Limit::positive_surface:
      return "filling of the positive's grain surfaces";
    case solver::Limit::negative_surface:
      return full ? "filling of the negative's grain surfaces" : "filling of the grain surfaces";
    case solver::Limit::temperature:
      return "temperature of the cell";
    case solver::Limit::positive_stress:
      return "tension in the positive's grains";
    case solver::Limit::negative_stress:
      return full ? "tension in the negative's grains" : "tension in the grains";
    case solver::Limit::salt:
      return "lowest salt, of its starting concentration";
    case solver::Limit::unsolved:
      return "the calculation";
  }
  return "";
}

/// "diffusion coefficient of graphite" from a path of the sheet.
std::string words_of(const Job& job, const std::string& path) {
  std::string rest = path, of;
  const auto cut = [&](const std::string& prefix) {
    if (rest.rfind(prefix, 0) != 0) return false;
    rest.erase(0, prefix.size());
    return true;
  };
  if (cut("positive."))
    of = " of the positive";
  else if (cut("negative."))
    of = " of the negative";
  else if (cut("working."))
    of = " of the working electrode";
  else if (cut("electrolyte."))
    of = " of the electrolyte";
  else if (cut("separator."))
    of = " of the separator";
  else if (cut("counter."))
    of = " of the lithium metal";
  const bool material = cut("material.");
  for (const char* form : {"coating.", "layer.", "crystal."}) cut(form);
  if (material) {
    const bool first = path.rfind("positive.", 0) == 0 || path.rfind("working.", 0) == 0;
    if (first || path.rfind("negative.", 0) == 0)
      of = " of " + (first ? job.bench.positive.material : job.bench.negative->material);
  }
  for (char& c : rest) {
    if (c == '_' || c == '.') c = ' ';
  }
  if (rest == "a" || rest == "c" || rest == "b") rest = "lattice parameter " + rest;
  return rest + of;
}

}  // namespace

std::string name_of(solver::Limit limit, const Job& job) {
  const bool full = job.cell.is_full_cell();
  switch (limit) {
    case solver::Limit::plating:
      return full ? "lithium plating on the negative" : "lithium plating on the working electrode";
    case solver::Limit::voltage:
      return full ? "the upper voltage limit" : "the lower voltage limit";
    case solver::Limit::positive_surface:
      return "grain surfaces of the positive that run empty";
    case solver::Limit::negative_surface:
      return full ? "grain surfaces of the negative that fill up" : "grain surfaces that fill up";
    case solver::Limit::temperature:
      return "the temperature of the cell";
    case solver::Limit::positive_stress:
      return "cracking of the positive's grains";
    case solver::Limit::negative_stress:
      return full ? "cracking of the negative's grains" : "cracking of the grains";
    case solver::Limit::salt:
      return "salt that runs out in the pores";
    case solver::Limit::unsolved:
      return "the calculation, which finds no solution for a faster charge";
  }
  return "";
}

namespace {

/// What the map over temperature cannot tell, or why there is none; empty where the cards tell all.
std::string temperature_remark(const Job& job) {
  const std::string unknown = params::unknown_over_temperature(job.sheet);
  if (unknown.empty()) return "";
  if (!params::tells_of_temperature(job.sheet)) {
    return "There is no map over temperature: no activation energy is given for " + unknown +
           ", so that the cold would look nearly as fast as 25 degC. This rate says nothing about a cold cell.";
  }
  return "The map over temperature is too fast in the cold: no activation energy is given for " + unknown +
         ", and the value at 25 degC stands at every temperature.";
}

}  // namespace

namespace {

/// The fastest charge along the limits, cut into steps; and what a charge at constant current, then voltage takes.
void find_staircase(CeilingResult& result, solver::ChargeStudy& study, const Subject& nominal,
                    const CeilingOptions& options, solver::Workspace& workspace) {
  const double i0 = result.nominal.current;
  const double highest =
      std::max(i0, solver::TrustLimits{}.limiting_current_share *
                       solver::limiting_current(nominal.cell, nominal.cell.is_full_cell(), nominal.cell.temperature));
  solver::ChargeStudy even(nominal.cell, nominal.window, options.soc, options.limits, workspace,
                           solver::Description::even);
  result.ride = solver::ride_limits(even, highest);
  const double share = result.staircase_share = std::min(1.0, result.recommended / i0);
  solver::ChargeLimits but_voltage = options.limits;
  but_voltage.keep_voltage = false;
  solver::ChargeStudy held(nominal.cell, nominal.window, options.soc, but_voltage, workspace);
  result.constant_current_constant_voltage_time =
      solver::constant_current_constant_voltage(held, share * held.ceiling(i0, 1e-3).current);
  result.staircase = solver::cut(study, result.ride, 6, highest);
  if (share < 1) result.staircase = solver::scaled(study, result.staircase, share);
}

}  // namespace

CeilingResult find_ceiling(const Job& job, const CeilingOptions& options, const Channels& channels) {
  const InterruptGuard guard;
  const int threads = options.threads > 0 ? options.threads : core_count();
  std::vector<solver::Workspace> workspaces(static_cast<std::size_t>(threads));
  const auto workspace = [&](int thread) -> solver::Workspace& { return workspaces[static_cast<std::size_t>(thread)]; };
  const std::vector<Unknown> unknown = unknowns(job.sheet);
  const auto n_unknown = static_cast<Eigen::Index>(unknown.size());

  CeilingResult result{};
  const Subject nominal(job.sheet);
  solver::ChargeStudy study(nominal.cell, nominal.window, options.soc, options.limits, workspace(0));
  const double least = study.whole() / 3600 / 200;
  result.nominal = study.ceiling(study.whole() / 3600, 2e-4);
  const double i0 = result.nominal.current;
  result.even_current = ceiling_of(nominal, options, workspace(0), i0, 1e-3, solver::Description::even).current;
  result.plain_current = ceiling_of(nominal, options, workspace(0), i0, 1e-3, solver::Description::plain).current;
  result.recommended = result.median = i0;
  result.limited_by = result.nominal.charge.tightest;

  // The map over temperature of the nominal cell.
  std::vector<params::Sheet> sheets;
  const bool over_temperature = options.temperatures && params::tells_of_temperature(job.sheet);
  result.temperature_remark = temperature_remark(job);
  if (over_temperature) {
    for (int celsius = -10; celsius <= 45; celsius += 5) {
      params::Sheet sheet = job.sheet;
      sheet.temperature.si = 273.15 + celsius;
      sheets.push_back(std::move(sheet));
    }
  }
  std::vector<AtTemperature> map(sheets.size());
  std::vector<char> solved(sheets.size(), 1);
  const auto n_temperatures = static_cast<int>(sheets.size());
  {
    Progress bar(channels, "temperatures");
    in_parallel(
        n_temperatures, threads,
        [&](int k, int thread) {
          const auto at = static_cast<std::size_t>(k);
          map[at].temperature = sheets[at].temperature.si;
          try {
            const solver::Ceiling c = ceiling_of(Subject(sheets[at]), options, workspace(thread), i0, 1e-3);
            map[at].current = map[at].confident_current = c.current;
            map[at].limited_by = c.charge.tightest;
          } catch (const std::bad_alloc&) {  // says nothing of the cell; here as below
            throw;
          } catch (const std::exception&) {
            solved[at] = 0;
          }
        },
        [&](int done) { bar(done, n_temperatures); });
    stop_if_interrupted();
  }
  const bool sampled = options.samples > 0 && n_unknown > 0;

  // One unknown at a time, a deviation up and one down: first guesses for the plausible cells.
  Eigen::MatrixXd sides = Eigen::MatrixXd::Zero(n_unknown, 2);  // ln(i / i0) for +1 and -1 standard deviations
  if (sampled) {
    in_parallel(2 * static_cast<int>(n_unknown), threads, [&](int task, int thread) {
      const Eigen::Index k = task / 2, side = task % 2;
      Eigen::VectorXd z = Eigen::VectorXd::Zero(n_unknown);
      z[k] = side == 0 ? 1 : -1;
      try {
        const double current =
            ceiling_of(Subject(moved(job.sheet, z)), options, workspace(thread), std::max(i0, least), 1e-2).current;
        sides(k, side) = log_of(current, least) - log_of(i0, least);
      } catch (const std::bad_alloc&) {
        throw;
      } catch (const std::exception&) {  // no such cell: says nothing
      }
    });
    stop_if_interrupted();
  }
  const auto guessed = [&](const Eigen::VectorXd& z) {
    double sum = 0;
    for (Eigen::Index k = 0; k < n_unknown; ++k) sum += std::abs(z[k]) * sides(k, z[k] > 0 ? 0 : 1);
    return std::exp(std::clamp(sum, -3.0, 3.0));
  };

  // What `confidence` of the plausible cells survive, at a few temperatures: the same cells at each of them. Between
  // them the logarithm of the share of the nominal rate is taken as linear.
  if (sampled && over_temperature) {
    const std::vector<std::size_t> asked = {0, 2, 4, map.size() - 1};  // -10, 0, 10, 45 degC
    const int each = std::clamp(options.samples / 12, 20, 200);
    std::vector<std::vector<double>> currents(asked.size(), std::vector<double>(static_cast<std::size_t>(each), 0.0));
    Progress bar(channels, "plausible cells, cold and hot");
    const int count = each * static_cast<int>(asked.size());
    in_parallel(
        count, threads,
        [&](int task, int thread) {
          const auto which = static_cast<std::size_t>(task / each);
          const int k = task % each;
          const Eigen::VectorXd z = plausible_deviations(options.seed, k, n_unknown);
          try {
            currents[which][static_cast<std::size_t>(k)] =
                ceiling_of(Subject(moved(sheets[asked[which]], z)), options, workspace(thread),
                           std::max(map[asked[which]].current, least) * guessed(z), 1e-2)
                    .current;
          } catch (const std::bad_alloc&) {
            throw;
          } catch (const std::exception&) {  // counts as surviving no rate
          }
        },
        [&](int done) { bar(done, count); });
    stop_if_interrupted();
    std::vector<double> share(asked.size());
    for (std::size_t w = 0; w < asked.size(); ++w) {
      std::vector<double>& sorted = currents[w];
      std::sort(sorted.begin(), sorted.end());
      const double at = (1 - confidence) * static_cast<double>(each);
      const double low = sorted[static_cast<std::size_t>(at)];
      share[w] =
          map[asked[w]].current > 0 ? std::log(std::max(low, least) / std::max(map[asked[w]].current, least)) : 0;
    }
    for (std::size_t k = 0; k < map.size(); ++k) {
      std::size_t right = 1;
      while (right + 1 < asked.size() && asked[right] < k) ++right;
      const double w =
          static_cast<double>(k - std::min(k, asked[right - 1])) / static_cast<double>(asked[right] - asked[right - 1]);
      map[k].confident_current =
          map[k].current * std::exp(std::min(0.0, (1 - w) * share[right - 1] + w * share[right]));
    }
  }
  for (std::size_t k = 0; k < map.size(); ++k) {
    if (solved[k]) result.temperatures.push_back(map[k]);
  }

  if (sampled) {
    Progress bar(channels, "plausible cells");
    struct Sample {
      double current = 0;
      bool solved = false;
      solver::Limit limit = solver::Limit::plating;
      std::string why;
    };
    std::vector<Sample> samples(static_cast<std::size_t>(options.samples));
    Eigen::MatrixXd deviations(options.samples, n_unknown);
    in_parallel(
        options.samples, threads,
        [&](int k, int thread) {
          Sample& sample = samples[static_cast<std::size_t>(k)];
          const Eigen::VectorXd z = plausible_deviations(options.seed, k, n_unknown);
          deviations.row(k) = z.transpose();
          try {
            const solver::Ceiling c = ceiling_of(Subject(moved(job.sheet, z)), options, workspace(thread),
                                                 std::max(i0, least) * guessed(z), 1e-2);
            sample.current = c.current;
            sample.limit = c.charge.tightest;
            sample.solved = true;
          } catch (const std::bad_alloc&) {
            throw;
          } catch (const std::exception& error) {
            sample.why = error.what();
          }
        },
        [&](int done) { bar(done, options.samples); });
    stop_if_interrupted();
    for (const Sample& s : samples) {
      result.currents.push_back(s.current);
      if (s.solved) continue;
      if (result.unsolved++ == 0) result.unsolved_because = s.why;
    }
    std::sort(result.currents.begin(), result.currents.end());
    const auto quantile = [&](double share) {
      return result.currents[std::min(result.currents.size() - 1,
                                      static_cast<std::size_t>(share * static_cast<double>(result.currents.size())))];
    };
    result.recommended = quantile(1 - confidence);
    result.median = quantile(0.5);
    std::vector<int> stopped(solver::limit_count, 0);  // what stops the weakest cells, up to twice the share given up
    int weakest = 0;
    for (const Sample& s : samples) {
      if (!s.solved || s.current > quantile(2 * (1 - confidence))) continue;
      ++stopped[static_cast<std::size_t>(s.limit)];
      ++weakest;
    }
    const auto most = std::max_element(stopped.begin(), stopped.end());
    if (weakest > 0) {
      result.limited_by = static_cast<solver::Limit>(most - stopped.begin());
      result.limited_share = static_cast<double>(*most) / weakest;
    }

    // Which unknown costs most: slopes of ln i over the samples by least squares, and what the spread would be without
    // one.
    std::vector<Eigen::Index> good;
    for (std::size_t k = 0; k < samples.size(); ++k) {
      if (samples[k].solved) good.push_back(static_cast<Eigen::Index>(k));
    }
    Eigen::VectorXd slope = 0.5 * (sides.col(0) - sides.col(1));
    if (static_cast<Eigen::Index>(good.size()) >= 3 * n_unknown + 10) {
      Eigen::MatrixXd A(static_cast<Eigen::Index>(good.size()), n_unknown + 1);
      Eigen::VectorXd y(A.rows());
      for (Eigen::Index r = 0; r < A.rows(); ++r) {
        A(r, 0) = 1;
        A.row(r).tail(n_unknown) = deviations.row(good[static_cast<std::size_t>(r)]);
        y[r] = log_of(samples[static_cast<std::size_t>(good[static_cast<std::size_t>(r)])].current, least);
      }
      slope = A.colPivHouseholderQr().solve(y).tail(n_unknown);
    }
    const double all = slope.squaredNorm();
    for (Eigen::Index k = 0; k < n_unknown; ++k) {
      const double without = std::sqrt(std::max(0.0, all - slope[k] * slope[k]));
      result.costs.push_back({unknown[static_cast<std::size_t>(k)].path, unknown[static_cast<std::size_t>(k)].written,
                              slope[k], result.recommended * std::exp(one_sided_95 * (std::sqrt(all) - without))});
    }
    std::stable_sort(result.costs.begin(), result.costs.end(),
                     [](const Cost& a, const Cost& b) { return std::abs(a.slope) > std::abs(b.slope); });
  }

  result.charge = study.judge(std::max(result.recommended, least));
  result.constant_current_time = result.charge.duration;
  if (options.staircase && i0 > 0) {
    try {
      find_staircase(result, study, nominal, options, workspace(0));
    } catch (const solver::IntegrationFailure& failure) {  // a charge without an end: the ceiling stands all the same
      result.staircase = {};
      result.no_staircase_because = failure.what();
    }
  }
  stop_if_interrupted();
  return result;
}

std::string ceiling_headline(const Job& job, const CeilingOptions& options, const CeilingResult& r) {
  const bool full = job.cell.is_full_cell();
  const std::string verb = full ? "Charge" : "Lithiate", from = percent(options.soc.from), to = percent(options.soc.to);
  if (!(r.recommended > 0)) {
    return fmt::format(
        "Do not {} this cell from {} to {} on this prediction: even C/200 breaks a limit ({}) in {} of the plausible "
        "cells.{}{}",
        full ? "charge" : "lithiate", from, to, name_of(r.nominal.charge.tightest, job),
        r.currents.empty() ? "the nominal one" : "more than 5 %", r.temperature_remark.empty() ? "" : " ",
        r.temperature_remark);
  }
  std::string text = fmt::format("{} from {} to {} at no more than {}C, {} mA: ", verb, from, to,
                                 digits(job.c_rate(r.recommended), 2), digits(job.milliamperes(r.recommended), 3));
  if (!r.currents.empty()) {
    text +=
        fmt::format("{} of the cells that your uncertainties allow keep every limit at that rate", percent(confidence));
  } else {
    text += "the cell as the sheet has it keeps every limit at that rate, uncertainties not counted";
  }
  text += fmt::format("; it takes {:.0f} min.", r.charge.duration / 60);
  if (r.nominal.unlimited) {
    text += " No limit was met up to 50C.";
  } else {
    const solver::Margin* tight = r.charge.margin(r.limited_by);
    text += fmt::format(" What stops a faster charge is {}", name_of(r.limited_by, job));
    if (tight) text += fmt::format(", worst at {:.0f} % state of charge", 100 * tight->soc);
    if (r.limited_share < 0.95)
      text += fmt::format(" (in {:.0f} % of the cells that survive least)", 100 * r.limited_share);
    text += ".";
  }
  if (!r.costs.empty() && r.costs.front().current_if_known > 1.005 * r.recommended) {
    text += fmt::format(" To be allowed more, measure the {}: known exactly, it would raise the rate to {}C.",
                        words_of(job, r.costs.front().path), digits(job.c_rate(r.costs.front().current_if_known), 2));
  }
  if (!r.temperature_remark.empty()) text += " " + r.temperature_remark;
  return text;
}

nlohmann::json margins_json(const Job& job, const solver::JudgedCharge& charge) {
  const bool full = job.cell.is_full_cell();
  nlohmann::json list = nlohmann::json::array();
  for (const solver::Margin& m : charge.margins) {
    list.push_back({{"limit", name_of(m.limit, job)},
                    {"quantity", quantity_name(m.limit, full)},
                    {"worst", quantity_of(m.limit, m.worst)},
                    {"allowed", std::string(solver::must_stay_above(m.limit, full) ? "at least " : "at most ") +
                                    quantity_of(m.limit, m.allowed)},
                    {"left", m.limit == solver::Limit::temperature ? fmt::format("{:.1f} K", m.left)
                                                                   : quantity_of(m.limit, m.left)},
                    {"at_soc", number(m.soc)},
                    {"kept", m.kept()}});
  }
  return list;
}

nlohmann::json ceiling_json(const Job& job, const CeilingOptions& options, const CeilingResult& r) {
  nlohmann::json json{{"c_rate", number(job.c_rate(r.recommended))},
                      {"current_mA", number(job.milliamperes(r.recommended))},
                      {"limited_by", name_of(r.limited_by, job)},
                      {"limited_share", number(r.limited_share)},
                      {"minutes", r.recommended > 0 ? number(r.charge.duration / 60) : nlohmann::json(nullptr)},
                      {"samples", static_cast<int>(r.currents.size())},
                      {"unsolved", r.unsolved},
                      {"seed", options.seed},
                      {"nominal_c_rate", number(job.c_rate(r.nominal.current))},
                      {"even_c_rate", number(job.c_rate(r.even_current))},
                      {"plain_c_rate", number(job.c_rate(r.plain_current))},
                      {"margin_V", options.limits.plating_margin},
                      {"soc", {options.soc.from, options.soc.to}}};
  json["confidence"] = r.currents.empty() ? nlohmann::json(nullptr) : nlohmann::json(confidence);
  json["median_c_rate"] = number(job.c_rate(r.median));
  if (r.unsolved > 0) json["unsolved_because"] = r.unsolved_because;
  if (r.nominal.unlimited) json["limited_by"] = "nothing up to 50C";
  if (const solver::Margin* tight = r.charge.margin(r.limited_by)) {
    json["where"] = fmt::format("{}, at {:.0f} % state of charge", quantity_name(tight->limit, job.cell.is_full_cell()),
                                100 * tight->soc);
  }
  nlohmann::json list = nlohmann::json::array();
  for (const Cost& c : r.costs) {
    if (std::abs(c.slope) < 1e-3) continue;
    list.push_back({{"path", c.path},
                    {"text", words_of(job, c.path)},
                    {"value", c.written},
                    {"slope", number(c.slope)},
                    {"c_rate_if_known", number(job.c_rate(c.current_if_known))},
                    {"gain_percent", number(r.recommended > 0 ? 100 * (c.current_if_known / r.recommended - 1) : 0)}});
  }
  json["unknowns"] = std::move(list);
  list = nlohmann::json::array();
  for (const AtTemperature& t : r.temperatures) {
    list.push_back({{"temperature_degC", number(t.temperature - 273.15)},
                    {"c_rate", number(job.c_rate(t.current))},
                    {"c_rate_confident", number(job.c_rate(t.confident_current))},
                    {"limited_by", name_of(t.limited_by, job)}});
  }
  json["temperatures"] = std::move(list);
  if (!r.no_staircase_because.empty()) json["no_staircase_because"] = r.no_staircase_because;
  json["temperature_remark"] =
      r.temperature_remark.empty() ? nlohmann::json(nullptr) : nlohmann::json(r.temperature_remark);
  if (!r.staircase.steps.empty()) {
    nlohmann::json steps = nlohmann::json::array();
    for (const solver::StaircaseStep& s : r.staircase.steps) {
      steps.push_back({{"c_rate", number(job.c_rate(s.current))},
                       {"current_mA", number(job.milliamperes(s.current))},
                       {"from_soc", number(s.from)},
                       {"to_soc", number(s.to)},
                       {"minutes", number(s.duration / 60)},
                       {"limited_by", name_of(s.limited_by, job)},
                       {"kept", s.slack >= -1e-3}});
    }
    json["staircase"] = {{"steps", std::move(steps)},
                         {"minutes", number(r.staircase.duration() / 60)},
                         {"complete", r.staircase.complete},
                         {"ride_minutes", number(r.ride.duration / 60)},
                         {"constant_current_minutes", number(r.constant_current_time / 60)},
                         {"constant_current_voltage_minutes", number(r.constant_current_constant_voltage_time / 60)}};
  }
  return json;
}

nlohmann::json ceiling_document(const Job& job, const CeilingOptions& options, const CeilingResult& r) {
  nlohmann::json doc = ceiling_json(job, options, r);
  doc["headline"] = ceiling_headline(job, options, r);
  doc["margins"] = margins_json(job, r.charge);
  doc["statement"] =
      r.currents.empty()
          ? "Uncertainties are not counted: the sheet and its cards state none, or no samples were asked for."
          : fmt::format(
                "{} plausible cells, every value with a spread drawn from its own distribution (seed {}); {} of them "
                "could not be "
                "solved and count as cells that survive no rate.",
                r.currents.size(), options.seed, r.unsolved);
  nlohmann::json rates = nlohmann::json::array();
  const std::size_t count = std::min<std::size_t>(400, r.currents.size());
  for (std::size_t k = 0; k < count; ++k) {
    rates.push_back(number(job.c_rate(r.currents[count == 1 ? 0 : k * (r.currents.size() - 1) / (count - 1)])));
  }
  doc["distribution"] = {{"c_rate", std::move(rates)}};
  doc["zones"] = {
      {{"from_degC", -60}, {"to_degC", 0}, {"text", "never charge below 0 degC (common practice)"}, {"kind", "never"}},
      {{"from_degC", 0},
       {"to_degC", 10},
       {"text", "reduce: 20 to 50 % of the rate (common practice)"},
       {"kind", "reduce"}},
      {{"from_degC", 45}, {"to_degC", 60}, {"text", "reduce the voltage (common practice)"}, {"kind", "reduce"}}};
  // The way of the recommended charge.
  solver::Workspace workspace;
  const Subject subject(job.sheet);
  solver::ChargeStudy study(subject.cell, subject.window, options.soc, options.limits, workspace,
                            solver::Description::even);
  model::Step step{model::CurrentDrive{study.sign() * r.charge.current}, {}, "charge"};
  step.until.capacity = (options.soc.to - options.soc.from) * study.whole();
  const solver::StepSolution solution = study.simulator().run(study.start(), step);
  nlohmann::json soc = nlohmann::json::array(), even = soc, uneven = soc, voltage = soc;
  for (const double t : solver::moments(solution, 81, true)) {
    const solver::Point p = solution.at(t);
    const double at = options.soc.from + r.charge.current * t / study.whole();
    soc.push_back(number(at));
    even.push_back(number(p.terminal.separator_side));
    voltage.push_back(number(p.terminal.voltage));
    double E = p.terminal.separator_side;  // linear between the integrator's steps
    for (std::size_t k = 1; k < r.charge.soc.size(); ++k) {
      if (r.charge.soc[k] >= at || k + 1 == r.charge.soc.size()) {
        const double w = (at - r.charge.soc[k - 1]) / (r.charge.soc[k] - r.charge.soc[k - 1]);
        E = r.charge.separator_side[k - 1] +
            std::clamp(w, 0.0, 1.0) * (r.charge.separator_side[k] - r.charge.separator_side[k - 1]);
        break;
      }
    }
    uneven.push_back(number(E));
  }
  doc["path"] = {
      {"soc", soc},
      {"separator_side_V", uneven},
      {"even_separator_side_V", even},
      {"voltage_V", voltage},
      {"margin_V", options.limits.plating_margin},
      {"upper_voltage_V", number(job.cell.is_full_cell() ? job.cell.upper_voltage : job.cell.lower_voltage)}};
  if (doc.contains("staircase")) {
    const double share = r.staircase_share;
    nlohmann::json ride_soc = nlohmann::json::array(), ride_rate = ride_soc;
    for (std::size_t k = 0; k < r.ride.soc.size(); ++k) {
      ride_soc.push_back(number(r.ride.soc[k]));
      ride_rate.push_back(number(share * job.c_rate(r.ride.current[k])));
    }
    doc["staircase"]["ideal"] = {{"soc", ride_soc}, {"c_rate", ride_rate}};
    doc["staircase"]["protocol"] = "staircase.yaml";
    doc["staircase"]["note"] =
        share < 1
            ? fmt::format(
                  "The line rides the limits of the nominal cell and the steps are cut from it; both are taken at "
                  "{:.0f} % "
                  "of what that cell allows, the share that the constant-current rate has. Run step by step, they keep "
                  "every limit.",
                  100 * share)
            : "The steps are cut from the line and, run one after the other, keep every limit of the nominal cell.";
  }
  return doc;
}

std::string staircase_protocol(const Job& job, const solver::Staircase& staircase) {
  std::string text =
      fmt::format("# A prediction guides a test, it does not authorise it.\nonegrain_protocol: 1\nname: {}\nsteps:\n",
                  params::quoted("staircase of constant currents for: " + job.sheet.name));
  const char* sense = job.cell.is_full_cell() ? "charge" : "discharge";
  const double whole = std::abs(job.bench.window.capacity);
  for (const solver::StaircaseStep& s : staircase.steps) {
    const double end = job.cell.is_full_cell() ? job.cell.upper_voltage : job.cell.lower_voltage;
    text += fmt::format(
        "  - {{drive: {{current: {:.4f} mA, sense: {}}}, until: {{capacity: {:.5f} mAh, voltage: {:.3f} V}}}}\n",
        std::floor(job.milliamperes(s.current) * 1e4) / 1e4, sense, job.milliampere_hours((s.to - s.from) * whole),
        end);
  }
  return text;
}

}  // namespace onegrain::app
