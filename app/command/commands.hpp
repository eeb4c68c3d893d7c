#pragma once

#include <cstdint>
#include <iosfwd>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

namespace onegrain::app {

/// Exit status of the program.
enum class Status {
  done = 0,
  wrong_command_line = 2,
  unsound_input = 3,
  not_completed = 4  ///< the calculation or the writing of its results; the reason is named
};

/// Of `survey`, and of `merge` as the parts say it.
struct SurveyRequest {
  std::vector<std::string> vary;  ///< PATH=RANGE each
  std::string places = "7";       ///< on the grid, for all or for each
  int sample = 0;                 ///< designs that fill the ranges instead of a grid
  bool same_n_to_p = false;
  std::string rates = "C/5,1C,3C";
  std::string positive_foil = "15 um", negative_foil = "10 um";
  std::string charge_within;  ///< "45 min"; empty: no charge is asked for
  int samples = 512;          ///< plausible cells of each design
  std::string part;           ///< "3/16"; empty: all of it
  int slurm = 0;              ///< so many parts as an array for a cluster; 0: none
  std::optional<int> design;  ///< whose sheet is written; none: the best one's
};

/// What the user asked for, as written.
struct Request {
  std::string verb;
  std::vector<std::string> files;    ///< the sheet first, then data files; `check` takes several files of any kind
  std::vector<std::string> columns;  ///< which column of a data file is what, as `time=t/h`
  std::string protocol;              ///< follow
  std::string rates = "C/20,C/10,C/5,C/2,1C,2C,3C,5C";
  bool charge = false, both = false;
  std::optional<double> from_soc;         ///< 0..1
  std::string states;                     ///< spectrum: states of charge; empty: 0.5
  std::string frequencies = "1e-3..1e5";  ///< spectrum: range, in hertz
  int per_decade = 10;                    ///< spectrum
  std::string rested_at;  ///< overlay, fit, balance: voltage at rest before the data, or a file with that rest
  std::string electrolyte = "resolved";
  std::string reaction;                 ///< "even", "uneven"; empty: as the verb has it
  std::string temperature;              ///< empty: that of the sheet
  std::string out;                      ///< folder, or one file, see is_one_file(); empty: no files
  std::string page_file = "page.html";  ///< page: the file to write
  bool json = false, quiet = false;
  std::string soc = "0..0.8", margin = "10 mV";  ///< ceiling
  int samples = 8192, threads = 0;               ///< ceiling; threads 0: all cores
  int band_cells = 0;                            ///< curve, rates: plausible cells; 0: no band
  std::string within = "3 %";                    ///< ceiling: half-width of the interval of the rate
  std::string rate;                              ///< losses
  std::string at_rate = "1C";                    ///< bench
  std::vector<std::string> wanted;               ///< bench: what a coating is to give
  std::uint64_t seed = 1;                        ///< ceiling
  bool staircase = false;                        ///< ceiling
  std::string steps;                             ///< of a data file that take part, "2..4"; empty: all
  std::string free_values;   ///< fit: what is estimated, separated by commas; empty: what the sheet leaves uncertain
  int fit_points = 300;      ///< fit, balance: rows of each file that take part
  int fit_starts = 6;        ///< fit: starting points of the search
  bool no_profiles = false;  ///< fit: linearised intervals only
  bool recognised = false;   ///< overlay
  std::string smoothing =
      "1 %";         ///< overlay: width of the window for dQ/dV (of the voltage range) and dV/dQ (of the capacity)
  int points = 100;  ///< of each array of `curve --json` and each curve of curves.csv
  SurveyRequest survey;
  std::vector<std::string> words;  ///< the whole command line, for the record
};

/// Where results and narration go. There is no colour in either, wherever they go.
struct Channels {
  std::ostream& results;
  std::ostream& narration;
  bool watched = false;       ///< narration goes to a terminal: a progress bar has a reader
  bool quiet = false;         ///< of the narration only warnings and errors are wanted
  std::size_t columns = 100;  ///< signs of a line of words
};

/// The command line is wrong; `what()` says how, in one sentence.
struct CommandLineError : std::runtime_error {
  using std::runtime_error::runtime_error;
};
/// Files are unsound; `what()` holds one line per fault.
struct UnsoundInput : std::runtime_error {
  using std::runtime_error::runtime_error;
};
/// The calculation, or writing its results, failed; `what()` says why.
struct NotCompleted : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// What is said, with Status::not_completed, where memory runs out.
inline constexpr const char* no_memory =
    "onegrain: not completed: the memory that this process may use does not suffice\n";

/// The whole program: parses the words after the program's name, does the work, returns the exit status.
int run(const std::vector<std::string>& words, std::ostream& results, std::ostream& narration);

}  // namespace onegrain::app
