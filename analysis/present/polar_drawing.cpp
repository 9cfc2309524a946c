#include "analysis/present/polar_drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/present/plot_page.h"

namespace roundel::present {
namespace {

constexpr double rim_inside = PolarDrawing::radius + 4;
constexpr double rim_outside = PolarDrawing::radius + 12;

std::string fixed(std::string_view text) { return std::string(text); }

std::string xy(Point point) { return svg_number(point.x) + ' ' + svg_number(point.y); }

/// Index of the sector that follows another, around north.
std::size_t next(std::size_t i, std::size_t n) { return i + 1 == n ? 0 : i + 1; }

}  // namespace

PolarDrawing::PolarDrawing(Svg& svg, const PolarFrame& frame, Point centre, double label_size)
    : svg_(svg), frame_(frame), centre_(centre), label_size_(label_size) {}

Point PolarDrawing::at(double bearing_deg, double r) const {
  const double bearing = bearing_deg * std::numbers::pi / 180;
  return {centre_.x + r * std::sin(bearing), centre_.y - r * std::cos(bearing)};
}

double PolarDrawing::r_of(double value) const {
  return radius * std::clamp((value - frame_.inner) / (frame_.outer - frame_.inner), 0.0, 1.0);
}

/// From radius r1 to r2 between two bearings less than a half turn apart.
std::string PolarDrawing::ring_piece(double from_deg, double to_deg, double r1, double r2) const {
  const std::string back = r1 > 0
                               ? fmt::format("L{}A{} {} 0 0 0 {}", xy(at(to_deg, r1)),
                                             svg_number(r1), svg_number(r1), xy(at(from_deg, r1)))
                               : fmt::format("L{}", xy(at(0, 0)));
  return fmt::format("M{}A{} {} 0 0 1 {}{}Z", xy(at(from_deg, r2)), svg_number(r2), svg_number(r2),
                     xy(at(to_deg, r2)), back);
}

void PolarDrawing::paper() {
  svg_.leaf("circle", {{"class", "rd-paper rd-rim"},
                       {"cx", svg_number(centre_.x)},
                       {"cy", svg_number(centre_.y)},
                       {"r", svg_number(radius)},
                       {"fill", fixed(paper_colour)},
                       {"stroke", fixed(faint_colour)}});
}

void PolarDrawing::rings_and_spokes() {
  std::string grid;
  for (int bearing_deg = 0; bearing_deg < 360; bearing_deg += 30)
    grid += fmt::format("M{}L{}", xy(at(bearing_deg, 0)), xy(at(bearing_deg, radius)));
  for (const auto& ring : frame_.rings) {
    const double r = r_of(ring.value);
    for (double side_deg : {0.0, 180.0})
      grid += fmt::format("M{}A{} {} 0 0 1 {}", xy(at(side_deg, r)), svg_number(r), svg_number(r),
                          xy(at(side_deg + 180, r)));
  }
  svg_.leaf("path", {{"class", "rd-grid"},
                     {"d", grid},
                     {"fill", "none"},
                     {"stroke", fixed(grid_colour)},
                     {"stroke-width", "0.8"}});
}

void PolarDrawing::bearing_labels(LabelPlacer& labels) {
  for (int bearing_deg = 0; bearing_deg < 360; bearing_deg += 30) {
    const std::string label = fmt::format("{:03}", bearing_deg);
    const Point middle = at(bearing_deg, rim_outside + 4 + label_size_);
    const bool quarter = bearing_deg % 90 == 0;
    labels.take(middle.x, middle.y, label, label_size_);
    centred_text(svg_, middle.x, middle.y, quarter ? "rd-ink" : "rd-faint",
                 quarter ? ink_colour : faint_colour, label, label_size_, false);
  }
}

void PolarDrawing::ring_labels(LabelPlacer& labels) {
  constexpr std::array<double, 8> bearings{165, 195, 135, 225, 105, 255, 345, 15};
  const auto free_at = [&](double bearing_deg) {
    return std::count_if(frame_.rings.begin(), frame_.rings.end(), [&](const auto& ring) {
      const Point middle = at(bearing_deg, r_of(ring.value));
      return labels.is_free(middle.x, middle.y, ring.label, label_size_);
    });
  };
  double best_deg = bearings[0];
  for (double bearing_deg : bearings)
    if (free_at(bearing_deg) > free_at(best_deg)) best_deg = bearing_deg;
  for (const auto& ring : frame_.rings) {
    const Point middle = at(best_deg, r_of(ring.value));
    const bool fits = r_of(ring.value) > 16 && r_of(ring.value) < radius - 8;
    if (fits && labels.take(middle.x, middle.y, ring.label, label_size_))
      centred_text(svg_, middle.x, middle.y, "rd-ink", ink_colour, ring.label, label_size_, true);
  }
}

void PolarDrawing::curve_label(LabelPlacer& labels, const PolarPlot::Values& values,
                               std::string_view label) {
  const double width_deg = 360.0 / static_cast<double>(values.size());
  // From north-east outwards, both ways in turn.
  for (double aside_deg : {0, -30, 30, -60, 60, -90, 90, -120, 120, 150, 180, 210}) {
    const double bearing_deg = std::fmod(45 + aside_deg + 360, 360);
    const auto sector = static_cast<std::size_t>(bearing_deg / width_deg) % values.size();
    if (!values[sector]) continue;
    const Point middle = at(bearing_deg, r_of(*values[sector]));
    if (!labels.take(middle.x, middle.y, label, label_size_)) continue;
    centred_text(svg_, middle.x, middle.y, "rd-limit-text", look_of(Line::limit_1).colour, label,
                 label_size_, true);
    return;
  }
}

void PolarDrawing::wedges(const PolarPlot::Values& values, const Look& look) {
  std::string path;
  const double width_deg = 360.0 / static_cast<double>(values.size());
  for (std::size_t i = 0; i < values.size(); ++i)
    if (values[i] && r_of(*values[i]) > 0)
      path += ring_piece(static_cast<double>(i) * width_deg, static_cast<double>(i + 1) * width_deg,
                         0, r_of(*values[i]));
  svg_.leaf("path", {{"class", fixed(look.css_class) + " rd-edge"},
                     {"d", path},
                     {"fill", fixed(look.colour)},
                     {"stroke", fixed(paper_colour)},
                     {"stroke-width", "0.35"}});
}

void PolarDrawing::band(const PolarPlot::Values& low, const PolarPlot::Values& high,
                        const Look& look) {
  std::string path;
  const std::size_t n = low.size();
  const double width_deg = 360.0 / static_cast<double>(n);
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t j = next(i, n);
    if (!low[i] || !high[i] || !low[j] || !high[j]) continue;
    const double from_deg = (static_cast<double>(i) + 0.5) * width_deg;
    const double to_deg = from_deg + width_deg;
    path += fmt::format("M{}L{}L{}L{}Z", xy(at(from_deg, r_of(*low[i]))),
                        xy(at(from_deg, r_of(*high[i]))), xy(at(to_deg, r_of(*high[j]))),
                        xy(at(to_deg, r_of(*low[j]))));
  }
  svg_.leaf("path", {{"class", fixed(look.css_class)}, {"d", path}, {"fill", fixed(look.colour)}});
}

