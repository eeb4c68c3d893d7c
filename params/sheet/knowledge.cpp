#include <fmt/format.h>

#include <cmath>

#include "model/decompositions.hpp"
#include "params/sheet/keys.hpp"
#include "params/text/library.hpp"

// What tests tell of several quantities together, as it stands on a sheet.
namespace onegrain::params {

namespace {

/// What a quantity is made of: nothing where there is no such quantity in this sheet.
const Kind* kind_of(Sheet& sheet, const std::string& name) {
  for (const ElectrodeSheet* e : {&sheet.positive, sheet.negative ? &*sheet.negative : nullptr}) {
    if (e == nullptr) continue;
    if (name == e->key + ".diffusion_time") return &TimeKind::kind;
    if (name == e->key + ".exchange_current_density") return &CurrentDensityKind::kind;
    if (name == e->key + ".capacity") return &ArealCapacityKind::kind;
  }
  if (name == "lithium") return sheet.negative ? &ArealCapacityKind::kind : nullptr;
  if (name == "contact_resistance") return &ArealResistanceKind::kind;
  const Value* value = find_value(sheet, name);
  return value != nullptr && !value->of_function ? value->kind : nullptr;
}

class Reader {
 public:
  Reader(Fields& fields, Sheet& sheet, JointKnowledge& known) : fields_(fields), sheet_(sheet), known_(known) {}

  void read() {
    known_.place = fields_.reading().at(fields_.here().line, fields_.here().column);
    const std::vector<Node>& names = fields_.node("of")->items;
    for (const char* row : {"values", "spread"}) {
      if (const std::size_t found = fields_.node(row)->items.size(); found != names.size())
        return fields_.error(row, fmt::format("{} quantities, and {} here", names.size(), found));
    }
    for (std::size_t k = 0; k < names.size(); ++k) quantity(k);
    correlation();
  }

 private:
  void quantity(std::size_t k) {
    const Node& node = fields_.node("of")->items[k];
    const auto path = [&](const char* key) { return fmt::format("{}[{}]", fields_.path_of(key), k + 1); };
    const auto fault = [&](const std::string& message) {
      fields_.reading().faults->error(fields_.reading().at(node.line, node.column), path("of"), shown(node), message);
    };
    if (node.type != Node::Type::scalar) return fault("expected the name of a quantity");
    const Kind* kind = kind_of(sheet_, node.text);
    if (kind == nullptr)
      return fault(
          "no quantity of this cell that a test tells: an electrode's diffusion_time, exchange_current_density or "
          "capacity, lithium, contact_resistance, or a value of the sheet by its path");
    for (const JointKnowledge& other : sheet_.knowledge) {
      for (const KnownQuantity& named : other.of)
        if (&other == &known_ && named.name == node.text) return fault("named twice");
    }
    const bool may_be_zero = node.text == "contact_resistance";
    std::optional<Value> value = read_value(fields_.node("values")->items[k], path("values"), *kind,
                                            may_be_zero ? limits::not_negative : limits::positive, fields_.reading());
    if (!value) return;
    value->spread = read_spread(fields_.node("spread")->items[k], path("spread"), *kind, value->si, fields_.reading());
    value->least = 0;
    if (!value->spread.given()) return;
    if (value->spread.form == Spread::Form::absolute && !may_be_zero && value->spread.size >= value->si)
      return fields_.error("spread", "as wide as the value itself, which must be positive; state it as 'factor 3'");
    known_.of.push_back({node.text, std::move(*value)});
  }

  void correlation() {
    const auto count = static_cast<Eigen::Index>(known_.of.size());
    known_.correlation.setIdentity(count, count);
    const Node* rows = fields_.node("correlation");
    if (rows == nullptr) return;
    const auto wrong = [&](const char* why) { fields_.error("correlation", why); };
    if (rows->items.size() != fields_.node("of")->items.size())
      return wrong("expected a row, and a number in it, for each quantity");
    if (static_cast<std::size_t>(count) != rows->items.size()) return;  // a quantity has a fault of its own
    for (Eigen::Index i = 0; i < count; ++i) {
      const Node& row = rows->items[static_cast<std::size_t>(i)];
      if (row.type != Node::Type::sequence || row.items.size() != rows->items.size())
        return wrong("expected a row, and a number in it, for each quantity");
      for (Eigen::Index j = 0; j < count; ++j) {
        const std::optional<double> number = parse_number(row.items[static_cast<std::size_t>(j)].text);
        if (!number) return wrong("expected numbers between -1 and 1");
        known_.correlation(i, j) = *number;
      }
    }
    constexpr double rounded = 1e-3;
    const Eigen::MatrixXd& c = known_.correlation;
    if (!c.isApprox(c.transpose(), rounded))
      return wrong("a correlation is the same both ways: row 2, number 1 and row 1, number 2");
    if (((c.diagonal().array() - 1).abs() > rounded).any()) return wrong("a quantity hangs together with itself: 1");
    known_.correlation = (0.5 * (c + c.transpose())).eval();
    known_.correlation.diagonal().setOnes();
    if (!model::cholesky(known_.correlation))
      return wrong("no quantities can hang together like that: the matrix is not positive definite");
  }

  Fields& fields_;
  Sheet& sheet_;
  JointKnowledge& known_;
};

}  // namespace

void read_knowledge(Fields& fields, Sheet& sheet, JointKnowledge& known) { Reader(fields, sheet, known).read(); }

}  // namespace onegrain::params
