// `page`: the engine behind it tells the numbers of the command line, what its sliders change is what the sheet would
// change, and the file holds what it must. The same engine as WebAssembly, in node and in browsers:
// tests/web/engine.test.mjs, tests/web/teaching.py.

#include <algorithm>
#include <cmath>
#include <cstring>

#include "app/page/engine.hpp"
#include "model/balance.hpp"
#include "params/sheet/sheet.hpp"
#include "tests/app/helpers.hpp"
#include "tests/attack/random_cells.hpp"

using namespace app_test;
using namespace onegrain;

namespace {

constexpr double none = model::Changes::none;
constexpr int moments = 40;

std::vector<double> question(double rate, bool resolved, bool uneven) {
  std::vector<double> row(page::asked_before_steps, none);
  row[15] = resolved;
  row[16] = uneven;
  row[18] = moments;
  row[19] = 0;
  row[20] = row[21] = row[22] = 0;
  row[23] = 1;
  row.insert(row.end(), {0, rate, none, none, none, none});
  return row;
}

struct Curve {
  std::vector<double> voltage, capacity;  // [V], [mAh]
};

Curve of_engine(const std::vector<double>& numbers, const std::vector<double>& asked) {
  page::Engine engine;
  engine.take(numbers);
  const std::vector<double>& answer = engine.run(asked);
  const double area = answer[page::answer_head + 1];
  Curve curve;
  const auto first = static_cast<std::size_t>(page::answer_head + page::answer_cell + page::answer_per_step);
  for (std::size_t k = 0; k < static_cast<std::size_t>(answer[1]); ++k) {
    const std::size_t at = first + k * static_cast<std::size_t>(answer[3]);
    curve.capacity.push_back(std::abs(answer[at + 3]) * area / 3.6);
    curve.voltage.push_back(answer[at + 4]);
  }
  return curve;
}

/// Of the command line; empty where it cannot tell, with what it says.
Curve of_program(const std::string& sheet, double rate, bool resolved, bool uneven, std::string& says) {
  const Outcome outcome =
      program({"curve", sheet, "--rates", std::to_string(std::abs(rate)) + "C", rate > 0 ? "--charge" : "--discharge",
               "--electrolyte", resolved ? "resolved" : "uniform", "--reaction", uneven ? "uneven" : "even", "--points",
               std::to_string(moments), "--json"});
  says = outcome.narration;
  if (outcome.status != 0) return {};
  const json curve = json::parse(outcome.results)["curves"][0];
  return {curve["voltage_V"].get<std::vector<double>>(), curve["capacity_mAh"].get<std::vector<double>>()};
}

void compare(const std::string& sheet, double rate, bool resolved, bool uneven) {
  CAPTURE(sheet, rate, resolved, uneven);
  const auto loaded = params::load_sheet(sheet);
  REQUIRE(loaded.value);
  const std::vector<double> numbers = model::numbers_of(params::to_made_cell(*loaded.value, false));
  std::string says;
  const Curve told = of_program(sheet, rate, resolved, uneven, says);
  if (told.voltage.empty()) {
    INFO(says);
    CHECK_THROWS(of_engine(numbers, question(rate, resolved, uneven)));
    return;
  }
  const Curve page = of_engine(numbers, question(rate, resolved, uneven));
  REQUIRE(page.voltage.size() == told.voltage.size());
  double widest = 0;
  for (std::size_t k = 0; k < told.voltage.size(); ++k)
    widest = std::max(widest, std::abs(page.voltage[k] - told.voltage[k]));
  CHECK(widest < 5e-5);
  CHECK(page.capacity.back() == Approx(told.capacity.back()).epsilon(1e-4));
}

}  // namespace

