#include <algorithm>
#include <array>
#include <cmath>

#include "analysis/pattern/beside.h"
#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/hour_exposure_bytes.h"
#include "analysis/pattern/placed_cells.h"
#include "analysis/pattern/stretches.h"
#include "analysis/pattern/summaries_beside.h"
#include "roundel/pattern/cut.h"
#include "roundel/pattern/reach.h"
#include "roundel/pattern/summary.h"
#include "roundel/pattern/verdict.h"

namespace roundel::pattern {
namespace {

/// More flights than this in each sector would sharpen a sector by less than the scale's own error
/// (gain: 3 %) while they cost time and memory: of a busy week a sample is used. Of 24 610 flights,
/// 400 a sector give gains 0.05 dB (root mean square) from those of all; 600 give 0.04, 200 0.08.
constexpr int most_flights_per_sector = 400;

/// When recording began and ended on any feed, and trials of the selection.
Result<std::vector<std::int64_t>> recording_edges(const schema::Store& store,
                                                  const schema::Selection& which) {
  std::vector<std::int64_t> edges_s;
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  for (const auto& feed : *feeds) {
    const auto coverage = store.coverage(feed.id);
    if (!coverage) return tl::unexpected(coverage.error());
    for (const auto& interval : *coverage) {
      edges_s.push_back(interval.from_s);
      edges_s.push_back(interval.to_s);
    }
  }
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  for (const auto& trial : *trials) {
    edges_s.push_back(trial.start_s);
    if (trial.stop_s) edges_s.push_back(*trial.stop_s);
  }
  return edges_s;
}

/// What a pass over the cells of a selection needs besides them.
struct Setting {
  site::Viewpoint viewpoint;
  std::vector<schema::Flight> flights;
  std::vector<std::int64_t> edges_s;
};

/// The flights of all these parts of a selection, by id.
Result<std::vector<schema::Flight>> flights_in(const schema::Store& store,
                                               const std::vector<schema::Selection>& parts) {
  std::vector<schema::Flight> out;
  for (const schema::Selection& part : parts) {
    auto some = store.flights(part);
    if (!some) return some;
    out.insert(out.end(), some->begin(), some->end());
  }
  if (parts.size() > 1) {
    std::ranges::sort(out, {}, &schema::Flight::id);
    const auto is_same = [](const auto& a, const auto& b) { return a.id == b.id; };
    out.erase(std::unique(out.begin(), out.end(), is_same), out.end());
  }
  return out;
}

/// @param cells  the parts of which flights are needed
Result<Setting> setting(const schema::Store& store, const schema::Selection& which,
                        const std::vector<schema::Selection>& cells,
                        double sea_level_hpa = site::standard_hpa) {
  auto viewpoint = site::Viewpoint::of(store, sea_level_hpa);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto flights = flights_in(store, cells);
  if (!flights) return tl::unexpected(flights.error());
  auto edges_s = recording_edges(store, which);
  if (!edges_s) return tl::unexpected(edges_s.error());
  return Setting{std::move(*viewpoint), std::move(*flights), std::move(*edges_s)};
}

Result<Setting> setting(const schema::Store& store, const schema::Selection& which) {
  return setting(store, which, {which});
}

/// Says whose the farthest cells of summarised hours are. Of a year's flights, which are read as
/// slowly as the summaries, those are few.
Result<void> name_farthest(const schema::Store& store, Reach& reach) {
  std::vector<Farthest*> unnamed;
  const auto look_at = [&](std::optional<Farthest>& at) {
    if (at && at->address == 0 && at->flight != 0) unnamed.push_back(&*at);
  };
  look_at(reach.farthest);
  look_at(reach.beyond.farthest);
  for (ReachSector& sector : reach.sectors) {
    look_at(sector.farthest);
    for (ReachBand& band : sector.by_altitude) look_at(band.farthest);
  }
  std::vector<schema::Id> ids;
  for (const Farthest* at : unnamed) ids.push_back(at->flight);
  const auto flights = store.flights_of(ids);
  if (!flights) return tl::unexpected(flights.error());
  for (Farthest* at : unnamed)
    if (const auto* flight = schema::find_flight(*flights, at->flight))
      at->address = flight->address;
  return {};
}

/// A pattern is one antenna's, as it stood: a selection that holds several has none.
Result<void> require_one_arrangement(const schema::Store& store, const schema::Selection& which) {
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  for (const auto& trial : *trials) {
    const auto& first = trials->front();
    const auto differ = [&](const std::string& a, const std::string& b, const char* what) {
      return fail(Errc::bad_usage,
                  "the selection holds two " + std::string(what) + ", " + a + " and " + b,
                  "trials " + std::to_string(first.id) + " and " + std::to_string(trial.id),
                  "choose one with --" + std::string(what, std::string_view(what).size() - 1) +
                      " or --trial");
    };
    if (trial.antenna != first.antenna) return differ(first.antenna, trial.antenna, "antennas");
    if (trial.receiver != first.receiver)
      return differ(first.receiver, trial.receiver, "receivers");
    if (trial.mount != first.mount) return differ(first.mount, trial.mount, "mounts");
    if (trial.rotation_deg != first.rotation_deg)
      return fail(Errc::bad_usage, "the selection holds the antenna at two rotations",
                  "trials " + std::to_string(first.id) + " and " + std::to_string(trial.id),
                  "choose one with --trial");
  }
  return {};
}

void add_cells(const PlacedCells& some, ReachBuilder& to) {
  for (std::size_t i = 0; i < some.cells.size(); ++i) {
    const site::Sightline& line = some.sightings[i].line;
    to.add(some.cells[i], {line.range_km, line.bearing_deg}, some.horizons_km[i]);
  }
}

/// verdict(), and `beside` while all has been read and the verdict is being found. Not called where
/// reading fails.
Result<Verdict> verdict_beside(const schema::Store& store, const schema::Selection& which,
                               double sector_deg, const VerdictOptions& options,
                               const std::function<void()>& beside);

/// What the verdict says of each sector; empty of a selection that has none, as it holds several
/// arrangements.
/// @param known  it; null: worked out
/// @param cells  looks at the cells, while the verdict is being found where that can be
Result<JudgedSectors> judged_sectors(const schema::Store& store, const schema::Selection& which,
                                     const CutOptions& options, const JudgedSectors* known,
                                     const std::function<Result<void>()>& cells) {
  if (known) return cells().map([&] { return *known; });
  std::optional<Result<void>> read;
  VerdictOptions how;
  how.from_summaries = options.from_summaries;
  auto judged = verdict_beside(store, which, options.sector_deg, how, [&] { read = cells(); });
  if (!judged && judged.error().code != Errc::bad_usage) return tl::unexpected(judged.error());
  if (!read) read = cells();
  if (!*read) return tl::unexpected(read->error());
  return judged ? std::move(judged->sectors) : JudgedSectors{};
}

/// Where the second half of a selection's cells begins; none: they are too few to be parted.
Result<std::optional<double>> second_half_s(const schema::Store& store,
                                            const schema::Selection& which) {
  constexpr std::int64_t many = 500'000;
  const auto hours = store.hours(which);
  if (!hours) return tl::unexpected(hours.error());
  std::int64_t all = 0, so_far = 0;
  for (const schema::Hour& hour : *hours) all += hour.cells;
  if (all < many) return std::nullopt;
  for (const schema::Hour& hour : *hours) {
    if (2 * so_far >= all) return static_cast<double>(hour.hour_s);
    so_far += hour.cells;
  }
  return std::nullopt;
}

Result<void> add_cells(const schema::Store& store, const schema::Selection& which, CutBuilder& to) {
  return store.each_cell(which, [&](const schema::Cell& cell) {
    to.add(cell);
    return true;
  });
}

/// All cells of a selection: of many, each half on its own connection, beside the other.
/// @param later  another one of the same sector
Result<void> add_cells(const schema::Store& store, const schema::Selection& which, CutBuilder& to,
                       CutBuilder later) {
  const auto half_s = second_half_s(store, which);
  if (!half_s) return tl::unexpected(half_s.error());
  if (!*half_s) return add_cells(store, which, to);
  const auto beside = store.reopened();
  if (!beside) return tl::unexpected(beside.error());
  schema::Selection first = which, second = which;
  first.to_s = second.from_s = **half_s;
  std::array<Result<void>, 2> read;
  each_beside(2, [&](std::size_t i) {
    read[i] = i == 0 ? add_cells(store, first, to) : add_cells(*beside, second, later);
  });
  for (const Result<void>& one : read)
    if (!one) return one;
  to.join(std::move(later));
  return {};
}

}  // namespace

Result<void> check_sector_deg(double sector_deg) {
  if (!(sector_deg >= 1 && sector_deg <= 45) ||
      std::abs(360 / sector_deg - std::round(360 / sector_deg)) > 1e-9)
    return fail(Errc::bad_usage, "a sector must divide 360 degrees and be 1 to 45 wide",
                "--sector-deg", "5 is usual");
  return {};
}

Result<void> check_confidence(double confidence) {
  if (!(confidence >= 0.5 && confidence < 1))
    return fail(Errc::bad_usage, "a confidence is from 0.5 to below 1", "--confidence",
                "0.95 is usual");
  return {};
}

Result<Reach> reach(const schema::Store& store, const schema::Selection& which,
                    const ReachOptions& options) {
  if (auto ok = ReachBuilder::check(options); !ok) return tl::unexpected(ok.error());
  const auto refraction = site::Refraction::make(options.refraction);
  const Summaries use = summaries_used(options.from_summaries);
  Reach out;
  // An hour that is summarised, or loses its cells, between the two would be missed or count twice.
  const auto read = store.at_one_moment([&]() -> Result<void> {
    const auto parts = parts_by_cells(store, which, use);
    if (!parts) return tl::unexpected(parts.error());
    // After a change of site there are many: each costs a pass over all flights.
    const auto of = setting(store, which, parts->size() > 4 ? std::vector{which} : *parts,
                            options.sea_level_hpa);
    if (!of) return tl::unexpected(of.error());
    if (!refraction) return tl::unexpected(refraction.error());
    const auto limit = site::horizon_limit(of->viewpoint, *refraction);
    ReachBuilder builder(of->viewpoint, *limit, options, of->flights, of->edges_s);
    SummariesBeside hours(
        [&](const schema::Summary& stored) { return add_places(stored, options, builder); });
    const auto stretches = each_stretch(
        store, which, use, *parts, schema::SummaryPart::places,
        [&](const schema::Summary& stored) {
          hours.add(stored);
          return Result<void>();
        },
        [&](const schema::Selection& part) -> Result<void> {
          if (auto ok = hours.finish(); !ok) return ok;
          return each_placed(store, part, of->viewpoint, *limit,
                             {[&](const PlacedCells& some) { add_cells(some, builder); }});
        });
    if (!stretches) return stretches;
    if (auto ok = hours.finish(); !ok) return ok;
    out = builder.finish();
    return name_farthest(store, out);
  });
  if (!read) return tl::unexpected(read.error());
  return out;
}

Result<Verdict> verdict(const schema::Store& store, const schema::Selection& which,
                        double sector_deg, const VerdictOptions& options) {
  return verdict_beside(store, which, sector_deg, options, {});
}

namespace {

Result<Verdict> verdict_beside(const schema::Store& store, const schema::Selection& which,
                               double sector_deg, const VerdictOptions& options,
                               const std::function<void()>& beside) {
  if (auto ok = check_sector_deg(sector_deg); !ok) return tl::unexpected(ok.error());
  if (!(options.tolerance_db > 0 && options.tolerance_db <= 20))
    return fail(Errc::bad_usage, "a tolerance is more than 0 and at most 20 dB", "--tolerance-db",
                "3 is usual");
  if (auto ok = check_confidence(options.confidence); !ok) return tl::unexpected(ok.error());
  if (auto ok = require_one_arrangement(store, which); !ok) return tl::unexpected(ok.error());
  const auto of = setting(store, which);
  if (!of) return tl::unexpected(of.error());
  ReachOptions reach_options;
  reach_options.sector_deg = sector_deg;
  reach_options.half_rate_ratio = 0;  // of its reach a verdict takes the farthest ranges only
  const auto limit = site::horizon_limit(of->viewpoint, site::Refraction());
  ReachBuilder ranges(of->viewpoint, *limit, reach_options, of->flights, of->edges_s);
  ExposureBuilder exposure(of->viewpoint, sector_deg, most_flights_per_sector);
  const FlightsById flights(of->flights);
  FlightHours hours(hours_by_sector(sector_deg, flights),
                    [&](schema::Id, HourExposure hour) { exposure.add(std::move(hour)); });
  Exposure shown;
  Reach reached;
  const Summaries use = summaries_used(options.from_summaries);
  const auto read = store.at_one_moment([&]() -> Result<void> {
    const auto parts = parts_by_cells(store, which, use);
    if (!parts) return tl::unexpected(parts.error());
    const auto by_flight = each_stretch(
        store, which, use, *parts, schema::SummaryPart::flights,
        [&](schema::Summary&& stored) { return hours.add(std::move(stored)); },
        [&](const schema::Selection& part) {
          if (auto ok = hours.finish(); !ok) return ok;
          return each_placed(store, part, of->viewpoint, *limit,
                             {[&](const PlacedCells& some) { add_cells(some, ranges); },
                              [&](const PlacedCells& some) {
                                for (std::size_t i = 0; i < some.cells.size(); ++i)
                                  if (const auto* flight = flights.find(some.cells[i].flight))
                                    exposure.add(some.cells[i], *flight, some.sightings[i]);
                              }});
        });
    if (!by_flight) return by_flight;
    if (auto ok = hours.finish(); !ok) return ok;
    Result<void> places;
    each_beside(2, [&](std::size_t i) {
      if (i == 1) {
        shown = exposure.finish();
        return;
      }
      places = each_hour(
          store, which, use, schema::SummaryPart::places,
          [&](const schema::Summary& stored) { return add_places(stored, reach_options, ranges); });
      reached = ranges.finish();
    });
    return places;
  });
  if (!read) return tl::unexpected(read.error());
  if (!beside) return judge(shown, reached, options);
  std::optional<Verdict> found;
  each_beside(2, [&](std::size_t i) {
    if (i == 0)
      found = judge(shown, reached, options);
    else
      beside();
  });
  return std::move(*found);
}

}  // namespace

Result<Cut> cut(const schema::Store& store, const schema::Selection& which,
                const CutOptions& options, const JudgedSectors* judged) {
  if (auto ok = CutBuilder::check(options); !ok) return tl::unexpected(ok.error());
  const auto of = setting(store, which);
  if (!of) return tl::unexpected(of.error());
  const auto limit = site::horizon_limit(of->viewpoint, site::Refraction());
  CutBuilder builder(of->viewpoint, *limit, options, of->flights);
  const auto sectors = judged_sectors(store, which, options, judged, [&] {
    return add_cells(store, which, builder,
                     CutBuilder(of->viewpoint, *limit, options, of->flights));
  });
  if (!sectors) return tl::unexpected(sectors.error());
  if (sectors->empty()) return builder.finish();
  const auto sector = static_cast<std::size_t>(options.bearing_deg / options.sector_deg);
  return builder.finish((*sectors)[std::min(sector, sectors->size() - 1)]);
}

Result<std::vector<Cut>> cuts(const schema::Store& store, const schema::Selection& which,
                              const CutOptions& options, const JudgedSectors* judged) {
  if (auto ok = CutBuilder::check(options); !ok) return tl::unexpected(ok.error());
  // First, as its memory is free again before the builders need theirs.
  const auto sectors = judged_sectors(store, which, options, judged, [] { return Result<void>(); });
  if (!sectors) return tl::unexpected(sectors.error());
  const auto of = setting(store, which);
  if (!of) return tl::unexpected(of.error());
  const auto limit = site::horizon_limit(of->viewpoint, site::Refraction());
  const auto n_sectors = static_cast<std::size_t>(std::lround(360 / options.sector_deg));
  const CutBuilder first(of->viewpoint, *limit, options, of->flights);
  std::vector<CutBuilder> builders;
  for (std::size_t i = 0; i < n_sectors; ++i)
    builders.push_back(first.beside(static_cast<double>(i) * options.sector_deg));
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    const auto over = of->viewpoint.over(cell.latitude_deg, cell.longitude_deg);
    const auto sector = static_cast<std::size_t>(over.bearing_deg / options.sector_deg);
    builders[std::min(sector, n_sectors - 1)].add(cell, over);
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  std::vector<Cut> out;
  for (std::size_t i = 0; i < n_sectors; ++i)
    out.push_back(sectors->empty() ? builders[i].finish() : builders[i].finish((*sectors)[i]));
  return out;
}

}  // namespace roundel::pattern
