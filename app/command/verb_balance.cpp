#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ostream>

#include "app/answer/document.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/words.hpp"
#include "app/render/output.hpp"
#include "app/render/table.hpp"
#include "app/study/ensemble.hpp"
#include "app/study/fitting.hpp"

namespace onegrain::app {

namespace {

/// A number with its interval, and where it was expected.
struct Found {
  Derived now;
  double before;
  /// Loss against the sheet [1], positive where less is there now.
  Derived loss() const { return {1 - now.value / before, 1 - now.upper / before, 1 - now.lower / before}; }
};

struct Alignment {
  std::string electrode;
  Found capacity;       ///< full minus empty [C/m2]
  Derived full, empty;  ///< stoichiometries at the upper and the lower cut-off
  double sheet_full, sheet_empty;
};

struct BalanceReport {
  std::vector<Alignment> electrodes;
  std::optional<Found> lithium;  ///< [C/m2]
  std::optional<Derived> ratio;  ///< N/P
  double sheet_ratio = 0;
  Derived cell_capacity;  ///< between the cut-offs [C/m2]
};

double lithium_of(const model::Cell& c) {
  return c.inventory.positive * c.positive.capacity() + c.inventory.negative * c.negative->capacity();
}

BalanceReport report_of(const Job& job, const solver::CellFit& fit, const solver::FitResult& r) {
  BalanceReport b;
  const model::Cell& sheet = job.cell;
  const auto quantity = [&](const std::function<double(const model::Cell&)>& q) { return derived(fit, r, q); };
  const auto aligned = [&](const std::string& name, bool negative) {
    const auto part = [negative](const model::Stoichiometries& x) { return negative ? x.negative : x.positive; };
    const auto capacity = [negative](const model::Cell& c) {
      return negative ? c.negative->capacity() : c.positive.capacity();
    };
    b.electrodes.push_back({name,
                            {quantity(capacity), capacity(sheet)},
                            quantity([=](const model::Cell& c) { return part(model::equilibrium_window(c).full); }),
                            quantity([=](const model::Cell& c) { return part(model::equilibrium_window(c).empty); }),
                            part(job.bench.window.full),
                            part(job.bench.window.empty)});
  };
  aligned(job.sheet.positive.key, false);
  if (sheet.is_full_cell()) {
    aligned("negative", true);
    b.lithium = {quantity(lithium_of), lithium_of(sheet)};
    const auto ratio = [](const model::Cell& c) { return model::capacity_ratio(c, model::equilibrium_window(c)); };
    b.ratio = quantity(ratio);
    b.sheet_ratio = ratio(sheet);
  }
  b.cell_capacity = quantity([](const model::Cell& c) { return model::equilibrium_window(c).capacity; });
  return b;
}

std::string percent_with(const Derived& d) {
  return fmt::format("{} % ({} to {})", digits(100 * d.value, 2), digits(100 * d.lower, 2), digits(100 * d.upper, 2));
}

std::string headline(const Job& job, const BalanceReport& b, const solver::FitResult& r) {
  std::string text = fmt::format("The curve is met within {} mV rms.", millivolts(r.misfits.front().rms));
  const auto changed = [](const Found& f) {
    const Derived loss = f.loss();
    return loss.lower > 0 ? 1 : loss.upper < 0 ? -1 : 0;
  };
  const auto say = [&](const Found& f, const std::string& name) {
    const Derived loss = f.loss();
    const int sign = changed(f);
    if (sign == 0) return fmt::format(" {} as on the sheet, within what the curve tells.", name);
    return fmt::format(" {} {} % {} than on the sheet ({} to {} %).", name, digits(100 * std::abs(loss.value), 2),
                       sign > 0 ? "less" : "more", digits(100 * (sign > 0 ? loss.lower : -loss.upper), 2),
                       digits(100 * (sign > 0 ? loss.upper : -loss.lower), 2));
  };
  if (b.lithium) text += say(*b.lithium, "Lithium that both electrodes share:");
  for (const Alignment& a : b.electrodes)
    text += say(a.capacity, fmt::format("Active material of the {}:",
                                        a.electrode == "working" ? "working electrode" : a.electrode));
  if (b.ratio)
    text += fmt::format(" N/P is {} ({} to {}).", digits(b.ratio->value, 3), digits(b.ratio->lower, 3),
                        digits(b.ratio->upper, 3));
  if (job.sheet.is_full_cell()) text += " Whether that is ageing or a wrong mass, a curve of the fresh cell tells.";
  return text;
}

nlohmann::json derived_json(const Derived& d, double factor) {
  return {
      {"value", number(d.value * factor)}, {"lower", number(d.lower * factor)}, {"upper", number(d.upper * factor)}};
}

nlohmann::json found_json(const Job& job, const Found& f) {
  const double per_mAh = job.plate_area() / 3.6;
  const Derived loss = f.loss();
  return {{"capacity_mAh", derived_json(f.now, per_mAh)},
          {"sheet_mAh", number(f.before * per_mAh)},
          {"loss_percent", derived_json(loss, 100)}};
}

/// The two potentials over the charge of the cell, and how far each electrode reaches beyond the cell's window.
nlohmann::json alignment_json(const Job& job, const model::Cell& cell, const Recording& recording) {
  using nlohmann::json;
  const model::Window w = model::equilibrium_window(cell);
  const double Qp = cell.positive.capacity(), per_mAh = job.plate_area() / 3.6;
  json charge = json::array(), positive = charge, negative = charge, full = charge;
  const double Qn = cell.negative ? cell.negative->capacity() : 1;
  const auto add = [&](double q) {  // charge given since full
    const double xp = w.full.positive + q / Qp, xn = w.full.negative - q / Qn;
    const bool p = xp > 0.003 && xp < 0.997, n = cell.negative && xn > 0.003 && xn < 0.997;
    charge.push_back(number(q * per_mAh));
    const double Up = p ? cell.positive.host.potential(xp, cell.temperature) : std::numeric_limits<double>::quiet_NaN();
    const double Un =
        n ? cell.negative->host.potential(xn, cell.temperature) : std::numeric_limits<double>::quiet_NaN();
    positive.push_back(number(Up));
    negative.push_back(number(Un));
    full.push_back(
        number(q >= 0 && q <= w.capacity ? Up - (cell.negative ? Un : 0) : std::numeric_limits<double>::quiet_NaN()));
  };
  double from = -w.full.positive * Qp, to = (1 - w.full.positive) * Qp;
  if (cell.negative) {
    from = std::max(-0.6 * w.capacity, std::min(from, -(1 - w.full.negative) * Qn));
    to = std::max(to, w.full.negative * Qn);
  }
  from = std::max(from, -0.6 * w.capacity);
  to = std::min(to, 1.6 * w.capacity);
  for (int k = 0; k <= 400; ++k) add(from + (to - from) * k / 400);
  json measured = json::array(), at = json::array();
  const double start = solver::starting_charge(cell, recording.start);
  const double since_full =
      (w.full.positive - cell.inventory.positive) * Qp;  // of the inventory, as charge towards full
  for (std::size_t k = 0; k < recording.rows.size(); ++k) {
    at.push_back(number((-since_full - start - recording.charge[k] / job.plate_area()) * per_mAh));
    measured.push_back(number(recording.measured.record.voltage[recording.rows[k]]));
  }
  return {{"charge_mAh", charge},
          {"positive_V", positive},
          {"negative_V", negative},
          {"full_V", full},
          {"capacity_mAh", number(w.capacity * per_mAh)},
          {"measured", {{"charge_mAh", at}, {"voltage_V", measured}}}};
}

nlohmann::json balance_json(const Job& job, const BalanceReport& b, const model::Cell& cell,
                            const Recording& recording) {
  nlohmann::json electrodes = nlohmann::json::array();
  for (const Alignment& a : b.electrodes) {
    nlohmann::json j = found_json(job, a.capacity);
    j["electrode"] = a.electrode;
    j["full"] = derived_json(a.full, 1);
    j["empty"] = derived_json(a.empty, 1);
    j["sheet_full"] = number(a.sheet_full);
    j["sheet_empty"] = number(a.sheet_empty);
    electrodes.push_back(std::move(j));
  }
  nlohmann::json j{{"electrodes", electrodes},
                   {"cell_capacity_mAh", derived_json(b.cell_capacity, job.plate_area() / 3.6)},
                   {"sheet_cell_capacity_mAh", number(job.bench.window.capacity * job.plate_area() / 3.6)},
                   {"alignment", alignment_json(job, cell, recording)}};
  if (b.lithium) j["lithium"] = found_json(job, *b.lithium);
  if (b.ratio) {
    j["capacity_ratio"] = derived_json(*b.ratio, 1);
    j["sheet_capacity_ratio"] = number(b.sheet_ratio);
  }
  return j;
}

void print(std::ostream& out, const Job& job, const BalanceReport& b, const solver::FitResult& r,
           const Recording& recording) {
  out << job.sheet.name << "\n" << wrapped(headline(job, b, r)) << "\n";
  const double per_mAh = job.plate_area() / 3.6;
  Table table({{"", Table::Align::left},
               {"sheet"},
               {"found"},
               {"95 % interval", Table::Align::left},
               {"loss / %", Table::Align::left}});
  const auto row = [&](const std::string& name, double before, const Derived& d, double factor,
                       const std::string& loss) {
    table.add({name, digits(before * factor), digits(d.value * factor),
               fmt::format("{} to {}", digits(d.lower * factor), digits(d.upper * factor)), loss});
  };
  for (const Alignment& a : b.electrodes) {
    row(fmt::format("{}: capacity, full minus empty / mAh", a.electrode), a.capacity.before, a.capacity.now, per_mAh,
        percent_with(a.capacity.loss()));
    row(fmt::format("{}: stoichiometry at the upper cut-off", a.electrode), a.sheet_full, a.full, 1, "");
    row(fmt::format("{}: stoichiometry at the lower cut-off", a.electrode), a.sheet_empty, a.empty, 1, "");
  }
  if (b.lithium)
    row("lithium in both / mAh", b.lithium->before, b.lithium->now, per_mAh, percent_with(b.lithium->loss()));
  if (b.ratio) row("N/P", b.sheet_ratio, *b.ratio, 1, "");
  row("capacity of the cell, at rest / mAh", job.bench.window.capacity, b.cell_capacity, per_mAh, "");
  out << table.text() << "\n";
  out << recording.file << ": "
      << wrapped(fmt::format("{}; {} rows read, {} left out, {} compared.", answer::start_words(recording),
                             recording.measured.rows_read, recording.measured.doubts.left_out(), recording.rows.size()),
                 100, "  ");
  out << wrapped(fmt::format(
             "The curve was calculated at its own current, with diffusion and kinetics of the sheet and a contact "
             "resistance free to make up for them. Residuals hang together over {} points; intervals count them once. "
             "They hold if the two potentials of the cards are right.",
             digits(r.misfits.front().correlation_time, 2)))
      << "\ncautions:\n";
  for (const std::string& c : cautions()) out << "- " << wrapped(c, 100, "  ");
}

}  // namespace

void balance(const Request& request, const Channels& channels) {
  Job job = load_job(request, channels);
  std::vector<Recording> recordings;
  for (std::size_t k = 1; k < request.files.size(); ++k) {
    recordings.push_back(
        load_recording(request, channels, job, request.files[k], static_cast<std::size_t>(request.fit_points)));
  }
  std::vector<std::string> free = {job.sheet.positive.key + ".capacity"};
  if (job.sheet.is_full_cell()) free.insert(free.end(), {"negative.capacity", "lithium"});
  free.emplace_back("contact_resistance");
  Fitting fitting = prepare_fit(job, recordings, free);
  for (solver::FreeParameter& p : fitting.problem.free)
    p.prior = std::numeric_limits<double>::infinity();  // the curve alone shall tell
  const solver::CellFit problem(fitting.problem);
  if (!request.out.empty()) fitted_files(job, fitting, problem, as_given(fitting, problem), recordings, request.out);
  InterruptGuard guard;
  solver::FitOptions options;
  options.starts = fit_starts(fitting, request.fit_starts);
  options.profiles = false;
  options.interrupted = [] { return interrupted(); };
  const solver::FitResult r = solver::fit(problem, options);
  if (interrupted()) throw NotCompleted("interrupted");
  const BalanceReport report = report_of(job, problem, r);

  nlohmann::json summary = provenance_json(request, job.sheet);
  summary["headline"] = headline(job, report, r);
  summary["balance"] = balance_json(job, report, problem.cell(r.z), recordings.front());
  summary["fit"] = fit_json(job, fitting, problem, r, recordings, {});
  summary["warnings"] = job.bench.warnings;
  summary["cautions"] = cautions();
  if (request.json)
    channels.results << summary.dump(1) << '\n';
  else
    print(channels.results, job, report, r, recordings.front());
  if (request.out.empty()) return;
  nlohmann::json document = cell_document(request, job, headline(job, report, r));
  document["balance"] = summary["balance"];
  document["fit"] = summary["fit"];
  write_results(request, channels, summary, document, "",
                fitted_files(job, fitting, problem, r, recordings, request.out));
}

}  // namespace onegrain::app
