#include "model/root_search.hpp"

#include <sstream>

namespace onegrain::model::root_search {

namespace {
std::string text(double x) {
  std::ostringstream out;
  out.precision(10);
  out << x;
  return out.str();
}
}  // namespace

void fail(double a, double b, const std::string& why) {
  throw NoRoot("no root between " + text(a) + " and " + text(b) + ": " + why);
}

void fail_to_enclose(double a, double b, double fa, double fb) {
  fail(a, b, "the function is " + text(fa) + " and " + text(fb) + " there");
}

}  // namespace onegrain::model::root_search
