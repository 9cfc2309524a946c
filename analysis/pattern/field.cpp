#include "roundel/pattern/field.h"

#include <algorithm>
#include <cmath>

#include "analysis/pattern/stretches.h"
#include "analysis/pattern/summaries_beside.h"
#include "roundel/pattern/summary.h"
#include "roundel/pattern/verdict.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {
namespace {

class FieldGrid {
 public:
  explicit FieldGrid(double sector_deg)
      : sector_deg_(sector_deg),
        n_sectors_(static_cast<std::size_t>(std::lround(360 / sector_deg))),
        bins_(n_sectors_ * n_steps) {}

  /// @param range_km  < field_end_km
  void add(double bearing_deg, double range_km, std::int64_t heard, std::int64_t expected) {
    const auto sector =
        std::min(n_sectors_ - 1, static_cast<std::size_t>(bearing_deg / sector_deg_));
    FieldBin& bin = bins_[sector * n_steps + static_cast<std::size_t>(range_km / field_step_km)];
    bin.heard += heard;
    bin.expected += expected;
  }

  void add(const HourSummary& hour) {
    const auto bearing_of = [](int sector) { return (sector + 0.5) * SummaryBins::sector_deg; };
    for (const SummaryShare& share : hour.shares) {
      const double range_km = share.range_bin * SummaryBins::range_km;
      if (range_km < field_end_km)
        add(bearing_of(share.sector), range_km, share.heard, share.expected);
    }
    if (!hour.others) return;
    for (const SummaryOthers& some : *hour.others)
      add(bearing_of(some.sector), some.step * field_step_km, some.heard, some.expected);
  }

  Field finish() && {
    Field out{.sector_deg = sector_deg_, .bins = {}};
    for (std::size_t i = 0; i < bins_.size(); ++i) {
      if (bins_[i].expected == 0) continue;
      const std::size_t sector = i / n_steps, step = i % n_steps;
      bins_[i].bearing_deg = (static_cast<double>(sector) + 0.5) * sector_deg_;
      bins_[i].range_km = (static_cast<double>(step) + 0.5) * field_step_km;
      out.bins.push_back(bins_[i]);
    }
    return out;
  }

 private:
  static constexpr std::size_t n_steps = field_steps;
  static_assert(field_steps * field_step_km == field_end_km);
  static_assert(field_step_km == 2 * SummaryBins::range_km);
  double sector_deg_;
  std::size_t n_sectors_;
  std::vector<FieldBin> bins_;
};

/// Adds the hours that summaries tell. Returns the parts of the selection that they do not.
Result<std::vector<schema::Selection>> add_hours(const schema::Store& store,
                                                 const schema::Selection& which, FieldGrid& to) {
  // A summary is of a whole hour.
  schema::Selection whole = which;
  std::vector<schema::Selection> rest;
  if (which.to_s) {
    whole.to_s = std::floor(*which.to_s / 3600) * 3600;
    schema::Selection end = which;
    end.from_s = std::max(which.from_s.value_or(*whole.to_s), *whole.to_s);
    if (*end.from_s < *end.to_s) rest.push_back(std::move(end));
    if (which.from_s && *which.from_s >= *whole.to_s) return rest;
  }
  const auto trials = store.trials(whole);
  if (!trials) return tl::unexpected(trials.error());
  const auto is_within_trial = [&](const schema::Summary& hour) {
    return std::any_of(trials->begin(), trials->end(), [&](const schema::Trial& trial) {
      return trial.id == hour.trial && trial.start_s <= hour.hour_s &&
             (!trial.stop_s || *trial.stop_s >= hour.hour_s + 3600);
    });
  };
  SummariesBeside hours([&](const schema::Summary& stored) -> Result<void> {
    const auto hour = read_summary(stored);
    if (!hour) return tl::unexpected(hour.error());
    if (stored.cells_gone || (hour->others && is_within_trial(stored))) {
      to.add(*hour);
    } else {
      schema::Selection part;
      part.trials = {stored.trial};
      part.from_s = static_cast<double>(stored.hour_s);
      part.to_s = *part.from_s + 3600;
      rest.push_back(std::move(part));
    }
    return {};
  });
  const auto read = each_hour(store, whole, Summaries::all, schema::SummaryPart::places,
                              [&](const schema::Summary& stored) {
                                hours.add(stored);
                                return Result<void>();
                              });
  const auto fine = hours.finish();
  if (!read) return tl::unexpected(read.error());
  if (!fine) return tl::unexpected(fine.error());
  auto parts = parts_by_cells(store, whole, Summaries::all);
  if (!parts) return parts;
  parts->insert(parts->end(), rest.begin(), rest.end());
  return parts;
}

}  // namespace

Result<Field> heard_field(const schema::Store& store, const schema::Selection& which,
                          double sector_deg, bool from_summaries) {
  if (auto ok = check_sector_deg(sector_deg); !ok) return tl::unexpected(ok.error());
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  FieldGrid grid(sector_deg);
  // An hour that is summarised between the two would be missed or count twice.
  const auto read = store.at_one_moment([&]() -> Result<void> {
    auto parts = from_summaries ? add_hours(store, which, grid)
                                : Result<std::vector<schema::Selection>>({which});
    if (!parts) return tl::unexpected(parts.error());
    for (const schema::Selection& part : *parts) {
      auto cells = store.each_cell(part, [&](const schema::Cell& cell) {
        const auto place = viewpoint->over(cell.latitude_deg, cell.longitude_deg);
        if (is_in_field(cell, place.range_km))
          grid.add(place.bearing_deg, place.range_km, cell.heard, cell.expected);
        return true;
      });
      if (!cells) return cells;
    }
    return {};
  });
  if (!read) return tl::unexpected(read.error());
  return std::move(grid).finish();
}

}  // namespace roundel::pattern
