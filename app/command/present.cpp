#include "app/command/present.hpp"

#include <ostream>

#include "app/answer/cell.hpp"
#include "app/answer/words.hpp"
#include "app/render/curves_file.hpp"
#include "app/render/page.hpp"
#include "app/render/summary.hpp"
#include "app/render/teaching.hpp"
#include "app/render/terminal.hpp"
#include "app/result_file.hpp"
#include "app/result_folder.hpp"
#include "params/text/printable.hpp"

namespace onegrain::app {

using namespace answer;

namespace {

/// At the top of the page: what the verb found, or else the cell.
void gather_important(Answer& said) {
  for (const auto* sections : {&said.sections, &said.about_the_cell}) {
    if (!said.important.empty()) return;
    for (const Section& section : *sections)
      for (const Block& block : section.blocks)
        if (const auto* figures = std::get_if<Figures>(&block))
          for (const Figure& figure : figures->figures)
            if (!figure.at_the_top.empty()) said.important.push_back(figure);
  }
}

/// The command line as it was typed, for the record.
std::string command_line(const Request& request) {
  std::string command = "onegrain";
  for (const std::string& word : request.words) {
    command += word.find(' ') == std::string::npos ? " " + word : " '" + word + "'";
  }
  return command;
}

}  // namespace

void complete(Answer& said, const Request& request) {
  said.verb = request.verb;
  said.version = ONEGRAIN_VERSION;
  said.command = params::valid_utf8(command_line(request));
}

void complete(Answer& said, const Request& request, const Job& job) {
  complete(said, request);
  said.subject = job.sheet.name;
  said.arrangement = job.cell.is_full_cell() ? "full cell" : "half cell against lithium";
  said.invented = invented(job);
  const std::vector<std::string>& doubts = job.bench.doubts;
  std::vector<Finding> findings;  // those of the cell come first
  for (const std::string& doubt : doubts) findings.push_back({"sheet", doubt + "."});
  findings.insert(findings.end(), said.findings.begin(), said.findings.end());
  said.findings = std::move(findings);
  std::string first;
  for (const Finding& finding : said.findings) first += "Warning: " + finding.sentence + " ";
  said.headline = first + said.headline;
  said.warnings.insert(said.warnings.begin(), job.reader_warnings.begin(), job.reader_warnings.end());
  said.warnings.insert(said.warnings.begin(), job.bench.warnings.begin(), job.bench.warnings.end());
  said.assumptions.insert(said.assumptions.begin(), job.bench.assumptions.begin(), job.bench.assumptions.end());
  if (!job.sheet.note.empty())
    said.assumptions.insert(said.assumptions.begin(), "Note of the sheet: " + params::one_line(job.sheet.note));
  said.cautions.insert(said.cautions.end(), cautions().begin(), cautions().end());  // behind those of the verb
  for (const params::SourceFile& file : job.sheet.files)
    said.files.push_back({params::valid_utf8(file.name), file.sha256, file.shipped});
  if (!said.tells_the_cell) {
    said.about_the_cell.push_back({"Currents for this cell", {currents(job)}});
    said.about_the_cell.push_back({"The cell in numbers", cell_figures(job)});
  }
  said.about_the_cell.push_back(what_went_in(job));
  gather_important(said);
}

namespace {

void remark(const Channels& channels, const std::string& words) {
  if (!channels.quiet) channels.narration << words << '\n';
}

/// What goes into one file, by its ending.
FileWriter content_of(const std::string& file, const Answer& said) {
  const std::string ending = file.substr(file.rfind('.'));
  if (ending == ".html") return [&said](std::ostream& out) { out << render::page_text(said); };
  if (ending == ".json") return [&said](std::ostream& out) { render::write_summary(out, said); };
  if (!said.curves) throw CommandLineError("--out '" + file + "': this answer of '" + said.verb + "' has no curves");
  return [&said](std::ostream& out) { render::write_curves(out, *said.curves); };
}

void write_one_file(const std::string& file, const Channels& channels, const FileWriter& content) {
  write_new_file(file, content);
  remark(channels, "wrote " + file);
}

}  // namespace

void present(const Request& request, const Channels& channels, const Answer& said) {
  if (!said.verbatim.empty()) {
    if (request.out.empty()) {
      channels.results << said.verbatim;
    } else {
      write_one_file(request.out, channels, [&](std::ostream& out) { out << said.verbatim; });
    }
    return;
  }
  const bool one_file = !request.out.empty() && is_one_file(request.out);
  const FileWriter one = one_file ? content_of(request.out, said) : FileWriter();
  if (request.json) {
    render::write_summary(channels.results, said);
  } else {
    render::print(channels.results, said, channels.columns);
  }
  if (!said.unsound.empty()) throw UnsoundInput(said.unsound);
  if (said.teaching)
    write_one_file(said.teaching->file, channels, [&](std::ostream& out) { out << render::teaching_page(said); });
  if (request.out.empty()) return;
  if (one_file) {
    write_one_file(request.out, channels, one);
    return;
  }
  ResultFolder folder(request.out, said.command);
  if (said.curves) folder.add("curves.csv", [&](std::ostream& out) { render::write_curves(out, *said.curves); });
  for (const auto& more : said.more_curves)
    folder.add(more.first, [&more](std::ostream& out) { render::write_curves(out, more.second); });
  for (const auto& [name, content] : said.more_files) folder.add(name, content);
  folder.add("summary.json", [&](std::ostream& out) { render::write_summary(out, said); });
  folder.add("report.html", render::page_text(said));
  const ResultFolder::Outcome outcome = folder.write();
  for (const std::string& path : outcome.written) remark(channels, "wrote " + path);
  for (const std::string& words : outcome.remarks) channels.narration << "note: " << words << '\n';
}

}  // namespace onegrain::app
