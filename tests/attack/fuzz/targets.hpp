#pragma once

#include <string_view>

#include "params/text/faults.hpp"

/// One function for each reader: hands it any bytes at all and checks what it promises in its header. Nothing may be
/// thrown out of them but what the reader announces; a broken promise aborts with a sentence.
namespace onegrain::attack::fuzz {

void card(std::string_view bytes);        ///< materials, lithium metal, electrolytes
void cif(std::string_view bytes);         ///< Crystallographic Information Files, their numbers and cells
void columns(std::string_view bytes);     ///< column maps, titles, words of a state
void delimited(std::string_view bytes);   ///< tables of cards
void document(std::string_view bytes);    ///< YAML as a tree; a value put into it and read again
void expression(std::string_view bytes);  ///< formulas in x, c, T
void formula(std::string_view bytes);     ///< chemical formulas
void measured(std::string_view bytes);    ///< cyclers' files, their steps, the way back into the standard format
void protocol(std::string_view bytes);
void quantity(std::string_view bytes);  ///< numbers, units, quantities of every kind
void rate(std::string_view bytes);
void sheet(std::string_view bytes);
void spectrum(std::string_view bytes);  ///< measured impedance; the first line may say which column is what
void steps(std::string_view bytes);     ///< the option --steps

/// Ends the program with a sentence unless `holds`.
void require(bool holds, const char* sentence);

/// What must hold of the faults of any reading: there is a reason where nothing was read, each says what is wrong, and
/// no control character is among the words. Defined in text.cpp.
void check_messages(const params::Faults& faults, bool sound);

}  // namespace onegrain::attack::fuzz
