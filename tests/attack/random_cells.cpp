#include "tests/attack/random_cells.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <tuple>

#include "model/constants.hpp"
#include "params/card/card.hpp"
#include "tests/attack/random_protocols.hpp"

namespace onegrain::attack {

namespace {

/// What is usual for a host: cut-offs against lithium, and the density that a coating is weighed with.
struct Usual {
  const char* card_begins_with;
  double lower[2], upper[2];  // V against lithium
  double density;             // g/cm3; 0: a layer is stated instead
  double largest_radius, smallest_radius;
};
// Cut-offs: common practice of half-cell testing, from memory. The first line that fits a card counts; the last fits
// all.
constexpr Usual usual_positives[] = {{"lfp", {2.5, 2.8}, {3.6, 4.0}, 3.6, 2e-6, 0.03e-6},
                                     {"lmo", {3.0, 3.3}, {4.3, 4.4}, 4.3, 12e-6, 0.1e-6},
                                     {"lnmo", {3.5, 3.5}, {4.9, 5.0}, 4.45, 12e-6, 0.1e-6},
                                     {"lco_published", {3.0, 3.2}, {4.1, 4.3}, 0, 12e-6, 0.1e-6},
                                     {"lco", {3.0, 3.0}, {4.2, 4.4}, 5.05, 12e-6, 0.1e-6},
                                     {"nmc811_published", {2.5, 2.8}, {4.2, 4.3}, 0, 12e-6, 0.1e-6},
                                     {"", {2.5, 3.0}, {4.2, 4.4}, 4.75, 12e-6, 0.1e-6}};
constexpr Usual usual_negatives[] = {{"lto", {1.0, 1.3}, {2.0, 2.5}, 3.5, 12e-6, 0.1e-6},
                                     {"graphite_", {0.005, 0.05}, {1.0, 2.0}, 0, 12e-6, 0.1e-6},
                                     {"", {0.005, 0.05}, {1.0, 2.0}, 2.25, 12e-6, 0.1e-6}};

struct ShippedHost {
  std::string card, text;
  bool positive;
  double sites;  // mol/m3
  model::OpenCircuitPotential potential;
  const Usual& usual() const {
    const auto fits = [&](const Usual& u) { return card.rfind(u.card_begins_with, 0) == 0; };
    return positive ? *std::find_if(std::begin(usual_positives), std::end(usual_positives), fits)
                    : *std::find_if(std::begin(usual_negatives), std::end(usual_negatives), fits);
  }
};

/// Every shipped card of a host, so that a new one takes part by itself.
const std::vector<ShippedHost>& shipped_hosts() {
  static const std::vector<ShippedHost> hosts = [] {
    std::vector<ShippedHost> list;
    for (const params::ShippedCard& card : params::shipped_cards()) {
      if (card.folder != "materials" || card.text.find("role: lithium_metal") != std::string::npos) continue;
      const params::Loaded<params::Material> loaded = params::load_material(card.name);
      if (!loaded.value) throw std::runtime_error("the shipped card cannot be read: " + loaded.faults.text());
      const params::Material& m = *loaded.value;
      list.push_back({card.name, card.text, m.role == params::Role::positive, m.maximum_concentration(),
                      m.to_host({298.15, false}).potential});
    }
    return list;
  }();
  return hosts;
}

std::vector<ShippedHost> hosts_of(bool positive) {
  std::vector<ShippedHost> list;
  for (const ShippedHost& host : shipped_hosts()) {
    if (host.positive == positive) list.push_back(host);
  }
  return list;
}

/// Stoichiometry at which a host has this potential, by bisection; 0 or 1 where it never has.
double filling_at(const ShippedHost& host, double potential) {
  double low = 0, high = 1;
  for (int k = 0; k < 60; ++k) {
    const double middle = 0.5 * (low + high);
    (host.potential(middle, 298.15) > potential ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

/// The card with a property multiplied, and the table that it refers to, under the name `file`.
std::string scaled_card(std::string text, const std::string& key, double factor) {
  const std::size_t at = text.find("\n" + key + ":");
  if (at == std::string::npos) throw std::runtime_error("a card without " + key);
  const std::size_t value = at + 1 + key.size() + 1;
  const std::size_t end = text.find('\n', value);
  const std::size_t brace = text.find('{', value);
  if (brace < end) return text.insert(brace + 1, fmt::format("scaled_by: {:.4g}, ", factor));
  return text.insert(end + 1, fmt::format("  scaled_by: {:.4g}\n", factor));
}

void add_card(Case& c, Random& random, const ShippedHost& host, const std::string& file) {
  std::string text = scaled_card(host.text, "diffusion_coefficient", random.within_factor(5));
  text = scaled_card(std::move(text), "exchange_current_density", random.within_factor(3));
  c.files.emplace_back(file, std::move(text));
  for (const params::SourceFile& part : params::load_material(host.card).files) {
    const std::string name = part.name.substr(part.name.find_last_of('/') + 1);
    if (name.size() > 4 && name.compare(name.size() - 4, 4, ".csv") == 0 && part.text) {
      const auto same = [&](const auto& f) { return f.first == name; };
      if (std::none_of(c.files.begin(), c.files.end(), same)) c.files.emplace_back(name, *part.text);
    }
  }
}

/// An electrode of a sheet. `thickness` in um, porosity and active fraction as shares.
std::string electrode(Random& random, const std::string& key, const std::string& material, const ShippedHost& host,
                      double thickness, double porosity, double active) {
  const Usual& usual = host.usual();
  const bool anything = random.chance(0.1);
  const double radius = 1e6 * (anything ? random.log_between(0.1e-6, 12e-6)
                                        : random.log_between(usual.smallest_radius, usual.largest_radius));
  std::string more;
  if (random.chance(0.3)) more += fmt::format(", tortuosity: {:.3g}", random.between(1.5, 6));
  if (random.chance(0.2)) more += fmt::format(", electronic_conductivity: {:.3g} S/m", random.log_between(0.1, 200));
  std::string text = fmt::format("{}:\n  material: {}\n", key, material);
  if (usual.density > 0 && random.chance(0.4)) {
    // 4 % of carbon and binder by mass; the loading that leaves these pores
    const double volume_of_a_gram = 0.96 / usual.density + 0.02 / 1.95 + 0.02 / 1.78;
    text += fmt::format(
        "  coating:\n    loading: {:.4g} mg/cm2\n    thickness: {:.4g} um\n    recipe: {{active: 96 wt%, carbon: 2 "
        "wt%, binder: 2 wt%}}\n",
        thickness * (1 - porosity) / volume_of_a_gram / 10, thickness);
    for (std::size_t at = 0; (at = more.find(", ")) != std::string::npos;) more.replace(at, 2, "\n    ");
    if (!more.empty()) text += more.substr(1) + "\n";
  } else {
    text += fmt::format("  layer: {{thickness: {:.4g} um, active_fraction: {:.4g} %, porosity: {:.4g} %{}}}\n",
                        thickness, 100 * active, 100 * porosity, more);
  }
  text += fmt::format("  particle_radius: {:.4g} um\n", radius);
  if (random.chance(0.1)) text += fmt::format("  accessible_fraction: {:.3g} %\n", random.between(85, 100));
  return text;
}

double active_fraction_of(Random& random, double porosity) { return (1 - porosity) * random.between(0.88, 0.97); }

/// Two cut-offs to 5 mV, sometimes moved by up to 0.15 V from what is usual.
std::pair<double, double> window(Random& random, double lower, double upper) {
  if (random.chance(0.15)) lower += random.between(-0.15, 0.15);
  if (random.chance(0.15)) upper += random.between(-0.15, 0.15);
  const auto rounded = [](double v) { return std::round(v * 200) / 200; };
  return {std::max(0.005, rounded(lower)), rounded(upper)};
}

std::string rates_of(Random& random) {
  std::string list;
  for (int k = random.whole(2, 4); k > 0; --k) {
    list += fmt::format("{}{:.3g}C", list.empty() ? "" : ",", random.log_between(0.05, 10));
  }
  return list;
}

/// What a sheet says after its electrodes.
std::string end_of_sheet(Random& random, double area) {
  std::string text = fmt::format("separator: {{thickness: {:.3g} um, porosity: {:.3g} %}}\n", random.between(12, 40),
                                 random.between(38, 55));
  std::vector<std::string> electrolytes;
  for (const params::ShippedCard& card : params::shipped_cards()) {
    if (card.folder == "electrolytes") electrolytes.push_back(card.name);
  }
  text += "electrolyte: " + random.one_of(electrolytes) + "\n";
  if (random.chance(0.15)) {
    text += fmt::format(
        "thermal: {{mass: {:.3g} g, heat_capacity: {:.3g} J/(kg K), heat_transfer_coefficient: {:.3g} W/(m2 K), "
        "cooled_area: {:.3g} cm2}}\n",
        area * random.between(0.1, 1.5), random.between(700, 1200), random.log_between(3, 60),
        area * random.between(0.3, 3));
  }
  return text;
}

}  // namespace

Random::Random(std::uint64_t seed, std::uint64_t stream) : state_(seed * 0x9E3779B97F4A7C15u + stream) {
  for (int k = 0; k < 4; ++k) share();
}

double Random::share() {  // S. Vigna's splitmix64, public domain
  std::uint64_t z = (state_ += 0x9E3779B97F4A7C15u);
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  z ^= z >> 31;
  return static_cast<double>(z >> 11) * 0x1.0p-53;
}
double Random::between(double lower, double upper) { return lower + (upper - lower) * share(); }
double Random::log_between(double lower, double upper) { return lower * std::exp(std::log(upper / lower) * share()); }
double Random::within_factor(double factor) { return log_between(1 / factor, factor); }
int Random::whole(int lower, int upper) {
  return std::min(upper, lower + static_cast<int>(share() * (upper - lower + 1)));
}

const std::string& Case::text(const std::string& name) const {
  for (const auto& [file, text] : files) {
    if (file == name) return text;
  }
  throw std::runtime_error("no file " + name);
}

Case random_case(std::uint64_t seed, int number) {
  Random random(seed, static_cast<std::uint64_t>(number));
  Case c{seed, number, {{"sheet.yaml", ""}}, {}, {}, -1, {}};
  const bool half = random.chance(0.25), half_of_negative = half && random.chance(0.4);
  const ShippedHost first = random.one_of(hosts_of(!half_of_negative));
  const ShippedHost second = random.one_of(hosts_of(false));
  const double celsius = random.chance(0.4) ? 25 : std::round(random.between(-10, 45));
  const double diameter = random.between(10, 18), area = 0.25 * 3.14159265 * diameter * diameter / 100;
  const Usual& usual = first.usual();
  double lower = random.between(usual.lower[0], usual.lower[1]), upper = random.between(usual.upper[0], usual.upper[1]);
  const bool titanate = second.card.rfind("lto", 0) == 0;
  if (!half) {  // against the potential of the negative, 0.1 V (titanate: 1.55 V)
    upper -= titanate ? 1.5 : 0.1;
    if (titanate) lower -= 1.5;
  }
  std::tie(lower, upper) = window(random, lower, upper);

  double thickness = random.between(30, 110);
  const double porosity = random.between(0.20, 0.45), active = active_fraction_of(random, porosity);
  std::string electrodes, rest;
  if (half) {
    electrodes = electrode(random, "working", "working_host", first, thickness, porosity, active);
  } else {
    // The negative is made as thick as N/P asks for, both thicknesses inside 30..110 um where that can be.
    const double ratio = random.between(0.9, 1.4);
    const double x_full = filling_at(first, upper + (titanate ? 1.55 : 0.1));
    const double porosity_n = random.between(0.20, 0.45), active_n = active_fraction_of(random, porosity_n);
    const double per_thickness = ratio * active * first.sites * (1 - x_full) / (active_n * second.sites);
    thickness = std::clamp(thickness, std::min(110.0, 30 / per_thickness), std::max(30.0, 110 / per_thickness));
    electrodes =
        electrode(random, "positive", "positive_host", first, thickness, porosity, active) +
        electrode(random, "negative", "negative_host", second, thickness * per_thickness, porosity_n, active_n);
    rest = fmt::format("formation_loss: {:.3g} %\n", random.between(0, 15));
    if (random.chance(0.2)) {
      const double charge = model::faraday_constant * active * thickness * 1e-6 * first.sites * (1 - x_full);  // C/m2
      rest += fmt::format("rated_capacity: {:.3g} mAh\n", charge * area * 1e-4 / 3.6 * random.between(0.8, 1.05));
    }
  }
  c.words = fmt::format("{}{}{}, {} degC, {:.3f} to {:.3f} V", half ? "half cell of " : "", first.card,
                        half ? "" : " | " + second.card, celsius, lower, upper);
  c.files.front().second =
      fmt::format(
          "# Random cell {} of seed {}: invented.\nonegrain: 1\nname: random cell {}\narrangement: {}\n"
          "temperature: {} degC\ndisc_diameter: {:.3g} mm\nvoltage_window: {{lower: {:.3f} V, upper: {:.3f} V}}\n",
          number, seed, number, half ? "half_cell" : "full_cell", celsius, diameter, lower, upper) +
      (random.chance(0.8) ? fmt::format("contact_resistance: {:.3g} ohm.cm2\n", random.between(0, 30)) : "") +
      electrodes + rest + end_of_sheet(random, area);
  add_card(c, random, first, half ? "working_host.yaml" : "positive_host.yaml");
  if (!half) add_card(c, random, second, "negative_host.yaml");
  c.rates = rates_of(random);
  c.electrolyte = random.chance(0.85) ? "resolved" : "uniform";
  if (random.chance(0.3)) c.from_soc = std::round(100 * random.share()) / 100;
  const bool thermal = c.files.front().second.find("thermal:") != std::string::npos;
  c.files.emplace_back("protocol.yaml", random_protocol(random, lower, upper, thermal));
  return c;
}

}  // namespace onegrain::attack
