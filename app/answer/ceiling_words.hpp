#pragma once

#include <string>

#include "app/answer/answer.hpp"
#include "app/study/ceiling.hpp"

/// Words, tables and plots of `ceiling`.
namespace onegrain::app::answer {

/// @throws CommandLineError  an option that cannot be
study::CeilingAsked ceiling_asked(const Request& request, const Job& job);

/// A half cell of an oxide: asked is how fast its working electrode is emptied, as it is when a full cell charges. That
/// of a host for negatives is asked how fast it may be filled.
bool empties(const Job& job);
/// Whether what is asked charges the cell, so that its voltage rises: of a full cell and of an oxide. A host for
/// negatives against lithium is filled, which a cycler calls a discharge.
bool charges(const Job& job);

/// "lithium plating on the negative", ...
std::string name_of(solver::Limit limit, const Job& job);
/// "potential of the negative against lithium, at its separator side", ...
std::string quantity_name(solver::Limit limit, const Job& job);

/// A rate that is allowed, rounded down: "0.38C", "none"; with the current: "0.786 mA".
std::string rate_words(const Job& job, double current);
std::string current_words(const Job& job, double current);
/// Minutes: "102 min", "7.35 min".
std::string minutes_words(double seconds);
/// "80 %"
std::string percent(double share);

/// "diffusion coefficient of graphite", from a path of the sheet.
std::string words_of_path(const Job& job, const std::string& path);

/// What the map over temperature cannot tell, or why there is none; empty where the cards tell all.
std::string temperature_remark(const Job& job);

/// How many plausible cells were taken, and how well they tell the rates.
std::string sampling_words(const Job& job, const study::CeilingAsked& asked, const study::PlausibleCells& plausible);
/// Where the rates with confidence over temperature come from.
std::string over_temperature_words(const study::CeilingFound& found);

/// Every limit with its worst moment; "margins" in the summary.
/// @param recommended  whether it is the charge at the recommended rate, or else the slowest looked at
Table margins_table(const Job& job, const solver::JudgedCharge& charge, bool recommended);

/// The recommended charge on its way.
Section path_section(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& found);
/// The plausible cells.
Plot survival_plot(const Job& job, const study::CeilingFound& found);
/// What to measure next. Empty where nothing would gain.
Bars unknown_bars(const Job& job, const study::CeilingFound& found);
/// @param found  with a temperature at which some rate is kept
Plot temperature_plot(const Job& job, const study::CeilingFound& found);

/// The staircase in words, in numbers ("ceiling.staircase") and drawn.
Section staircase_section(const Job& job, const study::CeilingAsked& asked, const study::CeilingFound& found);
/// The same as a protocol that `follow` runs.
std::string staircase_file(const Job& job, const study::CeilingAsked& asked, const study::StaircaseFound& found);

}  // namespace onegrain::app::answer
