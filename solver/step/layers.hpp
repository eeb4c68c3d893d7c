#pragma once

#include "model/grain.hpp"
#include "solver/step/state.hpp"

/// The layers that recent jumps of the current have made under the grain surfaces, as far as the modes do not hold
/// them.
namespace onegrain::solver {

/// What the modes lack of the response of a grain surface to a unit outflow (j / c_max, m/s) that began `age` ago, as
/// stoichiometry per m/s; 0 once they resolve it.
double missing_layer(const model::Grain& grain, double D, double age);

bool resolved(const model::Grain& grain, double D, double age);

/// The uneven filling of a state for grains of another number of modes than it was made with.
Eigen::VectorXd filling_for(const model::Grain& grain, const Eigen::VectorXd& polynomials,
                            const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current);

/// Its derivatives with respect to the parameters of the grain, in amplitudes: the carried layers grow with the
/// diffusion time as R j / D and age with it, and shrink with the capacity.
Eigen::MatrixXd slopes_for(const model::Grain& grain, const Eigen::MatrixXd& polynomials,
                           const std::vector<Jump>& jumps, double Jump::*diffusivity, double outflow_per_current);

}  // namespace onegrain::solver
