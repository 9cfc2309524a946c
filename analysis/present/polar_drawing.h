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
  static constexpr double radius = 300;

  /// Svg and frame must outlive it.
  PolarDrawing(Svg& svg, const PolarFrame& frame, Point centre, double label_size);

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

 private:
  std::string ring_piece(double from_deg, double to_deg, double r1, double r2) const;
  Svg& svg_;
  const PolarFrame& frame_;
  Point centre_;
  double label_size_;
};

}  // namespace roundel::present
