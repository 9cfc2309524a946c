#include "analysis/pattern/summary_bytes.h"

#include <algorithm>
#include <tuple>
#include <utility>

#include "analysis/pattern/byte_stream.h"
#include "analysis/pattern/support.h"
#include "roundel/pattern/field.h"
#include "roundel/schema/rows.h"

namespace roundel::pattern {
namespace {

constexpr double far_step_km = 0.01, contact_step_km = 0.1, bearing_step_deg = 0.01,
                 altitude_step_ft = 25;

void put(ByteWriter& out, const SummaryFarthest& at, std::int64_t first_window) {
  out.put(at.sector * SummaryBins::n_bands + at.band);
  out.put_steps(at.range_km, far_step_km);
  out.put_steps(at.bearing_deg, bearing_step_deg);
  out.put_steps(at.altitude_ft, altitude_step_ft);
  out.put(at.window - first_window);
  out.put(at.flight);
}

// Of what was heard: a band, or none of them.
constexpr int n_heard_bands = SummaryBins::n_bands + 1;

SummaryFarthest get_farthest(ByteReader& in, std::int64_t first_window) {
  SummaryFarthest at;
  const auto place = static_cast<int>(in.get(SummaryBins::n_sectors * SummaryBins::n_bands - 1));
  at.sector = place / SummaryBins::n_bands;
  at.band = place % SummaryBins::n_bands;
  at.range_km = in.get_steps(far_step_km);
  at.bearing_deg = in.get_steps(bearing_step_deg);
  at.altitude_ft = in.get_steps(altitude_step_ft);
  at.window = first_window + in.get(schema::windows_per_hour - 1);
  at.flight = in.get(schema::max_flight_id);
  return at;
}

constexpr int share_key(int sector, int range_bin, int elevation_bin) {
  return (sector * SummaryBins::n_ranges + range_bin) * SummaryBins::n_elevations + elevation_bin;
}

void get_shares(ByteReader& in, HourSummary& out) {
  std::int64_t n = in.get_count();
  out.shares.reserve(static_cast<std::size_t>(n));
  constexpr std::int64_t most_key = share_key(SummaryBins::n_sectors, 0, 0) - 1;
  for (std::int64_t key = 0; n > 0 && in.is_good(); --n) {
    key += in.get(most_key);
    SummaryShare share;
    share.expected = in.get();
    share.heard = in.get();
    if (key > most_key) return in.reject();
    share.elevation_bin = static_cast<int>(key % SummaryBins::n_elevations);
    share.range_bin = static_cast<int>(key / SummaryBins::n_elevations % SummaryBins::n_ranges);
    share.sector = static_cast<int>(key / SummaryBins::n_elevations / SummaryBins::n_ranges);
    out.shares.push_back(share);
  }
}

void get_others(ByteReader& in, std::vector<SummaryOthers>& out) {
  constexpr std::int64_t most_place = std::int64_t{SummaryBins::n_sectors} * field_steps - 1;
  std::int64_t place = 0;
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    place += in.get(most_place);
    if (place > most_place) return in.reject();
    SummaryOthers some{static_cast<int>(place / field_steps), static_cast<int>(place % field_steps),
                       0, 0};
    some.expected = in.get();
    some.heard = in.get();
    out.push_back(some);
  }
}

/// Places of bands that are cut no more as they were.
void forget_bands(HourSummary& out) {
  const ReachOptions options;
  for (auto& at : out.farthest) at.band = band_of(at.altitude_ft, options);
  std::stable_sort(out.farthest.begin(), out.farthest.end(), [](const auto& a, const auto& b) {
    return std::tuple(a.sector, a.band, -a.range_km) < std::tuple(b.sector, b.band, -b.range_km);
  });
  const auto last =
      std::unique(out.farthest.begin(), out.farthest.end(), [](const auto& a, const auto& b) {
        return std::pair(a.sector, a.band) == std::pair(b.sector, b.band);
      });
  out.farthest.erase(last, out.farthest.end());
  std::vector<SummaryHeard> by_sector;
  for (const auto& heard : out.heard) {
    if (by_sector.empty() || by_sector.back().sector != heard.sector)
      by_sector.push_back({heard.sector, SummaryBins::n_bands, 0, 0});
    by_sector.back().cells += heard.cells;
    by_sector.back().flights += heard.flights;
  }
  out.heard = std::move(by_sector);
}

}  // namespace

