// Draws the parts of a polar plot: the one place where bearings become coordinates.
#pragma once
#include <string>
#include <string_view>

#include "analysis/present/label_placer.h"
#include "analysis/present/style.h"
#include "analysis/present/svg.h"
#include "roundel/present/polar_plot.h"

namespace roundel::present {

struct Point {
  double x, y;
};

class PolarDrawing {
 public:
  static constexpr double centre_x = 400;
  static constexpr double radius = 300;
  static constexpr double label_size = 13;

  /// Both must outlive it.
  PolarDrawing(Svg& svg, const PolarFrame& frame, double centre_y);

  /// North up, clockwise.
  Point at(double bearing_deg, double r) const;
  double r_of(double value) const;

  void paper();
  void rings_and_spokes();
  void bearing_labels(LabelPlacer& labels);
  /// All along one bearing between two spokes, where they are free; else those that are.
  void ring_labels(LabelPlacer& labels);
  /// Written on the curve, at the first bearing between two spokes where there is room.
  void curve_label(LabelPlacer& labels, const PolarPlot::Values& values, std::string_view label);

  void wedges(const PolarPlot::Values& values, const Look& look);
  void band(const PolarPlot::Values& low, const PolarPlot::Values& high, const Look& look);
  void outline(const PolarPlot::Values& values, const Look& look);
  void ticks(const PolarPlot::Values& values, const Look& look);
  void rim(const std::vector<bool>& sectors, Mark mark);

  /// Text centred on a point.
  void text(Point middle, std::string_view css_class, std::string_view colour,
            std::string_view what, double size, bool halo);
  /// A stroke over a wider one in the paper's colour, so that it shows on any surface.
  void stroke(const std::string& path, const Look& look);
  void fill_mark(const std::string& path, Mark mark);

 private:
  std::string ring_piece(double from_deg, double to_deg, double r1, double r2) const;
  Svg& svg_;
  const PolarFrame& frame_;
  double centre_y_;
};

std::string hatch_url(const PolarFrame& frame);

}  // namespace roundel::present