TEST_CASE("the engine of a page tells the voltages and capacities of the command line", "[teaching]") {
  // Two ways of one calculation: a sheet read and solved by the program, and the same cell as a row of numbers.
  const Folder folder;
  const double rate = GENERATE(-1.0, 0.5);
  const bool resolved = GENERATE(true, false), uneven = GENERATE(true, false);
  SECTION("every shipped sheet") {
    int sheets = 0;
    for (const params::ShippedCard& card : params::shipped_cards())
      if (card.folder == "cells") {
        compare(card.name, rate, resolved, uneven);
        ++sheets;
      }
    CHECK(sheets > 5);
  }
  SECTION("ten random cells") {
    for (int number = 0; number < 10; ++number) {
      const attack::Case random = attack::random_case(20261127, number);
      for (const auto& [name, text] : random.files) folder.write(name, text);
      INFO(random.words);
      INFO(random.text("sheet.yaml"));
      compare("sheet.yaml", rate, resolved, uneven);
      for (const auto& [name, text] : random.files) fs::remove(name);
    }
  }
}

TEST_CASE("a cell and the row of its numbers are the same to the last bit", "[teaching]") {
  for (const params::ShippedCard& card : params::shipped_cards()) {
    if (card.folder != "cells") continue;
    CAPTURE(card.name);
    const std::vector<double> numbers =
        model::numbers_of(params::to_made_cell(*params::load_sheet(card.name).value, true));
    const std::vector<double> again = model::numbers_of(model::cell_of(numbers));
    REQUIRE(again.size() == numbers.size());
    CHECK(std::memcmp(again.data(), numbers.data(), numbers.size() * sizeof(double)) == 0);  // NaN too
    // and nothing that is cut short, or longer, is taken for a cell
    for (std::size_t length : {std::size_t{0}, std::size_t{1}, std::size_t{20}, numbers.size() / 2, numbers.size() - 1})
      CHECK_THROWS_AS(model::cell_of(std::span(numbers).first(length)), std::invalid_argument);
    std::vector<double> longer = numbers;
    longer.push_back(1);
    CHECK_THROWS_AS(model::cell_of(longer), std::invalid_argument);
  }
}

namespace {

void same_cell(const model::Cell& page, const model::Cell& sheet) {
  const auto same = [](double a, double b) { CHECK(a == Approx(b).epsilon(1e-9)); };
  const auto electrode = [&](const model::Electrode& a, const model::Electrode& b) {
    same(a.thickness, b.thickness);
    same(a.active_fraction, b.active_fraction);
    same(a.porosity, b.porosity);
    same(a.tortuosity, b.tortuosity);
    same(a.particle_radius, b.particle_radius);
    same(a.capacity(), b.capacity());
    same(a.host.diffusivity(0.4, sheet.temperature), b.host.diffusivity(0.4, sheet.temperature));
    same(a.host.exchange_current_density(0.5, sheet.temperature),
         b.host.exchange_current_density(0.5, sheet.temperature));
  };
  electrode(page.positive, sheet.positive);
  REQUIRE(page.negative.has_value() == sheet.negative.has_value());
  if (page.negative) electrode(*page.negative, *sheet.negative);
  same(page.temperature, sheet.temperature);
  // formulas of the temperature are sampled at six temperatures, good to some 1e-5 between them
  CHECK(page.electrolyte.conductivity(900, sheet.temperature) ==
        Approx(sheet.electrolyte.conductivity(900, sheet.temperature)).epsilon(1e-4));
  same(page.inventory.positive, sheet.inventory.positive);
  same(page.inventory.negative, sheet.inventory.negative);
  const model::Window a = model::equilibrium_window(page), b = model::equilibrium_window(sheet);
  same(a.capacity, b.capacity);
  same(model::one_hour_charge(page, a), model::one_hour_charge(sheet, b));
}

/// As somebody would write it on the sheet: `times` as heavy and as thick, then pressed so that so much of the layer is
/// pores.
void rewrite(params::ElectrodeSheet& electrode, double area, double times, double porosity) {
  const double pores = std::isnan(porosity) ? electrode.porosity(area) : porosity;
  const double thinner = (1 - electrode.porosity(area)) / (1 - pores);  // the solids stay
  if (electrode.layer) {
    electrode.layer->thickness.si *= times * thinner;
    electrode.layer->active_fraction.si /= thinner;
    electrode.layer->porosity.si = pores;
    return;
  }
  params::Coating& coating = *electrode.coating;
  if (coating.loading)
    coating.loading->si *= times;
  else
    coating.coated_disc_mass->si =
        coating.foil_mass->si + times * (coating.coated_disc_mass->si - coating.foil_mass->si);
  coating.thickness.si *= times * thinner;
}

}  // namespace