std::string summary_bytes(const HourSummary& summary) {
  const std::int64_t first_window = summary.hour_s / schema::window_s;
  ByteWriter out;
  out.put(summary.others ? places_format : places_format - 1);
  out.put(summary.flights);
  out.put(summary.heard_cells);
  out.put(summary.beyond_cells);
  out.put(summary.beyond_flights);
  out.put(summary.beyond ? 1 : 0);
  if (summary.beyond) put(out, *summary.beyond, first_window);
  out.put(std::ssize(summary.farthest));
  for (const auto& at : summary.farthest) put(out, at, first_window);
  out.put(std::ssize(summary.heard));
  for (const auto& heard : summary.heard) {
    out.put(heard.sector * n_heard_bands + heard.band);
    out.put(heard.cells);
    out.put(heard.flights);
  }
  out.put(std::ssize(summary.contacts));
  for (const auto& contact : summary.contacts) {
    out.put(contact.sector * 2 + (contact.is_first ? 1 : 0));
    out.put(contact.window - first_window);
    out.put_steps(contact.range_km, contact_step_km);
  }
  out.put(std::ssize(summary.shares));
  int before = 0;
  for (const auto& share : summary.shares) {
    const int key = share_key(share.sector, share.range_bin, share.elevation_bin);
    out.put(key - std::exchange(before, key));
    out.put(share.expected);
    out.put(share.heard);
  }
  if (!summary.others) return std::move(out).bytes();
  out.put(std::ssize(*summary.others));
  before = 0;
  for (const auto& some : *summary.others) {
    const int place = some.sector * field_steps + some.step;
    out.put(place - std::exchange(before, place));
    out.put(some.expected);
    out.put(some.heard);
  }
  return std::move(out).bytes();
}

std::optional<HourSummary> summary_of(std::string_view bytes, std::int64_t hour_s) {
  const std::int64_t first_window = hour_s / schema::window_s;
  ByteReader in(bytes);
  HourSummary out;
  out.hour_s = hour_s;
  const std::int64_t format = in.get();
  if (format < 1 || format > places_format) return std::nullopt;
  out.flights = in.get();
  out.heard_cells = in.get();
  out.beyond_cells = in.get();
  out.beyond_flights = in.get();
  if (in.get(1) == 1) out.beyond = get_farthest(in, first_window);
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n)
    out.farthest.push_back(get_farthest(in, first_window));
  const bool has_other_bands = format < 3;
  const int n_bands = has_other_bands ? SummaryBins::n_bands : n_heard_bands;
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    const auto place = static_cast<int>(in.get(SummaryBins::n_sectors * n_bands - 1));
    const std::int64_t cells = in.get();
    out.heard.push_back({place / n_bands, place % n_bands, cells, in.get()});
  }
  if (has_other_bands) forget_bands(out);
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    const auto place = static_cast<int>(in.get(SummaryBins::n_sectors * 2 - 1));
    const std::int64_t window = first_window + in.get(schema::windows_per_hour - 1);
    out.contacts.push_back({place / 2, place % 2 == 1, window, in.get_steps(contact_step_km)});
  }
  get_shares(in, out);
  if (format % 2 == 0) get_others(in, out.others.emplace());
  if (!in.is_good() || !in.is_at_end()) return std::nullopt;
  return out;
}

tl::unexpected<Error> not_a_summary(const schema::Summary& stored) {
  return fail(Errc::corrupt, "a summary cannot be read",
              "trial " + std::to_string(stored.trial) + ", hour " + std::to_string(stored.hour_s),
              "restore a copy of the database");
}

}  // namespace roundel::pattern
