// A comparison of what a database holds.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/placed_cells.h"
#include "analysis/pattern/stretches.h"
#include "analysis/pattern/summaries_beside.h"
#include "roundel/pattern/verdict.h"
#include "roundel/trial/compare.h"

namespace roundel::trial {
namespace {

std::string name_side(const schema::Selection& which, const CompareSide& side) {
  if (which.antenna) return *which.antenna;
  if (which.receiver) return *which.receiver;
  if (which.mount) return *which.mount;
  if (which.feed) return *which.feed;
  return side.parts.size() == 1 ? fmt::format("trial {}", side.parts[0].trial.id)
                                : side.parts[0].trial.antenna;
}

std::vector<Interval> clipped(const std::vector<Interval>& all, std::int64_t from_s,
                              std::int64_t to_s) {
  std::vector<Interval> out;
  for (const Interval& one : all) {
    const Interval inner{std::max(one.from_s, from_s), std::min(one.to_s, to_s)};
    if (inner.length_s() > 0) out.push_back(inner);
  }
  return out;
}

/// Which hours of both sides are read cell by cell, though summaries are asked for.
class HoursByCells {
 public:
  /// @param parts    that no summary answers
  /// @param edges_s  hours that hold one are not whole
  HoursByCells(const std::vector<schema::Selection>& parts,
               const std::vector<std::int64_t>& edges_s) {
    for (const schema::Selection& part : parts)
      hours_.push_back({hour_of(part.from_s.value_or(0)),
                        part.to_s ? hour_of(std::ceil(*part.to_s) + 3599) : INT64_MAX});
    for (const std::int64_t edge_s : edges_s)
      if (edge_s % 3600 != 0)
        hours_.push_back(
            {hour_of(static_cast<double>(edge_s)), hour_of(static_cast<double>(edge_s)) + 3600});
    std::sort(hours_.begin(), hours_.end(),
              [](const Interval& one, const Interval& other) { return one.from_s < other.from_s; });
    std::vector<Interval> apart;
    for (const Interval& one : hours_) {
      if (!apart.empty() && one.from_s <= apart.back().to_s)
        apart.back().to_s = std::max(apart.back().to_s, one.to_s);
      else
        apart.push_back(one);
    }
    hours_ = std::move(apart);
  }

  bool has(std::int64_t hour_s) const {
    const auto next = std::upper_bound(
        hours_.begin(), hours_.end(), hour_s,
        [](std::int64_t time_s, const Interval& one) { return time_s < one.from_s; });
    return next != hours_.begin() && hour_s < (next - 1)->to_s;
  }

  std::vector<schema::Selection> parts_of(const schema::Selection& which) const {
    std::vector<schema::Selection> out;
    for (const Interval& one : hours_) {
      schema::Selection part = which;
      const auto from_s = static_cast<double>(one.from_s), to_s = static_cast<double>(one.to_s);
      part.from_s = std::max(which.from_s.value_or(from_s), from_s);
      if (one.to_s < INT64_MAX) part.to_s = std::min(which.to_s.value_or(to_s), to_s);
      if (!part.to_s || *part.from_s < *part.to_s) out.push_back(std::move(part));
    }
    return out;
  }

