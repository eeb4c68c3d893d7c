#include "app/study/new_sheet.hpp"

#include <algorithm>
#include <functional>

#include "app/manifest.hpp"
#include "params/text/document.hpp"
#include "params/text/library.hpp"

namespace onegrain::app {

namespace {

using params::SourceFile;

bool is_letter_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); }

std::string in_small_letters(std::string text) {
  for (char& c : text) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return text;
}

/// What may name a file in every file system and on every command line.
std::string tamed(const std::string& like) {
  std::string last = like.substr(like.find_last_of('/') == std::string::npos ? 0 : like.find_last_of('/') + 1);
  for (const char* ending : {".yaml", ".yml", ".csv", ".txt", ".tsv", ".dat"}) {
    if (last.ends_with(ending)) {
      last.resize(last.rfind('.'));
      break;
    }
  }
  std::string result;
  for (const char c : last) {
    if (is_letter_or_digit(c) || c == '-') {
      result += c;
    } else if (!result.empty() && result.back() != '_') {
      result += '_';
    }
  }
  result.erase(0, std::min(result.find_first_not_of("_-"), result.size()));
  result.resize(std::min<std::size_t>(result.size(), 60));
  result.resize(result.find_last_not_of('_') + 1);
  return result;
}

std::string without_ending(const std::string& name) { return name.substr(0, name.rfind('.')); }

/// A name as a value of YAML; one word of a result's name means something else there.
std::string as_yaml(const std::string& name) { return in_small_letters(name) == "null" ? params::quoted(name) : name; }

std::vector<std::string> reserved(const params::Sheet& sheet, const std::vector<std::string>& in_use) {
  std::vector<std::string> names = in_use;
  names.insert(names.end(), fixed_result_names().begin(), fixed_result_names().end());
  for (const SourceFile& file : sheet.files) {  // a shipped card is found by its name unless a file takes it
    if (file.shipped && file.named_by == sheet.files.front().name) names.push_back(file.named_as + ".yaml");
  }
  return names;
}

const params::Entry* entry_at(const params::Node& root, const std::string& path) {
  const params::Node* node = &root;
  const params::Entry* entry = nullptr;
  for (std::size_t from = 0, point = 0; point != std::string::npos; from = point + 1) {
    point = path.find('.', from);
    entry = node->find(path.substr(from, point == std::string::npos ? point : point - from));
    if (entry == nullptr) return nullptr;
    node = &entry->value;
  }
  return entry;
}

/// Every `table: NAME` below a node, with its path.
void find_tables(const params::Node& node, const std::string& path,
                 const std::function<void(const std::string&, const std::string&)>& found) {
  for (const params::Entry& entry : node.entries) {
    const std::string at = path.empty() ? entry.key : path + "." + entry.key;
    if (entry.key == "table" && entry.value.type == params::Node::Type::scalar) found(at, entry.value.text);
    find_tables(entry.value, at, found);
  }
}

}  // namespace

ResultNames::ResultNames(const std::vector<std::string>& taken) {
  for (const std::string& name : taken) taken_.insert(in_small_letters(name));
}

std::string ResultNames::make(const std::string& like, const std::string& ending, const std::string& otherwise) {
  const std::string stem = tamed(like).empty() ? otherwise : tamed(like);
  std::string name = stem + ending;
  for (int k = 2; !taken_.insert(in_small_letters(name)).second; ++k) name = stem + "_" + std::to_string(k) + ending;
  return name;
}

NewSheet::NewSheet(const params::Sheet& sheet, std::vector<std::string> names_in_use)
    : sheet_(sheet), names_in_use_(std::move(names_in_use)), names_(reserved(sheet, names_in_use_)) {
  params::for_each_card(sheet, [&](const std::string& place, const std::string& file) {
    const SourceFile* source = params::find_file_named(sheet.files, file);
    uses_.push_back({place, place.substr(0, place.find('.')) + "_fitted", source == nullptr ? &original() : source});
  });
}

const NewSheet::Use* NewSheet::use_of(const std::string& path) const {
  const auto of =
      std::find_if(uses_.begin(), uses_.end(), [&](const Use& use) { return path.starts_with(use.place + "."); });
  return of == uses_.end() || inside_sheet(*of) ? nullptr : &*of;
}

