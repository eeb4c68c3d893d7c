#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "app/answer/answers.hpp"
#include "app/answer/examination.hpp"
#include "app/answer/fit_words.hpp"
#include "app/answer/fitted_sheet.hpp"
#include "app/answer/measured_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/study/balance.hpp"

namespace onegrain::app::answer {

namespace {

using study::AgainstSheet;

constexpr double useful = 0.1;       // of the sheet's value: an interval that is wider tells nothing of a loss
constexpr double least_told = 1e-4;  // of the sheet's value: nobody measures a charge better
constexpr double reach = 0.45;       // of the window, to either side of it, are drawn

std::string called(const std::string& key) { return key == "working" ? "working electrode" : key; }

std::string share(double value, Rounding rounding) {
  return text_of(value, measure<params::Fraction>(nullptr, 3, rounding));
}

/// "9.98 % less (9.91 to 10.1 %)", "as on the sheet, to within 0.2 %".
std::string loss_words(const AgainstSheet& a, const std::string& than = "") {
  const study::Derived loss = a.loss();
  const double low = std::min(std::abs(loss.lower), std::abs(loss.upper)),
               high = std::max(std::abs(loss.lower), std::abs(loss.upper));
  if (!std::isfinite(loss.lower) || !std::isfinite(loss.upper) || far_from_sheet(a.now.value, a.sheet))
    return "not told by the curve";
  if (loss.lower > 0 || loss.upper < 0)
    return fmt::format("{} {}{} ({} to {})", share(std::abs(loss.value), Rounding::nearest),
                       loss.lower > 0 ? "less" : "more", than, share(low, Rounding::down), share(high, Rounding::up));
  if (high > useful)
    return fmt::format("not told: between {} less and {} more than on the sheet", share(loss.upper, Rounding::up),
                       share(-loss.lower, Rounding::up));
  return "as on the sheet, to within " + share(std::max(high, least_told), Rounding::up);
}

std::string headline_of(const Job& job, const study::Balance& b, const solver::FitResult& r) {
  const std::string rms = millivolts(std::max(r.misfits.front().rms, 1e-5));
  std::string text = fmt::format("The curve is met within {} mV rms.", rms);
  const auto say = [&](const std::string& name, const AgainstSheet& found) {
    text += fmt::format(" {}: {}.", name, loss_words(found, " than on the sheet"));
  };
  if (b.lithium) say("Lithium that both electrodes share", *b.lithium);
  for (const study::ElectrodeBalance& e : b.electrodes) say("Active material of the " + called(e.key), e.capacity);
  if (b.ratio) {
    const ErrorBar known = ErrorBar::interval(b.ratio->now.lower, b.ratio->now.upper);
    text += fmt::format(" N/P is {}.", text_of(Amount{b.ratio->now.value, measure<params::Number>(nullptr, 4), known}));
  }
  if (job.cell.is_full_cell()) text += " Whether that is ageing or a wrong mass, a curve of the fresh cell tells.";
  return text;
}

/// Every number of the balance for the summary; some of them stand large at the top of the page.
class Numbers {
 public:
  Numbers(const Job& job, const study::Balance& b) : area_(job.plate_area()) {
    const Measure charge = measure<params::Charge>(), plain = measure<params::Number>();
    for (const study::ElectrodeBalance& e : b.electrodes) {
      Figures& block = begin("balance." + e.key);
      add(block, "host_capacity", charge, e.capacity, area_, "Capacity of the " + called(e.key) + " by this curve");
      add_loss(block, e.capacity);
      add(block, "stoichiometry_full", plain, e.full);
      add(block, "stoichiometry_empty", plain, e.empty);
    }
    if (b.lithium) {
      Figures& block = begin("balance.lithium");
      add(block, "shared_lithium", charge, *b.lithium, area_, "Lithium in both by this curve");
      add_loss(block, *b.lithium);
    }
    Figures& block = begin("balance");
    if (b.ratio) add(block, "capacity_ratio", measure<params::Number>(nullptr, 4), *b.ratio, 1, "N/P by this curve");
    add(block, "equilibrium_capacity", charge, b.cell_capacity, area_, "Capacity at rest by this curve");
  }
  std::vector<Block> blocks() const { return {figures_.begin(), figures_.end()}; }

 private:
  Figures& begin(const std::string& key) { return figures_.emplace_back(Figures{key, "", {}, summary}); }
  static void add(Figures& block, const std::string& key, const Measure& m, const AgainstSheet& a, double factor = 1,
                  const std::string& at_the_top = "") {
    Figure found{key, "", a.now.value * factor, m};
    found.uncertainty = ErrorBar::interval(a.now.lower * factor, a.now.upper * factor);
    found.at_the_top = at_the_top;
    found.note = "sheet: " + text_of(Amount{a.sheet * factor, m});
    Figure sheet{"sheet_" + key, "", a.sheet * factor, m};
    sheet.alone = true;
    block.figures.push_back(std::move(found));
    block.figures.push_back(std::move(sheet));
  }
  static void add_loss(Figures& block, const AgainstSheet& a) {
    const study::Derived loss = a.loss();
    Figure figure{"loss_against_sheet", "", loss.value, measure<params::Fraction>(nullptr, 3)};
    figure.uncertainty = ErrorBar::interval(loss.lower, loss.upper);
    block.figures.push_back(std::move(figure));
  }

