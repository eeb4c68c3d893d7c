#include "app/render/output.hpp"

#include <ostream>

#include "app/files.hpp"
#include "app/render/report.hpp"

namespace onegrain::app {

void write_results(const Request& request, const Channels& channels, const nlohmann::json& summary,
                   const nlohmann::json& document, const std::string& curves,
                   const std::vector<std::pair<std::string, std::string>>& more) {
  if (request.out.empty()) return;
  ResultFolder folder(request.out);
  if (!curves.empty()) folder.add("curves.csv", curves);
  for (const auto& [name, content] : more) folder.add(name, content);
  folder.add("summary.json", summary.dump(1) + "\n");
  folder.add("report.html", render_report(document));
  for (const std::string& path : folder.write()) channels.narration << "wrote " << path << '\n';
}

}  // namespace onegrain::app
