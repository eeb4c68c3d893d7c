#include "app/render/output.hpp"

#include <ostream>

#include "app/render/report.hpp"
#include "app/result_folder.hpp"

namespace onegrain::app {

void write_results(const Request& request, const Channels& channels, const nlohmann::json& summary,
                   const nlohmann::json& document, const std::string& curves,
                   const std::vector<std::pair<std::string, std::string>>& more) {
  if (request.out.empty()) return;
  ResultFolder folder(request.out, summary["command"]);
  if (!curves.empty()) folder.add("curves.csv", curves);
  for (const auto& [name, content] : more) folder.add(name, content);
  folder.add("summary.json", summary.dump(1) + "\n");
  folder.add("report.html", render_report(document));
  const ResultFolder::Outcome outcome = folder.write();
  for (const std::string& path : outcome.written) channels.narration << "wrote " << path << '\n';
  for (const std::string& remark : outcome.remarks) channels.narration << "note: " << remark << '\n';
}

}  // namespace onegrain::app
