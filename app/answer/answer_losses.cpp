#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "app/answer/answers.hpp"
#include "app/answer/curves_table.hpp"
#include "app/answer/curves_words.hpp"
#include "app/answer/depth_words.hpp"
#include "app/answer/numbers.hpp"
#include "app/answer/plating_words.hpp"
#include "app/study/losses.hpp"
#include "params/sheet/rate.hpp"

// `losses`: where capacity and energy go at a rate, and which change at the bench wins most back.

namespace onegrain::app::answer {

namespace {

using study::Change, study::Lever, study::LossesFound;

constexpr double worth_a_word = 5e-4;  // a gain below it rounds to no tenth of a point

/// Beside nothing missing, shares are noise.
bool much_is_missing(const solver::LossBudget& b) { return b.missing_capacity > 1e-3 * b.ideal_capacity; }

std::string change_words(const Job& job, Change change) {
  const bool full = job.cell.is_full_cell();
  const auto half_radius = [](const params::ElectrodeSheet& e) {
    return params::show(0.5 * e.particle_radius.si, *e.particle_radius.kind, 3);
  };
  switch (change) {
    case Change::finer_positive:
      return fmt::format("grains of the {} half as large, radius {}", full ? "positive" : "working electrode",
                         half_radius(job.sheet.positive));
    case Change::finer_negative:
      return "grains of the negative half as large, radius " + half_radius(*job.sheet.negative);
    case Change::thinner_coatings:
      return full ? "both coatings a fifth thinner, equally dense" : "the coating a fifth thinner, equally dense";
    case Change::less_pressed:
      return full ? "both coatings pressed less, porosity 5 points higher"
                  : "the coating pressed less, porosity 5 points higher";
    case Change::warmer:
      return "10 K warmer";
    case Change::better_contact:
      return "half the contact resistance";
    case Change::more_salt:
      return "a fifth more salt in the electrolyte";
  }
  return "";
}

const char* side_effect(Change change) {
  switch (change) {
    case Change::finer_positive:
    case Change::finer_negative:
      return "more surface: more film and lithium bound on it, a thirstier ink, more dust in the air (mask, hood)";
    case Change::thinner_coatings:
      return "less capacity per area: more foil and separator for the same charge";
    case Change::less_pressed:
      return "thicker for the same charge, weaker contact between the grains, more electrolyte to fill";
    case Change::warmer:
      return "faster ageing; stay within the limits of the cell maker";
    case Change::better_contact:
      return "none, if the foil, the tabs and the pressure in the cell allow it";
    case Change::more_salt:
      return "thicker liquid, slower wetting; beyond the best concentration it conducts less";
  }
  return "";
}

/// What it costs, or why it cannot be done.
std::string remark(const Lever& lever) { return lever.possible ? side_effect(lever.change) : lever.because; }

std::string tenths(double share) { return fmt::format("{:.1f} %", 100 * share); }

std::vector<solver::LossShare> largest_first(const solver::LossBudget& budget) {
  std::vector<solver::LossShare> shares = budget.shares;
  std::stable_sort(shares.begin(), shares.end(), [](auto& a, auto& b) { return a.capacity > b.capacity; });
  return shares;
}

/// What the words need at every turn.
struct Said {
  const Job& job;
  const LossesFound& found;
  const solver::LossBudget& budget = found.budget;
  bool charge = found.curve.curve.is_charge();
  bool full = job.cell.is_full_cell();
  std::vector<solver::LossShare> shares = largest_first(found.budget);

