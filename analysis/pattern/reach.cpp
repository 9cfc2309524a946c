#include "roundel/pattern/reach.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <utility>

#include "analysis/pattern/beside.h"
#include "analysis/pattern/half_rate.h"
#include "analysis/pattern/support.h"
#include "roundel/pattern/summary.h"

namespace roundel::pattern {
namespace {

/// A flight not heard of for so long has ended (the unit of independence).
constexpr std::int64_t windows_of_silence = 1800 / schema::window_s;
/// Contacts made or lost so near an edge of the recording are the recording's, not the antenna's.
constexpr std::int64_t edge_s = 60;
constexpr std::int64_t half_rate_min_flights = 5;

/// One end of a flight's contact.
struct Contact {
  std::int64_t window{};
  float range_km{};
  int sector{};
  bool counts{};  ///< high enough, and within the limit
};

struct FlightReach {
  const schema::Flight* flight{};
  std::int64_t ordinal{};  ///< in order of appearance
  std::int64_t last_window{};
  std::int64_t beyond_hour = -1;  ///< the hour in which it was last counted as beyond
  Support support;
  std::optional<Contact> first;
  Contact last;
  std::vector<bool> seen;                                                 ///< by sector and band
  std::vector<bool> rated;                                                ///< by sector
  std::size_t last_seen = ~std::size_t{0}, last_rated = ~std::size_t{0};  ///< places in them
};

/// What an hour brings; merged when it is over and turns out not to be rich in ducting.
struct Pending {
  std::vector<std::optional<Farthest>> supported;  ///< the farthest, by sector and band
  struct Rate {
    std::uint32_t place;  ///< in RateByRange
    std::uint8_t heard, expected;
  };
  std::vector<Rate> rates;
  std::int64_t heard_cells{}, beyond_cells{}, beyond_flights{};
};

Quartiles quartiles(std::vector<float>& ranges_km) {
  std::sort(ranges_km.begin(), ranges_km.end());
  // Linear between order statistics (Hyndman and Fan 1996, definition 7).
  const auto at = [&](double share) {
    const double place = share * static_cast<double>(ranges_km.size() - 1);
    const auto below = static_cast<std::size_t>(place);
    const std::size_t above = std::min(below + 1, ranges_km.size() - 1);
    const double part = place - static_cast<double>(below);
    return ranges_km[below] * (1 - part) + ranges_km[above] * part;
  };
  return {at(0.25), at(0.5), at(0.75), static_cast<std::int64_t>(ranges_km.size())};
}

}  // namespace

struct ReachBuilder::Impl {
  Impl(const site::Viewpoint& from, const site::Limit& limited, ReachOptions how,
       std::span<const schema::Flight> all, std::vector<std::int64_t> edges)
      : viewpoint(from),
        limit(limited),
        options(std::move(how)),
        n_sectors(static_cast<int>(std::lround(360 / options.sector_deg))),
        n_bands(static_cast<int>(options.band_edges_ft.size()) + 1),
        flights(all.begin(), all.end()),
        edges_s(std::move(edges)),
        pending{std::vector<std::optional<Farthest>>(static_cast<std::size_t>(n_sectors) *
                                                     static_cast<std::size_t>(n_bands)),
                {},
                0,
                0,
                0},
        rate(n_sectors),
        rated_flights(static_cast<std::size_t>(n_sectors)),
        first_heard(static_cast<std::size_t>(n_sectors)),
        last_heard(static_cast<std::size_t>(n_sectors)) {
    std::sort(edges_s.begin(), edges_s.end());
    if (!std::ranges::is_sorted(flights, {}, &schema::Flight::id))
      std::ranges::sort(flights, {}, &schema::Flight::id);
    if (!flights.empty())
      slots.assign(static_cast<std::size_t>(flights.back().id - flights.front().id) + 1, unknown);
    for (const schema::Flight& flight : flights) slots[slot_of(flight.id)] = not_met;
    out.sector_deg = options.sector_deg;
    out.limit_method = limit.method();
    for (int sector = 0; sector < n_sectors; ++sector) {
      ReachSector made;
      made.bearing_deg = (sector + 0.5) * options.sector_deg;
      for (int band = 0; band < n_bands; ++band) {
        ReachBand of;
        if (band > 0) of.low_ft = options.band_edges_ft[static_cast<std::size_t>(band - 1)];
        if (band < n_bands - 1) of.high_ft = options.band_edges_ft[static_cast<std::size_t>(band)];
        made.by_altitude.push_back(of);
      }
      out.sectors.push_back(std::move(made));
    }
    for (double altitude_ft : options.limit_altitudes_ft) {
      LimitLine line{altitude_ft, {}, 0};
      for (const auto& sector : out.sectors)
        line.range_km.push_back(limit.limit_km(sector.bearing_deg, altitude_ft));
      for (double range_km : line.range_km) line.mean_km += range_km / n_sectors;
      out.limits.push_back(std::move(line));
    }
  }