void NewSheet::revise(const std::string& path, const std::string& yaml) {
  if (const Use* use = use_of(path)) {
    uses_[static_cast<std::size_t>(use - uses_.data())].revisions.push_back({path.substr(use->place.size() + 1), yaml});
  } else {
    revisions_.push_back({path, yaml});
  }
}

void NewSheet::revise_table(const std::string& path, const std::string& like, std::string rows) {
  new_tables_.emplace_back(names_.make(like, ".csv", "table"), std::move(rows));
  revise(path, new_tables_.back().first);
}

bool NewSheet::holds_function(const std::string& path) const {
  const Use* use = use_of(path);
  const SourceFile& source = use != nullptr ? *use->source : original();
  params::Faults ignored;
  const auto document = params::read_document(*source.text, source.name, ignored);
  const params::Entry* entry =
      document ? entry_at(*document, use != nullptr ? path.substr(use->place.size() + 1) : path) : nullptr;
  return entry != nullptr && (entry->value.find("expression") != nullptr || entry->value.find("table") != nullptr);
}

const SourceFile* NewSheet::table_of(const SourceFile& source, const std::string& reference) const {
  const std::vector<const SourceFile*> all = params::files_named_by(sheet_.files, source.name);
  for (const SourceFile* file : all) {
    if (file->named_as == reference) return file;
  }
  for (const SourceFile* file : all) {  // named twice, in two ways
    if (file->name == params::beside(source.name, reference)) return file;
  }
  return nullptr;
}

std::string NewSheet::carried(const SourceFile& source, const std::string& ending) {
  const auto [at, is_new] = carried_.try_emplace(source.name);
  if (is_new) {
    const std::string name = names_.make(source.named_as, ending, ending == ".yaml" ? "card" : "table");
    at->second = name;
    std::string text = ending == ".yaml" ? with_tables(*source.text, source, {""}) : *source.text;
    files_.emplace_back(name, std::move(text));
    return name;
  }
  return at->second;
}

std::string NewSheet::with_tables(std::string text, const SourceFile& source, const std::vector<std::string>& places) {
  params::Faults ignored;
  const auto document = params::read_document(text, source.name, ignored);
  std::vector<params::Revision> renamed;
  for (const std::string& place : places) {
    const params::Entry* entry = document && !place.empty() ? entry_at(*document, place) : nullptr;
    if (!document || (!place.empty() && entry == nullptr)) continue;
    find_tables(
        place.empty() ? *document : entry->value, place, [&](const std::string& path, const std::string& reference) {
          if (std::any_of(new_tables_.begin(), new_tables_.end(), [&](const auto& t) { return t.first == reference; }))
            return;
          const SourceFile* table = table_of(source, reference);
          if (table == nullptr || !table->text) return;
          const std::string name = carried(*table, ".csv");
          if (name != reference) renamed.push_back({path, name});
        });
  }
  return params::revised(text, source.name, renamed);
}

std::vector<std::pair<std::string, std::string>> NewSheet::files() {
  files_ = new_tables_;
  std::vector<params::Revision> all = revisions_;
  std::vector<std::string> inside;
  for (const Use& use : uses_) {
    if (inside_sheet(use)) {
      inside.push_back(use.place);
      continue;
    }
    const SourceFile& source = *use.source;
    const bool hidden = std::any_of(names_in_use_.begin(), names_in_use_.end(), [&](const std::string& name) {
      return name == source.named_as + ".yaml";  // a file of the folder would be taken for it
    });
    if (!use.revisions.empty()) {
      const std::string name = names_.make(use.name_if_revised, ".yaml", "card");
      std::string text = params::revised(*source.text, source.name, use.revisions);
      files_.emplace_back(name, with_tables(std::move(text), source, {""}));
      all.push_back({use.place, as_yaml(without_ending(name))});
    } else if (!source.shipped || hidden) {
      const std::string name = carried(source, ".yaml");
      all.push_back({use.place, as_yaml(without_ending(name))});
    }
  }
  std::string text = params::revised(*original().text, original().name, all);
  files_.insert(files_.begin(), {"fitted.yaml", with_tables(std::move(text), original(), inside)});
  return files_;
}

}  // namespace onegrain::app
