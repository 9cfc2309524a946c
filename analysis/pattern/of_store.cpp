#include <algorithm>
#include <cmath>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/placed_cells.h"
#include "roundel/pattern/cut.h"
#include "roundel/pattern/reach.h"
#include "roundel/pattern/summary.h"
#include "roundel/pattern/verdict.h"

namespace roundel::pattern {
namespace {

/// More flights than this in each sector would sharpen a sector by less than the scale's own error
/// (gain: 3 %) while they cost time and memory: of a busy week a sample is used.
constexpr int most_flights_per_sector = 600;

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

Result<Setting> setting(const schema::Store& store, const schema::Selection& which,
                        double sea_level_hpa = site::standard_hpa) {
  auto viewpoint = site::Viewpoint::of(store, sea_level_hpa);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  auto edges_s = recording_edges(store, which);
  if (!edges_s) return tl::unexpected(edges_s.error());
  return Setting{std::move(*viewpoint), std::move(*flights), std::move(*edges_s)};
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

/// Adds the summaries of a selection: all, or of hours whose cells are gone.
Result<void> add_summaries(const schema::Store& store, const schema::Selection& which,
                           const ReachOptions& options, ReachBuilder& to) {
  Result<void> fine;
  const double multiple = options.sector_deg / SummaryBins::sector_deg;
  const auto read =
      store.each_summary(which, !options.from_summaries, [&](const schema::Summary& stored) {
        const auto hour = read_summary(stored);
        if (!hour) {
          fine = tl::unexpected(hour.error());
        } else if (std::abs(multiple - std::round(multiple)) > 1e-9) {
          fine = fail(Errc::bad_usage, "only summaries by 5 degrees are left of some hours",
                      "--sector-deg", "choose a multiple of 5, or a later --from");
        } else if (options.band_edges_ft != ReachOptions().band_edges_ft) {
          fine = fail(Errc::bad_usage,
                      "only summaries by fixed altitude bands are left of some hours");
        } else {
          to.add(*hour);
        }
        return fine.has_value();
      });
  return read ? fine : read;
}

/// Hours on end, of the same trials.
struct StaleHours {
  std::vector<schema::Id> trials;
  double from_s, to_s;
};

/// The parts of a selection that no summary answers, in order.
Result<std::vector<schema::Selection>> not_summarised(const schema::Store& store,
                                                      const schema::Selection& which) {
  const auto state = store.summary_state();
  if (!state) return tl::unexpected(state.error());
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  std::vector<schema::Selection> out;
  std::vector<StaleHours> stale;
  const auto add = [&](schema::Selection part, double from_s, std::optional<double> to_s) {
    part.from_s = std::max(which.from_s.value_or(from_s), from_s);
    if (to_s) part.to_s = std::min(which.to_s.value_or(*to_s), *to_s);
    if (!part.to_s || *part.from_s < *part.to_s) out.push_back(std::move(part));
  };
  const auto before_s = static_cast<double>(state->before_s);
  // The part of an hour that a selection begins with: summaries are of whole hours.
  if (which.from_s && *which.from_s < before_s)
    add(which, *which.from_s, std::min(before_s, std::ceil(*which.from_s / 3600) * 3600));
  // After a change of site a year is stale, hour after hour: read in one they take a tenth of the
  // time.
  for (std::size_t i = 0; i < state->stale.size();) {
    const std::int64_t hour_s = state->stale[i].hour_s;
    std::vector<schema::Id> of;
    for (; i < state->stale.size() && state->stale[i].hour_s == hour_s; ++i)
      if (std::any_of(trials->begin(), trials->end(), [&](const schema::Trial& trial) {
            return trial.id == state->stale[i].trial;
          }))
        of.push_back(state->stale[i].trial);
    const auto from_s = static_cast<double>(hour_s);
    // The hour that the selection begins in has been added.
    if (of.empty() || (which.from_s && from_s < *which.from_s)) continue;
    if (!stale.empty() && stale.back().to_s == from_s && stale.back().trials == of)
      stale.back().to_s = from_s + 3600;
    else
      stale.push_back({std::move(of), from_s, from_s + 3600});
  }
  for (StaleHours& hours : stale) {
    schema::Selection part = which;
    part.trials = std::move(hours.trials);
    add(std::move(part), hours.from_s, hours.to_s);
  }
  add(which, before_s, std::nullopt);
  return out;
}

void add_cells(const PlacedCells& some, ReachBuilder& to) {
  for (std::size_t i = 0; i < some.cells.size(); ++i) {
    const site::Sightline& line = some.sightings[i].line;
    to.add(some.cells[i], {line.range_km, line.bearing_deg}, some.horizons_km[i]);
  }
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
  const auto of = setting(store, which, options.sea_level_hpa);
  if (!of) return tl::unexpected(of.error());
  const auto refraction = site::Refraction::make(options.refraction);
  if (!refraction) return tl::unexpected(refraction.error());
  const auto limit = site::horizon_limit(of->viewpoint, *refraction);
  ReachBuilder builder(of->viewpoint, *limit, options, of->flights, of->edges_s);
  // An hour that is summarised, or loses its cells, between the two would be missed or count twice.
  const auto read = store.at_one_moment([&]() -> Result<void> {
    if (auto ok = add_summaries(store, which, options, builder); !ok) return ok;
    std::vector<schema::Selection> parts{which};
    if (options.from_summaries) {
      auto rest = not_summarised(store, which);
      if (!rest) return tl::unexpected(rest.error());
      parts = std::move(*rest);
    }
    for (const schema::Selection& part : parts) {
      auto cells = each_placed(store, part, of->viewpoint, *limit,
                               {[&](const PlacedCells& some) { add_cells(some, builder); }});
      if (!cells) return cells;
    }
    return {};
  });
  if (!read) return tl::unexpected(read.error());
  return builder.finish();
}

Result<Verdict> verdict(const schema::Store& store, const schema::Selection& which,
                        double sector_deg, const VerdictOptions& options) {
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
  const auto read = each_placed(store, which, of->viewpoint, *limit,
                                {[&](const PlacedCells& some) { add_cells(some, ranges); },
                                 [&](const PlacedCells& some) {
                                   for (std::size_t i = 0; i < some.cells.size(); ++i)
                                     if (const auto* flight = flights.find(some.cells[i].flight))
                                       exposure.add(some.cells[i], *flight, some.sightings[i]);
                                 }});
  if (!read) return tl::unexpected(read.error());
  return judge(exposure.finish(), ranges.finish(), options);
}

Result<Cut> cut(const schema::Store& store, const schema::Selection& which,
                const CutOptions& options) {
  if (auto ok = CutBuilder::check(options); !ok) return tl::unexpected(ok.error());
  const auto of = setting(store, which);
  if (!of) return tl::unexpected(of.error());
  const auto limit = site::horizon_limit(of->viewpoint, site::Refraction());
  CutBuilder builder(of->viewpoint, *limit, options, of->flights);
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    builder.add(cell);
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  const auto judged = verdict(store, which, options.sector_deg, {});
  if (!judged) {
    if (judged.error().code != Errc::bad_usage) return tl::unexpected(judged.error());
    return builder.finish();
  }
  const auto sector = static_cast<std::size_t>(options.bearing_deg / options.sector_deg);
  return builder.finish(judged->sectors[std::min(sector, judged->sectors.size() - 1)]);
}

}  // namespace roundel::pattern
