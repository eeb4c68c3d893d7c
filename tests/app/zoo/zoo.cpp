#include "tests/app/zoo/zoo.hpp"

namespace zoo {

using app_test::json;
using app_test::Outcome;

namespace {

Outcome called_in_json(std::vector<std::string> words) {
  words.push_back("--json");
  return app_test::program(words);
}

}  // namespace

void must_be_said(const Situation& situation) {
  INFO("situation: " << situation.name);
  REQUIRE_FALSE(situation.says.empty());
  const Folder folder;
  const Outcome outcome = called_in_json(situation.words(folder));
  INFO("narration: " << outcome.narration);
  CHECK(outcome.status == situation.status);
  if (outcome.status != situation.status) return;
  if (situation.status != 0) {
    CHECK(outcome.narration.find(situation.says) != std::string::npos);
    CHECK(outcome.results.empty());  // no figure beside a refusal
    return;
  }
  const json summary = json::parse(outcome.results);
  const std::string headline = summary.at("headline");
  INFO("headline: " << headline << "\nwarnings: " << summary.at("warnings").dump(1));
  bool said = false;
  for (const json& finding : summary.at("findings")) {
    const std::string sentence = finding.at("sentence");
    const std::size_t at = headline.find(sentence);
    CHECK(at != std::string::npos);
    CHECK(headline.rfind("Warning: ", 0) == 0);
    said = said || sentence.find(situation.says) != std::string::npos;
  }
  for (const json& warning : summary.at("warnings"))
    said = said || warning.get<std::string>().find(situation.says) != std::string::npos;
  CHECK(said);
}

void must_raise_nothing(const std::string& name, const std::function<std::vector<std::string>(const Folder&)>& words) {
  INFO("sound neighbour: " << name);
  const Folder folder;
  const Outcome outcome = called_in_json(words(folder));
  INFO("narration: " << outcome.narration);
  CHECK(outcome.status == 0);
  if (outcome.status != 0) return;
  const json summary = json::parse(outcome.results);
  INFO("headline: " << summary.at("headline"));
  CHECK(summary.at("findings") == json::array());
  CHECK(summary.at("warnings") == json::array());
  CHECK(summary.at("headline").get<std::string>().find("(?)") == std::string::npos);
}

}  // namespace zoo
