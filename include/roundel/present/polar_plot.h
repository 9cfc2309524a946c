// Pictures over bearings: north up, clockwise, one frame for reach, pattern and comparison.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace roundel::present {

/// How a picture stands: on its own, with title, sentence and style sheet; or as a figure of a page
/// that has these, narrower and with larger letters.
enum class Form { document, figure };

/// What surrounds the data.
struct PolarFrame {
  std::string id =
      "polar";              ///< prefix of ids, unique where several pictures share a page; a-z only
  std::string title;        ///< above the picture, and its name for screen readers
  std::string sentence;     ///< under the title, wrapped; what the picture says
  std::string description;  ///< for screen readers: what is drawn, with the figures
  double inner = 0;         ///< value at the centre
  double outer = 1;         ///< value at the rim, > inner
  struct Ring {
    double value;
    std::string label;
  };
  std::vector<Ring> rings;  ///< from the inside out; between inner and outer

  /// Sets inner, outer and rings for decibels around zero: rings every `step_db` as far out as
  /// `farthest_db`, on both sides.
  void around_zero(double farthest_db, double step_db);
};

/// How a surface or line looks. Levels are one hue from light to dark, lines differ in dash as well
/// as in colour: everything survives grey print and colour blindness. Dark theme follows the
/// reader's setting; the colours are CSS variables (--rd-level-1 ... --rd-paper), and attributes
/// where a viewer knows no variables.
enum class Fill { level_1, level_2, level_3, level_4, level_5, accent };
enum class Line { limit_1, limit_2, limit_3, strong, accent };
enum class Mark { hatch, block };

/// Collects layers, drawn in the order in which they were added, and writes them as one SVG.
/// Values at or below the frame's inner one sit at the centre, beyond its outer one at the rim.
/// None is drawn as a gap, never as zero.
class PolarPlot {
 public:
  using Values = std::vector<std::optional<double>>;  ///< by sector, clockwise from north, even

  explicit PolarPlot(PolarFrame frame);

  /// A wedge for each sector, from the centre to its value.
  void wedges(const Values& values, Fill fill, std::string legend);
  /// A surface between two curves through the sectors' middles; open where either is none.
  void band(const Values& low, const Values& high, Fill fill, std::string legend);
  /// A curve through the sectors' middles. `label` (may be empty) is written on the curve.
  void outline(const Values& values, Line line, std::string legend, std::string label = {});
  /// A short arc across each sector at its value.
  void ticks(const Values& values, Line line, std::string legend);
  /// Marks sectors in a ring just inside the rim's labels; where none is set, nothing is drawn and
  /// the legend says nothing of it.
  void rim(const std::vector<bool>& sectors, Mark mark, std::string legend);
  /// A line of the legend without a key of its own.
  void remark(std::string text);

  /// With title and desc for screen readers. Labels do not overlap each other. A figure relies on
  /// picture_style() in its page.
  std::string svg(Form form = Form::document) const;

 private:
  struct Layer {
    enum class Kind { wedges, band, outline, ticks, rim, remark } kind;
    Values values, high;
    std::vector<bool> sectors;
    Fill fill{};
    Line line{};
    Mark mark{};
    std::string legend, label;
  };
  PolarFrame frame_;
  std::vector<Layer> layers_;
};

/// The style sheet that figures need, once a page.
std::string_view picture_style();

/// Rings at round values (1, 2 or 5 times a power of ten apart, four to seven of them) from inner
/// up to outer; the last label has the unit. Sets frame.outer to the first half step at or above
/// `highest`.
void set_rings(PolarFrame& frame, double highest, std::string_view unit);

}  // namespace roundel::present
