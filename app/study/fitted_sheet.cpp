#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "app/study/fitting.hpp"
#include "model/constants.hpp"
#include "params/text/document.hpp"

// From estimates back to a sheet and its cards.
namespace onegrain::app {

using solver::FreeParameter;
using solver::Quantity;

namespace {

std::string today() {
  const std::time_t now = std::time(nullptr);
  return fmt::format("{:%Y-%m-%d}", fmt::gmtime(now));
}

/// A card that a fit may have changed, and where the sheet names it.
struct CardChange {
  std::string place;  ///< in the sheet, "negative.material"
  std::string name;   ///< of the new card, without its ending
  std::string file;   ///< of the old one, among those that were read
  std::vector<params::Revision> revisions{};
};

/// True where a key of a card holds a formula or a table, which a fit scales rather than replaces.
bool holds_function(const std::string& text, const std::string& key) {
  params::Faults ignored;
  const auto document = params::read_document(text, "card", ignored);
  const params::Entry* entry = document ? document->find(key) : nullptr;
  return entry && (entry->value.find("expression") || entry->value.find("table"));
}

}  // namespace

std::vector<std::pair<std::string, std::string>> fitted_files(const Job& job, const Fitting& fitting,
                                                              const solver::CellFit& fit,
                                                              const solver::FitResult& result,
                                                              const std::vector<Recording>& recordings) {
  using params::Revision;
  using params::Spread;
  std::string files;
  for (const Recording& r : recordings) files += (files.empty() ? "" : ", ") + r.name();
  const std::string made = fmt::format("fitted on {} to {}, by onegrain " ONEGRAIN_VERSION, today(), files);

  std::vector<Revision> sheet;
  std::vector<CardChange> cards;
  const auto electrode_card = [](const params::ElectrodeSheet& e) {
    return CardChange{e.key + ".material", e.key + "_fitted", e.material.file};
  };
  cards.push_back(electrode_card(fitting.sheet.positive));
  if (fitting.sheet.negative) cards.push_back(electrode_card(*fitting.sheet.negative));
  cards.push_back({"electrolyte", "electrolyte_fitted", fitting.sheet.electrolyte.file});
  if (fitting.sheet.counter) cards.push_back({"counter.material", "counter_fitted", fitting.sheet.counter->file});
  const auto text_of = [&](const CardChange& card) -> const params::SourceFile& {
    const params::SourceFile* source = params::find_file_named(job.sheet.files, card.file);
    if (!source || !source->text)
      throw NotCompleted("the card under " + card.place +
                         " stands inside the sheet; give it a file of its own to have it fitted");
    return *source;
  };
  const model::Cell cell = fit.cell(result.z);
  bool lithium = false;
  for (std::size_t k = 0; k < fitting.problem.free.size(); ++k) {
    const FreeParameter& p = fitting.problem.free[k];
    const solver::Estimate& e = result.estimates[k];
    const double lower = std::max(e.profile.lower, p.lower), upper = std::min(e.profile.upper, p.upper);
    // All estimates go into the sheet: they belong together, and one left at its old value would spoil the others.
    // Where an end is open, the other end counts for both.
    const double below = e.profile.lower_open ? 0 : std::log(e.value / std::max(lower, 1e-300)),
                 above = e.profile.upper_open ? 0 : std::log(std::max(upper, 1e-300) / std::max(e.value, 1e-300));
    const double factor_spread = std::clamp(std::exp(std::max(below, above)), 1.01, 1000.0);
    const auto spread = [&](double scale) -> Spread {
      const double value = e.value * scale, half = 0.5 * (upper - lower) * scale;
      if (p.logarithmic && factor_spread > 1.2) return {Spread::Form::factor, factor_spread};
      if (half <= 0) return {};
      return value > 0 && half >= 0.95 * value ? Spread{Spread::Form::factor, std::clamp(upper / e.value, 1.05, 1000.0)}
                                               : Spread{Spread::Form::absolute, half};
    };
    const std::string source = fmt::format("{}; 95 % interval {} to {} {}", made, show_estimate(fitting, k, lower),
                                           show_estimate(fitting, k, upper), fitting.units[k]);
    const params::ElectrodeSheet& electrode = p.negative ? *fitting.sheet.negative : fitting.sheet.positive;
    std::vector<Revision>& card = cards[p.negative ? 1 : 0].revisions;
    const auto scale_card = [&](const char* key, const params::PropertyValue& value, double factor, double by) {
      if (!value.function && value.scaled_by == 1) {
        card.push_back({key, params::yaml_value(value.si * factor, *value.kind, spread(by), source)});
        return;
      }
      card.push_back({std::string(key) + ".scaled_by", params::plain_number(value.scaled_by * factor, 6)});
      card.push_back({std::string(key) + ".spread", fmt::format("factor {}", params::plain_number(factor_spread, 3))});
      card.push_back({std::string(key) + ".source", params::quoted(source + "; before: " + value.source)});
    };
    switch (p.quantity) {
      case Quantity::diffusion_time: {
        const params::PropertyValue& D = electrode.material.diffusion_coefficient;
        const double factor = p.nominal / e.value;
        // D goes with the inverse of the time: the interval is that of a factor
        if (!D.function && D.scaled_by == 1) {
          const Spread s{Spread::Form::factor, factor_spread};
          card.push_back(
              {"diffusion_coefficient",
               params::yaml_value(D.si * factor, *D.kind, s, source + " of R^2/D, with the radius of the sheet")});
        } else {
          scale_card("diffusion_coefficient", D, factor, 1);
        }
        break;
      }
      case Quantity::exchange_current_density: {
        const params::PropertyValue& i0 = electrode.material.exchange_current_density;
        scale_card("exchange_current_density", i0, e.value / p.nominal, i0.function ? 1 : i0.si / p.nominal);
        break;
      }
      case Quantity::capacity: {
        const double before = electrode.accessible_fraction.si;
        sheet.push_back({electrode.key + ".accessible_fraction",
                         params::yaml_value(before * e.value / p.nominal, params::FractionKind::kind,
                                            spread(before / p.nominal), source)});
        break;
      }
      case Quantity::contact_resistance:
        sheet.push_back({"contact_resistance", params::yaml_value(e.value, params::ArealResistanceKind::kind,
                                                                  e.value > 0 ? spread(1) : Spread{}, source)});
        break;
      case Quantity::lithium:
        lithium = true;
        break;
      case Quantity::other: {
        params::Sheet copy = fitting.sheet;
        const params::Value* value = params::find_value(copy, p.name);
        const auto of = std::find_if(cards.begin(), cards.end(),
                                     [&](const CardChange& c) { return p.name.starts_with(c.place + "."); });
        if (of == cards.end()) {
          sheet.push_back({p.name, params::yaml_value(e.value, *value->kind, spread(1), source)});
          break;
        }
        const std::string key = p.name.substr(of->place.size() + 1);
        if (holds_function(*text_of(*of).text, key)) {
          of->revisions.push_back({key + ".scaled_by", params::plain_number(e.value, 6)});
          of->revisions.push_back({key + ".spread", fmt::format("factor {}", params::plain_number(factor_spread, 3))});
          of->revisions.push_back({key + ".source", params::quoted(source + "; before: " + value->source)});
        } else {
          of->revisions.push_back({key, params::yaml_value(e.value, *value->kind, spread(1), source)});
        }
        break;
      }
    }
  }
  if (lithium) {
    const model::Window w = model::equilibrium_window(cell);
    sheet.push_back({"formation_loss", ""});
    sheet.push_back({"charged_state", fmt::format("{{positive: {{value: {:.7f}, source: {}}}, negative: {:.7f}}}",
                                                  w.full.positive, params::quoted(made), w.full.negative)});
  }

  std::vector<std::pair<std::string, std::string>> written;
  for (const solver::FreePotential& p : fitting.problem.potentials) {
    const params::ElectrodeSheet& electrode = p.negative ? *fitting.sheet.negative : fitting.sheet.positive;
    const model::OpenCircuitPotential& U = (p.negative ? cell.negative->host : cell.positive.host).potential;
    const std::string table = electrode.key + "_potential_fitted.csv";
    std::string rows = "stoichiometry,potential / V\n";
    constexpr int count = 600;
    for (int k = 0; k <= count; ++k) {
      const double x = p.lower + (p.upper - p.lower) * k / count;
      rows += fmt::format("{:.6f},{:.6f}\n", x, U(x, model::reference_temperature));
    }
    written.emplace_back(table, rows);
    std::vector<Revision>& card = cards[p.negative ? 1 : 0].revisions;
    card.push_back({"open_circuit_potential.expression", ""});
    card.push_back({"open_circuit_potential.unit", ""});
    card.push_back({"open_circuit_potential.table", table});
    card.push_back({"open_circuit_potential.range", fmt::format("[{:.6f}, {:.6f}]", p.lower, p.upper)});
    card.push_back(
        {"open_circuit_potential.source", params::quoted(made + ": the shape of the slowest curve; before: " +
                                                         electrode.material.open_circuit_potential.potential.source)});
  }
  for (const CardChange& card : cards) {
    if (card.revisions.empty()) continue;
    const params::SourceFile& source = text_of(card);
    written.emplace_back(card.name + ".yaml", params::revised(*source.text, source.name, card.revisions));
    for (const params::SourceFile* table : params::files_named_by(job.sheet.files, source.name)) {
      if (table->text) written.emplace_back(table->named_as, *table->text);
    }
    sheet.push_back({card.place, card.name});
  }
  const params::SourceFile& original = job.sheet.files.front();
  sheet.push_back({"name", params::quoted(job.sheet.name + ", fitted")});
  written.insert(written.begin(), {"fitted.yaml", params::revised(*original.text, original.name, sheet)});
  // tables and cards that the new sheet still refers to and that lie beside the old one
  for (const params::SourceFile& file : job.sheet.files) {
    if (file.shipped || !file.text || &file == &original || file.named_as.empty()) continue;
    const std::string name = file.named_as.find('.') == std::string::npos ? file.named_as + ".yaml" : file.named_as;
    if (std::none_of(written.begin(), written.end(), [&](const auto& w) { return w.first == name; }))
      written.emplace_back(name, *file.text);
  }
  return written;
}

}  // namespace onegrain::app
