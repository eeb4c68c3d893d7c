#pragma once

#include "app/answer/answer.hpp"
#include "app/study/curves.hpp"
#include "app/study/plating.hpp"
#include "app/study/voltage_parts.hpp"
#include "solver/step/losses.hpp"
#include "solver/step/trust.hpp"

/// Sentences, plots and stacks of calculated curves that more than one verb shows.
namespace onegrain::app::answer {

/// "C/10 discharge".
std::string name_of(const NamedCurve& curve);
/// "discharge" or "charge".
const char* sense_of(const NamedCurve& curve);

/// "diffusion in the positive grains"; half cells: "diffusion in the grains".
const char* name_of(study::VoltageLoss loss, bool full_cell);

/// The losses that can be switched off, by the same names as far as they are the same.
const char* name_of(solver::Loss loss, bool full_cell);

/// Adds to an answer what the calculation rests on: the electrolyte, when results are not relied on, the numerics.
void state_the_model(Answer& said, const Job& job);

/// "C/10 discharge: not to be relied on: reason; reason". Empty for what is.
std::string doubt(const std::string& what, const solver::Trust& trust);

/// Where the reaction is taken as even, what it is when resolved: the columns "resolved" of a table of curves or steps
/// and their cells, "1.41 mAh, 12 mV lower". No columns where it is resolved anyway.
std::vector<TableColumn> opinion_columns(const Job& job);
void add_opinion(Row& row, const Job& job, const std::optional<study::Opinion>& opinion);
/// The same in a sentence; empty where there is none.
std::string opinion_words(const Job& job, const std::string& name, const std::optional<study::Opinion>& opinion);

/// Voltage against capacity for one direction; the negative at its separator side while charging.
Plot voltage_plot(const Job& job, const std::vector<const NamedCurve*>& curves, const std::string& title, int points);
Plot negative_plot(const Job& job, const std::vector<const NamedCurve*>& curves, int points);

/// Where a curve that is over at once is none: less than a ten-thousandth of the rated capacity, or of a second,
/// passes.
bool over_at_once(const Job& job, const NamedCurve& curve);

/// Stoichiometry from the centre of the grains to their surface at five moments.
Plot grain_profile(const Job& job, const NamedCurve& curve, bool positive);

/// What each step costs against equilibrium, on top of each other.
Stack losses_stack(const Job& job, const NamedCurve& curve);

}  // namespace onegrain::app::answer
