#include "roundel/present/axes_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>

#include "analysis/present/label_placer.h"
#include "analysis/present/plot_page.h"
#include "roundel/present/units.h"

namespace roundel::present {
namespace {

constexpr double plot_height = 340;
constexpr Look marks_look{"rd-strong", ink_colour, "none", 1.6};

}  // namespace

Axis round_axis(double low, double high, std::string label) {
  assert(high > low);
  const double power = std::pow(10, std::floor(std::log10(high - low)));
  double step = power;
  for (const double factor : {2.0, 1.0, 0.5, 0.2, 0.1})
    if (high - low >= 3.5 * factor * power) {
      step = factor * power;
      break;
    }
  Axis axis;
  axis.low = std::floor(low / step + 1e-9) * step;
  axis.high = std::ceil(high / (step / 2) - 1e-9) * step / 2;
  axis.label = std::move(label);
  for (double value = axis.low; value < axis.high + step / 1e6; value += step) {
    const bool whole = step >= 1;
    axis.ticks.emplace_back(value, whole ? grouped(std::llround(value)) : svg_number(value));
  }
  return axis;
}

AxesPlot::AxesPlot(PolarFrame frame, Axis x, Axis y)
    : frame_(std::move(frame)), x_(std::move(x)), y_(std::move(y)) {
  assert(x_.high > x_.low && y_.high > y_.low);
}

void AxesPlot::area(std::vector<At> points, Fill fill, std::string legend) {
  layers_.push_back({Layer::Kind::area, std::move(points), {}, fill, {}, std::move(legend)});
}

void AxesPlot::line(std::vector<At> points, Line line, std::string legend) {
  layers_.push_back({Layer::Kind::line, std::move(points), {}, {}, line, std::move(legend)});
}

void AxesPlot::marks(std::vector<At> points, std::string legend) {
  layers_.push_back({Layer::Kind::marks, std::move(points), {}, {}, {}, std::move(legend)});
}

void AxesPlot::bars(std::vector<std::pair<At, At>> bars, Fill fill, std::string legend) {
  layers_.push_back({Layer::Kind::bars, {}, std::move(bars), fill, {}, std::move(legend)});
}

void AxesPlot::boxes(std::vector<std::pair<At, At>> corners, Fill fill, std::string legend) {
  layers_.push_back({Layer::Kind::boxes, {}, std::move(corners), fill, {}, std::move(legend)});
}

void AxesPlot::remark(std::string text) {
  layers_.push_back({Layer::Kind::remark, {}, {}, {}, {}, std::move(text)});
}

std::string AxesPlot::svg(Form form) const {
  const PlotSizes sizes = sizes_of(form);
  Legend legend(form);
  for (const Layer& layer : layers_) switch (layer.kind) {
      case Layer::Kind::area:
      case Layer::Kind::bars:
      case Layer::Kind::boxes:
        legend.add({LegendKey::Kind::surface, look_of(layer.fill)}, layer.legend);
        break;
      case Layer::Kind::line:
        legend.add({LegendKey::Kind::stroke, look_of(layer.line)}, layer.legend);
        break;
      case Layer::Kind::marks:
        legend.add({LegendKey::Kind::ring, marks_look}, layer.legend);
        break;
      case Layer::Kind::remark:  // a figure's page says it
        if (form == Form::document) legend.add({LegendKey::Kind::none, {}}, layer.legend);
        break;
    }
  double widest = 0;
  for (const auto& [value, text] : y_.ticks)
    widest = std::max(widest, text_width(text, sizes.label));
  const double left = sizes.margin + widest + 8;
  const double right = sizes.width - sizes.margin - 2 * sizes.label;
  // The upright axis' label stands over it, where it reads level.
  const double top = heading_height(frame_, form) + 2.2 * sizes.label + 8;
  const double bottom = top + plot_height;
  const double legend_top = bottom + 3.4 * sizes.label + sizes.legend;
  const auto px = [&](double x) {
    return left + (right - left) * (x - x_.low) / (x_.high - x_.low);
  };
  const auto py = [&](double y) {
    return bottom - (bottom - top) * (y - y_.low) / (y_.high - y_.low);
  };
  const auto path = [&](const std::vector<At>& points, bool closed) {
    std::string out;
    for (const At& at : points)
      out += fmt::format("{}{} {}", out.empty() ? 'M' : 'L', svg_number(px(at.x)),
                         svg_number(py(at.y)));
    return out + (closed && !out.empty() ? "Z" : "");
  };

  Svg out;
  open_page(out, frame_, form, legend_top + legend.height());
  const std::string clip = frame_.id + "-clip";
  out.open("clipPath", {{"id", clip}});
  out.leaf("rect", {{"x", svg_number(left)},
                    {"y", svg_number(top)},
                    {"width", svg_number(right - left)},
                    {"height", svg_number(bottom - top)}});
  out.close();
  const auto surface = [&](const Look& look, const std::string& d) {
    out.leaf("path", {{"class", std::string(look.css_class)},
                      {"d", d},
                      {"fill", std::string(look.colour)},
                      {"clip-path", "url(#" + clip + ")"}});
  };
  for (const Layer& layer : layers_) {
    if (layer.kind == Layer::Kind::area) surface(look_of(layer.fill), path(layer.points, true));
    std::string d;
    if (layer.kind == Layer::Kind::boxes) {
      for (const auto& [from, to] : layer.bars)
        d += fmt::format("M{} {}H{}V{}H{}Z", svg_number(px(from.x)), svg_number(py(from.y)),
                         svg_number(px(to.x)), svg_number(py(to.y)), svg_number(px(from.x)));
      if (!d.empty()) surface(look_of(layer.fill), d);
    }
    if (layer.kind != Layer::Kind::bars) continue;
    for (const auto& [from, to] : layer.bars)
      d += fmt::format("M{} {}h5V{}h-5Z", svg_number(px(from.x) - 2.5), svg_number(py(from.y)),
                       svg_number(py(to.y)));
    surface(look_of(layer.fill), d);
  }
  std::string grid;
  LabelPlacer labels;
  for (const auto& [value, text] : x_.ticks) {
    grid += fmt::format("M{} {}V{}", svg_number(px(value)), svg_number(top), svg_number(bottom));
    if (labels.take(px(value), bottom + sizes.label, text, sizes.label))
      centred_text(out, px(value), bottom + sizes.label, "rd-faint", faint_colour, text,
                   sizes.label, false);
  }
  for (const auto& [value, text] : y_.ticks) {
    grid += fmt::format("M{} {}H{}", svg_number(left), svg_number(py(value)), svg_number(right));
    const double x = left - 8 - text_width(text, sizes.label) / 2;
    if (labels.take(x, py(value), text, sizes.label))
      centred_text(out, x, py(value), "rd-faint", faint_colour, text, sizes.label, false);
  }
  out.leaf("path", {{"class", "rd-grid"},
                    {"d", grid},
                    {"fill", "none"},
                    {"stroke", std::string(grid_colour)},
                    {"stroke-width", "0.8"}});
  left_text(out, sizes.margin, top - 0.9 * sizes.label, "rd-ink", ink_colour, y_.label,
            sizes.label);
  centred_text(out, (left + right) / 2, bottom + 2.5 * sizes.label, "rd-ink", ink_colour, x_.label,
               sizes.label, false);
  out.open("g", {{"clip-path", "url(#" + clip + ")"}});
  for (const Layer& layer : layers_) {
    if (layer.kind == Layer::Kind::line && !layer.points.empty())
      draw_stroke(out, path(layer.points, false), look_of(layer.line));
    if (layer.kind == Layer::Kind::marks)
      for (const At& at : layer.points) draw_ring(out, px(at.x), py(at.y), marks_look);
  }
  out.close();
  legend.draw(out, legend_top, hatch_url(frame_));
  out.close();
  return out.take();
}

}  // namespace roundel::present