 private:
  static std::int64_t hour_of(double time_s) {
    return static_cast<std::int64_t>(std::floor(time_s / 3600)) * 3600;
  }
  std::vector<Interval> hours_;  ///< in order, apart
};

}  // namespace

Result<CompareSide> side_of(const schema::Store& store, const schema::Selection& which,
                            std::string_view label) {
  const auto trials = store.trials(which);
  if (!trials)
    return fail(trials.error().code, trials.error().what, std::string(label),
                trials.error().remedy);
  if (trials->empty())
    return fail(Errc::too_little, "no trial is selected", std::string(label),
                "see roundel trial list for what was mounted when");
  const auto span = store.cell_span();
  if (!span) return tl::unexpected(span.error());
  const std::optional<schema::CellSpan>& cells = *span;
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  CompareSide side;
  for (const schema::Trial& trial : *trials) {
    std::vector<Interval> recorded;
    for (const auto& one : *feeds) {
      if (one.name != trial.feed) continue;
      const auto coverage = store.coverage(one.id);
      if (!coverage) return tl::unexpected(coverage.error());
      for (const auto& stretch : *coverage) recorded.push_back({stretch.from_s, stretch.to_s});
    }
    if (recorded.empty() && cells) recorded.push_back({cells->from_s, cells->to_s});
    const auto from_s =
        std::max(trial.start_s, static_cast<std::int64_t>(std::floor(which.from_s.value_or(0))));
    auto to_s = trial.stop_s.value_or(cells ? cells->to_s : trial.start_s);
    if (which.to_s) to_s = std::min(to_s, static_cast<std::int64_t>(std::ceil(*which.to_s)));
    side.parts.push_back({trial, clipped(recorded, from_s, to_s)});
  }
  side.name = name_side(which, side);
  return side;
}

Result<Comparison> compare(const schema::Store& store, const schema::Selection& a,
                           const schema::Selection& b, const CompareOptions& options) {
  if (auto ok = pattern::check_sector_deg(options.sector_deg); !ok)
    return tl::unexpected(ok.error());
  if (auto ok = pattern::check_confidence(options.confidence); !ok)
    return tl::unexpected(ok.error());
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto side_a = side_of(store, a, "--a");
  if (!side_a) return tl::unexpected(side_a.error());
  auto side_b = side_of(store, b, "--b");
  if (!side_b) return tl::unexpected(side_b.error());
  if (auto ok = check_sides(*side_a, *side_b); !ok) return tl::unexpected(ok.error());
  const std::array<schema::Selection, 2> each{a, b};
  auto found = store.flights_of_each(each);
  if (!found) return tl::unexpected(found.error());
  const std::vector<std::vector<schema::Flight>> flights = std::move(*found);
  for (const auto& [of_side, label] : {std::pair{&flights[0], "--a"}, {&flights[1], "--b"}})
    if (of_side->empty())
      return fail(Errc::too_little, "nothing was heard in the trials selected", label,
                  "wait for traffic, or choose others");
  // One pass over both sides, in time order.
  schema::Selection both;
  for (const auto* side : {&*side_a, &*side_b})
    for (const auto& part : side->parts)
      if (std::find(both.trials.begin(), both.trials.end(), part.trial.id) == both.trials.end())
        both.trials.push_back(part.trial.id);
  if (a.from_s && b.from_s) both.from_s = std::min(*a.from_s, *b.from_s);
  if (a.to_s && b.to_s) both.to_s = std::max(*a.to_s, *b.to_s);
  std::vector<schema::Flight> all = flights[0];
  all.insert(all.end(), flights[1].begin(), flights[1].end());
  std::sort(all.begin(), all.end(), [](const auto& x, const auto& y) { return x.id < y.id; });

  CompareBuilder builder(*viewpoint, *side_a, *side_b, options);
  const auto limit = site::horizon_limit(*viewpoint, site::Refraction());
  pattern::ReachOptions reach_options;
  reach_options.sector_deg = options.sector_deg;
  reach_options.half_rate_interval = false;
  std::array<std::vector<std::int64_t>, 2> edges_s;
  for (std::size_t i = 0; i < 2; ++i)
    for (const auto& part : (i == 0 ? *side_a : *side_b).parts)
      for (const auto& one : part.recorded)
        edges_s[i].insert(edges_s[i].end(), {one.from_s, one.to_s});
  std::array<pattern::ReachBuilder, 2> reach{
      pattern::ReachBuilder(*viewpoint, *limit, reach_options, flights[0], edges_s[0]),
      pattern::ReachBuilder(*viewpoint, *limit, reach_options, flights[1], edges_s[1])};
  const pattern::FlightsById by_id(all);
  const auto reach_of = [&](std::size_t side, const schema::Selection& of) {
    return [&into = reach[side], &of](const pattern::PlacedCells& some) {
      for (std::size_t i = 0; i < some.cells.size(); ++i) {
        const auto time_s = static_cast<double>(some.cells[i].window * schema::window_s);
        if (time_s < of.from_s.value_or(time_s) || time_s >= of.to_s.value_or(time_s + 1)) continue;
        const site::Sightline& line = some.sightings[i].line;
        into.add(some.cells[i], {line.range_km, line.bearing_deg}, some.horizons_km[i]);
      }
    };
  };
  const auto compared = [&](const pattern::PlacedCells& some) {
    for (std::size_t i = 0; i < some.cells.size(); ++i)
      if (const auto* flight = by_id.find(some.cells[i].flight))
        builder.add(some.cells[i], *flight, some.sightings[i]);
  };
  const pattern::Summaries use = pattern::summaries_used(options.from_summaries);
  std::vector<std::int64_t> edges_at_s = builder.edges_s();
  for (const auto& limit_s : {a.from_s, a.to_s, b.from_s, b.to_s})
    if (limit_s) edges_at_s.push_back(static_cast<std::int64_t>(std::floor(*limit_s)));
  const auto read = store.at_one_moment([&]() -> Result<void> {
    std::vector<schema::Selection> parts;
    if (use == pattern::Summaries::all) {
      auto unknown = pattern::parts_by_cells(store, both, use);
      if (!unknown) return tl::unexpected(unknown.error());
      parts = std::move(*unknown);
    }
    const HoursByCells by_cells(parts, edges_at_s);
    pattern::FlightHours hours(
        pattern::hours_by_sector(options.sector_deg, by_id),
        [&](schema::Id trial, pattern::HourExposure hour) { builder.add(trial, std::move(hour)); },
        {[&] { builder.settle(0); }, [&] { builder.settle(1); }});
    const auto flights_read = pattern::each_stretch(
        store, both, use, by_cells.parts_of(both), schema::SummaryPart::flights,
        [&](schema::Summary&& stored) {
          return by_cells.has(stored.hour_s) ? Result<void>() : hours.add(std::move(stored));
        },
        [&](const schema::Selection& part) {
          if (auto ok = hours.finish(); !ok) return ok;
          return pattern::each_placed(store, part, *viewpoint, *limit,
                                      {compared, reach_of(0, a), reach_of(1, b)});
        });
    if (!flights_read) return flights_read;
    if (auto ok = hours.finish(); !ok) return ok;
    const auto places_of = [&](std::size_t side) {
      return pattern::SummariesBeside([&, side](const schema::Summary& stored) {
        return pattern::add_places(stored, reach_options, reach[side]);
      });
    };
    std::array<pattern::SummariesBeside, 2> places{places_of(0), places_of(1)};
    for (std::size_t side = 0; side < 2; ++side) {
      const auto places_read = pattern::each_hour(
          store, each[side], use, schema::SummaryPart::places, [&](const schema::Summary& stored) {
            if (use != pattern::Summaries::all || !by_cells.has(stored.hour_s))
              places[side].add(stored);
            return Result<void>();
          });
      if (!places_read) return places_read;
    }
    for (pattern::SummariesBeside& of_side : places)
      if (auto ok = of_side.finish(); !ok) return ok;
    return {};
  });
  if (!read) return tl::unexpected(read.error());
  Comparison out = builder.finish();
  out.reach_a = reach[0].finish();
  out.reach_b = reach[1].finish();
  return out;
}

}  // namespace roundel::trial
