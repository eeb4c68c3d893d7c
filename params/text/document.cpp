#include "params/text/document.hpp"

#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <new>
#include <set>
#include <sstream>

#include "params/text/printable.hpp"

namespace onegrain::params {

namespace {

constexpr int deepest = 32;
constexpr std::size_t most_keys = 1000;
constexpr std::size_t most_items = 10000;
constexpr std::size_t biggest = std::size_t{1} << 20;

/// Ends the parsing after a fault beyond which the rest would only be noise.
struct Stop {};

class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(const std::string& file, Faults& faults) : file_(file), faults_(faults) {}

  Node root;
  int documents = 0;

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents > 1) stop(mark, "a second document ('---') begins here; one file holds one document");
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    refuse_anchor(mark, anchor);
    add(node(Node::Type::null, mark), mark);
  }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    stop(mark, "an alias ('*'); write the value out, or put it between quotes");
  }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    refuse(mark, tag, anchor);
    Node scalar = node(Node::Type::scalar, mark);
    scalar.text = value;
    if (tag != "!" && (value == "~" || value == "null" || value.empty())) scalar.type = Node::Type::null;
    add(std::move(scalar), mark);
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    refuse(mark, tag, anchor);
    open(Node::Type::sequence, mark);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    refuse(mark, tag, anchor);
    open(Node::Type::mapping, mark);
  }
  void OnMapEnd() override { close(); }
  void OnAnchor(const YAML::Mark& mark, const std::string&) override { refuse_anchor(mark, 1); }

 private:
  struct Level {
    Node node;
    bool awaits_value = false;  ///< of a mapping: a key was read
    std::set<std::string> keys;
  };

  Place place(const YAML::Mark& mark) const { return {file_, mark.line + 1, mark.column + 1}; }
  [[noreturn]] void stop(const YAML::Mark& mark, const std::string& message) {
    faults_.error(place(mark), "", "", message);
    throw Stop{};
  }
  void refuse_anchor(const YAML::Mark& mark, YAML::anchor_t anchor) {
    if (anchor != 0) stop(mark, "an anchor ('&'); write the value out where it is needed");
  }
  void refuse(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor) {
    refuse_anchor(mark, anchor);
    if (!tag.empty() && tag != "?" && tag != "!") stop(mark, "a tag ('!'); values need none");
  }

  static Node node(Node::Type type, const YAML::Mark& mark) {
    Node result;
    result.type = type;
    result.line = mark.line + 1;
    result.column = mark.column + 1;
    return result;
  }

  void open(Node::Type type, const YAML::Mark& mark) {
    if (levels_.size() >= deepest) stop(mark, "nested deeper than " + std::to_string(deepest) + " levels");
    if (!levels_.empty() && levels_.back().node.type == Node::Type::mapping && !levels_.back().awaits_value) {
      stop(mark, "a list or a mapping stands where a key is expected");
    }
    levels_.push_back({node(type, mark), false, {}});
  }

  void close() {
    Node done = std::move(levels_.back().node);
    levels_.pop_back();
    YAML::Mark mark;
    mark.line = done.line - 1;
    mark.column = done.column - 1;
    add(std::move(done), mark);
  }

  void add(Node value, const YAML::Mark& mark) {
    if (levels_.empty()) {
      root = std::move(value);
      return;
    }
    Level& level = levels_.back();
    if (level.node.type == Node::Type::sequence) {
      if (level.node.items.size() >= most_items)
        stop(mark, "a list of more than " + std::to_string(most_items) + " items");
      level.node.items.push_back(std::move(value));
      return;
    }
    if (level.awaits_value) {
      Entry& entry = level.node.entries.back();
      if (value.type == Node::Type::null && value.text.empty()) {  // its own mark is that of what follows
        value.line = entry.line;
        value.column = entry.column;
      }
      entry.value = std::move(value);
      level.awaits_value = false;
      return;
    }
    if (value.type != Node::Type::scalar) stop(mark, "a key is missing in front of ':'");
    if (level.node.entries.size() >= most_keys)
      stop(mark, "more than " + std::to_string(most_keys) + " keys in one mapping");
    if (!level.keys.insert(value.text).second) {
      faults_.error(place(mark), value.text, "", "this key stands here a second time");
    }
    level.node.entries.push_back({value.text, value.line, value.column, {}});
    level.awaits_value = true;
  }

  const std::string& file_;
  Faults& faults_;
  std::vector<Level> levels_;
};

