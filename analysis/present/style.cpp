#include "analysis/present/style.h"

namespace roundel::present {

// Blues of one hue, evenly apart in lightness (CIE L* 90, 78, 63, 46, 30): they stay apart in grey
// and for every kind of colour blindness. Lines are orange, which none confuses with blue.
Look look_of(Fill fill) {
  switch (fill) {
    case Fill::level_1:
      return {"rd-level-1", "#d6e5f3"};
    case Fill::level_2:
      return {"rd-level-2", "#a6c8e6"};
    case Fill::level_3:
      return {"rd-level-3", "#69a2d3"};
    case Fill::level_4:
      return {"rd-level-4", "#3273ae"};
    case Fill::level_5:
      return {"rd-level-5", "#17497a"};
    case Fill::accent:
      return {"rd-accent", "#e9b384"};
  }
  return {};
}

Look look_of(Line line) {
  switch (line) {
    case Line::limit_1:
      return {"rd-limit", "#a84a06", "1.5 4", 2};
    case Line::limit_2:
      return {"rd-limit", "#a84a06", "8 4", 1.6};
    case Line::limit_3:
      return {"rd-limit", "#a84a06", "none", 1.8};
    case Line::strong:
      return {"rd-strong", "#1b2430", "none", 2};
    case Line::accent:
      return {"rd-accent-line", "#a84a06", "none", 2.2};
  }
  return {};
}

std::string_view style_sheet() {
  return R"(
.rd-plot {
  --rd-paper: #ffffff; --rd-ink: #1b2430; --rd-faint: #5a6675; --rd-grid: #c3ccd6;
  --rd-level-1: #d6e5f3; --rd-level-2: #a6c8e6; --rd-level-3: #69a2d3; --rd-level-4: #3273ae; --rd-level-5: #17497a;
  --rd-accent: #e9b384; --rd-limit: #a84a06;
}
@media (prefers-color-scheme: dark) {
  .rd-plot {
    --rd-paper: #12171e; --rd-ink: #e8edf3; --rd-faint: #a3b0bf; --rd-grid: #3a4653;
    --rd-level-1: #1b3650; --rd-level-2: #265680; --rd-level-3: #3f83ba; --rd-level-4: #7db7e3; --rd-level-5: #cfe6f8;
    --rd-accent: #8a5a2e; --rd-limit: #f2a65e;
  }
}
.rd-paper { fill: var(--rd-paper); } .rd-ink { fill: var(--rd-ink); } .rd-faint { fill: var(--rd-faint); }
.rd-grid { stroke: var(--rd-grid); } .rd-rim { stroke: var(--rd-faint); } .rd-hatch { stroke: var(--rd-faint); }
.rd-halo { stroke: var(--rd-paper); }
.rd-level-1 { fill: var(--rd-level-1); } .rd-level-2 { fill: var(--rd-level-2); } .rd-level-3 { fill: var(--rd-level-3); }
.rd-level-4 { fill: var(--rd-level-4); } .rd-level-5 { fill: var(--rd-level-5); } .rd-accent { fill: var(--rd-accent); }
.rd-edge { stroke: var(--rd-paper); }
.rd-limit { stroke: var(--rd-limit); } .rd-limit-text { fill: var(--rd-limit); } .rd-accent-line { stroke: var(--rd-limit); }
.rd-strong { stroke: var(--rd-ink); } .rd-block { fill: var(--rd-limit); }
)";
}

}  // namespace roundel::present
