#pragma once

#include <optional>
#include <string>
#include <vector>

#include "params/card/card.hpp"
#include "params/number/value.hpp"
#include "params/text/fields.hpp"

/// What diffraction finds in a powder beside the host: phases that weigh and take room, and hold no lithium that moves.
namespace onegrain::params {

struct SecondPhase {
  std::string name;      ///< as written: "NiO"
  Given<Fraction> mass;  ///< of the powder
  double density = 0;    ///< [kg/m3]
  std::string source;    ///< of the density
};

struct Phases {
  Given<Fraction> host;  ///< of the powder, by mass
  std::vector<SecondPhase> others;
  std::string cif;  ///< the file that tells them; may be empty
  /// Of what a file lists, until name_the_host() has told which is the host: all of them, with their formulas.
  std::vector<std::optional<Formula>> formulas;
  std::string host_name;

  /// Host per powder, by mass: of all that is listed, so that shares which are moved one by one still make a whole [1].
  double host_share() const;
  /// Volume of the second phases per mass of powder [m3/kg].
  double volume_of_others() const;
};

/// A compound that powders hold when precursors are left, or lithium meets air.
struct KnownPhase {
  const char* name;     ///< its formula, or its name in mineralogy
  const char* formula;  ///< as in parse_formula()
  double density;       ///< [kg/m3]
  const char* source;
};
/// By name, in any letters, or by formula; nullptr where it is none of the shipped.
const KnownPhase* known_phase(const std::string& name);
std::vector<std::string> known_phase_names();

/// The mapping under a key: `{host: 97 wt%, NiO: 3 wt%}`, or `{cif: refinement.cif}`. Densities come from a CIF of the
/// phase's name beside the sheet, NiO.cif, else from those known by name. Faults shares that do not add up to 100 %
/// (within 1 %), a missing host, a phase of unknown density.
std::optional<Phases> read_phases(Fields& fields, const std::string& key);

/// Phases of a CIF that lists `_pd_phase_mass_%` beside `_pd_phase_name` or `_pd_phase_id`; which of them is the host
/// is left open. Densities as above, or from the block that `_pd_phase_block_id` names (`_pd_block_id`, or the block's
/// own name). Source of the tags: the powder dictionary of CIF (IUCr, pdCIF, from memory).
std::optional<Phases> read_phases_of_cif(Fields& fields, const std::string& cif, const std::string& host_name);

/// Of phases from a CIF: the host is the one of the name given, else the one with the elements of the card's formula.
bool name_the_host(Fields& electrode, const std::string& key, const Material& material, Phases& phases);

/// Density and where it comes from, of a phase that has no crystal of its own; faults what nobody knows at `key`.
bool find_density(Fields& fields, const std::string& key, SecondPhase& phase);

/// Faults shares that do not make a whole.
bool check_sum(Fields& fields, const Phases& phases);

}  // namespace onegrain::params