/// Position of the first byte that is not well-formed UTF-8 (RFC 3629), or npos.
std::size_t not_utf8(std::string_view text) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = utf8_length(text.substr(at));
    if (length == 0) return at;
    at += length;
  }
  return std::string_view::npos;
}

Place place_of(std::string_view text, std::size_t at, const std::string& file) {
  const std::string_view before = text.substr(0, at);
  const auto line = 1 + std::count(before.begin(), before.end(), '\n');
  const std::size_t start = before.rfind('\n');
  return {file, static_cast<int>(line), static_cast<int>(at - (start == std::string_view::npos ? 0 : start + 1)) + 1};
}

/// Bytes that no sheet holds, found before YAML sees them.
bool readable(std::string_view text, const std::string& file, Faults& faults) {
  if (text.size() > biggest) {
    faults.error({file}, "", "", "bigger than 1 MiB; this is not a sheet or a card");
    return false;
  }
  if (text.substr(0, 2) == "\xFF\xFE" || text.substr(0, 2) == "\xFE\xFF") {
    faults.error({file}, "", "", "the text is UTF-16; save it as UTF-8");
    return false;
  }
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto byte = static_cast<unsigned char>(text[at]);
    if ((byte < 0x20 && byte != '\t' && byte != '\n' && byte != '\r') || byte == 0x7F) {
      faults.error(place_of(text, at, file), "", "", "a control character; this is not a text file");
      return false;
    }
    if (byte == '\r' && text.substr(at + 1, 1) != "\n") {  // the YAML reader would take all that follows for one line
      faults.error(
          place_of(text, at, file), "", "",
          "this line ends in a carriage return alone, as on very old computers; save the text with line feeds");
      return false;
    }
  }
  if (const std::size_t at = not_utf8(text); at != std::string_view::npos) {
    faults.error(place_of(text, at, file), "", "", "a byte that is not UTF-8; save the text as UTF-8");
    return false;
  }
  bool good = true;
  for (std::size_t start = 0; start < text.size() && good;) {
    const std::size_t first = text.find_first_not_of(' ', start);
    if (first == std::string_view::npos) break;
    const std::size_t end = std::min(text.find('\n', start), text.size());
    if (first < end && text[first] == '\t') {
      const std::size_t rest = text.find_first_not_of(" \t\r", first);
      if (rest < end && text[rest] != '#') {
        faults.error(place_of(text, first, file), "", "", "a tab indents this line; use spaces");
        good = false;
      }
    }
    start = end + 1;
  }
  return good;
}

}  // namespace

const Entry* Node::find(std::string_view key) const {
  for (const Entry& entry : entries) {
    if (entry.key == key) return &entry;
  }
  return nullptr;
}

std::optional<Node> read_document(std::string_view text, const std::string& file, Faults& faults) {
  if (!readable(text, file, faults)) return std::nullopt;
  TreeBuilder builder(file, faults);
  try {
    std::istringstream stream{std::string(text)};
    YAML::Parser parser(stream);
    while (parser.HandleNextDocument(builder)) {
    }
  } catch (const Stop&) {
    return std::nullopt;
  } catch (const YAML::Exception& fault) {
    const int line = std::max(fault.mark.line, 0) + 1, column = std::max(fault.mark.column, 0) + 1;
    faults.error({file, line, column}, "", "", "not valid YAML: " + fault.msg);
    return std::nullopt;
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception& fault) {
    faults.error({file}, "", "", std::string("not valid YAML: ") + fault.what());
    return std::nullopt;
  }
  if (builder.root.type == Node::Type::null) {
    faults.error({file}, "", "", "empty; nothing is stated");
    return std::nullopt;
  }
  if (builder.root.type != Node::Type::mapping) {
    faults.error({file, std::max(builder.root.line, 1), std::max(builder.root.column, 1)}, "", "",
                 "keys with values are expected, such as 'name: coin cell 07'");
    return std::nullopt;
  }
  return std::move(builder.root);
}

}  // namespace onegrain::params