  /// Smaller ids than any known wrap to very large.
  std::size_t slot_of(schema::Id id) const {
    return static_cast<std::size_t>(id - flights.front().id);
  }

  /// None for a flight that was not announced.
  FlightReach* state_of(schema::Id id) {
    if (slots.empty() || slot_of(id) >= slots.size()) return nullptr;
    std::int32_t& slot = slots[slot_of(id)];
    if (slot >= 0) return &states[static_cast<std::size_t>(slot)];
    if (slot == unknown) return nullptr;
    if (idle.empty()) {
      idle.push_back(static_cast<std::int32_t>(states.size()));
      states.emplace_back();
    }
    slot = idle.back();
    idle.pop_back();
    FlightReach& state = states[static_cast<std::size_t>(slot)];
    state = FlightReach{};
    state.flight = schema::find_flight(flights, id);
    state.ordinal = next_ordinal++;
    state.seen.resize(static_cast<std::size_t>(n_sectors * n_bands));
    state.rated.resize(static_cast<std::size_t>(n_sectors));
    return &state;
  }

  bool near_edge(std::int64_t time_s) const {
    const auto next = std::lower_bound(edges_s.begin(), edges_s.end(), time_s - edge_s);
    return next != edges_s.end() && *next <= time_s + edge_s;
  }

  void add(const schema::Cell& cell, const site::Overground& over, double horizon_km) {
    const std::int64_t hour = cell.window / schema::windows_per_hour;
    if (hour != this_hour) {
      close_hour();
      this_hour = hour;
    }
    FlightReach* const state = state_of(cell.flight);
    if (!state) return;
    const std::int64_t start_s = cell.window * schema::window_s;
    if (!out.from_s) out.from_s = start_s;
    out.to_s = start_s + schema::window_s;
    state->last_window = cell.window;

    const bool tells_share = is_rated(cell, *state->flight);
    if (cell.heard == 0 && !tells_share) return;
    const int sector =
        std::min(static_cast<int>(over.bearing_deg / options.sector_deg), n_sectors - 1);
    const bool is_beyond = over.range_km > options.max_ratio * horizon_km;

    if (tells_share && over.range_km < options.half_rate_ratio * horizon_km) {
      const auto rated = static_cast<std::size_t>(sector);
      if (rated != state->last_rated) {
        rated_flights[rated] += !state->rated[rated];
        state->rated[rated] = true;
        state->last_rated = rated;
      }
      if (const auto place = rate.place(sector, static_cast<float>(over.range_km), state->ordinal))
        pending.rates.push_back({*place, static_cast<std::uint8_t>(cell.heard),
                                 static_cast<std::uint8_t>(cell.expected)});
    }
    if (cell.heard == 0) return;

    ++out.cells;
    out.reports += cell.heard;
    ++pending.heard_cells;
    const Contact contact{cell.window, static_cast<float>(over.range_km), sector,
                          !is_beyond && cell.altitude_ft >= options.contact_min_ft};
    if (!state->first) {
      state->first = contact;
      ++out.flights;
    }
    state->last = contact;
    if (is_beyond) {
      note_beyond(*state, hour,
                  {over.range_km, over.bearing_deg, cell.altitude_ft, horizon_km,
                   state->flight->address, start_s, cell.flight});
      return;
    }
    const int band = band_of(cell.altitude_ft, options);
    note_heard(*state, sector, band);
    state->support.add({cell.window, cell.latitude_deg, cell.longitude_deg, cell.altitude_ft,
                        static_cast<float>(over.range_km), static_cast<float>(over.bearing_deg),
                        static_cast<float>(horizon_km), static_cast<std::int16_t>(sector),
                        static_cast<std::int16_t>(band), static_cast<std::uint8_t>(cell.heard)},
                       options, [&](const Candidate& c) { mark(*state, c); });
  }

