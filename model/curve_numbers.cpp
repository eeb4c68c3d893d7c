// Curves and properties as rows of numbers, and back.

#include <stdexcept>

#include "model/curve_data.hpp"
#include "model/potential.hpp"

namespace onegrain::model {

namespace {

double next(std::span<const double>& numbers) {
  if (numbers.empty()) throw std::invalid_argument("the numbers of a curve end too early");
  const double number = numbers.front();
  numbers = numbers.subspan(1);
  return number;
}

std::size_t next_count(std::span<const double>& numbers, std::size_t least, std::size_t most) {
  const double count = next(numbers);
  if (!(count >= static_cast<double>(least) && count <= static_cast<double>(most)))
    throw std::invalid_argument("the numbers of a curve are none");
  return static_cast<std::size_t>(count);
}

}  // namespace

void Curve::append_to(std::vector<double>& numbers) const {
  const Data& d = *data_;
  numbers.insert(numbers.end(), {d.lower, d.upper, d.beyond == Beyond::tangent ? 1.0 : 0.0, d.constant ? 1.0 : 0.0,
                                 static_cast<double>(d.pieces.size())});
  for (const Data::Piece& p : d.pieces) {
    numbers.insert(numbers.end(), {p.upper, p.origin, p.scale, static_cast<double>(p.count)});
    numbers.insert(numbers.end(), d.coefficients.begin() + p.first, d.coefficients.begin() + p.first + p.count);
  }
}

Curve Curve::taken_from(std::span<const double>& numbers) {
  auto data = std::make_shared<Data>();
  data->lower = next(numbers);
  data->upper = next(numbers);
  if (!(data->lower < data->upper)) throw std::invalid_argument("a curve without a range");
  data->beyond = next(numbers) != 0 ? Beyond::tangent : Beyond::hold;
  data->constant = next(numbers) != 0;
  const std::size_t pieces = next_count(numbers, 1, numbers.size() / 5);
  for (std::size_t k = 0; k < pieces; ++k) {
    const double upper = next(numbers), origin = next(numbers), scale = next(numbers);
    std::vector<double> c(next_count(numbers, 1, numbers.size()));
    for (double& coefficient : c) coefficient = next(numbers);
    data->add(upper, origin, scale, c);
  }
  data->index();
  return Curve(std::move(data));
}

void Property::append_to(std::vector<double>& numbers) const {
  numbers.insert(numbers.end(), {activation_energy_, factor_, static_cast<double>(samples_.size())});
  for (const Sample& sample : samples_) {
    numbers.push_back(sample.temperature);
    sample.curve.append_to(numbers);
  }
}

Property Property::taken_from(std::span<const double>& numbers) {
  const double activation_energy = next(numbers), factor = next(numbers);
  std::vector<Sample> samples;
  for (std::size_t count = next_count(numbers, 1, most_samples); count > 0; --count) {
    const double temperature = next(numbers);
    samples.push_back({temperature, Curve::taken_from(numbers)});
  }
  return Property(std::move(samples), activation_energy).scaled(factor);
}

void OpenCircuitPotential::append_to(std::vector<double>& numbers) const {
  potential_.append_to(numbers);
  entropic_.append_to(numbers);
}

OpenCircuitPotential OpenCircuitPotential::taken_from(std::span<const double>& numbers) {
  Property potential = Property::taken_from(numbers);
  Curve entropic = Curve::taken_from(numbers);
  return OpenCircuitPotential(std::move(potential), std::move(entropic));
}

}  // namespace onegrain::model
