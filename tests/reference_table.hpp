#pragma once

#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

/// Reads a table of tests/reference: '#' comments, a header line, numbers separated by commas.
namespace onegrain::tests {

struct ReferenceTable {
  std::vector<std::string> comments;
  std::vector<std::string> columns;
  std::vector<std::vector<double>> rows;

  explicit ReferenceTable(const std::string& name) {
    std::ifstream in(std::string(ONEGRAIN_SOURCE_DIR) + "/tests/reference/" + name);
    if (!in) throw std::runtime_error("no reference table " + name);
    for (std::string line; std::getline(in, line);) {
      if (line.empty()) continue;
      if (line.front() == '#') {
        comments.push_back(line);
        continue;
      }
      std::stringstream cells(line);
      std::vector<double> row;
      for (std::string cell; std::getline(cells, cell, ',');) {
        if (columns.empty() || rows.empty()) {
          try {
            row.push_back(std::stod(cell));
          } catch (const std::exception&) {
            columns.push_back(cell);
          }
        } else {
          row.push_back(std::stod(cell));
        }
      }
      if (!row.empty()) rows.push_back(row);
    }
    if (rows.empty()) throw std::runtime_error("empty reference table " + name);
  }

  /// The number after `key = ` in a comment.
  double stated(const std::string& key) const {
    for (const std::string& line : comments) {
      const auto at = line.find(key + " = ");
      if (at != std::string::npos) return std::stod(line.substr(at + key.size() + 3));
    }
    throw std::runtime_error("the reference states no " + key);
  }
};

}  // namespace onegrain::tests