  void note_beyond(FlightReach& state, std::int64_t hour, const Farthest& at) {
    ++out.beyond.cells;
    ++pending.beyond_cells;
    if (state.beyond_hour != hour) ++pending.beyond_flights;
    state.beyond_hour = hour;
    keep_farther(out.beyond.farthest, at);
  }

  void note_heard(FlightReach& state, int sector, int band) {
    ReachSector& of_sector = out.sectors[static_cast<std::size_t>(sector)];
    ReachBand& of_band = of_sector.by_altitude[static_cast<std::size_t>(band)];
    ++of_sector.cells;
    ++of_band.cells;
    const auto first = static_cast<std::size_t>(sector * n_bands);
    const auto slot = first + static_cast<std::size_t>(band);
    if (slot == state.last_seen) return;
    state.last_seen = slot;
    if (state.seen[slot]) return;
    bool is_new = true;
    for (std::size_t i = 0; i < static_cast<std::size_t>(n_bands); ++i)
      is_new = is_new && !state.seen[first + i];
    of_sector.flights += is_new;
    ++of_band.flights;
    state.seen[slot] = true;
  }

  /// A cell has support: the hour remembers it if it is the farthest.
  void mark(const FlightReach& state, const Candidate& c) {
    keep_farther(pending.supported[static_cast<std::size_t>(c.sector * n_bands + c.band)],
                 {c.range_km, c.bearing_deg, c.altitude_ft, c.horizon_km, state.flight->address,
                  c.window * schema::window_s, state.flight->id});
  }

  bool is_rich(std::int64_t beyond_flights, std::int64_t beyond_cells,
               std::int64_t heard_cells) const {
    return beyond_flights >= options.rich_hour_flights &&
           static_cast<double>(beyond_cells) >=
               options.rich_hour_share * static_cast<double>(heard_cells);
  }

  Farthest farthest_of(const SummaryFarthest& at) const {
    const auto* flight = schema::find_flight(flights, at.flight);
    return {at.range_km,
            at.bearing_deg,
            at.altitude_ft,
            limit.limit_km(at.bearing_deg, at.altitude_ft),
            flight ? flight->address : 0,
            at.window * schema::window_s,
            at.flight};
  }

  std::size_t sector_of_stored(int stored) const {
    return static_cast<std::size_t>(stored * SummaryBins::sector_deg / options.sector_deg);
  }

  void add_shares(const HourSummary& hour) {
    // Those of one sector and range, of all elevations, stand together.
    for (auto share = hour.shares.begin(); share != hour.shares.end();) {
      const SummaryShare& first = *share;
      std::int64_t heard = 0, expected = 0;
      for (; share != hour.shares.end() && share->range_bin == first.range_bin &&
             share->sector == first.sector;
           ++share) {
        heard += share->heard;
        expected += share->expected;
      }
      if (const auto place =
              rate.place(static_cast<int>(sector_of_stored(first.sector)),
                         (first.range_bin + 0.5) * SummaryBins::range_km, hour.hour_s / 3600))
        rate.add(*place, static_cast<int>(heard), static_cast<int>(expected));
    }
  }

