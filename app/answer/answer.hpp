#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "app/answer/examination.hpp"
#include "app/answer/measure.hpp"
#include "app/answer/rows.hpp"

/// What a verb has to say, once: terminal, summary.json, curves.csv and report.html are renderings of the same answer.
///
/// Numbers are in SI for the whole cell (A, C, J), stoichiometries and shares as such; units and digits are settled by
/// the renderings from the `Measure` beside each number. Every sentence stands here and nowhere else. Text is UTF-8 and
/// shown as it is. A key is lower case with underscores and without unit; the summary appends the unit of the measure:
/// "capacity" in mAh is `capacity_mAh`. A path of keys, "bench.positive", nests. An empty key keeps a block out of the
/// summary.
namespace onegrain::app::answer {

/// Which renderings show a thing.
enum Places : unsigned { nowhere = 0, terminal = 1, page = 2, summary = 4, read = terminal | page, everywhere = 7 };

struct Figure {
  std::string key, label;
  double value = 0;
  Measure measure;
  ErrorBar uncertainty;
  std::string note;
  std::string at_the_top;  ///< not empty: stands large at the top of the page, under this name
  bool alone = false;      ///< in the summary a number alone, where others are {"value", "plus_minus"}
  Places places = everywhere;
};

/// Figures under one title, a line each. `key`: the object that holds them in the summary; "" puts them at its top.
struct Figures {
  std::string key, title;
  std::vector<Figure> figures;
  Places places = everywhere;
};

/// Words, yes or no, names that are numbers, and lists of words that only the summary holds: {"material", "NMC"}.
struct Facts {
  std::string key;
  std::vector<std::pair<std::string, std::variant<std::string, bool, std::uint64_t, std::vector<std::string>>>> facts;
};

struct TableColumn {
  std::string key, label;          ///< a path of keys, "trace.time", nests here too
  std::optional<Measure> measure;  ///< none: words
  Places places = everywhere;
};

/// In the summary an array of objects at `key`; a cell without content is left out there.
struct Table {
  std::string key, title;
  std::vector<TableColumn> columns;
  Rows rows;
  Places places = everywhere;
  Places titled = page;  ///< where the title stands above it
};

struct Paragraph {
  std::string text;
  Places places = read;
};
/// One under the other, each as it is: what was found in a file. Not on the page.
struct Lines {
  std::vector<std::string> lines;
};
struct Bullets {
  std::string title;
  std::vector<std::string> items;
  Places places = read;
};

struct Axis {
  std::string label;
  Measure measure;
  std::vector<double> include;                        ///< values that the axis shows in any case
  std::optional<double> most;                         ///< larger values do not stretch the axis
  std::optional<double> least;                        ///< smaller values do not stretch the axis
  bool logarithmic = false;                           ///< ticks at `ticks` only
  std::vector<std::pair<double, std::string>> ticks;  ///< the first ones first where there is no room for all
  std::string zero = {};  ///< logarithmic y: a value of 0 is drawn as a cross at the foot, under this name
};

/// How a line is drawn.
enum class LineRole {
  predicted,  ///< the first of two or so
  other,      ///< drawn against it
  in_order,   ///< one of several of which the order counts: dark to light by `Series::order`
  in_time,    ///< one of several moments
  measured,   ///< broad and light; several: by `Series::order`
  calculated  ///< thin and dark over the measured one of the same order, and not named again
};

struct Series {
  std::string label;
  LineRole role = LineRole::predicted;
  int order = 0;          ///< of `in_order`, `in_time`, `measured` and `calculated`, from 0
  bool doubtful = false;  ///< not to be relied on: drawn thin, named with (?)
  bool marked = false;    ///< a mark at every point
  bool stepped = false;   ///< each value holds until the next point
  bool filled = false;    ///< a light ground down to the axis
  bool joined = true;     ///< by a line; else marks alone, the band as bars
  std::vector<double> x, y;
  std::vector<double> low, high;       ///< a band around y; may be empty
  std::vector<std::string> at_points;  ///< words beside the points; may be empty
  /// What else is known at the points; shown under the pointer.
  struct Also {
    std::string label;
    Measure measure;
    std::vector<double> values;
  };
  std::vector<Also> also;
  std::vector<std::vector<std::string>> told = {};  ///< not empty: all that is shown under the pointer, for each point
};

/// A strip of the y axis to keep out of (`never`) or to take care in; infinite ends reach the edge.
struct Zone {
  double from, to;
  bool never = true;
  std::string words;
};
/// A strip of the x axis, its words above the plot.
struct Band {
  double from, to;
  bool never = true;
  std::string words;
};
/// A place that matters, with words beside it and dotted lines to both axes.
struct Mark {
  double x, y;
  std::string words;
};
/// A vertical line with words beside it, one above the other; beyond the right edge the words stand there alone.
struct Upright {
  double x;
  std::vector<std::string> words;
};
/// A horizontal line with words.
struct Level {
  double value;
  std::string words;
};
/// A vertical line with a short name between it and the next one.
struct Stage {
  double from, to;
  std::string name;
};

/// Lines over two axes. On the page alone.
struct Plot {
  std::string title, description;  ///< description: for those who do not see it
  Axis x, y;
  std::vector<Series> series;
  std::vector<Zone> zones;
  std::vector<Level> levels;
  std::vector<Stage> stages;
  std::vector<Band> bands = {};
  std::vector<Mark> marks = {};
  std::vector<Upright> uprights = {};
  enum class Names { below, above, right, none } names = Names::below;  ///< where the lines' names stand
  bool low = false;                                                     ///< of little height
  bool equal = false;                                                   ///< one unit is as long on both axes
  std::optional<std::pair<double, std::string>> whole;  ///< a value that counts as 100 % on a second axis, and of what
  std::vector<std::pair<LineRole, std::string>> key;    ///< what the looks of lines mean, above the plot
  std::string note;                                     ///< where lines are cut off
};

/// Bars from one foot, each with its name and words, in the order given. On the page alone. Their sizes have no axis:
/// what a bar stands for is in its words.
struct Bars {
  std::string title, description;
  struct Bar {
    std::string name, remark;  ///< remark: small, under the name
    double size;               ///< in any unit, the same for all; below 0 the bar goes to the left
    std::string words;
    double from = 0;    ///< where it begins
    bool part = false;  ///< looks as the part of this name in a stack does
  };
  std::vector<Bar> bars;
  bool numbered = true;  ///< 1., 2., ... before the names
};

/// Parts on top of each other against x, on the page alone. Parts of one name look alike in all stacks of a page.
struct Stack {
  std::string title, description;
  Axis x, y;
  std::vector<double> positions;
  struct Part {
    std::string name;
    std::vector<double> values;
  };
  std::vector<Part> parts;
  std::string total;  ///< what the sum of the parts is called
  std::string note;   ///< where the top of the stack is cut off
};

/// The layers of the cell, thickness to scale, the height shared by what fills the volume. On the page alone.
struct Layers {
  std::string title, description;
  struct Share {
    std::string name;
    double share;
    enum class Fill { empty, binder, own } fill;
  };
  struct Layer {
    std::string name;
    enum class Look { positive, negative, separator, lithium } look;
    double thickness;
    std::vector<Share> shares;
  };
  std::vector<Layer> layers;
};

/// Bars in rows over one axis: intervals of values, or stretches with a part in use. On the page alone.
struct Intervals {
  std::string title, description;
  Axis axis;
  std::vector<Level> levels;  ///< upright lines
  /// `interval`: a line from low to high with a dot, a thin line below for the part. `stretch`: a slab from low to
  /// high, hatched, the part dark.
  enum class Look { interval, stretch } look = Look::interval;
  struct Row {
    std::string name, words;      ///< words: under the pointer; of a stretch beside the name
    std::optional<double> value;  ///< the dot
    double low, high;             ///< an infinite end goes on at the edge with an arrow
    std::optional<std::pair<double, double>> part;
    bool doubtful = false;  ///< an open dot
  };
  std::vector<Row> rows;
};

/// Arrays of numbers that only the summary holds, members of the object at `key`.
struct Arrays {
  struct Array {
    std::string key;
    Measure measure;
    std::vector<double> values;
  };
  std::string key;
  std::vector<Array> arrays;
};

struct Block;

/// In the summary alone, an array of objects at `key`, each made of blocks of its own; for objects that hold tables.
struct Listed {
  std::string key;
  std::vector<std::vector<Block>> members;
};

/// One of these. How they are made, copied and destroyed stands in answer.cpp: written out in every file that says
/// something, it takes a fifth of the time of compiling it.
struct Block : std::variant<Paragraph, Lines, Bullets, Figures, Facts, Table, Plot, Bars, Stack, Layers, Intervals,
                            Arrays, Listed> {
  Block(Paragraph block);  // NOLINT(google-explicit-constructor)
  Block(Lines block);      // NOLINT(google-explicit-constructor)
  Block(Bullets block);    // NOLINT(google-explicit-constructor)
  Block(Figures block);    // NOLINT(google-explicit-constructor)
  Block(Facts block);      // NOLINT(google-explicit-constructor)
  Block(Table block);      // NOLINT(google-explicit-constructor)
  Block(Plot block);       // NOLINT(google-explicit-constructor)
  Block(Bars block);       // NOLINT(google-explicit-constructor)
  Block(Stack block);      // NOLINT(google-explicit-constructor)
  Block(Layers block);     // NOLINT(google-explicit-constructor)
  Block(Intervals block);  // NOLINT(google-explicit-constructor)
  Block(Arrays block);     // NOLINT(google-explicit-constructor)
  Block(Listed block);     // NOLINT(google-explicit-constructor)
  Block(const Block&);
  Block(Block&&) noexcept;
  Block& operator=(const Block&);
  Block& operator=(Block&&) noexcept;
  ~Block();
};

struct Section {
  std::string title;
  std::vector<Block> blocks;
  enum class Beside { none, two, three } beside = Beside::none;  ///< plots side by side, where there is room
  Places places = everywhere;
};

/// Columns of curves.csv: titles as an open standard or we have them, without unit.
struct CurvesTable {
  std::vector<std::pair<std::string, Measure>> columns;
  Rows rows;  ///< numbers in SI
};

struct UsedFile {
  std::string name, sha256;
  bool shipped = false;
};

/// A page to teach with: the file, and what it needs to know of the cell.
struct Teaching {
  std::string file;
  std::vector<double> cell;                     ///< model::numbers_of
  std::vector<double> cell_of_any_temperature;  ///< the same with what varies with temperature over a range of them
  std::vector<double> half_cell;                ///< its positive against lithium; empty where there is none to be had
  bool full_cell;
  bool tells_of_temperature;             ///< params::tells_of_temperature
  std::string unknown_over_temperature;  ///< params::unknown_over_temperature
  bool can_plate;                        ///< lithium may come out as metal on the electrode that takes it up
  std::string positive_material, negative_material;
};

/// Filled in by a verb: headline, sections, curves. The frame adds the rest, for every verb alike (see present.hpp).
struct Answer {
  std::string headline;
  std::vector<Finding> findings;  ///< what cannot be believed as it stands: the frame puts it before the headline
  std::vector<Section> sections;
  std::vector<std::string> warnings;     ///< own ones of the verb; those of the bench come before them
  std::vector<std::string> doubts;       ///< results that are not to be relied on, each with its reason
  std::vector<std::string> assumptions;  ///< of this calculation; those of the bench come before them
  bool all_assumptions_on_terminal = false;
  bool tells_the_cell = false;  ///< its sections hold the figures of the cell; the frame adds what went in alone
  bool recommends = false;      ///< names a rate to use: the cautions then stand right under the headline
  std::optional<CurvesTable> curves;
  std::string verbatim;                                         ///< not empty: printed as it is, and nothing else
  std::vector<std::pair<std::string, std::string>> more_files;  ///< name and content, beside the report
  std::string unsound;  ///< not empty: faults of the input, a line each, told in the narration; the status is theirs
  std::vector<std::pair<std::string, CurvesTable>> more_curves;  ///< name and columns, as curves.csv
  std::shared_ptr<const Teaching> teaching;                      ///< of `page` alone

  // By the frame.
  std::string verb, subject, arrangement;
  bool invented = false;
  std::string version, command;
  std::vector<UsedFile> files;
  std::vector<Figure> important;  ///< at the top of the page
  std::vector<Section> about_the_cell;
  std::vector<std::string> cautions;  ///< a verb may put its own before those that stand everywhere
};

}  // namespace onegrain::app::answer
