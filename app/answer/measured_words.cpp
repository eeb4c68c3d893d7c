#include "app/answer/measured_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "app/answer/numbers.hpp"
#include "app/answer/thinned.hpp"

namespace onegrain::app::answer {

namespace {

constexpr double steep_start = 0.02,
                 steep_end = 0.1;  // of the width: where a small shift in charge is a large residual

void add_finite(std::vector<double>& to, const std::vector<double>& from) {
  std::copy_if(from.begin(), from.end(), std::back_inserter(to), [](double v) { return std::isfinite(v); });
}

std::vector<double> residuals(const Compared& c) {
  std::vector<double> difference;
  for (std::size_t k = 0; k < c.x.size(); ++k) difference.push_back(c.model[k] - c.measured[k]);
  return difference;
}

/// About 900 rows that show the course of all three lines.
Compared thinned_rows(const Compared& c) {
  constexpr std::size_t enough = 900;
  if (c.x.size() <= enough) return c;
  std::vector<std::size_t> rows = thinned(c.measured, enough / 2);
  for (const std::size_t row : thinned(residuals(c), enough / 2)) rows.push_back(row);
  std::sort(rows.begin(), rows.end());
  rows.erase(std::unique(rows.begin(), rows.end()), rows.end());
  Compared few{c.label, {}, {}, {}, c.doubtful};
  for (const std::size_t row : rows) {
    few.x.push_back(c.x[row]);
    few.measured.push_back(c.measured[row]);
    few.model.push_back(c.model[row]);
  }
  return few;
}

/// Residuals without the steep ends; all of them where nothing else is left.
std::vector<double> without_ends(const std::vector<Compared>& curves) {
  std::vector<double> core, all;
  for (const Compared& c : curves) {
    const std::vector<double> difference = residuals(c);
    add_finite(all, difference);
    const auto [low, high] = std::minmax_element(c.x.begin(), c.x.end());
    if (low == c.x.end()) continue;
    const double width = *high - *low;
    for (std::size_t k = 0; k < c.x.size(); ++k)
      if (std::isfinite(difference[k]) && c.x[k] > *low + steep_start * width && c.x[k] < *high - steep_end * width)
        core.push_back(difference[k]);
  }
  return core.empty() ? all : core;
}

Plot voltage_plot(const std::vector<Compared>& curves, const ComparedOver& over) {
  const Measure& shown = over.value;
  Plot plot;
  plot.title = over.title;
  plot.description = over.description;
  plot.x = over.x;
  plot.y = {over.voltage, shown};
  plot.stages = over.stages;
  plot.names = over.names;
  plot.key = compared_key();
  std::vector<double> seen;
  std::vector<Series> calculated;
  for (const Compared& c : curves) {
    const int order = static_cast<int>(plot.series.size());
    Series measured{c.label, LineRole::measured, order}, model{c.label, LineRole::calculated, order};
    measured.x = model.x = c.x;
    measured.y = c.measured;
    model.y = c.model;
    model.doubtful = c.doubtful;
    measured.also = {{"measured; calculated", shown, c.model},
                     {"calculated \u2212 measured", over.difference, residuals(c)}};
    model.also = {{"calculated; measured", shown, c.measured}, measured.also.back()};
    add_finite(seen, c.measured);
    plot.series.push_back(std::move(measured));
    calculated.push_back(std::move(model));
  }
  plot.series.insert(plot.series.end(), calculated.begin(), calculated.end());
  if (seen.empty() || over.value.kind != &params::Voltage::kind()) return plot;
  // As far as was measured: a calculated line that falls on below the cut-off would flatten all the rest.
  const auto [low, high] = std::minmax_element(seen.begin(), seen.end());
  const double room = 0.06 * (*high - *low);
  plot.y.least = *low - room;
  plot.y.most = *high + room;
  return plot;
}

Plot residual_plot(const std::vector<Compared>& curves, const ComparedOver& over) {
  Plot plot;
  plot.description = "Calculated minus measured.";
  plot.x = over.x;
  plot.y = {"Calculated \u2212 measured", over.difference, {0.0}};
  plot.names = Plot::Names::none;
  plot.low = true;
  plot.stages = over.stages;
  for (Stage& stage : plot.stages) stage.name.clear();
  plot.levels = {{0, ""}};
  std::vector<double> all;
  for (const Compared& c : curves) {
    Series line{c.label, LineRole::calculated, static_cast<int>(plot.series.size())};
    line.x = c.x;
    line.y = residuals(c);
    line.doubtful = c.doubtful;
    add_finite(all, line.y);
    plot.series.push_back(std::move(line));
  }
  const auto [low, high] = robust_range(without_ends(curves));
  plot.y.least = low;
  plot.y.most = high;
  plot.note = beyond_words(all, low, high, plot.y.measure);
  return plot;
}

}  // namespace

std::string file_name(const std::string& path) { return path.substr(path.find_last_of("/\\") + 1); }

std::string file_stem(const std::string& path) {
  const std::string name = file_name(path);
  const auto dot = name.rfind('.');
  // "discharge_0.1C" has no ending
  const bool ending = dot != std::string::npos && dot > 0 && dot + 1 < name.size() &&
                      std::isalpha(static_cast<unsigned char>(name[dot + 1])) != 0;
  return ending ? name.substr(0, dot) : name;
}

std::string start_words(const Recording& recording) {
  const Beginning& b = recording.beginning;
  const std::string volts = digits(b.voltage, 5) + " V";
  std::string words;
  switch (b.from) {
    case Beginning::From::state_of_charge:
      words = fmt::format("from a state of charge of {} as asked for", digits(b.state_of_charge, 3));
      break;
    case Beginning::From::told_voltage:
      words = fmt::format("from rest at {}, as told", volts);
      break;
    case Beginning::From::rest_before:
      words = fmt::format("from rest at {}, at the end of the rest before", volts);
      break;
    case Beginning::From::rest_behind:
      words = fmt::format(
          "from a state of charge of {} \u00b1 {} %, by the rest of step {} and the charge passed until then",
          digits(100 * b.state_of_charge, 3), digits(100 * b.spread, 2), b.rest_step + 1);
      break;
    case Beginning::From::fitted:
    case Beginning::From::unknown:
      words = fmt::format(
          "from a state of charge of {} \u00b1 {} %{}, fitted to this curve: the first row is already under current, "
          "and "
          "nothing in the file tells where the cell stood",
          digits(100 * b.state_of_charge, 3), digits(100 * b.spread, 2),
          b.unrecorded_taken ? fmt::format(" {} before its first row, in which that current is taken to have flowed",
                                           duration(b.unrecorded))
                             : "");
      break;
    case Beginning::From::first_row:
      words = b.little_current
                  ? fmt::format("from rest at {}, the first row: that current costs next to nothing there", volts)
                  : fmt::format("from rest at {}, the first row, taken as recorded before the current came up", volts);
      break;
    case Beginning::From::full:
    case Beginning::From::empty:
      words = fmt::format(
          "from equilibrium at {} ({}), not measured: the first row is already under current, and its voltage without "
          "what the current costs lies there; the state of charge is known to \u00b1 {} %",
          volts, b.from == Beginning::From::empty ? "empty" : "full", digits(100 * b.spread, 2));
  }
  if (b.is_measured() && b.spread > known_within)
    words += fmt::format("; it still moved there, which leaves the state of charge open by \u00b1 {} %",
                         digits(100 * b.spread, 2));
  if (b.unrecorded > 0 && !b.unrecorded_taken)
    words += fmt::format("; the current had gone on for {} by then, by the counter of charge of the file",
                         duration(b.unrecorded));
  if (b.at_step < recording.first_step)
    words += fmt::format(
        "; that is where step {} begins: it and what follows it is gone through up to step {}, from which on is "
        "compared",
        b.at_step + 1, recording.first_step + 1);
  if (b.taken_as != b.voltage)
    words += fmt::format("; that is beyond what the cell of the sheet reaches at rest, and taken as {} V",
                         digits(b.taken_as, 5));
  return words;
}

std::string temperature_words(const Recording& recording) {
  const bool ambient = recording.has_temperature && recording.temperature_is_ambient();
  if (recording.predicts_temperature && recording.first_temperature)
    return fmt::format(
        "at the temperature that the heat balance of the sheet gives, from the {} degC on that were measured where it "
        "begins",
        digits(*recording.first_temperature - 273.15, 3));
  if (recording.has_temperature && !recording.predicts_temperature)
    return std::string("at the measured temperature") +
           (ambient ? ", that of the surroundings, which is taken for the cell's" : ", which is taken for the cell's");
  std::string unused = ambient ? "; the temperature in the file is that of the surroundings and is not used" : "";
  for (const std::string& title : recording.measured.other_titles) {
    const params::TitleUnit unit = params::title_unit(title, params::Temperature::kind());
    const bool named = title.find("emp") != std::string::npos;
    if (!unused.empty() || !(unit.unit && (named || !unit.unit->dimension.none()))) continue;
    unused = fmt::format("; the file has temperatures that are not used: --columns 'temperature={}' takes them", title);
  }
  return (recording.predicts_temperature ? "at the temperature that the heat balance of the sheet gives"
                                         : "at the temperature of the sheet") +
         unused;
}

std::string mended_words(const Recording& r) {
  std::string words;
  const params::Measured& data = r.measured;
  if (data.current_offset != 0)
    words += fmt::format("; {} mA that the sensor reads at every rest are taken off each row",
                         digits(1e3 * data.current_offset, 3));
  const std::size_t spikes = data.doubts.count(params::DoubtKind::current_spike);
  if (spikes > 0)
    words += fmt::format("; {} spike{} of the current that the voltage does not follow {} mended", spikes,
                         spikes == 1 ? "" : "s", spikes == 1 ? "is" : "are");
  const std::size_t glitches = data.doubts.count(params::DoubtKind::voltage_glitch);
  if (glitches > 0)
    words += fmt::format("; {} voltage{} far off the rows around {} taken as what lies between or beside", glitches,
                         glitches == 1 ? "" : "s", glitches == 1 ? "is" : "are");
  for (const params::ChargeTaken& taken : data.charges_taken) {
    const std::size_t step = r.step_at_line(taken.line);
    if (step < r.beginning.at_step || step > r.last_step) continue;
    const std::string scatters =
        taken.noise > 0.005 ? fmt::format(", which scatters by {} % from row to row,", digits(100 * taken.noise, 2))
                            : "";
    words +=
        fmt::format("; the current of step {}{} is taken as {}", step + 1, scatters,
                    taken.counted ? "what the file's own counter of capacity says"
                                  : fmt::format("its mean, known to \u00b1 {} %", digits(100 * taken.known_to, 2)));
  }
  return words;
}

std::vector<std::pair<LineRole, std::string>> compared_key() {
  return {{LineRole::measured, "measured"}, {LineRole::calculated, "calculated"}};
}

std::pair<double, double> robust_range(std::vector<double> values) {
  if (values.empty()) return {-1e-3, 1e-3};
  std::sort(values.begin(), values.end());
  const auto at = [&](double share) {
    return values[static_cast<std::size_t>(std::lround(share * static_cast<double>(values.size() - 1)))];
  };
  const double low = std::min(0.0, at(0.025)), high = std::max(0.0, at(0.975));
  const double room = 0.15 * (high > low ? high - low : 1e-3);
  // What lies only a little further off is shown as well: a cut costs more than the room.
  const auto with_room = [&](double end, double farthest, double sign) {
    const double reach = end + sign * room;
    return std::abs(farthest - reach) < 0.5 * room || sign * farthest < sign * reach ? farthest : reach;
  };
  return {std::min(low, with_room(low, values.front(), -1)), std::max(high, with_room(high, values.back(), 1))};
}

std::string beyond_words(const std::vector<double>& values, double low, double high, const Measure& measure) {
  if (values.empty()) return "";
  const auto [least, most] = std::minmax_element(values.begin(), values.end());
  Measure short_one = measure;
  short_one.digits = 2;
  std::string words;
  const double slack = 0.02 * (high - low);
  if (*least < low - slack) words += ": down to " + text_of(*least, short_one);
  if (*most > high + slack) words += (words.empty() ? ": up to " : ", up to ") + text_of(*most, short_one);
  return words.empty() ? "" : "beyond this scale" + words;
}

std::vector<Block> compared_plots(const std::vector<Compared>& curves, const ComparedOver& over) {
  const bool drawn = std::any_of(curves.begin(), curves.end(), [](const Compared& c) {
    return std::count_if(c.measured.begin(), c.measured.end(), [](double v) { return std::isfinite(v); }) > 1;
  });
  if (!drawn) return {};
  std::vector<Compared> shown;
  for (const Compared& c : curves) shown.push_back(thinned_rows(c));
  return {voltage_plot(shown, over), residual_plot(shown, over)};
}

Table records_table(const std::vector<const Recording*>& recordings) {
  Table table{"",
              "How the records were understood",
              {{"", "file", {}},
               {"", "begins", {}},
               {"", "rows read", counted()},
               {"", "left out", counted()},
               {"", "compared", counted()},
               {"", "temperature", {}}},
              {},
              page};
  for (const Recording* r : recordings) {
    table.rows.add({r->name(), start_words(*r) + mended_words(*r), static_cast<double>(r->measured.rows_read),
                    static_cast<double>(r->measured.doubts.left_out()), static_cast<double>(r->rows.size()),
                    std::string(r->predicts_temperature ? "by the heat balance of the sheet"
                                : r->has_temperature    ? "as measured"
                                                        : "as in the sheet")});
  }
  return table;
}

}  // namespace onegrain::app::answer
