#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/answers.hpp"
#include "app/answer/bands_words.hpp"
#include "app/answer/curves_table.hpp"
#include "app/answer/curves_words.hpp"
#include "app/answer/depth_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/plating_words.hpp"
#include "app/answer/words.hpp"
#include "params/sheet/rate.hpp"

// `rates` and `curve`: the same curves; they differ in what the summary holds of them.

namespace onegrain::app::answer {

namespace {

using Curves = std::vector<NamedCurve>;
using Some = std::vector<const NamedCurve*>;

Some of_sense(const Curves& curves, bool charge) {
  Some some;
  for (const NamedCurve& c : curves)
    if (c.curve.is_charge() == charge) some.push_back(&c);
  return some;
}

/// The one nearest to a C-rate; nullptr for none.
const NamedCurve* nearest(const Some& curves, double c_rate) {
  const NamedCurve* best = nullptr;
  for (const NamedCurve* c : curves)
    if (!best || std::abs(std::log(c->c_rate / c_rate)) < std::abs(std::log(best->c_rate / c_rate))) best = c;
  return best;
}

std::string mAh(const Job& job, const NamedCurve& c) { return digits(job.milliampere_hours(c.curve.capacity), 3); }

std::string largest_loss(const Job& job, const NamedCurve& c) {
  const auto parts = study::mean_voltage_parts(job, c.curve.step);
  const auto largest = std::max_element(parts.begin(), parts.end(), [](auto& a, auto& b) { return a.volts < b.volts; });
  return fmt::format(" The largest loss of voltage at {} is {} ({} mV on average).", c.label,
                     name_of(largest->loss, job.cell.is_full_cell()), digits(largest->volts * 1e3, 2));
}

/// Rates at which nothing is found but that the cut-off is met with the current.
std::optional<Finding> some_at_once(const Job& job, const Some& curves) {
  std::vector<std::string> rates;
  for (const NamedCurve* c : curves)
    if (over_at_once(job, *c)) rates.push_back(c->label);
  if (rates.empty()) return std::nullopt;
  return Finding{"over_at_once", fmt::format("at {} the {} is over at once, and next to nothing passes.", few(rates),
                                             sense_of(*curves.front()))};
}

/// What the headline tells of must not be told calmly where it is not to be relied on.
std::optional<Finding> not_relied_on(const Job& job, const Curves& curves) {
  std::vector<std::string> names;
  std::string why;
  for (const NamedCurve& c : curves) {
    if (c.trust.trusted() || over_at_once(job, c)) continue;
    if (names.empty()) why = c.trust.reasons.front();
    names.push_back(name_of(c));
  }
  if (names.empty()) return std::nullopt;
  return Finding{"not_relied_on", fmt::format("not to be relied on, {}: {}.", few(names), why)};
}

std::string headline_of(const Job& job, const Some& all) {
  Some curves;
  std::copy_if(all.begin(), all.end(), std::back_inserter(curves), [&](auto* c) { return !over_at_once(job, *c); });
  if (curves.empty()) return "";
  const bool charge = curves.front()->curve.is_charge();
  const char* gives = charge ? "takes up" : "gives";
  const NamedCurve *slow = nearest(curves, 1e-9), *one = nearest(curves, 1), *fast = nearest(curves, 1e9);
  if (slow == fast) {
    return fmt::format("At {} ({} mA) the cell {} {} mAh, {} % of the rated capacity.", one->label,
                       digits(std::abs(job.milliamperes(one->curve.current)), 3), gives, mAh(job, *one),
                       digits(100 * one->curve.capacity / job.base.one_hour_charge, 3));
  }
  const NamedCurve* middle = one == slow ? fast : one;
  const auto share = [&](const NamedCurve& c) { return digits(100 * c.curve.capacity / slow->curve.capacity, 3); };
  std::string text = fmt::format("At {} ({} mA) the cell {} {} mAh, {} % of what it {} at {}", middle->label,
                                 digits(std::abs(job.milliamperes(middle->curve.current)), 3), gives, mAh(job, *middle),
                                 share(*middle), charge ? "takes" : "gives", slow->label);
  if (fast != middle) text += fmt::format("; at {} {} %", fast->label, share(*fast));
  text += ".";
  return text + largest_loss(job, *middle);
}

/// The course of a curve at so many moments, and its band where it has one.
void add_arrays(Row& row, const Job& job, const NamedCurve& named, int points) {
  const solver::ConstantCurrentCurve& c = named.curve;
  std::vector<double> time, capacity, voltage, low, high, negative, separator_side;
  std::vector<double> moments = solver::moments(c.step, points, false);
  moments.resize(static_cast<std::size_t>(points), moments.back());  // a curve without duration repeats its moment
  for (const double t : moments) {
    const solver::Point p = c.step.at(t);
    time.push_back(t);
    capacity.push_back(std::abs(c.current) * t * job.plate_area());
    voltage.push_back(p.terminal.voltage);
    negative.push_back(p.terminal.negative_potential + p.terminal.negative_overpotential);
    separator_side.push_back(named.side ? named.side->at(t) : p.terminal.separator_side);
    if (!named.band) continue;
    const auto [least, most] = named.band->at(capacity.back());
    low.push_back(least);
    high.push_back(most);
  }
  row.insert(row.end(), {time, capacity, voltage, job.cell.is_full_cell() ? TableCell(negative) : TableCell(),
                         separator_side});  // of the negative; half cell: of the working electrode
  if (named.band) row.insert(row.end(), {low, high});
}

/// Every curve in numbers: words and amounts for all, arrays for `curve`.
Table numbers_table(const Job& job, const Curves& curves, bool arrays, int points) {
  const Measure volts = measure<params::Voltage>();
  Table table{arrays ? "curves" : "points",
              "What each rate gives",
              {{"label", "", {}, summary},
               {"", "rate", {}, read},
               {"c_rate", "", Measure{}, summary},
               {"direction", "direction", {}},
               {"current", "current", measure<params::Current>()},
               {arrays ? "capacity_total" : "capacity", "capacity", measure<params::Charge>()},
               {"capacity_fraction", "of rated", measure<params::Fraction>(nullptr, 3)},
               {"mean_voltage", "mean voltage", volts},
               {"energy", "energy", {{&energy_kind}}},
               {"duration", "lasts", lasting()},
               {"ended_by", "ended by", {}},
               {"trusted", "", {}, summary},
               {"note", "", {}, summary}}};
  const bool any_band = std::any_of(curves.begin(), curves.end(), [](const NamedCurve& c) { return c.band; });
  if (any_band)
    for (TableColumn& column : band_columns()) table.columns.push_back(std::move(column));
  const bool any_side = std::any_of(curves.begin(), curves.end(), [](const NamedCurve& c) { return c.side; });
  if (any_side)
    for (TableColumn& column : lowest_columns(job)) table.columns.push_back(std::move(column));
  for (TableColumn& column : opinion_columns(job)) table.columns.push_back(std::move(column));
  for (TableColumn& column : depth_columns(job)) table.columns.push_back(std::move(column));
  if (arrays) {
    table.columns.insert(table.columns.end(), {{"time", "", measure<params::Time>("s"), summary},
                                               {"capacity", "", measure<params::Charge>(), summary},
                                               {"voltage", "", volts, summary},
                                               {"negative_potential", "", volts, summary},
                                               {"separator_side", "", volts, summary}});
    if (any_band)
      table.columns.insert(table.columns.end(),
                           {{"voltage_low", "", volts, summary}, {"voltage_high", "", volts, summary}});
  }
  for (const NamedCurve& named : curves) {
    const solver::ConstantCurrentCurve& c = named.curve;
    const solver::Trust& trust = named.trust;
    const double area = job.plate_area();
    Row row{named.label,
            named.label + (trust.trusted() ? "" : " (?)"),
            named.c_rate,
            std::string(sense_of(named)),
            std::abs(c.current) * area,
            c.capacity * area,
            c.capacity / job.base.one_hour_charge,
            over_at_once(job, named) ? TableCell() : TableCell(c.mean_voltage),
            c.energy * area,
            c.step.duration(),
            ended_by(c.step),
            trust.trusted(),
            trust.trusted() ? TableCell() : TableCell(untrusted(trust))};
    if (any_band) add_band(row, *named.band);
    if (any_side) add_lowest(row, job, named.side);
    add_opinion(row, job, named.opinion);
    add_depth(row, job, DepthTold(c.step));
    if (arrays) add_arrays(row, job, named, points);
    table.rows.add(row);
  }
  return table;
}

/// "Discharge: 2.06 mAh at C/20, 1.27 mAh at 5C (61.3 % of the rated capacity)."
std::string from_to(const Job& job, const Some& curves) {
  const NamedCurve *slow = nearest(curves, 1e-9), *fast = nearest(curves, 1e9);
  std::string text =
      std::string(slow->curve.is_charge() ? "Charge" : "Discharge") + ": " + mAh(job, *slow) + " mAh at " + slow->label;
  if (fast != slow) {
    text += fmt::format(", {} mAh at {} ({} % of the rated capacity)", mAh(job, *fast), fast->label,
                        digits(100 * fast->curve.capacity / job.base.one_hour_charge, 3));
  }
  return text + ".";
}

Section voltage_section(const Job& job, const Curves& curves, int points) {
  Section section{"Voltage against capacity", {}, Section::Beside::two, page};
  std::string words;
  std::vector<Block> plots;
  for (const bool charge : {false, true}) {
    const Some some = of_sense(curves, charge);
    if (some.empty()) continue;
    words += (words.empty() ? "" : " ") + from_to(job, some);
    plots.push_back(voltage_plot(job, some, charge ? "Charge" : "Discharge", points));
    if (charge && job.cell.is_full_cell()) plots.push_back(negative_plot(job, some, points));
  }
  // a curve without duration has no line
  plots.erase(
      std::remove_if(plots.begin(), plots.end(), [](const Block& b) { return std::get<Plot>(b).series.empty(); }),
      plots.end());
  // one scale of voltage for all
  for (Block& plot : plots)
    if (auto& p = std::get<Plot>(plot); p.zones.empty()) p.y.include = {job.cell.lower_voltage, job.cell.upper_voltage};
  section.blocks.push_back(Paragraph{words});
  section.blocks.insert(section.blocks.end(), plots.begin(), plots.end());
  return section;
}

/// "Discharge: at least 80 % of the rated capacity up to 2C." Empty where even the slowest gives less.
std::string capable(const Job& job, Some curves) {
  std::stable_sort(curves.begin(), curves.end(), [](auto* a, auto* b) { return a->c_rate < b->c_rate; });
  const NamedCurve* held = nullptr;
  for (const NamedCurve* c : curves) {
    if (c->curve.capacity < 0.8 * job.base.one_hour_charge) break;
    held = c;
  }
  if (!held || curves.size() < 2) return "";
  return fmt::format("{}: at least 80 % of the rated capacity {}up to {}.",
                     held->curve.is_charge() ? "Charge" : "Discharge", held == curves.back() ? "at every rate " : "",
                     held->label);
}

Plot capability_plot(const Job& job, const Curves& curves) {
  const double area = job.plate_area(), rated = job.base.one_hour_charge * area;
  Plot plot;
  plot.x = {"C-rate, logarithmic", measure<params::Number>(nullptr, 3)};
  plot.x.logarithmic = true;
  plot.y = {"Capacity", measure<params::Charge>(nullptr, 3), {0.0, rated}};
  plot.names = Plot::Names::right;
  plot.whole = {rated, "of the rated capacity"};
  for (const bool charge : {false, true}) {
    Some some = of_sense(curves, charge);
    if (some.empty()) continue;
    std::stable_sort(some.begin(), some.end(), [](auto* a, auto* b) { return a->c_rate < b->c_rate; });
    Series line{sense_of(*some.front()), charge ? LineRole::other : LineRole::predicted};
    line.marked = true;
    Series::Also voltage{"mean voltage", measure<params::Voltage>(), {}};
    for (const NamedCurve* c : some) {
      line.x.push_back(c->c_rate);
      line.y.push_back(c->curve.capacity * area);
      if (c->band) {
        line.low.push_back(c->band->least_capacity);
        line.high.push_back(c->band->most_capacity);
      }
      line.at_points.push_back(fmt::format("{:.0f} %", 100 * c->curve.capacity * area / rated));
      voltage.values.push_back(c->curve.mean_voltage);
      if (std::none_of(plot.x.ticks.begin(), plot.x.ticks.end(), [&](auto& t) { return t.first == c->c_rate; }))
        plot.x.ticks.push_back({c->c_rate, c->label});
    }
    line.also.push_back(std::move(voltage));
    plot.series.push_back(std::move(line));
  }
  return plot;
}

/// At the slowest rate, near 1C and at the fastest, in the first direction asked for.
Some shown_inside(const Curves& curves) {
  Some lasting, shown;
  for (const NamedCurve* c : of_sense(curves, curves.front().curve.is_charge()))
    if (c->curve.step.duration() > 0) lasting.push_back(c);
  for (const double c_rate : {0.2, 1.0, 1e9}) {
    const NamedCurve* c = nearest(lasting, c_rate);
    if (c && std::find(shown.begin(), shown.end(), c) == shown.end()) shown.push_back(c);
  }
  return shown;
}

void add_inside(Answer& said, const Job& job, const Curves& curves) {
  const Some shown = shown_inside(curves);
  if (shown.empty()) return;
  Section grains = grains_section(job);
  Section voltage{"Where the voltage goes", {}, Section::Beside::two, page};
  voltage.blocks.push_back(Paragraph{"The voltage that each step costs against equilibrium, one on top of the other."});
  std::vector<ShownStep> inside;  // the slowest of several has little to show
  for (const NamedCurve* c : shown) {
    voltage.blocks.push_back(losses_stack(job, *c));
    if (c != shown.front() || shown.size() == 1) inside.push_back({name_of(*c), &c->curve.step});
  }
  for (const bool positive : {true, false}) {
    std::vector<Plot> plots;
    for (const NamedCurve* c : shown)
      if ((positive || job.cell.is_full_cell()) && (c != shown.front() || shown.size() == 1))
        plots.push_back(grain_profile(job, *c, positive));
    if (!plots.empty()) share_scale(plots);
    grains.blocks.insert(grains.blocks.end(), plots.begin(), plots.end());
  }
  said.sections.push_back(std::move(grains));
  add_depth_section(said, job, inside);
  said.sections.push_back(std::move(voltage));
}

/// Where every curve is over at once there is no answer.
void require_any(const Job& job, const Curves& curves) {
  if (!std::all_of(curves.begin(), curves.end(), [&](const NamedCurve& c) { return over_at_once(job, c); })) return;
  const solver::StepSolution& step = curves.front().curve.step;
  const bool charge = curves.front().curve.is_charge();
  const double cut_off = charge ? job.cell.upper_voltage : job.cell.lower_voltage;
  throw NotCompleted(fmt::format(
      "every {} is over at once, and next to nothing passes: under {} the cell stands at {} V when it begins, its {} "
      "cut-off is {} V; ask for lower rates, or begin elsewhere (--from-soc, charged_state of the sheet)",
      charge ? "charge" : "discharge", curves.front().label, digits(step.first().terminal.voltage, 4),
      charge ? "upper" : "lower", digits(cut_off, 4)));
}

Answer curves_answer(const Request& request, const Channels& channels, const Job& job, bool arrays) {
  study::CurvesAsked asked{params::parse_rates(request.rates, job.base), request.both || !request.charge,
                           request.both || request.charge, request.from_soc};
  Curves curves = study::constant_currents(job, asked);
  require_any(job, curves);
  Answer said;
  const study::CurveBands bands = banded(request, channels, job, asked, curves);
  for (const bool charge : {false, true}) {
    const Some some = of_sense(curves, charge);
    if (some.empty()) continue;
    take(said.findings, some_at_once(job, some));
    const std::string words = headline_of(job, some);
    said.headline += (said.headline.empty() || words.empty() ? "" : " ") + words;
  }
  take(said.findings, not_relied_on(job, curves));
  PlatingTold plating(job);
  for (const NamedCurve& c : curves) {
    if (c.plating) plating.add(c.label, charging(job, c.label), *c.plating);
    const std::string why = over_at_once(job, c) ? "" : doubt(name_of(c), c.trust);
    if (!why.empty()) said.doubts.push_back(why);
  }
  plating.tell(said);
  said.sections.push_back(voltage_section(job, curves, request.points));
  Section capability{"Rate capability", {}};
  Figures rated{
      "", "", {{"rated_capacity", "", job.base.one_hour_charge * job.plate_area(), measure<params::Charge>()}}};
  rated.figures.front().alone = true;
  rated.places = summary;
  capability.blocks.push_back(rated);
  const std::string words = capable(job, of_sense(curves, false)), charge_words = capable(job, of_sense(curves, true));
  if (!(words + charge_words).empty())
    capability.blocks.push_back(
        Paragraph{words + (words.empty() || charge_words.empty() ? "" : " ") + charge_words, page});
  if (curves.size() > 1) {
    Plot plot = capability_plot(job, curves);
    plot.description = "Capacity against C-rate. " + words + " " + charge_words;
    capability.blocks.push_back(std::move(plot));
  }
  if (const std::string sure = bands_words(request, bands, curves); !sure.empty())
    capability.blocks.push_back(Paragraph{sure});
  capability.blocks.push_back(numbers_table(job, curves, arrays, request.points));
  said.sections.push_back(std::move(capability));
  add_inside(said, job, curves);
  state_the_model(said, job);

  if (request.out.empty()) return said;
  said.curves = calculated_curves(job);
  double start = 0;
  int index = 0;
  for (const NamedCurve& c : curves) {
    const solver::StepSolution& step = c.curve.step;
    add_step(*said.curves, job, step, solver::moments(step, request.points, true), start, ++index,
             c.side ? &*c.side : nullptr);
    start += step.duration();
  }
  return said;
}

}  // namespace

Answer curve(const Request& request, const Channels& channels, Job& job) {
  return curves_answer(request, channels, job, true);
}
Answer rates(const Request& request, const Channels& channels, Job& job) {
  return curves_answer(request, channels, job, false);
}

}  // namespace onegrain::app::answer