  double area_;
  std::vector<Figures> figures_;
};

Table against_sheet(const Job& job, const study::Balance& b) {
  Table table{"",
              "The balance, against the sheet",
              {{"", "quantity", {}}, {"", "sheet", {}}, {"", "found", {}}, {"", "against the sheet", {}}},
              {},
              read};
  const double area = job.plate_area();
  const Measure charge = measure<params::Charge>(), plain = measure<params::Number>();
  const auto row = [&](const std::string& name, const AgainstSheet& a, const Measure& m, double factor, bool loss) {
    table.rows.add({name, Amount{a.sheet * factor, m},
                    Amount{a.now.value * factor, m, ErrorBar::interval(a.now.lower * factor, a.now.upper * factor)},
                    loss ? loss_words(a) : ""});
  };
  for (const study::ElectrodeBalance& e : b.electrodes) {
    row(called(e.key) + ": capacity, full minus empty", e.capacity, charge, area, true);
    row(called(e.key) + ": stoichiometry, cell full", e.full, plain, 1, false);
    row(called(e.key) + ": stoichiometry, cell empty", e.empty, plain, 1, false);
  }
  if (b.lithium) row("lithium in both", *b.lithium, charge, area, true);
  if (b.ratio) row("N/P", *b.ratio, plain, 1, false);
  row("capacity of the cell, at rest", b.cell_capacity, charge, area, true);
  return table;
}

std::vector<double> times(std::vector<double> values, double factor) {
  for (double& v : values) v *= factor;
  return values;
}

Table lines_table(const Job& job, const study::Potentials& p) {
  Table table{"balance.lines",
              "",
              {{"potential_of", "", {}, summary},
               {"given_since_full", "", measure<params::Charge>(), summary},
               {"potentials", "", measure<params::Voltage>(), summary}},
              {},
              summary};
  const double area = job.plate_area();
  const std::vector<double> charge = times(p.charge, area);
  table.rows.add({job.sheet.positive.key, charge, p.positive});
  if (job.cell.is_full_cell()) {
    table.rows.add({std::string("negative"), charge, p.negative});
    table.rows.add({std::string("cell"), charge, p.cell});
  }
  table.rows.add({std::string("measured"), times(p.measured_charge, area), p.measured});
  return table;
}

Plot potentials_plot(const Job& job, const study::Balance& b, const study::Potentials& p, const std::string& says) {
  const double area = job.plate_area(), window = b.cell_capacity.now.value * area;
  const bool full_cell = job.cell.is_full_cell();
  Plot plot;
  plot.description = says;
  plot.x = {"Charge given since full", measure<params::Charge>()};
  plot.y = {full_cell ? "Potential, voltage" : "Potential against lithium", measure<params::Voltage>(), {0.0}};
  plot.stages = {{0, window, "between the cut-offs"}, {window, window, ""}};
  plot.names = Plot::Names::right;
  // Where a card does not know the potential the line goes on faint.
  const auto line = [&](const std::string& label, LineRole role, const std::vector<double>& y, const auto& known) {
    std::vector<Series> parts;
    for (std::size_t k = 0; k < p.charge.size(); ++k) {
      const double q = p.charge[k] * area;
      if (q < -reach * window || q > (1 + reach) * window) continue;
      if (parts.empty() || parts.back().doubtful == known(k)) {
        Series next{"", role};
        next.doubtful = !known(k);
        if (!parts.empty()) {  // without a gap
          next.x.push_back(parts.back().x.back());
          next.y.push_back(parts.back().y.back());
        }
        parts.push_back(std::move(next));
      }
      parts.back().x.push_back(q);
      parts.back().y.push_back(y[k]);
    }
    const auto named = std::max_element(parts.begin(), parts.end(), [](const Series& one, const Series& other) {
      return std::pair{!one.doubtful, one.x.size()} < std::pair{!other.doubtful, other.x.size()};
    });
    if (named != parts.end()) named->label = label;
    for (Series& part : parts) plot.series.push_back(std::move(part));
  };
  Series measured{"measured", LineRole::measured};
  measured.x = times(p.measured_charge, area);
  measured.y = p.measured;
  plot.series.push_back(std::move(measured));
  line(full_cell ? "positive against lithium" : "electrode, at rest", LineRole::predicted, p.positive,
       [&](std::size_t k) { return p.positive_known[k] != 0; });
  if (full_cell) {
    line("negative against lithium", LineRole::other, p.negative,
         [&](std::size_t k) { return p.negative_known[k] != 0; });
    line("cell, at rest", LineRole::calculated, p.cell,
         [&](std::size_t k) { return p.positive_known[k] != 0 && p.negative_known[k] != 0; });
  }
  return plot;
}

/// Each electrode from empty of lithium to full of it, and what the cell uses of it.
Intervals reaches(const Job& job, const study::Balance& b) {
  const double area = job.plate_area(), window = b.cell_capacity.now.value * area;
  Intervals drawing;
  drawing.title = "How much of each electrode the cell uses";
  drawing.axis = {"Charge given since full", measure<params::Charge>()};
  drawing.levels = {{0, "cell full"}, {window, "cell empty"}};
  drawing.look = Intervals::Look::stretch;
  for (const study::ElectrodeBalance& e : b.electrodes) {
    const double from = std::min(e.all_in, e.all_out) * area, to = std::max(e.all_in, e.all_out) * area;
    const auto of = [&](double charge) { return share(std::max(0.0, charge) / (to - from), Rounding::nearest); };
    const double infinite = std::numeric_limits<double>::infinity();
    drawing.rows.push_back(
        {called(e.key),
         fmt::format("the cell uses {}; unused {} before full, {} after empty", of(window), of(-from), of(to - window)),
         std::nullopt, from < -reach * window ? -infinite : from, to > (1 + reach) * window ? infinite : to,
         std::pair{std::max(0.0, from), std::min(window, to)}});
    drawing.description += (drawing.description.empty() ? "" : "; ") + called(e.key) + ": " + drawing.rows.back().words;
  }
  return drawing;
}

/// @throws NotCompleted where the electrodes cannot lie as they come out
void examine(const study::Balance& b, std::vector<Finding>& findings) {
  if (b.ratio) require_possible_ratio(b.ratio->now.value);
  std::vector<std::string> names;
  std::vector<double> ratios;
  const auto look_at = [&](const std::string& name, const AgainstSheet& found) {
    if (!far_from_sheet(found.now.value, found.sheet)) return;
    names.push_back(name);
    ratios.push_back(found.now.value / found.sheet);
  };
  for (const study::ElectrodeBalance& e : b.electrodes) look_at("the capacity of the " + called(e.key), e.capacity);
  if (b.lithium) look_at("the lithium that both electrodes share", *b.lithium);
  take(findings, far_from_sheet(names, ratios));
}

Section balance_section(const Job& job, const study::Estimation& estimation, const study::Balance& b) {
  const bool full_cell = job.cell.is_full_cell();
  const study::Potentials p = study::potentials(job, estimation);
  const Recording& recording = estimation.recordings.front();
  const std::string says =
      full_cell ? "Both potentials over the charge that the cell has given since it was full, slid and stretched until "
                  "their difference meets the measured curve. The measured one lies below it on discharge, above on "
                  "charge, by what the current costs. Where a line is faint its card does not know the potential."
                : "The potential at rest over the charge that was given since the cell was full, stretched until it "
                  "meets the measured curve. The measured one lies off it by what the current costs. Where the line is "
                  "faint the card does not know the potential.";
  Section section{full_cell ? "How the two electrodes lie over each other" : "The electrode in its window",
                  {Paragraph{says, page}, potentials_plot(job, b, p, says), reaches(job, b), against_sheet(job, b)}};
  const std::vector<Block> numbers = Numbers(job, b).blocks();
  section.blocks.insert(section.blocks.end(), numbers.begin(), numbers.end());
  section.blocks.push_back(lines_table(job, p));
  section.blocks.push_back(
      Paragraph{fmt::format("{}: {}; {} rows read, {} left out, {} compared; {}{}.", recording.file,
                            start_words(recording), recording.measured.rows_read, recording.measured.doubts.left_out(),
                            recording.rows.size(), temperature_words(recording), mended_words(recording))});
  section.blocks.push_back(Paragraph{fmt::format(
      "The curve was calculated at its own current; diffusion and kinetics were free within what the sheet knows of "
      "them (a factor of 10 where it gives no spread), and a contact resistance to make up for what else costs "
      "voltage. Residuals hang together over {} points; intervals count them once. They hold if {} right.",
      digits(estimation.result.misfits.front().correlation_time, 2),
      full_cell ? "the two potentials of the cards are" : "the potential of the card is")});
  return section;
}

}  // namespace

Answer balance(const Request& request, const Channels& channels, Job& job) {
  refuse_several_sizes(job, "estimates take the grains of an electrode for alike");
  study::Estimation estimation = study::estimation(request, channels, job, study::balance_parameters(job), true);
  if (!request.out.empty()) fitted_files(job, estimation, study::as_given(estimation), request.out);
  std::vector<Finding> findings = searched(request, channels, job, estimation, false);
  const study::Balance b = study::balance(job, estimation);
  examine(b, findings);

  Answer said;
  said.headline = headline_of(job, b, estimation.result);
  said.findings = std::move(findings);
  said.sections = {balance_section(job, estimation, b)};
  for (Section section : {estimates_section(estimation, false), curves_section(job, estimation),
                          correlation_section(estimation), further_section(estimation, {})}) {
    section.places = off_screen;
    said.sections.push_back(std::move(section));
  }
  state_the_estimation(said, job, estimation);
  if (!request.out.empty()) said.more_files = fitted_files(job, estimation, estimation.result, request.out);
  return said;
}

}  // namespace onegrain::app::answer
