#include "app/study/voltage_parts.hpp"

#include <sstream>

#include "app/study/curves.hpp"
#include "model/balance.hpp"
#include "tests/app/helpers.hpp"

using namespace app_test;
using namespace onegrain;

TEST_CASE("the parts of the voltage add up to what lies between equilibrium and the terminals", "[voltage_parts]") {
  // Conservation of energy per charge: U of the mean stoichiometries less V on discharge, V less U on charge.
  std::ostringstream nowhere;
  const app::Channels channels{nowhere, nowhere};
  for (const char* sheet : {"demo", "demo_half_cell", "nmc811_graphite_siox_21700", "lfp_half_cell"}) {
    for (const auto& [electrolyte, reaction] :
         {std::pair{"resolved", "uneven"}, {"uniform", "uneven"}, {"resolved", "even"}, {"uniform", "even"}}) {
      app::Request request;
      request.verb = "rates";
      request.files = {sheet};
      request.electrolyte = electrolyte;
      request.reaction = reaction;
      const app::Job job = app::load_job(request, channels);
      for (const app::NamedCurve& c :
           app::study::constant_currents(job, {params::parse_rates("C/5,2C", job.base), true, true, std::nullopt})) {
        const solver::StepSolution& step = c.curve.step;
        for (const double share : {0.0, 0.1, 0.6, 1.0}) {
          INFO(sheet << " " << electrolyte << " " << reaction << " " << c.label << " " << c.curve.is_charge() << " at "
                     << share);
          const solver::Point p = step.at(share * step.duration());
          double sum = 0;
          for (const app::study::VoltagePart& part : app::study::voltage_parts(job, p)) sum += part.volts;
          const double rest = model::equilibrium_voltage(job.cell, {p.positive_mean, p.negative_mean}, p.temperature);
          const double lost = (c.curve.is_charge() ? 1 : -1) * (p.terminal.voltage - rest);
          CHECK(sum == Approx(lost).margin(1e-9));
        }
      }
    }
  }
}
