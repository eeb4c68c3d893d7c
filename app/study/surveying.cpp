#include "app/study/surveying.hpp"

#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "app/study/ensemble.hpp"
#include "params/text/sha256.hpp"

namespace onegrain::app::study {

namespace {

using Clock = std::chrono::steady_clock;

double quantity(const char* option, const std::string& text, const params::Kind& kind) {
  try {
    const double value = params::parse_quantity(text, kind);
    if (value > 0) return value;
  } catch (const params::QuantityError& error) {
    throw CommandLineError(std::string(option) + " '" + text + "': " + error.what());
  }
  throw CommandLineError(std::string(option) + " '" + text + "': above 0");
}

nlohmann::json options_of(const Request& request) {
  const SurveyRequest& s = request.survey;
  nlohmann::json options{{"vary", s.vary},
                         {"rates", s.rates},
                         {"positive_foil", s.positive_foil},
                         {"negative_foil", s.negative_foil},
                         {"electrolyte", request.electrolyte},
                         {"reaction", request.reaction},
                         {"temperature", request.temperature},
                         {"seed", request.seed},
                         {"same_n_to_p", s.same_n_to_p}};
  if (s.sample > 0)
    options["sample"] = s.sample;
  else
    options["places"] = s.places;
  if (!s.charge_within.empty()) {
    options["charge_within"] = s.charge_within;
    options["soc"] = request.soc;
    options["margin"] = request.margin;
    options["samples"] = s.samples;
  }
  return options;
}

}  // namespace

Survey::Survey(const Request& request, const Job& job, std::optional<ChargeAsked> charge)
    : designs_(job.sheet, request.survey.vary, request.survey.places, request.survey.sample, request.seed,
               request.survey.same_n_to_p),
      rates_(params::parse_rates(request.survey.rates, job.base)) {
  asked_.rates = request.survey.rates;
  asked_.electrolyte = job.electrolyte;
  asked_.reaction = request.reaction == "uneven" ? model::Reaction::uneven : model::Reaction::even;
  asked_.foils = {quantity("--positive-foil", request.survey.positive_foil, params::LengthKind::kind),
                  quantity("--negative-foil", request.survey.negative_foil, params::LengthKind::kind)};
  asked_.charge = std::move(charge);
  asked_.seed = request.seed;
  if (asked_.charge && !job.cell.is_full_cell())
    throw CommandLineError(
        "--charge-within: a half cell does not tell how fast a cell may be charged; survey a full cell");
  charge_within_ = asked_.charge ? quantity("--charge-within", request.survey.charge_within, params::TimeKind::kind)
                                 : std::numeric_limits<double>::infinity();
  head_.options = options_of(request).dump();
  head_.sheet = request.files.front();
  head_.count = designs_.count();
  head_.discharges = rates_.size();
  head_.charge = asked_.charge.has_value();
  std::string all = std::string(ONEGRAIN_VERSION) + "\n" + head_.options + "\n";
  for (const params::SourceFile& file : job.sheet.files) all += file.sha256 + "\n";
  head_.digest = params::sha256(all);
}

std::size_t Survey::slowest() const {
  const auto least =
      std::min_element(rates_.begin(), rates_.end(), [](const auto& a, const auto& b) { return a.c_rate < b.c_rate; });
  return static_cast<std::size_t>(least - rates_.begin());
}

void Survey::run(const Part& part, SurveyFile& file, int threads, const std::function<void(int, int)>& progress) const {
  const InterruptGuard guard;
  std::vector<int> left;
  int of_all = 0;
  for (int k = part.number - 1; k < designs_.count(); k += part.of) {
    ++of_all;
    if (!file.has(k)) left.push_back(k);
  }
  const int before = of_all - static_cast<int>(left.size());
  if (threads == 0) threads = core_count();
  std::vector<solver::Workspace> workspaces(static_cast<std::size_t>(threads));
  // So many at a time that a second or so of work is lost where the process is killed.
  std::size_t block = 8 * static_cast<std::size_t>(threads);
  for (std::size_t from = 0; from < left.size();) {
    const std::size_t count = std::min(block, left.size() - from);
    std::vector<Surveyed> done(count);
    const auto started = Clock::now();
    in_parallel(
        static_cast<int>(count), threads,
        [&](int n, int thread) {
          const auto k = static_cast<std::size_t>(n);
          done[k] = survey_design(designs_, left[from + k], asked_, workspaces[static_cast<std::size_t>(thread)]);
        },
        [&](int n) {
          if (progress) progress(before + static_cast<int>(from) + n, of_all);
        });
    done.erase(std::remove_if(done.begin(), done.end(), [](const Surveyed& told) { return told.number < 0; }),
               done.end());
    file.append(done);
    if (interrupted())
      throw NotCompleted("interrupted; the designs that are done are kept, and the same command with --part goes on");
    const std::chrono::duration<double> took = Clock::now() - started;
    if (took.count() < 0.7 && block < 8192) block *= 2;
    if (took.count() > 3 && block > static_cast<std::size_t>(threads)) block /= 2;
    from += count;
  }
}

Survey::Cost Survey::measured_cost() const {
  solver::Workspace workspace;
  const int count = std::min(8, designs_.count());
  const auto started = Clock::now();
  for (int n = 0; n < count; ++n)
    survey_design(designs_, static_cast<int>(static_cast<long long>(n) * designs_.count() / count), asked_, workspace);
  const std::chrono::duration<double> took = Clock::now() - started;
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return {took.count() / count, static_cast<double>(usage.ru_maxrss) * 1024};
}

void ask_again(const SurveyHead& head, Request& request) {
  try {
    const nlohmann::json o = nlohmann::json::parse(head.options);
    SurveyRequest& s = request.survey;
    s.vary = o.at("vary").get<std::vector<std::string>>();
    s.rates = o.at("rates");
    s.positive_foil = o.at("positive_foil");
    s.negative_foil = o.at("negative_foil");
    s.same_n_to_p = o.at("same_n_to_p");
    s.sample = o.value("sample", 0);
    s.places = o.value("places", s.places);
    s.charge_within = o.value("charge_within", "");
    s.samples = o.value("samples", s.samples);
    request.soc = o.value("soc", request.soc);
    request.margin = o.value("margin", request.margin);
    request.electrolyte = o.at("electrolyte");
    request.reaction = o.at("reaction");
    request.temperature = o.at("temperature");
    request.seed = o.at("seed");
  } catch (const nlohmann::json::exception&) {
    throw NotCompleted(
        "the head of a part in this folder says nothing that can be read; run the survey again into another folder");
  }
}

}  // namespace onegrain::app::study
