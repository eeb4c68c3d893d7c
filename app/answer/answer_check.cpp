#include <fmt/format.h>

#include <algorithm>
#include <ostream>

#include "app/answer/answers.hpp"
#include "app/answer/record_words.hpp"
#include "app/study/checking.hpp"
#include "params/text/printable.hpp"
#include "params/text/stream.hpp"

// `check`: what every file is, and what is wrong with it. Faults are told in the narration, as every verb tells them;
// the summary holds them one by one.

namespace onegrain::app::answer {

namespace {

using params::FileKind;
using study::CheckedFile;

const char* kind_name(FileKind kind) {
  constexpr const char* names[] = {"sheet", "material", "lithium_metal", "electrolyte", "protocol", "data", "unknown"};
  return names[static_cast<std::size_t>(kind)];
}

std::string what_it_is(const CheckedFile& file) {
  switch (file.kind) {
    case FileKind::material:
      return "a material card";
    case FileKind::lithium_metal:
      return "a lithium metal card";
    case FileKind::electrolyte:
      return "an electrolyte card";
    case FileKind::protocol:
      return "a protocol";
    case FileKind::data: {
      const std::size_t steps = file.record->steps.size();
      return fmt::format("a time series of {} rows in {} step{}", file.record->measured.record.size(), steps,
                         steps == 1 ? "" : "s");
    }
    case FileKind::sheet:
    case FileKind::unknown:
      break;
  }
  return "a cell sheet: " + file.name;
}

Table checked_table(const std::vector<CheckedFile>& files) {
  Table table{"checked",
              "",
              {{"name", "file", {}},
               {"file_kind", "kind", {}},
               {"sound", "sound", {}},
               {"text", "what it is", {}},
               {"rows_read", "", counted()},
               {"rows_used", "", counted()},
               {"rows_left_out", "", counted()},
               {"decimal_comma", "", {}},
               {"header_line", "", counted()}},
              {},
              summary};
  for (const CheckedFile& file : files) {
    Row row = {params::valid_utf8(params::stream_name(file.file)), std::string(kind_name(file.kind)), file.sound};
    row.resize(table.columns.size());
    if (file.sound) row[3] = what_it_is(file);
    if (file.record) {
      const params::Measured& data = file.record->measured;
      row[4] = static_cast<double>(data.rows_read);
      row[5] = static_cast<double>(data.record.size());
      row[6] = static_cast<double>(data.doubts.left_out());
      row[7] = data.decimal_comma;
      if (data.header_line > 0) row[8] = static_cast<double>(data.header_line);
    }
    table.rows.add(row);
  }
  return table;
}

Table fault_table(const std::vector<CheckedFile>& files) {
  Table table{"faults",
              "",
              {{"name", "file", {}},
               {"line", "line", counted()},
               {"column", "column", counted()},
               {"severity", "", {}},
               {"path", "key", {}},
               {"written", "as written", {}},
               {"message", "what is wrong", {}},
               {"suggestion", "perhaps", {}}},
              {},
              summary};
  const auto words = [](const std::string& text) {
    TableCell cell;
    if (!text.empty()) cell = params::valid_utf8(text);
    return cell;
  };
  for (const CheckedFile& file : files) {
    for (const params::Fault& fault : file.faults.sorted()) {
      Row row = {params::valid_utf8(fault.place.file),
                 TableCell(),
                 TableCell(),
                 std::string(fault.severity == params::Severity::error ? "error" : "warning"),
                 words(fault.path),
                 words(fault.value),
                 params::valid_utf8(fault.message),
                 words(fault.suggestion)};
      if (fault.place.line > 0) {
        row[1] = static_cast<double>(fault.place.line);
        row[2] = static_cast<double>(fault.place.column);
      }
      table.rows.add(row);
    }
  }
  return table;
}

}  // namespace

Answer check(const Request& request, const Channels& channels) {
  const std::vector<CheckedFile> files = study::check_files(request);
  Answer said;
  bool all_sound = true;
  std::string faults;
  for (const CheckedFile& file : files) {
    all_sound = all_sound && file.sound;
    faults += file.faults.text();
    for (const params::SourceFile& source : file.files) {
      const std::string name = params::valid_utf8(source.name);
      const bool known =
          std::any_of(said.files.begin(), said.files.end(), [&](const UsedFile& other) { return other.name == name; });
      if (!known && !source.sha256.empty()) said.files.push_back({name, source.sha256, source.shipped});
    }
    if (!file.sound) continue;
    Section section;
    const std::size_t warnings = file.faults.sorted().size();
    std::string line = params::one_line(params::stream_name(file.file)) + ": sound, " + what_it_is(file);
    if (warnings > 0) line += warnings == 1 ? "; but look at the warning" : "; but look at the warnings";
    section.blocks.push_back(Lines{{line}});
    if (file.record) tell_record(section, *file.record);
    section.places = terminal;
    said.sections.push_back(std::move(section));
  }
  Section for_machines{"", {Facts{"", {{"sound", all_sound}}}, checked_table(files), fault_table(files)}, {}, summary};
  add_records(for_machines, files);
  said.sections.push_back(std::move(for_machines));
  if (all_sound) {
    channels.narration << faults;  // warnings
  } else {
    said.unsound = faults;
  }
  return said;
}

}  // namespace onegrain::app::answer