TEST_CASE("a slider of the page changes what the same change of the sheet would", "[teaching]") {
  const std::string name =
      GENERATE("demo", "demo_half_cell", "lco_graphite_10um", "nmc811_graphite_siox_21700", "lfp_half_cell");
  CAPTURE(name);
  params::Sheet sheet = *params::load_sheet(name).value;
  const model::MadeCell made = model::cell_of(model::numbers_of(params::to_made_cell(sheet, true)));
  const double area = sheet.plate_area();
  model::Changes changes;
  SECTION("nothing") {}
  SECTION("temperature") {
    changes.temperature = 283.15;
    sheet.temperature.si = 283.15;
  }
  SECTION("cut-offs") {
    changes.upper_voltage = sheet.upper_voltage.si - 0.1;
    changes.lower_voltage = sheet.lower_voltage.si + 0.2;
    sheet.upper_voltage.si = changes.upper_voltage;
    sheet.lower_voltage.si = changes.lower_voltage;
  }
  SECTION("radius, diffusion, exchange current") {
    changes.positive = {.particle_radius = 3e-6, .diffusivity = 0.5, .exchange_current = 3};
    sheet.positive.particle_radius.si = 3e-6;
    sheet.positive.material.diffusion_coefficient.si *= 0.5;
    sheet.positive.material.exchange_current_density.si *= 3;
  }
  SECTION("a thicker coating of the same make") {
    changes.positive.thickness = changes.negative.thickness = 1.7;
    rewrite(sheet.positive, area, 1.7, none);
    if (sheet.negative) rewrite(*sheet.negative, area, 1.7, none);
  }
  SECTION("the same coating pressed, or twice of it") {
    changes.positive.porosity = 0.25;
    rewrite(sheet.positive, area, 1, 0.25);
    if (sheet.negative) {
      changes.negative = {.thickness = 2, .porosity = 0.3};
      changes.positive.thickness = 2;
      rewrite(sheet.positive, area, 2, none);
      rewrite(*sheet.negative, area, 2, 0.3);
    }
  }
  same_cell(model::remade(made, changes), params::to_cell(sheet));
}

TEST_CASE("what no cell can have is an error in words, and the last answer stays", "[teaching]") {
  page::Engine engine;
  CHECK_THROWS_WITH(engine.run(question(-1, true, true)), "there is no cell yet");
  engine.take(model::numbers_of(params::to_made_cell(*params::load_sheet("demo").value, false)));
  const std::vector<double> good = engine.run(question(-1, true, true));
  struct Bad {
    std::size_t place;
    double value;
    const char* words;
  };
  const auto bad = GENERATE(values<Bad>({{2, 2.0, "the lower cut-off must lie below the upper one"},
                                         {5, -1e-6, "a grain needs a radius above zero"},
                                         {14, 0.995, "a porosity must lie between 1 and 99 %"},
                                         {18, 1, "a number of points that cannot be had"},
                                         {23, 2, "as many steps as are announced"}}));
  std::vector<double> asked = question(-1, true, true);
  asked[bad.place] = bad.value;
  CHECK_THROWS_WITH(engine.run(asked), bad.words);
  CHECK(engine.answer() == good);
}

