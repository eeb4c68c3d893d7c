#pragma once

#include <Eigen/Dense>
#include <cmath>
#include <fstream>
#include <functional>
#include <numbers>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "solver/estimation/least_squares.hpp"

/// The Statistical Reference Datasets of NIST for nonlinear regression; see tests/data/nist/README.md.
namespace onegrain::tests {

struct NistSet {
  std::string name, difficulty;
  Eigen::VectorXd starts[2], certified, standard_deviation;
  double sum_of_squares = 0, residual_standard_deviation = 0;
  int degrees_of_freedom = 0;
  Eigen::MatrixXd data;  ///< response, predictors

  /// Reads the file at the lines that its own head names.
  explicit NistSet(const std::string& set) : name(set) {
    std::ifstream in(ONEGRAIN_SOURCE_DIR "/tests/data/nist/" + set + ".dat");
    if (!in) throw std::runtime_error("no set " + set);
    std::vector<std::string> lines;
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    const auto numbers = [](const std::string& text) {
      std::vector<double> found;
      std::istringstream words(text);
      for (double x; words >> x;) found.push_back(x);
      return found;
    };
    const auto range = [&](const std::string& title) {
      for (const std::string& line : lines) {
        if (line.find(title) == std::string::npos || line.find("(lines") == std::string::npos) continue;
        int first = 0, last = 0;
        char to[3];
        if (std::sscanf(line.c_str() + line.find("(lines"), "(lines %d %2s %d)", &first, to, &last) == 3)
          return std::pair(first, last);
      }
      throw std::runtime_error(set + " does not say where its " + title + " are");
    };
    const auto after = [&](const std::string& title) {
      for (const std::string& line : lines) {
        if (line.rfind(title, 0) == 0) return line.substr(title.size());
      }
      throw std::runtime_error(set + " states no " + title);
    };
    std::vector<std::vector<double>> rows;
    const auto [first_start, last_start] = range("Starting Values");
    for (int k = first_start; k <= last_start; ++k) {
      const std::string& line = lines.at(static_cast<std::size_t>(k - 1));
      rows.push_back(numbers(line.substr(line.find('=') + 1)));
      if (rows.back().size() != 4) throw std::runtime_error(set + ": no parameter in line " + std::to_string(k));
    }
    const auto parameters = static_cast<Eigen::Index>(rows.size());
    for (Eigen::VectorXd* v : {&starts[0], &starts[1], &certified, &standard_deviation}) v->resize(parameters);
    for (Eigen::Index m = 0; m < parameters; ++m) {
      const std::vector<double>& row = rows[static_cast<std::size_t>(m)];
      starts[0](m) = row[0];
      starts[1](m) = row[1];
      certified(m) = row[2];
      standard_deviation(m) = row[3];
    }
    sum_of_squares = std::stod(after("Residual Sum of Squares:"));
    residual_standard_deviation = std::stod(after("Residual Standard Deviation:"));
    degrees_of_freedom = std::stoi(after("Degrees of Freedom:"));
    const int observations = std::stoi(after("Number of Observations:"));
    std::string joined;
    for (const std::string& line : lines) joined += line + "\n";
    difficulty = joined.find("Higher Level") != std::string::npos    ? "higher"
                 : joined.find("Average Level") != std::string::npos ? "average"
                                                                     : "lower";
    const auto [first, last] = range("Data  ");
    for (int k = first; k <= last; ++k) {
      const std::vector<double> row = numbers(lines.at(static_cast<std::size_t>(k - 1)));
      if (data.size() == 0) data.resize(observations, static_cast<Eigen::Index>(row.size()));
      if (static_cast<Eigen::Index>(row.size()) != data.cols() || last - first + 1 != observations)
        throw std::runtime_error(set + ": rows of data");
      for (Eigen::Index c = 0; c < data.cols(); ++c) data(k - first, c) = row[static_cast<std::size_t>(c)];
    }
  }
};

/// f(b, x), and its gradient over b.
using NistModel = std::function<double(const Eigen::VectorXd& b, const double* x, Eigen::VectorXd& gradient)>;

/// The model that the file of a set states as a formula.
inline NistModel nist_model(const std::string& set) {
  using Eigen::VectorXd;
  using std::exp, std::pow, std::log, std::sqrt;
  const auto is = [&](std::initializer_list<const char*> names) {
    for (const char* name : names) {
      if (set == name) return true;
    }
    return false;
  };
  if (is({"Misra1a", "BoxBOD"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double e = exp(-b[1] * *x);
      g << 1 - e, b[0] * *x * e;
      return b[0] * (1 - e);
    };
  }
  if (is({"Misra1b"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = 1 + b[1] * *x / 2;
      g << 1 - 1 / (u * u), b[0] * *x / (u * u * u);
      return b[0] * g[0];
    };
  }
  if (is({"Misra1c"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = 1 + 2 * b[1] * *x;
      g << 1 - 1 / sqrt(u), b[0] * *x / (u * sqrt(u));
      return b[0] * g[0];
    };
  }
  if (is({"Misra1d"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = 1 + b[1] * *x;
      g << b[1] * *x / u, b[0] * *x / (u * u);
      return b[0] * g[0];
    };
  }
  if (is({"Chwirut1", "Chwirut2"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double d = b[1] + b[2] * *x, f = exp(-b[0] * *x) / d;
      g << -*x * f, -f / d, -*x * f / d;
      return f;
    };
  }
  if (is({"DanWood"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = pow(*x, b[1]);
      g << u, b[0] * u * log(*x);
      return b[0] * u;
    };
  }
  if (is({"Lanczos1", "Lanczos2", "Lanczos3"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      double f = 0;
      for (int k = 0; k < 6; k += 2) {
        g[k] = exp(-b[k + 1] * *x);
        g[k + 1] = -*x * b[k] * g[k];
        f += b[k] * g[k];
      }
      return f;
    };
  }
  if (is({"Gauss1", "Gauss2", "Gauss3"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      g[0] = exp(-b[1] * *x);
      g[1] = -*x * b[0] * g[0];
      double f = b[0] * g[0];
      for (int k = 2; k < 8; k += 3) {
        const double z = (*x - b[k + 1]) / b[k + 2];
        g[k] = exp(-z * z);
        g[k + 1] = b[k] * g[k] * 2 * z / b[k + 2];
        g[k + 2] = g[k + 1] * z;
        f += b[k] * g[k];
      }
      return f;
    };
  }
  if (is({"ENSO"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double two_pi_x = 2 * std::numbers::pi * *x;
      g[0] = 1;
      g[1] = std::cos(two_pi_x / 12);
      g[2] = std::sin(two_pi_x / 12);
      double f = b[0] + b[1] * g[1] + b[2] * g[2];
      for (int k = 3; k < 9; k += 3) {
        const double angle = two_pi_x / b[k];
        g[k + 1] = std::cos(angle);
        g[k + 2] = std::sin(angle);
        g[k] = (b[k + 1] * g[k + 2] - b[k + 2] * g[k + 1]) * angle / b[k];
        f += b[k + 1] * g[k + 1] + b[k + 2] * g[k + 2];
      }
      return f;
    };
  }
  if (is({"Nelson"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double e = exp(-b[2] * x[1]);
      g << 1, -x[0] * e, b[1] * x[0] * x[1] * e;
      return b[0] - b[1] * x[0] * e;
    };
  }
  if (is({"Kirby2", "Hahn1", "Thurber"})) {  // polynomials of equal degree over one another
    const int degree = set == "Kirby2" ? 2 : 3;
    return [degree](const VectorXd& b, const double* x, VectorXd& g) {
      double above = b[0], below = 1, power = 1;
      g[0] = 1;
      for (int k = 1; k <= degree; ++k) {
        power *= *x;
        above += b[k] * power;
        below += b[degree + k] * power;
        g[k] = g[degree + k] = power;
      }
      const double f = above / below;
      g.head(degree + 1) /= below;
      g.tail(degree) *= -f / below;
      return f;
    };
  }
  if (is({"MGH09"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double above = *x * *x + *x * b[1], below = *x * *x + *x * b[2] + b[3], f = b[0] * above / below;
      g << above / below, b[0] * *x / below, -f * *x / below, -f / below;
      return f;
    };
  }
  if (is({"MGH10"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = *x + b[2], e = exp(b[1] / u), f = b[0] * e;
      g << e, f / u, -f * b[1] / (u * u);
      return f;
    };
  }
  if (is({"MGH17"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double e = exp(-*x * b[3]), h = exp(-*x * b[4]);
      g << 1, e, h, -*x * b[1] * e, -*x * b[2] * h;
      return b[0] + b[1] * e + b[2] * h;
    };
  }
  if (is({"Rat42"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double e = exp(b[1] - b[2] * *x), u = 1 + e, slope = -b[0] * e / (u * u);
      g << 1 / u, slope, -slope * *x;
      return b[0] / u;
    };
  }
  if (is({"Rat43"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double e = exp(b[1] - b[2] * *x), u = 1 + e, root = pow(u, -1 / b[3]), f = b[0] * root;
      const double slope = -f * e / (b[3] * u);
      g << root, slope, -slope * *x, f * log(u) / (b[3] * b[3]);
      return f;
    };
  }
  if (is({"Roszman1"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = *x - b[3], square = u * u + b[2] * b[2];
      g << 1, -*x, -u / square / std::numbers::pi, -b[2] / square / std::numbers::pi;
      return b[0] - b[1] * *x - std::atan(b[2] / u) / std::numbers::pi;
    };
  }
  if (is({"Bennett5"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double u = b[1] + *x, root = pow(u, -1 / b[2]), f = b[0] * root;
      g << root, -f / (b[2] * u), f * log(u) / (b[2] * b[2]);
      return f;
    };
  }
  if (is({"Eckerle4"})) {
    return [](const VectorXd& b, const double* x, VectorXd& g) {
      const double z = (*x - b[2]) / b[1], f = b[0] / b[1] * exp(-z * z / 2);
      g << f / b[0], f * (z * z - 1) / b[1], f * z / b[1];
      return f;
    };
  }
  throw std::runtime_error("no model for " + set);
}

/// Residuals f(b, x) - y of a set, not scaled; the response of Nelson is ln y, as its file says.
inline solver::LeastSquaresProblem nist_problem(const NistSet& set) {
  solver::LeastSquaresProblem problem;
  problem.residuals = static_cast<int>(set.data.rows());
  const NistModel f = nist_model(set.name);
  Eigen::MatrixXd data = set.data;
  if (set.name == "Nelson") data.col(0) = data.col(0).array().log().matrix().eval();
  problem.evaluate = [f, data](const Eigen::VectorXd& b, Eigen::VectorXd& r, Eigen::MatrixXd* J) {
    Eigen::VectorXd gradient(b.size());
    for (Eigen::Index k = 0; k < data.rows(); ++k) {
      const double x[2] = {data(k, 1), data(k, data.cols() - 1)};
      r(k) = f(b, x, gradient) - data(k, 0);
      if (J) J->row(k) = gradient;
    }
    return true;
  };
  return problem;
}

}  // namespace onegrain::tests
