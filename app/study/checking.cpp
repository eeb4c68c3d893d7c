#include "app/study/checking.hpp"

#include <filesystem>
#include <new>

#include "app/command/data.hpp"
#include "model/balance.hpp"
#include "params/record/levels.hpp"
#include "params/sheet/bench.hpp"
#include "params/sheet/protocol.hpp"
#include "params/text/stream.hpp"

namespace onegrain::app::study {

namespace {

using params::FileKind;

FileKind kind_of(const std::string& file, const Request& request) {
  const FileKind kind = params::file_kind(file);
  // A column map says that there are data; a name without a file may be a shipped sheet.
  std::error_code ignored;
  const bool there = std::filesystem::is_regular_file(file, ignored) || params::is_stream(file);
  return kind == FileKind::unknown && there && !request.columns.empty() ? FileKind::data : kind;
}

params::RateBase rate_base_of(const params::Sheet& sheet) {
  const model::Cell cell = params::to_cell(sheet);
  return params::rate_base(sheet, model::one_hour_charge(cell, model::equilibrium_window(cell)));
}

class Checker {
 public:
  explicit Checker(const Request& request) : request_(request) {}

  CheckedFile check(const std::string& file) {
    const FileKind kind = kind_of(file, request_);
    switch (kind) {
      case FileKind::material:
        return checked(file, kind, params::load_material(file));
      case FileKind::lithium_metal:
        return checked(file, kind, params::load_lithium_metal(file));
      case FileKind::electrolyte:
        return checked(file, kind, params::load_electrolyte(file));
      case FileKind::protocol:
        return protocol(file);
      case FileKind::data:
        return data(file);
      case FileKind::sheet:
      case FileKind::unknown:
        break;  // a shipped name, or whatever the sheet reader has to say of it
    }
    return sheet(file, kind);
  }

 private:
  template <class T>
  static CheckedFile checked(const std::string& file, FileKind kind, params::Loaded<T> loaded) {
    return {file, kind, loaded.value.has_value(), std::move(loaded.faults), "", std::move(loaded.files), {}};
  }

  static CheckedFile sheet(const std::string& file, FileKind kind) {
    params::Loaded<params::Sheet> loaded = params::load_sheet(file);
    CheckedFile result = checked(file, kind, loaded);
    if (!loaded.value) return result;
    result.name = loaded.value->name;
    result.kind = FileKind::sheet;  // one of the shipped, perhaps
    try {
      params::bench(*loaded.value);
      rate_base_of(*loaded.value);
    } catch (const model::ImpossibleBalance& impossible) {
      result.faults.error({file}, "", "", std::string("impossible cell: ") + impossible.what());
      result.sound = false;
    } catch (const std::bad_alloc&) {
      throw;
    } catch (const std::exception& other) {  // what every other verb would end with
      result.faults.error({file}, "", "", std::string("no cell can be made of this sheet: ") + other.what());
      result.sound = false;
    }
    return result;
  }

  CheckedFile protocol(const std::string& file) {
    const std::optional<params::Loaded<params::Sheet>>& cell = named_sheet();
    CheckedFile result{file, FileKind::protocol, false, {}, "", {}, {}};
    if (!cell) {
      result.faults.error({file}, "", "",
                          "a protocol is checked against a cell; name its sheet too: onegrain check SHEET " + file);
      return result;
    }
    if (const auto base = base_of_named()) {
      result = checked(file, FileKind::protocol, params::load_protocol(file, *cell->value, *base));
    }
    return result;  // an unsound sheet reports its own faults
  }

  CheckedFile data(const std::string& file) {
    params::Loaded<params::Measured> loaded = params::load_measured(file, measured_request(request_));
    std::optional<params::Measured> measured = std::move(loaded.value);
    loaded.value.reset();
    CheckedFile result = checked(file, FileKind::data, std::move(loaded));
    if (!measured) return result;
    result.sound = true;
    CheckedRecord record;
    record.measured = std::move(*measured);
    params::mend_sensors(record.measured);
    record.steps = params::recorded_steps(record.measured.record);
    params::examine(record.measured.record, record.steps, record.measured.doubts);
    record.balance = params::charge_balance(record.measured.record, record.steps);
    if (const auto base = base_of_named()) record.one_c = base->one_hour_charge * base->plate_area / 3600;
    result.record = std::move(record);
    return result;
  }

  /// The sheet among the files of the command line: the cell that a protocol or a record belongs to.
  const std::optional<params::Loaded<params::Sheet>>& named_sheet() {
    if (looked_) return named_;
    looked_ = true;
    for (const std::string& file : request_.files) {
      const FileKind kind = kind_of(file, request_);
      if (kind != FileKind::sheet && kind != FileKind::unknown) continue;  // unknown: it may be a shipped one
      params::Loaded<params::Sheet> sheet = params::load_sheet(file);
      if (!sheet.value && kind == FileKind::unknown) continue;
      named_ = std::move(sheet);
      break;
    }
    return named_;
  }
  std::optional<params::RateBase> base_of_named() {
    if (!named_sheet() || !named_->value) return std::nullopt;
    try {
      return rate_base_of(*named_->value);
    } catch (const model::ImpossibleBalance&) {  // told where the sheet itself is checked
      return std::nullopt;
    }
  }

  const Request& request_;
  bool looked_ = false;
  std::optional<params::Loaded<params::Sheet>> named_;
};

}  // namespace

std::vector<CheckedFile> check_files(const Request& request) {
  Checker checker(request);
  std::vector<CheckedFile> files;
  for (const std::string& file : request.files) files.push_back(checker.check(file));
  return files;
}

}  // namespace onegrain::app::study
