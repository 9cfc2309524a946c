// Colours and strokes of all pictures, in one place.
#pragma once
#include <string_view>

#include "roundel/present/polar_plot.h"

namespace roundel::present {

/// Class, and the colour for viewers without CSS variables.
struct Look {
  std::string_view css_class;
  std::string_view colour;
  std::string_view dash = "none";  ///< of lines
  double width = 1.6;
};

Look look_of(Fill fill);
Look look_of(Line line);

inline constexpr std::string_view paper_colour = "#ffffff";
inline constexpr std::string_view ink_colour = "#1b2430";
inline constexpr std::string_view faint_colour = "#5a6675";  ///< labels; 5.9 : 1 on paper
inline constexpr std::string_view grid_colour = "#c3ccd6";
inline constexpr std::string_view font =
    "system-ui, 'DejaVu Sans', 'Liberation Sans', Arial, sans-serif";

/// Rules of the classes, light and dark. A viewer without CSS variables drops each declaration and
/// keeps the attribute.
std::string_view style_sheet();

}  // namespace roundel::present
