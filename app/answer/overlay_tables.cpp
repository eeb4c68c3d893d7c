#include <algorithm>
#include <cmath>

#include "app/answer/measured_words.hpp"
#include "app/answer/overlay_words.hpp"
#include "app/answer/words.hpp"

namespace onegrain::app::answer {

using study::OverlaidRun;
using study::OverlaidStep;
using study::Overlay;
using study::StepAt;

namespace {

const Measure in_mV = measure<params::Voltage>("mV", 3);

TableCell maybe(const std::optional<double>& value) { return value ? TableCell(*value) : TableCell(); }
/// Nothing finer than 0.005 mV is worth a digit.
TableCell seen(double volts) { return std::abs(volts) < 5e-6 ? 0.0 : volts; }
TableCell seen(const std::optional<double>& volts) { return volts ? seen(*volts) : TableCell(); }
/// Of a predicted temperature [K].
TableCell in_kelvin(double study::Distance::*what, const OverlaidStep& s) {
  return s.temperature_distance && s.temperature_distance->rows > 0 ? TableCell((*s.temperature_distance).*what)
                                                                    : TableCell();
}
double count(std::size_t n) { return static_cast<double>(n); }

std::string called(const std::string& name, const OverlaidStep& step) {
  return name + (step.trust.trusted() ? "" : " (?)");
}

/// Of a trace in the summary: about 300 rows, the last among them.
std::vector<std::size_t> rows_kept(const OverlaidStep& s) {
  std::vector<std::size_t> rows;
  const std::size_t every = std::max<std::size_t>(1, s.time.size() / 300);
  for (std::size_t k = 0; k < s.time.size(); k += every) rows.push_back(k);
  if (rows.back() + 1 < s.time.size()) rows.push_back(s.time.size() - 1);
  return rows;
}

Row summary_row(const OverlaidStep& s) {
  const auto compared = [&](double value) { return s.distance.rows > 0 ? TableCell(value) : TableCell(); };
  return {count(s.number + 1),
          std::string(params::step_kind_name(s.recorded.kind)),
          s.c_rate > 0 ? TableCell(s.c_rate) : TableCell(),
          std::abs(s.recorded.mean_current),
          s.recorded.charge,
          maybe(s.temperature),
          count(s.time.size()),
          count(s.distance.rows),
          compared(s.distance.rms),
          compared(s.distance.mean),
          compared(s.distance.largest),
          s.capacity,
          maybe(s.model_capacity),
          maybe(s.resistance_rms),
          maybe(s.model_rms_there),
          s.resistance_fitted_here,
          maybe(s.between_cells_rms),
          in_kelvin(&study::Distance::rms, s),
          in_kelvin(&study::Distance::mean, s),
          in_kelvin(&study::Distance::largest, s),
          maybe(s.lowest_separator_side),
          maybe(s.resolved_less_even),
          s.model_ended_by ? TableCell(std::string(solver::name_of(*s.model_ended_by))) : TableCell(),
          s.trust.trusted(),
          s.trust.trusted() ? TableCell() : TableCell(untrusted(s.trust))};
}

void add_trace(Row& row, const OverlaidStep& s) {
  std::vector<double> time, charge, measured, model, residual;
  for (const std::size_t k : rows_kept(s)) {
    time.push_back(s.time[k]);
    charge.push_back(s.charge[k]);
    measured.push_back(s.measured[k]);
    model.push_back(s.model[k]);
    residual.push_back(s.model[k] - s.measured[k]);
  }
  for (const auto* values : {&time, &charge, &measured, &model, &residual}) row.push_back(*values);
  for (const auto* both : {&s.measured_derivatives, &s.model_derivatives}) {
    for (const bool by_voltage : {true, false}) {
      const study::Derivative* d = !*both       ? nullptr
                                   : by_voltage ? &(*both)->charge_by_voltage
                                                : &(*both)->voltage_by_charge;
      row.push_back(d ? TableCell(d->x) : TableCell());
      row.push_back(d ? TableCell(d->value) : TableCell());
    }
  }
}

}  // namespace

Table summary_steps(const OverlaidRun& run) {
  const Measure charge = measure<params::Charge>(), volts = measure<params::Voltage>();
  Table table{"steps", "", {}, {}, summary};
  const auto column = [&](const std::string& key, std::optional<Measure> m) {
    table.columns.push_back({key, "", m, summary});
  };
  column("step", counted()), column("kind", {}), column("c_rate", Measure{});
  column("current", measure<params::Current>()), column("net_charge", charge);
  column("temperature", measure<params::Temperature>());
  column("rows", counted()), column("rows_compared", counted());
  column("rms", in_mV), column("mean", in_mV), column("largest", in_mV);
  column("capacity", charge), column("model_capacity", charge);
  column("resistance_rms", in_mV), column("model_rms_there", in_mV), column("resistance_fitted_here", {});
  column("between_cells_rms", in_mV);
  for (const char* key : {"temperature_rms", "temperature_mean", "temperature_largest"})
    column(key, measure<params::TemperatureDifference>("K", 3));
  column("lowest_separator_side", volts), column("resolved_less_even", in_mV);
  column("model_ended_by", {}), column("trusted", {}), column("note", {});
  column("trace.time", measure<params::Time>("h")), column("trace.charge", charge);
  column("trace.measured", volts), column("trace.model", volts), column("trace.residual", in_mV);
  for (const std::string which : {"measured_derivatives.", "model_derivatives."}) {
    column(which + "dQ_dV.voltage", volts), column(which + "dQ_dV.slope", Measure{&charge_by_voltage_kind});
    column(which + "dV_dQ.charge", charge), column(which + "dV_dQ.slope", Measure{&voltage_by_charge_kind});
  }
  for (const OverlaidStep& s : run.steps) {
    Row row = summary_row(s);
    add_trace(row, s);
    table.rows.add(row);
  }
  return table;
}

Table terminal_steps(const OverlaidRun& run) {
  const Measure charge = measure<params::Charge>();
  Table table{"",
              "",
              {{"", "step", counted()},
               {"", "", {}},
               {"", "rate", {}},
               {"", "at", measure<params::Temperature>(nullptr, 3)},
               {"", "rms", in_mV},
               {"", "mean", in_mV},
               {"", "largest", in_mV},
               {"", "measured", charge},
               {"", "predicted", charge},
               {"", "2-95 %: model", in_mV},
               {"", "one resistance", in_mV},
               {"", "other cells", in_mV},
               {"", "", {}}},
              {},
              terminal};
  for (const OverlaidStep& s : run.steps) {
    const bool compared = s.distance.rows > 0;
    table.rows.add({count(s.number + 1), called(params::step_kind_name(s.recorded.kind), s), nominal_rate(s.c_rate),
                    maybe(s.temperature), compared ? seen(s.distance.rms) : TableCell(),
                    compared ? seen(s.distance.mean) : TableCell(), compared ? seen(s.distance.largest) : TableCell(),
                    s.c_rate > 0 ? TableCell(s.capacity) : TableCell(), maybe(s.model_capacity),
                    seen(s.model_rms_there), seen(s.resistance_rms), seen(s.between_cells_rms),
                    std::string(s.resistance_fitted_here ? "resistance fitted here" : "")});
  }
  return table;
}

Table page_steps(const Overlay& overlay) {
  const Measure charge = measure<params::Charge>();
  const StepNames names(overlay);
  Table table{"",
              "Step by step: calculated minus measured, weighted with time",
              {{"", "step", {}},
               {"", "temperature", measure<params::Temperature>(nullptr, 3)},
               {"", "rms", in_mV},
               {"", "mean", measure<params::Voltage>("mV", 2)},
               {"", "largest", in_mV},
               {"", "rows compared", {}},
               {"", "capacity measured", charge},
               {"", "capacity predicted", charge}},
              {},
              page};
  for (const StepAt place : all_steps(overlay)) {
    const OverlaidStep& s = overlay.at(place);
    const bool compared = s.distance.rows > 0;
    table.rows.add({called(names.full(place), s), maybe(s.temperature), compared ? seen(s.distance.rms) : TableCell(),
                    compared ? seen(s.distance.mean) : TableCell(), compared ? seen(s.distance.largest) : TableCell(),
                    std::to_string(s.distance.rows) + " of " + std::to_string(s.time.size()),
                    s.is_sweep() ? TableCell(s.capacity) : TableCell(), maybe(s.model_capacity)});
  }
  return table;
}

Table yardstick_table(const Overlay& overlay) {
  const StepNames names(overlay);
  Table table{"",
              "From 2 to 95 % of the capacity: distance from the measured curve, rms",
              {{"", "step", {}},
               {"", "the model", in_mV},
               {"", "the slow curve less one resistance", in_mV},
               {"", "other cells, same test", in_mV},
               {"", "remark", {}}},
              {},
              page};
  for (const bool discharge : {true, false}) {
    for (const StepAt place : sweeps_drawn(overlay, discharge)) {
      const OverlaidStep& s = overlay.at(place);
      if (!s.model_rms_there && !s.between_cells_rms) continue;
      table.rows.add({called(names.full(place), s), seen(s.model_rms_there), seen(s.resistance_rms),
                      seen(s.between_cells_rms),
                      std::string(s.resistance_fitted_here ? "the resistance was fitted to this step" : "")});
    }
  }
  return table;
}

}  // namespace onegrain::app::answer