  std::string mAh(double areal) const { return digits(job.milliampere_hours(areal), 3); }
  /// To a thousandth of `whole` or finer, so that all parts of one whole end at the same place.
  std::string part_mAh(double areal) const {
    const double whole = job.milliampere_hours(budget.ideal_capacity);
    const int decimals = whole > 0 ? std::clamp(3 - static_cast<int>(std::floor(std::log10(whole))), 0, 9) : 3;
    const double value = job.milliampere_hours(areal), smallest = 0.5 * std::pow(10.0, -decimals);
    return fmt::format("{:.{}f} mAh", std::abs(value) < smallest ? 0.0 : value, decimals);
  }
  const char* gives() const { return charge ? "takes up" : "gives"; }
  std::string name(const solver::LossShare& share) const { return name_of(share.loss, full); }
};

std::string headline_of(const Said& s) {
  const solver::LossBudget& b = s.budget;
  std::string text = fmt::format("At {} the cell {} {} mAh; with no loss at all it would {} {}.", s.found.curve.label,
                                 s.gives(), s.mAh(b.capacity), s.charge ? "take up" : "give", s.mAh(b.ideal_capacity));
  if (much_is_missing(b)) {
    const auto percent = [&](std::size_t k) { return 100 * s.shares[k].capacity / b.missing_capacity; };
    if (percent(0) > 100.5) {
      text += fmt::format(" More than all of the {} mAh missing go to {}, since {} gives some back.",
                          s.mAh(b.missing_capacity), s.name(s.shares[0]), s.name(s.shares.back()));
    } else {
      text += fmt::format(" Of the {} mAh missing, {:.0f} % go to {}", s.mAh(b.missing_capacity), percent(0),
                          s.name(s.shares[0]));
      if (s.shares.size() > 1) text += fmt::format(" and {:.0f} % to {}", percent(1), s.name(s.shares[1]));
      text += ".";
    }
  } else {
    text += " Next to nothing is missing at this rate.";
  }
  const std::vector<Lever>& levers = s.found.levers;
  if (!levers.empty() && levers.front().possible && levers.front().gained_share > 1e-3) {
    text +=
        fmt::format(" What would win most back: {} (from {} to {} of what the cell holds).",
                    change_words(s.job, levers.front().change), tenths(s.found.share), tenths(levers.front().share));
  }
  if (!b.trusted) text += " This rate lies beyond what the model can be relied on for.";
  return text;
}

/// From no loss to what is given: each loss takes its part.
Bars budget_bars(const Said& s) {
  Bars bars;
  bars.title =
      s.charge ? "What each loss takes from what would be taken up" : "What each loss takes from what would be given";
  bars.numbered = false;
  const solver::LossBudget& b = s.budget;
  bars.bars.push_back({"with no loss at all", "", b.ideal_capacity, s.mAh(b.ideal_capacity) + " mAh"});
  double from = b.ideal_capacity;
  for (const solver::LossShare& share : s.shares) {
    bars.bars.push_back({s.name(share), "", -share.capacity, s.part_mAh(-share.capacity), from, true});
    from -= share.capacity;
  }
  bars.bars.push_back({s.charge ? "taken up" : "given", "", b.capacity, s.mAh(b.capacity) + " mAh"});
  for (const Bars::Bar& bar : bars.bars)
    bars.description += (bars.description.empty() ? "" : "; ") + bar.name + ": " + bar.words;
  return bars;
}

Bars share_bars(const Said& s) {
  Bars bars;
  bars.title = "The losses of capacity, the largest first";
  for (const solver::LossShare& share : s.shares) {
    bars.bars.push_back({s.name(share), "", share.capacity,
                         fmt::format("{}, {} of what is missing", s.part_mAh(share.capacity),
                                     tenths(share.capacity / s.budget.missing_capacity)),
                         0, true});
    bars.description += (bars.description.empty() ? "" : "; ") + bars.bars.back().name + ": " + bars.bars.back().words;
  }
  return bars;
}

Section missing_section(const Said& s) {
  const solver::LossBudget& b = s.budget;
  const double area = s.job.plate_area();
  const std::string& rate = s.found.curve.label;
  Section section{s.charge ? "What " + rate + " leaves uncharged, and why" : "What is missing at " + rate + ", and why",
                  {},
                  Section::Beside::none,
                  page};
  std::string words =
      fmt::format("With no loss at all, the cell would {} {} mAh at {}. It {} {} mAh, {} of that; {}.",
                  s.charge ? "take up" : "give", s.mAh(b.ideal_capacity), rate, s.gives(), s.mAh(b.capacity),
                  tenths(b.capacity / b.ideal_capacity),
                  much_is_missing(b) ? s.mAh(b.missing_capacity) + " mAh are missing" : "next to nothing is missing");
  words += fmt::format(" In energy it {} {} mWh; with no loss it would be {} mWh.", s.gives(),
                       digits(b.energy * area / 3.6, 3), digits(b.ideal_energy * area / 3.6, 3));
  section.blocks.push_back(Paragraph{words});
  if (!much_is_missing(b)) return section;
  section.blocks.push_back(budget_bars(s));
  section.blocks.push_back(share_bars(s));
  return section;
}

/// Which loss takes how much: for people the largest first with the sum, in the summary in the order of the cell.
void add_parts(Section& section, const Said& s) {
  const double area = s.job.plate_area();
  const Measure charge = measure<params::Charge>(nullptr, 3), energy{&energy_kind, nullptr, 3};
  Table shown{"",
              "where it goes at " + s.found.curve.label,
              {{"", "loss", {}, read},
               {"", "capacity", charge, read},
               {"", "of what is missing", measure<params::Fraction>(nullptr, 3), read},
               {"", "energy", energy, read}},
              {},
              read,
              read};
  Table all{"losses.parts",
            "",
            {{"loss", "", {}},
             {"missing_capacity", "", charge},
             {"share_of_missing", "", measure<params::Fraction>()},
             {"missing_energy", "", energy}},
            {},
            summary};
  const double missing = s.budget.missing_capacity;
  for (const solver::LossShare& share : s.budget.shares)
    all.rows.add(
        {s.name(share), share.capacity * area, missing != 0 ? share.capacity / missing : 0, share.energy * area});
  const auto show = [&](const std::string& name, double lost, double energy_lost) {
    Row row{name, lost * area, std::monostate{}, energy_lost * area};
    if (much_is_missing(s.budget)) row[2] = lost / missing;
    shown.rows.add(row);
  };
  for (const solver::LossShare& share : s.shares) show(s.name(share), share.capacity, share.energy);
  show("all that is missing", missing, s.budget.missing_energy);
  section.blocks.push_back(std::move(shown));
  section.blocks.push_back(std::move(all));
  section.blocks.push_back(
      Paragraph{"The losses act on each other. What is put down to each is its Shapley value: the average over all "
                "orders in which they could be switched off, so that the parts add up to what is missing."});
  if (s.found.curve.side) {
    Table lowest{"", "how near to plating it comes", lowest_columns(s.job), {}, read, read};
    lowest.columns.insert(lowest.columns.begin(), TableColumn{"", "charge", {}, read});
    Row row{s.found.curve.label};
    add_lowest(row, s.job, s.found.curve.side);
    lowest.rows.add(row);
    section.blocks.push_back(std::move(lowest));
  }
  if (s.charge)
    section.blocks.push_back(
        Paragraph{"Energy: what a charge with no loss takes up, less what this one takes up. Below zero, the loss has "
                  "to be paid for with more energy."});
}

Section levers_section(const Said& s) {
  Section section{"What would win capacity back", {}, Section::Beside::none, page};
  Bars bars;
  bool any_gain = false;
  for (const Lever& lever : s.found.levers) {
    const bool moves = lever.possible && std::abs(lever.gained_share) >= worth_a_word;
    any_gain = any_gain || (moves && lever.gained_share > 0);
    bars.bars.push_back({change_words(s.job, lever.change), remark(lever), moves ? lever.gained_share : 0,
                         !lever.possible ? "not possible here"
                         : moves ? fmt::format("{:+.1f} points, to {}", 100 * lever.gained_share, tenths(lever.share))
                                 : "gains nothing"});
    bars.description += (bars.description.empty() ? "" : "; ") + bars.bars.back().name + ": " + bars.bars.back().words;
  }
  std::string words = fmt::format(
      "Each change is calculated alone, at the same C-rate. Its bar: how many points more of what that cell holds it "
      "then {}; now {}. A changed cell may hold less to begin with: the table has its capacity per area.",
      s.gives(), tenths(s.found.share));
  if (!any_gain) words += " None of them gains anything at this rate.";
  section.blocks.push_back(Paragraph{words});
  section.blocks.push_back(std::move(bars));
  return section;
}

Table levers_table(const Said& s) {
  const Measure share = measure<params::Fraction>(nullptr, 3), charge = measure<params::ArealCapacity>(nullptr, 3);
  static constexpr params::Kind areal_energy{{0, 1, -2}, "an energy per area", "mWh/cm2"};
  Table table{"losses.levers",
              "what each change at the bench does, at the same C-rate",
              {{"change", "change", {}},
               {"side_effect", "side effect", {}, summary},
               {"possible", "", {}, summary},
               {"fraction_of_held", s.charge ? "takes up, of what it holds" : "gives, of what it holds", share},
               {"", "gain, points", measure<params::Number>(), read},
               {"gained_fraction", "", share, summary},
               {"capacity", "capacity", charge},
               {"energy", "energy", {{&areal_energy, nullptr, 3}}}},
              {},
              everywhere,
              read};
  for (const Lever& l : s.found.levers) {
    Row row{change_words(s.job, l.change), remark(l), l.possible, {}, {}, {}, {}, {}};
    if (l.possible) {
      row[3] = l.share;
      row[4] = fmt::format("{:+.1f}", 100 * l.gained_share);
      row[5] = l.gained_share;
      row[6] = l.capacity;
      row[7] = l.energy;
    }
    table.rows.add(row);
  }
  return table;
}

/// Numbers and facts under "losses" of the summary.
void add_summary(Section& section, const Said& s) {
  const double area = s.job.plate_area();
  const solver::LossBudget& b = s.budget;
  section.blocks.push_back(Facts{
      "losses",
      {{"rate", s.found.curve.label}, {"direction", std::string(sense_of(s.found.curve))}, {"trusted", b.trusted}}});
  Figures figures{"losses", "", {}, summary};
  const auto add = [&](const char* key, double value, Measure measure) -> Figure& {
    figures.figures.push_back({key, "", value, measure});
    figures.figures.back().alone = true;
    return figures.figures.back();
  };
  const Measure charge = measure<params::Charge>(), energy{&energy_kind};
  add("c_rate", s.found.curve.c_rate, {});
  Figure& given = add("capacity", b.capacity * area, charge);
  given.at_the_top = fmt::format("{} at {}", s.charge ? "Taken up" : "Given", s.found.curve.label);
  Figure& missing = add("missing_capacity", b.missing_capacity * area, charge);
  missing.at_the_top = "Missing";
  missing.note = "against a cell with no loss at all";
  add("ideal_capacity", b.ideal_capacity * area, charge);
  add("energy", b.energy * area, energy);
  add("ideal_energy", b.ideal_energy * area, energy);
  add("missing_energy", b.missing_energy * area, energy);
  if (s.found.curve.side) add("lowest_separator_side", s.found.curve.side->lowest(), measure<params::Voltage>());
  if (const auto& opinion = s.found.curve.opinion) {
    if (opinion->capacity) add("resolved_capacity", *opinion->capacity * area, charge);
    add("resolved_less_even", opinion->difference, measure<params::Voltage>("mV", 3));
  }
  const DepthTold depth(s.found.curve.curve.step);
  const std::string p = s.job.cell.is_full_cell() ? "positive" : "working";
  const auto add_spread = [&](const std::string& electrode, const std::optional<study::DepthSpread>& spread) {
    if (!spread) return;
    add((electrode + "_separator_less_foil").c_str(), spread->lead, {});
    add((electrode + "_separator_less_foil_widest").c_str(), spread->widest, {});
    add((electrode + "_reaction_peak").c_str(), spread->peak, {});
  };
  add_spread(p, depth.positive);
  add_spread("negative", depth.negative);
  section.blocks.push_back(std::move(figures));
}

/// The curve itself, its grains and where its voltage goes.
void add_inside(Answer& said, const Job& job, const NamedCurve& curve, int points) {
  if (!(curve.curve.step.duration() > 0)) return;
  const std::vector<const NamedCurve*> one = {&curve};
  Section voltage{"Voltage against capacity", {}, Section::Beside::two, page};
  voltage.blocks.push_back(voltage_plot(job, one, curve.curve.is_charge() ? "Charge" : "Discharge", points));
  if (curve.curve.is_charge() && job.cell.is_full_cell()) voltage.blocks.push_back(negative_plot(job, one, points));
  said.sections.push_back(std::move(voltage));
  Section grains = grains_section(job);
  grains.blocks.push_back(grain_profile(job, curve, true));
  if (job.cell.is_full_cell()) grains.blocks.push_back(grain_profile(job, curve, false));
  said.sections.push_back(std::move(grains));
  add_depth_section(said, job, {{name_of(curve), &curve.curve.step}});
  Section parts{"Where the voltage goes", {}, Section::Beside::two, page};
  parts.blocks.push_back(Paragraph{"The voltage that each step costs against equilibrium, one on top of the other."});
  parts.blocks.push_back(losses_stack(job, curve));
  said.sections.push_back(std::move(parts));
}

}  // namespace

Answer losses(const Request& request, const Channels&, Job& job) {
  const std::vector<params::Rate> rates = params::parse_rates(request.rate, job.base);
  if (rates.size() != 1) throw CommandLineError("--rate '" + request.rate + "': one rate at a time");
  const LossesFound found = study::find_losses(job, rates.front(), request.charge);
  const Said s{job, found};
  const std::string& rate_name = found.curve.label;
  if (over_at_once(job, found.curve)) {
    throw NotCompleted(
        fmt::format("at {} the {} is over at once, and next to nothing passes: there is no charge of which "
                    "losses could be told apart. Ask for a lower rate; `onegrain rates` shows which pass "
                    "charge",
                    rate_name, request.charge ? "charge" : "discharge"));
  }
  Answer said;
  said.headline = headline_of(s);
  PlatingTold plating(job);
  if (found.curve.plating) plating.add(rate_name, charging(job, rate_name), *found.curve.plating);
  plating.tell(said);
  const std::string why = doubt(name_of(found.curve), found.curve.trust);
  if (!why.empty())
    said.doubts.push_back(why + ". Take the order of the losses as a hint, and do not rely on their sizes.");
  said.sections.push_back(missing_section(s));
  said.sections.push_back(levers_section(s));
  Section numbers{"Losses and changes in numbers", {}};
  add_summary(numbers, s);
  add_parts(numbers, s);
  const std::string opinion = opinion_words(job, name_of(found.curve), found.curve.opinion);
  if (!opinion.empty()) numbers.blocks.push_back(Paragraph{opinion});
  numbers.blocks.push_back(levers_table(s));
  std::vector<std::string> effects;
  for (const Lever& l : found.levers) effects.push_back(change_words(job, l.change) + ": " + remark(l));
  numbers.blocks.push_back(Bullets{"side effects", effects, terminal});
  said.sections.push_back(std::move(numbers));
  add_inside(said, job, found.curve, request.points);
  state_the_model(said, job);
  if (request.out.empty()) return said;
  said.curves = calculated_curves(job);
  const solver::StepSolution& step = found.curve.curve.step;
  add_step(*said.curves, job, step, solver::moments(step, request.points, true), 0, 1,
           found.curve.side ? &*found.curve.side : nullptr);
  return said;
}

}  // namespace onegrain::app::answer
