// What every picture has around its data: the document, heading and legend, in two sizes.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "analysis/present/style.h"
#include "analysis/present/svg.h"
#include "roundel/present/polar_plot.h"

namespace roundel::present {

/// Sizes by form, in units of the viewBox.
struct PlotSizes {
  double width, margin, label, legend, legend_height;
};
PlotSizes sizes_of(Form form);

/// How a layer shows in the legend.
struct LegendKey {
  enum class Kind { surface, stroke, mark, ring, none } kind;
  Look look;
  Mark mark = Mark::hatch;
};

/// Keys two to a line where they fit, in order; one without a key takes a line of its own.
class Legend {
 public:
  explicit Legend(Form form) : sizes_(sizes_of(form)) {}
  /// Entries without text are left out.
  void add(LegendKey key, std::string text);
  double height() const {
    return lines_ * sizes_.legend_height + (is_left_ ? 0 : sizes_.legend_height);
  }
  void draw(Svg& svg, double top, std::string_view hatch) const;

 private:
  struct Entry {
    LegendKey key;
    std::string text;
    bool is_left;
    double line;
  };
  PlotSizes sizes_;
  std::vector<Entry> entries_;
  double lines_ = 0;
  bool is_left_ = true;  // where the next one stands
};

/// Height of title and sentence; 0 in a figure, whose page says both.
double heading_height(const PolarFrame& frame, Form form);
/// Opens the svg element, with names for screen readers, style sheet, hatch pattern, paper; draws
/// the heading. The caller closes it.
void open_page(Svg& svg, const PolarFrame& frame, Form form, double height);

std::string hatch_url(const PolarFrame& frame);

void left_text(Svg& svg, double x, double y, std::string_view css_class, std::string_view colour,
               std::string_view text, double size, std::string_view weight = "400");
/// A stroke over a wider one in the paper's colour, so that it shows on any surface.
void draw_stroke(Svg& svg, const std::string& path, const Look& look);
/// A small ring on the paper's colour: a single observation.
void draw_ring(Svg& svg, double x, double y, const Look& look);
void draw_mark(Svg& svg, const std::string& path, Mark mark, std::string_view hatch);
/// Text centred on x, whose letters' middle is y; with a halo in the paper's colour if wanted.
void centred_text(Svg& svg, double x, double y, std::string_view css_class, std::string_view colour,
                  std::string_view text, double size, bool halo);

}  // namespace roundel::present
