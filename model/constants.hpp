#pragma once

namespace onegrain::model {

/// Faraday constant e N_A, exact since the 2019 revision of the SI [C mol^-1]. Source: CODATA 2018.
inline constexpr double faraday_constant = 1.602176634e-19 * 6.02214076e23;

/// Molar gas constant k N_A, exact since the 2019 revision of the SI [J mol^-1 K^-1]. Source: CODATA 2018.
inline constexpr double gas_constant = 1.380649e-23 * 6.02214076e23;

/// Temperature at which the values on a card hold [K].
inline constexpr double reference_temperature = 298.15;

}  // namespace onegrain::model
