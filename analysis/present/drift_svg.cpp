#include <algorithm>

#include "roundel/present/axes_plot.h"
#include "roundel/present/drift.h"

namespace roundel::present {

std::string drift_svg(const trial::Drift& drift, Form form) {
  constexpr double day_s = 86'400;
  const std::int64_t first_s = drift.days.empty() ? 0 : drift.days.front().start_s;
  const auto day_of = [&](std::int64_t time_s) {
    return static_cast<double>(time_s - first_s) / day_s;
  };
  double low_db = -1, high_db = 1, last_day = 1;
  std::vector<AxesPlot::At> index;
  std::vector<std::pair<AxesPlot::At, AxesPlot::At>> bars;
  for (const auto& day : drift.days) {
    const double noon = day_of(day.start_s) + 0.5;
    low_db = std::min(low_db, day.low_db);
    high_db = std::max(high_db, day.high_db);
    last_day = std::max(last_day, noon + 0.5);
    index.push_back({noon, day.index_db});
    bars.push_back({{noon, day.low_db}, {noon, day.high_db}});
  }
  PolarFrame frame;
  frame.id = "drift";
  frame.title = "Sensitivity day by day";
  frame.sentence = drift_sentence(drift);
  frame.description =
      "Time to the right, sensitivity in dB against the mean of all days upwards, with 95 percent "
      "intervals by flight; changes as upright lines. " +
      frame.sentence;
  AxesPlot plot(std::move(frame), round_axis(0, last_day, "days since the first"),
                round_axis(low_db, high_db, "sensitivity, dB"));
  plot.bars(std::move(bars), Fill::level_2, "95% interval, by flight");
  plot.marks(std::move(index), "index of the day");
  for (std::size_t i = 0; i < drift.changes.size(); ++i) {
    const double at = day_of(drift.changes[i].time_s);
    plot.line({{at, -100}, {at, 100}}, Line::limit_3, i == 0 ? "change" : "");
  }
  return plot.svg(form);
}

}  // namespace roundel::present
