#include <filesystem>
#include <ostream>

#include "app/job.hpp"
#include "params/library.hpp"
#include "params/measured.hpp"
#include "params/protocol.hpp"

namespace onegrain::app {

namespace {

struct Verdict {
  std::string faults;   ///< one line each, warnings included
  bool sound;
  std::string about;    ///< what the file is, if sound
};

template <class T>
Verdict verdict(const params::Loaded<T>& loaded, const std::string& about) {
  return {loaded.faults.text(), loaded.value.has_value(), about};
}

Verdict check_protocol(const std::string& file, const Request& request) {
  for (const std::string& other : request.files) {
    const params::FileKind kind = params::file_kind(other);
    if (kind != params::FileKind::sheet && kind != params::FileKind::unknown) continue;  // unknown: it may be a shipped one
    const auto sheet = params::load_sheet(other);
    if (!sheet.value && kind == params::FileKind::unknown) continue;
    if (!sheet.value) return {"", false, ""};  // the sheet reports its own faults
    const model::Cell cell = params::to_cell(*sheet.value);
    const auto base = params::rate_base(*sheet.value, model::one_hour_charge(cell, model::equilibrium_window(cell)));
    return verdict(params::load_protocol(file, *sheet.value, base), "a protocol");
  }
  return {file + ": a protocol is checked against a cell; name its sheet too: onegrain check SHEET " + file + "\n", false, ""};
}

Verdict check_file(const std::string& file, const Request& request) {
  switch (params::file_kind(file)) {
    case params::FileKind::material: return verdict(params::load_material(file), "a material card");
    case params::FileKind::lithium_metal: return verdict(params::load_lithium_metal(file), "a lithium metal card");
    case params::FileKind::electrolyte: return verdict(params::load_electrolyte(file), "an electrolyte card");
    case params::FileKind::protocol: return check_protocol(file, request);
    case params::FileKind::data: {
      const auto loaded = params::load_measured(file);
      return verdict(loaded, loaded.value ? "a time series of " + std::to_string(loaded.value->time.size()) + " rows" : "");
    }
    case params::FileKind::sheet:
    case params::FileKind::unknown: break;  // a shipped name, or whatever the sheet reader has to say of it
  }
  const auto loaded = params::load_sheet(file);
  return verdict(loaded, loaded.value ? "a cell sheet: " + loaded.value->name : "");
}

}  // namespace

void check(const Request& request, const Channels& channels) {
  std::string faults;
  bool all_sound = true;
  for (const std::string& file : request.files) {
    const Verdict v = check_file(file, request);
    faults += v.faults;
    all_sound = all_sound && v.sound;
    if (v.sound) channels.results << file << ": sound, " << v.about << '\n';
  }
  if (!all_sound) throw UnsoundInput(faults);
  channels.narration << faults;  // warnings
}

}  // namespace onegrain::app