void PolarDrawing::outline(const PolarPlot::Values& values, const Look& look) {
  const std::size_t n = values.size();
  const double width_deg = 360.0 / static_cast<double>(n);
  // Begin after a gap, so that no stretch is cut at north; without a gap, close the curve.
  std::size_t start = 0;
  while (start < n && values[start]) ++start;
  const bool closed = start == n;
  std::string path;
  bool drawing = false;
  for (std::size_t k = 0; k < n; ++k) {
    const std::size_t i = (start + k) % n;
    if (values[i])
      path += fmt::format("{}{}", drawing ? 'L' : 'M',
                          xy(at((static_cast<double>(i) + 0.5) * width_deg, r_of(*values[i]))));
    drawing = values[i].has_value();
  }
  if (closed) path += 'Z';
  if (!path.empty()) draw_stroke(svg_, path, look);
}

void PolarDrawing::ticks(const PolarPlot::Values& values, const Look& look) {
  std::string path;
  const double width_deg = 360.0 / static_cast<double>(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!values[i]) continue;
    const double r = r_of(*values[i]);
    const double middle_deg = (static_cast<double>(i) + 0.5) * width_deg;
    path += fmt::format("M{}A{} {} 0 0 1 {}", xy(at(middle_deg - 0.36 * width_deg, r)),
                        svg_number(r), svg_number(r), xy(at(middle_deg + 0.36 * width_deg, r)));
  }
  if (!path.empty()) draw_stroke(svg_, path, look);
}

void PolarDrawing::rim(const std::vector<bool>& sectors, Mark mark) {
  std::string path;
  const double width_deg = 360.0 / static_cast<double>(sectors.size());
  for (std::size_t i = 0; i < sectors.size(); ++i)
    if (sectors[i])
      path += ring_piece(static_cast<double>(i) * width_deg, static_cast<double>(i + 1) * width_deg,
                         rim_inside, rim_outside);
  if (!path.empty()) draw_mark(svg_, path, mark, hatch_url(frame_));
}

}  // namespace roundel::present