TEST_CASE("lithium that leaves the grains of one side is the charge of the wire, and enters the other", "[teaching]") {
  // Faraday's law, at every moment of a protocol with rest and return; the means over radius and depth are integrals of
  // the profiles.
  page::Engine engine;
  engine.take(model::numbers_of(params::to_made_cell(*params::load_sheet("demo").value, false)));
  std::vector<double> asked = question(-2, true, true);
  asked[20] = 41;
  asked[21] = 5;
  asked[23] = 3;
  asked.insert(asked.end(), {1, 0, none, 600, none, none, 0, 1, none, none, none, none});
  const std::vector<double>& answer = engine.run(asked);
  const auto at = [&](std::size_t k) { return answer[static_cast<std::size_t>(page::answer_head) + k]; };
  const double host_positive = at(7), host_negative = at(8);
  std::size_t row = page::answer_head + page::answer_cell + 3 * page::answer_per_step;
  double x_p = NAN, x_n = NAN, farthest = 0;
  for (std::size_t k = 0; k < static_cast<std::size_t>(answer[1]); ++k, row += static_cast<std::size_t>(answer[3])) {
    const double charge = answer[row + 3], positive = answer[row + 14], negative = answer[row + 16];
    if (k == 0) {
      x_p = positive;
      x_n = negative;
    }
    CHECK((x_p - positive) * host_positive == Approx(charge).margin(1e-8 * host_positive));
    CHECK((negative - x_n) * host_negative == Approx(charge).margin(1e-8 * host_negative));
    // Trapezia in r^3 dr of the grain in the middle of five equal parts of the depth and their mean: the mean of the
    // layer, to what 41 points and five places tell.
    double mean = 0;
    for (std::size_t g = 0; g < 5; ++g)
      for (std::size_t r = 0; r < 40; ++r) {
        const double inner = static_cast<double>(r) / 40, outer = static_cast<double>(r + 1) / 40;
        const std::size_t first = row + page::answer_before_profiles + (5 + g) * 41 + r;
        mean += 0.2 * (outer * outer * outer - inner * inner * inner) * 0.5 * (answer[first] + answer[first + 1]);
      }
    farthest = std::max(farthest, std::abs(mean - negative));
  }
  CHECK(farthest < 3e-3);
}

TEST_CASE("a page to teach with is one file that asks for nothing outside and keeps what must be said", "[teaching]") {
  const Folder folder;
  folder.write("cell.yaml", with(small_sheet, "layer: {thickness: 75 um", "layer: {thickness: 25 um"));  // N/P below 1
  const Outcome outcome = program({"page", "cell.yaml", "--out", "lesson.html"});
  REQUIRE(outcome.status == 0);
  CHECK_THAT(outcome.narration, HasText("wrote lesson.html"));
  CHECK(folder.names() == std::vector<std::string>{"cell.yaml", "lesson.html"});
  const std::string page = folder.read("lesson.html");
  CHECK(page.size() < 600 * 1000);
  CHECK((page.find("default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline' 'wasm-unsafe-eval'; "
                   "worker-src blob:; base-uri "
                   "'none'; form-action 'none'") != std::string::npos));
  for (const char* outside : {"src=\"http", "href=\"http", "url(http", "@import"})
    CHECK((page.find(outside) == std::string::npos));
  const json summary = json_of({"page", "cell.yaml", "--out", "again.html"});
  REQUIRE_FALSE(summary["warnings"].empty());
  const std::string warning = summary["warnings"][0];
  CHECK((page.find(warning) != std::string::npos));
  CHECK((page.find("can cause fire and toxic gas (HF)") != std::string::npos));
  CHECK(summary["page"]["written_to"] == "again.html");
  CHECK(folder.read("again.html").size() > 300 * 1000);
  SECTION("without a sheet it is the demo") {
    CHECK(json_of({"page"})["sheet"] == json_of({"bench", "demo"})["sheet"]);
    CHECK(fs::exists("page.html"));
  }
  SECTION("it takes no other file's place, and no folder's") {
    for (const char* there : {"cell.yaml", "lesson.html", "/dev/null"}) {
      const Outcome over = program({"page", "cell.yaml", "--out", there});
      CHECK(over.status == 2);
      CHECK_THAT(over.narration, HasText("a file of that name is there already and is not replaced"));
    }
    fs::create_directory("there");
    CHECK(program({"page", "cell.yaml", "--out", "there"}).status == 2);
    const Outcome nowhere = program({"page", "cell.yaml", "--out", "no/such/folder.html"});
    CHECK(nowhere.status == 4);
    CHECK_THAT(nowhere.narration, HasText("'no/such/folder.html' cannot be written"));
    CHECK_THAT(folder.read("cell.yaml"), HasText("onegrain: 1"));
  }
}
