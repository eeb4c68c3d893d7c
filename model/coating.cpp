#include "model/coating.hpp"

#include <algorithm>
#include <cmath>

namespace onegrain::model {

double usual_tortuosity(double porosity) { return 1 / std::sqrt(std::max(porosity, 1e-3)); }

}  // namespace onegrain::model
