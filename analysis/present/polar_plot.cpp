#include "roundel/present/polar_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "analysis/present/polar_drawing.h"

namespace roundel::present {
namespace {

constexpr double page_width = 800;
constexpr double margin_x = 32;
constexpr double text_size = 15;
constexpr double line_height = 21;
constexpr double legend_size = 14;
constexpr double legend_height = 24;

/// Words of a sentence in lines that fit.
std::vector<std::string> wrapped(std::string_view text, double width, double size) {
  std::vector<std::string> lines;
  std::string line;
  while (!text.empty()) {
    const auto space = text.find(' ');
    const std::string word(text.substr(0, space));
    text.remove_prefix(space == std::string_view::npos ? text.size() : space + 1);
    if (!line.empty() && prose_width(line + ' ' + word, size) > width) {
      lines.push_back(std::move(line));
      line.clear();
    }
    if (!line.empty()) line += ' ';
    line += word;
  }
  if (!line.empty()) lines.push_back(std::move(line));
  return lines;
}

void left_text(Svg& svg, double x, double y, std::string_view css_class, std::string_view colour,
               std::string_view text, double size, std::string_view weight = "400") {
  svg.leaf("text",
           {{"class", std::string(css_class)},
            {"x", svg_number(x)},
            {"y", svg_number(y)},
            {"font-size", svg_number(size)},
            {"font-weight", std::string(weight)},
            {"fill", std::string(colour)}},
           text);
}

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

void PolarPlot::rim(const std::vector<bool>& sectors, Mark mark, std::string legend) {
  layers_.push_back({Layer::Kind::rim, {}, {}, sectors, {}, {}, mark, std::move(legend), {}});
}

void PolarPlot::remark(std::string text) {
  layers_.push_back({Layer::Kind::remark, {}, {}, {}, {}, {}, {}, std::move(text), {}});
}

std::string PolarPlot::svg() const {
  const auto sentence = wrapped(frame_.sentence, page_width - 2 * margin_x, text_size);
  const double text_bottom = 40 + line_height * static_cast<double>(sentence.size());
  const double centre_y = text_bottom + 56 + PolarDrawing::radius;
  const double legend_top = centre_y + PolarDrawing::radius + 64;

  // Keys two to a line, in order; a remark takes a line of its own.
  struct Entry {
    const Layer* layer;
    double x, y;
  };
  std::vector<Entry> entries;
  double y = legend_top;
  bool is_left = true;
  for (const Layer& layer : layers_) {
    if (layer.legend.empty()) continue;
    const bool wide = layer.kind == Layer::Kind::remark ||
                      prose_width(layer.legend, legend_size) > page_width / 2 - margin_x - 48;
    if (wide && !is_left) y += legend_height;
    if (wide) is_left = true;
    entries.push_back({&layer, is_left ? margin_x : page_width / 2, y});
    if (wide || !is_left) y += legend_height;
    is_left = wide || !is_left;
  }
  if (!is_left) y += legend_height;
  const double height = y + 8;

  Svg out;
  const std::string title_id = frame_.id + "-title";
  const std::string desc_id = frame_.id + "-desc";
  out.open("svg", {{"xmlns", "http://www.w3.org/2000/svg"},
                   {"class", "rd-plot"},
                   {"role", "img"},
                   {"aria-labelledby", title_id + " " + desc_id},
                   {"viewBox", fmt::format("0 0 {} {}", page_width, svg_number(height))},
                   {"width", svg_number(page_width)},
                   {"height", svg_number(height)},
                   {"font-family", std::string(font)}});
  out.leaf("title", {{"id", title_id}}, frame_.title);
  out.leaf("desc", {{"id", desc_id}}, frame_.description);
  out.leaf("style", {}, style_sheet());
  out.open("defs");
  out.open("pattern", {{"id", frame_.id + "-hatch"},
                       {"width", "5"},
                       {"height", "5"},
                       {"patternUnits", "userSpaceOnUse"},
                       {"patternTransform", "rotate(45)"}});
  out.leaf("path", {{"class", "rd-hatch"},
                    {"d", "M0 0V5"},
                    {"stroke", std::string(faint_colour)},
                    {"stroke-width", "2.4"}});
  out.close();
  out.close();
  out.leaf("rect", {{"class", "rd-paper"},
                    {"width", svg_number(page_width)},
                    {"height", svg_number(height)},
                    {"fill", std::string(paper_colour)}});
  left_text(out, margin_x, 38, "rd-ink", ink_colour, frame_.title, 20, "600");
  for (std::size_t i = 0; i < sentence.size(); ++i)
    left_text(out, margin_x, 64 + line_height * static_cast<double>(i), "rd-faint", faint_colour,
              sentence[i], text_size);

  PolarDrawing drawing(out, frame_, centre_y);
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

  for (const Entry& entry : entries) {
    const Layer& layer = *entry.layer;
    const std::string key = fmt::format("M{0} {1}h28v12h-28Z", entry.x, entry.y - 11);
    const std::string stroke = fmt::format("M{} {}h28", entry.x, entry.y - 5);
    switch (layer.kind) {
      case Layer::Kind::wedges:
      case Layer::Kind::band: {
        const Look look = look_of(layer.fill);
        out.leaf("path", {{"class", std::string(look.css_class)},
                          {"d", key},
                          {"fill", std::string(look.colour)}});
        break;
      }
      case Layer::Kind::outline:
      case Layer::Kind::ticks:
        drawing.stroke(stroke, look_of(layer.line));
        break;
      case Layer::Kind::rim:
        drawing.fill_mark(key, layer.mark);
        break;
      case Layer::Kind::remark:
        break;
    }
    const double indent = layer.kind == Layer::Kind::remark ? 0 : 38;
    left_text(out, entry.x + indent, entry.y, "rd-ink", ink_colour, layer.legend, legend_size);
  }
  out.close();
  return out.take();
}

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
