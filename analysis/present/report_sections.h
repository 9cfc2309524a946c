// The parts of the report, one function a section; `Svg` writes any markup.
#pragma once
#include <string_view>

#include "analysis/present/svg.h"
#include "roundel/present/report.h"

namespace roundel::present {

void paragraph(Svg& html, std::string_view text, std::string_view css_class = {});
void heading(Svg& html, std::string_view text);
/// A row of th or td; the first cell of a body row is its heading.
void table_row(Svg& html, const std::vector<std::string>& cells, bool is_heading);

void sector_table(Svg& html, const ReportPage& page);
void what_was_mounted(Svg& html, const ReportPage& page);
void data_quality(Svg& html, const ReportPage& page);
void method(Svg& html, const ReportPage& page);
void cautions(Svg& html);

}  // namespace roundel::present
