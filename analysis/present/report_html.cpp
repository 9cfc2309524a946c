#include <fmt/format.h>

#include "analysis/present/report_sections.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/reach.h"
#include "roundel/present/report.h"
#include "roundel/present/verdict.h"
#include "roundel/present/vertical_cut.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

// Print: A4 and Letter share a 190 mm column; figures stay whole, rows and headings too.
constexpr std::string_view page_style = R"(
:root { color-scheme: light dark; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 62rem; padding: 1rem; background: #fff; color: #1b2430;
  font: 1rem/1.5 system-ui, 'DejaVu Sans', 'Liberation Sans', Arial, sans-serif; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0 0 .25rem; }
h2 { font-size: 1.15rem; margin: 2rem 0 .5rem; }
h3 { font-size: 1rem; margin: 0 0 .25rem; }
p { margin: .4rem 0; max-width: 46rem; } li { max-width: 46rem; }
.faint { color: #5a6675; }
.answer { border-left: .3rem solid #17497a; padding: .1rem 0 .1rem .9rem; margin: 1rem 0; }
.answer p:first-child { font-size: 1.2rem; font-weight: 600; }
.figures { display: grid; gap: 1.25rem; grid-template-columns: repeat(auto-fit, minmax(min(100%, 22rem), 1fr)); }
figure { margin: 0; min-width: 0; max-width: 30rem; break-inside: avoid; }
figcaption { font-size: .9rem; margin-top: .25rem; }
svg { display: block; width: 100%; height: auto; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .85rem; font-variant-numeric: tabular-nums; width: 100%; }
th, td { padding: .15rem .5rem; text-align: right; white-space: nowrap; border-bottom: 1px solid #c3ccd6; }
thead th { vertical-align: bottom; border-bottom: 2px solid #5a6675; }
tbody th { font-weight: 400; } th:first-child { text-align: left; padding-left: 0; }
td:nth-child(4), th:nth-child(4) { text-align: left; }
.words td, .words th { text-align: left; } .words td:last-child { white-space: normal; min-width: 9rem; }
code { font-size: .9em; overflow-wrap: anywhere; }
@media (prefers-color-scheme: dark) {
  body { background: #12171e; color: #e8edf3; } .faint { color: #a3b0bf; }
  .answer { border-color: #7db7e3; } th, td { border-color: #3a4653; } thead th { border-color: #a3b0bf; }
}
@page { margin: 12mm; }
@media print {
  html { font-size: 9pt; }
  body { padding: 0; max-width: none; background: #fff; color: #1b2430; }
  .figures { grid-template-columns: 76mm 76mm; gap: 4mm 8mm; }
  .wide { overflow: visible; } table { font-size: 7.5pt; }
  th, td { padding: .2mm 1.2mm; } thead { display: table-header-group; }
  tr, li, .answer, .part { break-inside: avoid; } h2 { break-after: avoid; }
  p, li { max-width: none; orphans: 3; widows: 3; }
}
)";

void figure(Svg& html, std::string_view title, const std::string& svg, std::string_view caption) {
  html.open("figure");
  if (!title.empty()) html.leaf("h3", {}, title);
  html.raw(svg);
  if (!caption.empty()) html.leaf("figcaption", {}, unbroken(caption));
  html.close();
}

std::string period(const ReportPage& page) {
  if (!page.reach.from_s) return "Nothing has been recorded yet.";
  const auto minute = [](std::int64_t time_s) {
    std::string text = format_time(static_cast<double>(time_s)).substr(0, 16);
    text[10] = ' ';
    return text;
  };
  return fmt::format("Recorded {} to {} UTC: {} flights, {} reports.", minute(*page.reach.from_s),
                     minute(*page.reach.to_s), grouped(page.reach.flights),
                     grouped(page.reach.reports));
}

std::string place(const ReportPage& page) {
  const auto& site = page.site;
  const auto height = [&](double height_m) {
    return altitude_text(page.units, height_m / site::metres_per_foot);
  };
  // Heights of metres, not of aircraft: to the metre.
  const auto metres = [&](double height_m) {
    return page.units == Units::metric ? fmt::format("{:.0f} m", height_m) : height(height_m);
  };
  return fmt::format(
      "{}: {:.4f}° {}, {:.4f}° {}; antenna {} above ground, ground {} above mean sea "
      "level, surrounding country {}.",
      site.name, std::abs(site.latitude_deg), site.latitude_deg < 0 ? "S" : "N",
      std::abs(site.longitude_deg), site.longitude_deg < 0 ? "W" : "E", metres(site.antenna_m),
      metres(site.ground_m), metres(site.surface_m));
}

void answer(Svg& html, const ReportPage& page) {
  html.open("div", {{"class", "answer"}});
  // The first sentence is the answer, what follows qualifies it.
  const std::string verdict = verdict_sentence(page.verdict);
  const auto end = verdict.find(". ");
  paragraph(html, verdict.substr(0, end == std::string::npos ? end : end + 1));
  if (end != std::string::npos) paragraph(html, verdict.substr(end + 2));
  paragraph(html, reach_sentence(page.reach, page.units));
  html.close();
  const auto advice = verdict_advice(page.verdict);
  if (advice.empty()) return;
  heading(html, "What to do");
  html.open("ul");
  for (const std::string& line : advice) html.leaf("li", {}, unbroken(line));
  html.close();
}

void cuts(Svg& html, const ReportPage& page) {
  const auto extremes = extreme_sectors(page.reach);
  if (!extremes) return;
  heading(html, "Worst and best bearing from the side");
  html.open("div", {{"class", "figures"}});
  const auto cut = [&](const char* title, std::size_t sector, const char* id) {
    figure(html, title,
           vertical_cut_svg(page.viewpoint, page.reach, page.verdict, sector, page.units, id,
                            Form::figure),
           vertical_cut_sentence(page.reach, page.verdict, sector, page.units));
  };
  cut("Worst", extremes->worst, "cut-worst");
  if (extremes->best != extremes->worst) cut("Best", extremes->best, "cut-best");
  html.close();
}

}  // namespace

void paragraph(Svg& html, std::string_view text, std::string_view css_class) {
  if (css_class.empty())
    html.leaf("p", {}, unbroken(text));
  else
    html.leaf("p", {{"class", std::string(css_class)}}, unbroken(text));
}

void heading(Svg& html, std::string_view text) { html.leaf("h2", {}, text); }

void table_row(Svg& html, const std::vector<std::string>& cells, bool is_heading) {
  html.open("tr");
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (is_heading || i == 0)
      html.leaf("th", {{"scope", is_heading ? "col" : "row"}}, cells[i]);
    else
      html.leaf("td", {}, cells[i]);
  }
  html.close();
}

std::string report_html(const ReportPage& page) {
  Svg html;
  html.raw("<!DOCTYPE html>\n");
  html.open("html", {{"xmlns", "http://www.w3.org/1999/xhtml"}, {"lang", "en"}});
  html.open("head");
  html.leaf("meta", {{"charset", "utf-8"}});
  html.leaf("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
  html.leaf("title", {}, "Antenna report: " + page.about);
  html.open("style");
  html.raw(page_style);
  html.raw(picture_style());
  html.close();
  html.close();
  html.open("body");
  html.leaf("h1", {}, "Antenna report: " + page.about);
  paragraph(html, place(page), "faint");
  paragraph(html, period(page), "faint");
  heading(html, page.question);
  answer(html, page);

  heading(html, "Reach and gain by bearing");
  html.open("div", {{"class", "figures"}});
  figure(html, "Reach against the horizon",
         reach_svg(page.reach, page.units, page.about, Form::figure), "");
  figure(html, "Gain, relative to the mean", verdict_svg(page.verdict, page.about, Form::figure),
         "");
  html.close();
  cuts(html, page);
  for (const ReportPart& part : page.parts) {
    // On paper a picture stands on the page of the words about it.
    html.open("section", {{"class", "part"}});
    heading(html, part.heading);
    for (const std::string& text : part.paragraphs) paragraph(html, text);
    if (!part.figures.empty()) {
      html.open("div", {{"class", "figures"}});
      for (const std::string& svg : part.figures) figure(html, "", svg, "");
      html.close();
    }
    html.close();
  }
  what_was_mounted(html, page);
  data_quality(html, page);
  method(html, page);
  cautions(html);
  sector_table(html, page);
  html.open("p", {{"class", "faint"}});
  html.raw(escaped("Made " + format_time(page.made_s) + " by "));
  html.leaf("code", {}, page.command);
  html.close();
  html.close();
  html.close();
  return html.take();
}

}  // namespace roundel::present
