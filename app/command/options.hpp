#pragma once

#include "app/command/commands.hpp"

namespace CLI {
class App;
}

/// Groups of options that verbs share; each adds its options to a verb and stores them in the request.
namespace onegrain::app::options {

void sheet(CLI::App& verb, Request& request);  ///< SHEET, required
void files(CLI::App& verb, Request& request);  ///< FILES of any kind, and --columns
void data(CLI::App& verb, Request& request);   ///< DATA behind the sheet, and --columns
void output(CLI::App& verb, Request& request);
void file_out(CLI::App& verb, Request& request);  ///< of verbs that print a file
void temperature(CLI::App& verb, Request& request);
void electrolyte(CLI::App& verb, Request& request);
void reaction(CLI::App& verb, Request& request);
void reaction_even(CLI::App& verb, Request& request);  ///< of verbs that try hundreds of curves
void from_soc(CLI::App& verb, Request& request);
void points(CLI::App& verb, Request& request);
void rates(CLI::App& verb, Request& request);
void direction(CLI::App& verb, Request& request);
void both(CLI::App& verb, Request& request);
void protocol(CLI::App& verb, Request& request);
void one_rate(CLI::App& verb, Request& request);
void at_rate(CLI::App& verb, Request& request);  ///< of `bench`
void steps(CLI::App& verb, Request& request);    ///< and where they begin, behind from_soc()
void overlay(CLI::App& verb, Request& request);
void search(CLI::App& verb, Request& request);  ///< of `balance` and `fit`
void fit(CLI::App& verb, Request& request);
void spectrum(CLI::App& verb, Request& request);
void ceiling(CLI::App& verb, Request& request);
void survey(CLI::App& verb, Request& request);
void folder(CLI::App& verb, Request& request);  ///< FOLDER with parts, and the sheet where it has moved
void bands(CLI::App& verb, Request& request);
void page(CLI::App& verb, Request& request);  ///< SHEET, or the demo; --out a file
void card(CLI::App& verb, Request& request);
void schema(CLI::App& verb, Request& request);

}  // namespace onegrain::app::options
