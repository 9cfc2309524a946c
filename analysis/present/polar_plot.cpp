#include "roundel/present/polar_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "analysis/present/plot_page.h"
#include "analysis/present/polar_drawing.h"

namespace roundel::present {
namespace {

LegendKey key_of_surface(Fill fill) { return {LegendKey::Kind::surface, look_of(fill)}; }
LegendKey key_of_stroke(Line line) { return {LegendKey::Kind::stroke, look_of(line)}; }

}  // namespace

PolarPlot::PolarPlot(PolarFrame frame) : frame_(std::move(frame)) {
  assert(frame_.outer > frame_.inner);
}

void PolarPlot::wedges(const Values& values, Fill fill, std::string legend) {
  layers_.push_back({Layer::Kind::wedges, values, {}, {}, fill, {}, {}, std::move(legend), {}});
}

void PolarPlot::band(const Values& low, const Values& high, Fill fill, std::string legend) {
  assert(low.size() == high.size());
  layers_.push_back({Layer::Kind::band, low, high, {}, fill, {}, {}, std::move(legend), {}});
}

void PolarPlot::outline(const Values& values, Line line, std::string legend, std::string label) {
  layers_.push_back(
      {Layer::Kind::outline, values, {}, {}, {}, line, {}, std::move(legend), std::move(label)});
}

void PolarPlot::ticks(const Values& values, Line line, std::string legend) {
  layers_.push_back({Layer::Kind::ticks, values, {}, {}, {}, line, {}, std::move(legend), {}});
}

void PolarFrame::around_zero(double farthest_db, double step_db) {
  const double edge = step_db * std::ceil((farthest_db + 0.2) / step_db);
  inner = -edge - step_db;
  outer = edge;
  // The rim's own label would stand on the rim: the unit goes to the last one inside.
  for (double value = -edge; value <= edge + 1e-9; value += step_db)
    rings.push_back({value, fmt::format("{:+.0f}{}", value == 0 ? 0.0 : value,
                                        value + 1.5 * step_db > edge ? " dB" : "")});
}

void PolarPlot::rim(const std::vector<bool>& sectors, Mark mark, std::string legend) {
  if (std::find(sectors.begin(), sectors.end(), true) == sectors.end()) return;
  layers_.push_back({Layer::Kind::rim, {}, {}, sectors, {}, {}, mark, std::move(legend), {}});
}

void PolarPlot::remark(std::string text) {
  layers_.push_back({Layer::Kind::remark, {}, {}, {}, {}, {}, {}, std::move(text), {}});
}

std::string PolarPlot::svg(Form form) const {
  const PlotSizes sizes = sizes_of(form);
  Legend legend(form);
  for (const Layer& layer : layers_) switch (layer.kind) {
      case Layer::Kind::wedges:
      case Layer::Kind::band:
        legend.add(key_of_surface(layer.fill), layer.legend);
        break;
      case Layer::Kind::outline:
      case Layer::Kind::ticks:
        legend.add(key_of_stroke(layer.line), layer.legend);
        break;
      case Layer::Kind::rim:
        legend.add({LegendKey::Kind::mark, {}, layer.mark}, layer.legend);
        break;
      case Layer::Kind::remark:  // a figure's page says it
        if (form == Form::document) legend.add({LegendKey::Kind::none, {}}, layer.legend);
        break;
    }
  // Room for the bearings' labels above and below.
  const double labels_height = PolarDrawing::radius + 30 + 2 * sizes.label;
  const double centre_y = heading_height(frame_, form) + labels_height;
  const double legend_top = centre_y + labels_height + sizes.legend / 2;

  Svg out;
  open_page(out, frame_, form, legend_top + legend.height());
  PolarDrawing drawing(out, frame_, {sizes.width / 2, centre_y}, sizes.label);
  drawing.paper();
  // Surfaces under the grid, lines over it.
  for (const Layer& layer : layers_) {
    if (layer.kind == Layer::Kind::wedges) drawing.wedges(layer.values, look_of(layer.fill));
    if (layer.kind == Layer::Kind::band)
      drawing.band(layer.values, layer.high, look_of(layer.fill));
  }
  drawing.rings_and_spokes();
  for (const Layer& layer : layers_) {
    if (layer.kind == Layer::Kind::outline) drawing.outline(layer.values, look_of(layer.line));
    if (layer.kind == Layer::Kind::ticks) drawing.ticks(layer.values, look_of(layer.line));
    if (layer.kind == Layer::Kind::rim) drawing.rim(layer.sectors, layer.mark);
  }
  LabelPlacer labels;
  drawing.bearing_labels(labels);
  for (const Layer& layer : layers_)
    if (!layer.label.empty()) drawing.curve_label(labels, layer.values, layer.label);
  drawing.ring_labels(labels);
  legend.draw(out, legend_top, hatch_url(frame_));
  out.close();
  return out.take();
}

std::string_view picture_style() { return style_sheet(); }

void set_rings(PolarFrame& frame, double highest, std::string_view unit) {
  const double span = highest - frame.inner;
  assert(span > 0);
  // Largest of 1, 2, 5 times a power of ten that gives at least four rings.
  double step = std::pow(10, std::floor(std::log10(span)));
  for (double factor : {5.0, 2.0, 1.0, 0.5, 0.2, 0.1})
    if (span >= 4 * factor * step) {
      step *= factor;
      break;
    }
  frame.outer = frame.inner + std::ceil(span / (step / 2) - 1e-9) * step / 2;
  frame.rings.clear();
  for (double value = (std::floor(frame.inner / step) + 1) * step; value < frame.outer - step / 4;
       value += step)
    frame.rings.push_back({value, svg_number(value)});
  if (!frame.rings.empty()) frame.rings.back().label += fmt::format(" {}", unit);
}

}  // namespace roundel::present