  void add(const HourSummary& hour) {
    if (!out.from_s) out.from_s = hour.hour_s;
    out.to_s = std::max(out.to_s.value_or(0), hour.hour_s + 3600);
    out.flights += hour.flights;
    out.cells += hour.heard_cells;
    out.reports += hour.reports;
    out.beyond.cells += hour.beyond_cells;
    if (hour.beyond) keep_farther(out.beyond.farthest, farthest_of(*hour.beyond));
    const auto sector_at = [&](int stored) { return sector_of_stored(stored); };
    for (const auto& heard : hour.heard) {
      ReachSector& sector = out.sectors[sector_at(heard.sector)];
      sector.cells += heard.cells;
      sector.flights += heard.flights;
      rated_flights[sector_at(heard.sector)] += heard.flights;
      if (heard.band == SummaryBins::n_bands) continue;
      ReachBand& band = sector.by_altitude[static_cast<std::size_t>(heard.band)];
      band.cells += heard.cells;
      band.flights += heard.flights;
    }
    if (is_rich(hour.beyond_flights, hour.beyond_cells, hour.heard_cells)) {
      out.beyond.hours.push_back(
          {hour.hour_s, hour.beyond_flights, hour.beyond_cells, hour.heard_cells});
      return;
    }
    for (const auto& stored : hour.farthest) {
      // Most are nearer than what is known: the horizon is looked up for the others only.
      ReachSector& sector = out.sectors[sector_at(stored.sector)];
      auto& band = sector.by_altitude[static_cast<std::size_t>(stored.band)].farthest;
      if (band && stored.range_km <= band->range_km) continue;
      const Farthest at = farthest_of(stored);
      keep_farther(band, at);
      keep_farther(sector.farthest, at);
    }
    if (options.half_rate_ratio > 0) add_shares(hour);
    for (const auto& contact : hour.contacts) {
      if (near_edge(contact.window * schema::window_s)) continue;
      auto& heard = contact.is_first ? first_heard : last_heard;
      heard[sector_at(contact.sector)].push_back(static_cast<float>(contact.range_km));
    }
  }

  void close_hour() {
    if (is_rich(pending.beyond_flights, pending.beyond_cells, pending.heard_cells)) {
      out.beyond.hours.push_back(
          {this_hour * 3600, pending.beyond_flights, pending.beyond_cells, pending.heard_cells});
    } else {
      for (std::size_t i = 0; i < pending.supported.size(); ++i) {
        const std::optional<Farthest>& at = pending.supported[i];
        if (!at) continue;
        const auto n = static_cast<std::size_t>(n_bands);
        ReachSector& sector = out.sectors[i / n];
        keep_farther(sector.farthest, *at);
        keep_farther(sector.by_altitude[i % n].farthest, *at);
      }
      for (const auto& r : pending.rates) rate.add(r.place, r.heard, r.expected);
    }
    std::fill(pending.supported.begin(), pending.supported.end(), std::nullopt);
    pending.rates.clear();
    pending.heard_cells = pending.beyond_cells = pending.beyond_flights = 0;
    const std::int64_t now = (this_hour + 1) * schema::windows_per_hour;
    for (FlightReach& state : states)
      if (state.flight && now - state.last_window > windows_of_silence) {
        const std::size_t slot = slot_of(state.flight->id);
        end_flight(state);
        state.flight = nullptr;
        idle.push_back(std::exchange(slots[slot], not_met));
      }
  }

  void end_flight(const FlightReach& state) {
    if (!state.first) return;
    const auto& flight = *state.flight;
    const auto counts = [&](const Contact& contact) {
      const std::int64_t hour_s = contact.window / schema::windows_per_hour * 3600;
      const bool in_rich_hour =
          std::any_of(out.beyond.hours.begin(), out.beyond.hours.end(),
                      [&](const auto& hour) { return hour.hour_s == hour_s; });
      return contact.counts && !in_rich_hour && !near_edge(contact.window * schema::window_s);
    };
    if (state.first->window == flight.first_window && counts(*state.first))
      first_heard[static_cast<std::size_t>(state.first->sector)].push_back(state.first->range_km);
    if (state.last.window == flight.last_window && counts(state.last))
      last_heard[static_cast<std::size_t>(state.last.sector)].push_back(state.last.range_km);
  }

