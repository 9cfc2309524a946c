// Pictures over two straight axes: vertical cuts, and what changes with time.
#pragma once
#include <string>
#include <utility>
#include <vector>

#include "roundel/present/polar_plot.h"

namespace roundel::present {

struct Axis {
  double low{}, high{};  ///< high > low
  std::string label;     ///< with the unit: "range, km"
  std::vector<std::pair<double, std::string>> ticks;
};

/// An axis from low to at least high with four to seven round ticks (1, 2 or 5 times a power of
/// ten apart). high > low.
Axis round_axis(double low, double high, std::string label);

/// Collects layers, drawn in the order in which they were added, and writes them as one SVG, with
/// the looks, the heading and the legend of a PolarPlot. What lies outside the axes is cut off.
class AxesPlot {
 public:
  struct At {
    double x{}, y{};
  };
  /// @param frame  heading and names; its values and rings are not used
  AxesPlot(PolarFrame frame, Axis x, Axis y);

  void area(std::vector<At> points, Fill fill, std::string legend);
  void line(std::vector<At> points, Line line, std::string legend);
  /// Rings at the points, all in the ink's colour.
  void marks(std::vector<At> points, std::string legend);
  /// Upright bars from the first's y to the second's, at the first's x.
  void bars(std::vector<std::pair<At, At>> bars, Fill fill, std::string legend);
  /// Upright rectangles between two opposite corners.
  void boxes(std::vector<std::pair<At, At>> corners, Fill fill, std::string legend);
  void remark(std::string text);

  std::string svg(Form form = Form::document) const;

 private:
  struct Layer {
    enum class Kind { area, line, marks, bars, boxes, remark } kind;
    std::vector<At> points;
    std::vector<std::pair<At, At>> bars;
    Fill fill{};
    Line line{};
    std::string legend;
  };
  PolarFrame frame_;
  Axis x_, y_;
  std::vector<Layer> layers_;
};

}  // namespace roundel::present
