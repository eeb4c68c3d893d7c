#include "app/study/second_opinion.hpp"

#include <algorithm>

#include "app/study/curves.hpp"
#include "tests/app/helpers.hpp"

// What the resolved reaction is said to be, against the resolved reaction asked for itself.

using namespace app_test;
using namespace onegrain;

namespace {

struct Drawn {
  std::vector<double> capacity, voltage;
  double at(double q) const {
    const auto right = std::lower_bound(capacity.begin(), capacity.end(), q);
    const auto k = static_cast<std::size_t>(right - capacity.begin());
    if (k == 0 || k == capacity.size()) return voltage[std::min(k, voltage.size() - 1)];
    const double share = (q - capacity[k - 1]) / (capacity[k] - capacity[k - 1]);
    return voltage[k - 1] + share * (voltage[k] - voltage[k - 1]);
  }
};

Drawn drawn(const json& curve) {
  return {curve["capacity_mAh"].get<std::vector<double>>(), curve["voltage_V"].get<std::vector<double>>()};
}

json curve(const std::string& sheet, const std::string& rate, const std::string& sense, const std::string& reaction) {
  return json_of({"curve", sheet, "--rates", rate, sense, "--reaction", reaction, "--points", "1000"})["curves"][0];
}

}  // namespace

TEST_CASE("beside an even reaction stands what the resolved one gives", "[second_opinion]") {
  // The resolved reaction, held against full porous-electrode calculations elsewhere, run on its own.
  int believed = 0, doubted = 0;
  for (const char* sheet : {"demo", "lfp_half_cell", "nmc811_graphite_siox_21700"}) {
    for (const char* rate : {"C/5", "1C", "2C"}) {
      for (const char* sense : {"--discharge", "--charge"}) {
        INFO(sheet << " " << rate << " " << sense);
        const json even = curve(sheet, rate, sense, "even"), resolved = curve(sheet, rate, sense, "uneven");
        CHECK_FALSE(resolved.contains("resolved_capacity_mAh"));
        const double mine = even["capacity_total_mAh"], theirs = resolved["capacity_total_mAh"];
        CHECK(even["resolved_capacity_mAh"].get<double>() == Approx(theirs).epsilon(2e-4));
        const Drawn a = drawn(even), b = drawn(resolved);
        double largest = 0;
        for (int k = 0; k <= 2000; ++k) {
          const double q = (0.01 + (0.95 - 0.01) * k / 2000) * std::min(mine, theirs);
          if (std::abs(b.at(q) - a.at(q)) > std::abs(largest)) largest = b.at(q) - a.at(q);
        }
        // On a flat potential a front goes from point to point of the depth: two runs of it lie 0.5 mV apart.
        CHECK(even["resolved_less_even_mV"].get<double>() == Approx(1e3 * largest).margin(1.0).epsilon(0.02));
        const bool far = std::abs(largest) > 0.0255 || std::abs(theirs / mine - 1) > 0.0102;
        if (far) CHECK(even["trusted"] == false);
        if (far && even["ended_by"] == "voltage cut-off")
          CHECK_THAT(even["note"].get<std::string>(), HasText("with the reaction resolved over the depth"));
        ++(even["trusted"] == true ? believed : doubted);
      }
    }
  }
  CHECK(believed >= 6);
  CHECK(doubted >= 1);
}

TEST_CASE("in good conductors the second opinion is the first", "[second_opinion]") {
  // Newman and Balsara, Electrochemical Systems, ch. 22: with the conductivities the reaction becomes even.
  std::ostringstream nowhere;
  app::Request request;
  request.verb = "rates";
  request.files = {"demo"};
  request.electrolyte = "resolved";
  request.reaction = "even";
  app::Job job = app::load_job(request, {nowhere, nowhere});
  const auto difference = [&] {
    const auto curves =
        app::study::constant_currents(job, {params::parse_rates("2C", job.base), true, false, std::nullopt});
    REQUIRE(curves.front().opinion);
    CHECK(curves.front().trust.trusted());
    return std::abs(curves.front().opinion->difference);
  };
  const double as_it_is = difference();
  model::Electrolyte& electrolyte = job.cell.electrolyte;
  electrolyte.conductivity = electrolyte.conductivity.scaled(100);
  electrolyte.diffusivity = electrolyte.diffusivity.scaled(100);
  CHECK(as_it_is > 5e-3);
  CHECK(difference() < 0.03 * as_it_is + 2e-4);
}

TEST_CASE("every step of a protocol with an even reaction has its second opinion", "[second_opinion]") {
  const Folder folder;
  folder.write("p.yaml",
               "steps:\n- {drive: {rate: 1C, sense: discharge}, until: {voltage: 2.8 V}}\n- {drive: rest, until: "
               "{time: 30 min}}\n- {drive: {rate: C/2, sense: charge}, until: {voltage: 4.2 V}}\n- {drive: {voltage: "
               "4.2 V}, until: {rate: C/20, time: 2 h}}\nrepeat: 2\n");
  const json even = json_of({"follow", "demo", "--protocol", "p.yaml", "--reaction", "even"});
  const json resolved = json_of({"follow", "demo", "--protocol", "p.yaml"});
  REQUIRE(even["steps"].size() == 8);
  for (const json& step : even["steps"]) {
    INFO(step.dump());
    CHECK(std::abs(step["resolved_less_even_mV"].get<double>()) < 25);
  }
  // The first step begins in the same state in both; later ones differ by what the first ones have passed.
  CHECK(even["steps"][0]["resolved_capacity_mAh"].get<double>() ==
        Approx(resolved["steps"][0]["capacity_mAh"].get<double>()).epsilon(2e-4));
  CHECK_FALSE(resolved["steps"][0].contains("resolved_capacity_mAh"));
}