  const site::Viewpoint& viewpoint;
  const site::Limit& limit;
  ReachOptions options;
  int n_sectors, n_bands;
  std::vector<schema::Flight> flights;  ///< by id
  std::vector<std::int64_t> edges_s;    ///< sorted
  static constexpr std::int32_t unknown = -2, not_met = -1;
  std::vector<std::int32_t> slots;  ///< of a flight in `states`, by id from the first
  std::vector<FlightReach> states;
  std::vector<std::int32_t> idle;  ///< places in `states`
  std::int64_t next_ordinal = 0;
  std::int64_t this_hour = 0;
  Pending pending;
  RateByRange rate;
  std::vector<std::int64_t> rated_flights;
  std::vector<std::vector<float>> first_heard, last_heard;  ///< ranges, by sector
  Reach out;
};

ReachBuilder::ReachBuilder(const site::Viewpoint& viewpoint, const site::Limit& limit,
                           const ReachOptions& options, std::span<const schema::Flight> flights,
                           std::vector<std::int64_t> edges_s)
    : impl_(std::make_unique<Impl>(viewpoint, limit, options, flights, std::move(edges_s))) {
  assert(check(options));
}
ReachBuilder::ReachBuilder(ReachBuilder&&) noexcept = default;
ReachBuilder& ReachBuilder::operator=(ReachBuilder&&) noexcept = default;
ReachBuilder::~ReachBuilder() = default;

void ReachBuilder::add(const schema::Cell& cell) {
  const auto over = impl_->viewpoint.over(cell.latitude_deg, cell.longitude_deg);
  impl_->add(cell, over, impl_->limit.limit_km(over.bearing_deg, cell.altitude_ft));
}
void ReachBuilder::add(const schema::Cell& cell, const site::Overground& over, double limit_km) {
  impl_->add(cell, over, limit_km);
}

void ReachBuilder::add(const HourSummary& hour) { impl_->add(hour); }

Reach ReachBuilder::finish() {
  impl_->close_hour();
  for (const FlightReach& state : impl_->states)
    if (state.flight) impl_->end_flight(state);
  Reach& out = impl_->out;
  for (const ReachSector& sector : out.sectors)
    if (sector.farthest) keep_farther(out.farthest, *sector.farthest);
  each_beside(out.sectors.size(), [&](std::size_t i) {
    ReachSector& sector = out.sectors[i];
    if (impl_->rated_flights[i] >= half_rate_min_flights) {
      sector.half_rate =
          impl_->rate.half_rate(static_cast<int>(i), impl_->options.half_rate_interval);
      if (sector.half_rate) sector.half_rate->flights = impl_->rated_flights[i];
    }
    if (!impl_->first_heard[i].empty()) sector.first_heard = quartiles(impl_->first_heard[i]);
    if (!impl_->last_heard[i].empty()) sector.last_heard = quartiles(impl_->last_heard[i]);
  });
  return std::move(out);
}

void expect(Reach& reach, const site::Limit& expected) {
  reach.expected_method = expected.method();
  for (ReachSector& sector : reach.sectors) {
    if (!sector.farthest) continue;
    const Farthest& at = *sector.farthest;
    sector.expected_km = expected.limit_km(at.bearing_deg, at.altitude_ft);
    sector.expected_cause = expected.cause(at.bearing_deg, at.altitude_ft);
  }
}

Result<void> ReachBuilder::check(const ReachOptions& options) {
  const double n = 360 / options.sector_deg;
  if (!(options.sector_deg >= 1 && options.sector_deg <= 90 && std::abs(n - std::round(n)) < 1e-9))
    return fail(Errc::bad_usage, fmt::format("sectors of {} degrees", options.sector_deg),
                "--sector-deg", "choose a width from 1 to 90 that divides 360, like 5 or 10");
  if (!std::is_sorted(options.band_edges_ft.begin(), options.band_edges_ft.end()) ||
      std::adjacent_find(options.band_edges_ft.begin(), options.band_edges_ft.end()) !=
          options.band_edges_ft.end())
    return fail(Errc::bad_usage, "altitude bands must rise from edge to edge");
  if (options.support_reports < 1 || options.support_s < 2 * schema::window_s ||
      options.support_s > 60)
    return fail(Errc::bad_usage, "support is at least 1 report within 20 to 60 s");
  return {};
}

}  // namespace roundel::pattern
