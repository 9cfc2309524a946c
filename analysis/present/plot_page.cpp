#include "analysis/present/plot_page.h"

#include <fmt/format.h>

#include "analysis/present/label_placer.h"

namespace roundel::present {
namespace {

constexpr double title_size = 20;
constexpr double sentence_size = 15;
constexpr double line_height = 21;
constexpr double key_width = 28;

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

std::vector<std::string> sentence_lines(const PolarFrame& frame, const PlotSizes& sizes) {
  return wrapped(unbroken(frame.sentence), sizes.width - 2 * sizes.margin, sentence_size);
}

}  // namespace

PlotSizes sizes_of(Form form) {
  // A figure is shown at half the size or less, so its letters are larger.
  return form == Form::document ? PlotSizes{800, 32, 13, 14, 24} : PlotSizes{720, 8, 20, 21, 34};
}

void Legend::add(LegendKey key, std::string text) {
  if (text.empty()) return;
  const bool wide = key.kind == LegendKey::Kind::none ||
                    prose_width(text, sizes_.legend) > sizes_.width / 2 - sizes_.margin - 48;
  if (wide && !is_left_) ++lines_;
  if (wide) is_left_ = true;
  entries_.push_back({key, std::move(text), is_left_, lines_});
  if (wide || !is_left_) ++lines_;
  is_left_ = wide || !is_left_;
}

void Legend::draw(Svg& svg, double top, std::string_view hatch) const {
  for (const Entry& entry : entries_) {
    const double x = entry.is_left ? sizes_.margin : sizes_.width / 2;
    const double y = top + entry.line * sizes_.legend_height;
    const double middle = y - 0.36 * sizes_.legend;
    const std::string box = fmt::format("M{} {}h{}v12h-{}Z", svg_number(x), svg_number(middle - 6),
                                        key_width, key_width);
    switch (entry.key.kind) {
      case LegendKey::Kind::surface:
        svg.leaf("path", {{"class", std::string(entry.key.look.css_class)},
                          {"d", box},
                          {"fill", std::string(entry.key.look.colour)}});
        break;
      case LegendKey::Kind::stroke:
        draw_stroke(svg, fmt::format("M{} {}h{}", svg_number(x), svg_number(middle), key_width),
                    entry.key.look);
        break;
      case LegendKey::Kind::mark:
        draw_mark(svg, box, entry.key.mark, hatch);
        break;
      case LegendKey::Kind::ring:
        draw_ring(svg, x + key_width / 2, middle, entry.key.look);
        break;
      case LegendKey::Kind::none:
        break;
    }
    const double indent = entry.key.kind == LegendKey::Kind::none ? 0 : key_width + 10;
    left_text(svg, x + indent, y, "rd-ink", ink_colour, entry.text, sizes_.legend);
  }
}

double heading_height(const PolarFrame& frame, Form form) {
  if (form == Form::figure) return 0;
  return 40 + line_height * static_cast<double>(sentence_lines(frame, sizes_of(form)).size());
}

void open_page(Svg& svg, const PolarFrame& frame, Form form, double height) {
  const PlotSizes sizes = sizes_of(form);
  const std::string title_id = frame.id + "-title";
  const std::string desc_id = frame.id + "-desc";
  svg.open("svg", {{"xmlns", "http://www.w3.org/2000/svg"},
                   {"class", "rd-plot"},
                   {"role", "img"},
                   {"aria-labelledby", title_id + " " + desc_id},
                   {"viewBox", fmt::format("0 0 {} {}", sizes.width, svg_number(height))},
                   {"width", svg_number(sizes.width)},
                   {"height", svg_number(height)},
                   {"font-family", std::string(font)}});
  svg.leaf("title", {{"id", title_id}}, frame.title);
  svg.leaf("desc", {{"id", desc_id}}, frame.description);
  // A page that holds figures has the style sheet once.
  if (form == Form::document) svg.leaf("style", {}, style_sheet());
  svg.open("defs");
  svg.open("pattern", {{"id", frame.id + "-hatch"},
                       {"width", "5"},
                       {"height", "5"},
                       {"patternUnits", "userSpaceOnUse"},
                       {"patternTransform", "rotate(45)"}});
  svg.leaf("path", {{"class", "rd-hatch"},
                    {"d", "M0 0V5"},
                    {"stroke", std::string(faint_colour)},
                    {"stroke-width", "2.4"}});
  svg.close();
  svg.close();
  svg.leaf("rect", {{"class", "rd-paper"},
                    {"width", svg_number(sizes.width)},
                    {"height", svg_number(height)},
                    {"fill", std::string(paper_colour)}});
  if (form == Form::figure) return;
  left_text(svg, sizes.margin, 38, "rd-ink", ink_colour, frame.title, title_size, "600");
  const auto sentence = sentence_lines(frame, sizes);
  for (std::size_t i = 0; i < sentence.size(); ++i)
    left_text(svg, sizes.margin, 64 + line_height * static_cast<double>(i), "rd-faint",
              faint_colour, sentence[i], sentence_size);
}

std::string hatch_url(const PolarFrame& frame) { return "url(#" + frame.id + "-hatch)"; }

void left_text(Svg& svg, double x, double y, std::string_view css_class, std::string_view colour,
               std::string_view text, double size, std::string_view weight) {
  svg.leaf("text",
           {{"class", std::string(css_class)},
            {"x", svg_number(x)},
            {"y", svg_number(y)},
            {"font-size", svg_number(size)},
            {"font-weight", std::string(weight)},
            {"fill", std::string(colour)}},
           text);
}

void draw_stroke(Svg& svg, const std::string& path, const Look& look) {
  svg.leaf("path", {{"class", "rd-halo"},
                    {"d", path},
                    {"fill", "none"},
                    {"stroke", std::string(paper_colour)},
                    {"stroke-width", svg_number(look.width + 2)},
                    {"stroke-opacity", "0.7"}});
  svg.leaf("path", {{"class", std::string(look.css_class)},
                    {"d", path},
                    {"fill", "none"},
                    {"stroke", std::string(look.colour)},
                    {"stroke-width", svg_number(look.width)},
                    {"stroke-dasharray", std::string(look.dash)},
                    {"stroke-linecap", "round"},
                    {"stroke-linejoin", "round"}});
}

void draw_ring(Svg& svg, double x, double y, const Look& look) {
  svg.leaf("circle", {{"class", std::string(look.css_class) + " rd-paper"},
                      {"cx", svg_number(x)},
                      {"cy", svg_number(y)},
                      {"r", "5"},
                      {"fill", std::string(paper_colour)},
                      {"stroke", std::string(look.colour)},
                      {"stroke-width", svg_number(look.width)}});
}

void draw_mark(Svg& svg, const std::string& path, Mark mark, std::string_view hatch) {
  if (mark == Mark::block)
    svg.leaf(
        "path",
        {{"class", "rd-block"}, {"d", path}, {"fill", std::string(look_of(Line::limit_1).colour)}});
  else
    svg.leaf("path", {{"d", path}, {"fill", std::string(hatch)}});
}

void centred_text(Svg& svg, double x, double y, std::string_view css_class, std::string_view colour,
                  std::string_view text, double size, bool halo) {
  // Baseline: the middle of digits lies 0.36 em above it.
  const std::string at_x = svg_number(x);
  const std::string at_y = svg_number(y + 0.36 * size);
  if (halo)
    svg.leaf("text",
             {{"class", "rd-halo rd-paper"},
              {"x", at_x},
              {"y", at_y},
              {"font-size", svg_number(size)},
              {"text-anchor", "middle"},
              {"fill", std::string(paper_colour)},
              {"stroke", std::string(paper_colour)},
              {"stroke-width", "4"},
              {"stroke-linejoin", "round"},
              {"aria-hidden", "true"}},
             text);
  svg.leaf("text",
           {{"class", std::string(css_class)},
            {"x", at_x},
            {"y", at_y},
            {"font-size", svg_number(size)},
            {"text-anchor", "middle"},
            {"fill", std::string(colour)}},
           text);
}

}  // namespace roundel::present
