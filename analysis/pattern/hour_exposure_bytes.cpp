#include "analysis/pattern/hour_exposure_bytes.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "analysis/pattern/byte_stream.h"
#include "analysis/pattern/hour_levels.h"
#include "analysis/pattern/summary_bytes.h"

namespace roundel::pattern {
namespace {

// What is kept is rounded to these.
struct Step {
  static constexpr double spreading_db = 0.01, elevation_deg = 0.01, off_deg = 0.04, ratio = 0.002,
                          aspect = 0.02, level_db = 0.05, place_km = 0.01, altitude_ft = 25;
};
constexpr std::int64_t most_cells = 1000;  // of a group; 200 is what makes HourExposer begin anew

// What differs little from the group before it is written as the difference, in steps.
struct Before {
  std::int64_t sector{}, spreading{}, elevation{}, ratio{}, level{};
};

std::int64_t in_steps(double value, double step) { return std::llround(value / step); }

// Two receivers' groups are paired by their bins of spreading: rounding must not leave one.
std::int64_t spreading_steps(double value_db) {
  constexpr auto in_a_bin = static_cast<std::int64_t>(spreading_step_db / Step::spreading_db + 0.5);
  const std::int64_t first = spreading_bin(value_db) * in_a_bin;
  return std::clamp(in_steps(value_db, Step::spreading_db), first, first + in_a_bin - 1);
}

// Its kind is recorded or inferred. That all cells are whole, and all reports carry a level, is
// told by a bit.
void put(ByteWriter& out, const Group& group, Before& before) {
  const auto put_change = [&](std::int64_t& last, std::int64_t now) {
    out.put_signed(now - std::exchange(last, now));
  };
  const int odd_chances = group.chances - group.cells * schema::chances_per_window;
  const int without_level = group.heard - group.levels;
  out.put(((group.cells * 2 + (odd_chances != 0 ? 1 : 0)) * 2 + (without_level != 0 ? 1 : 0)) * 2 +
          static_cast<int>(group.kind));
  put_change(before.sector, group.sector);
  if (odd_chances != 0) out.put_signed(odd_chances);
  out.put(group.heard);
  if (without_level != 0) out.put(without_level);
  put_change(before.spreading, spreading_steps(group.spreading_db));
  put_change(before.elevation, in_steps(group.elevation_deg, Step::elevation_deg));
  put_change(before.ratio, in_steps(group.horizon_ratio, Step::ratio));
  out.put_signed(in_steps(group.bearing_off_deg, Step::off_deg));
  out.put_signed(in_steps(group.cos_aspect, Step::aspect));
  if (group.levels > 0)
    put_change(before.level, in_steps(group.level_sum_db / group.levels, Step::level_db));
}

Group get_group(ByteReader& in, Before& before) {
  const auto get_change = [&](std::int64_t& last, std::int64_t most) {
    last += in.get_signed(2 * most);
    if (std::abs(last) > most) in.reject();
    return static_cast<float>(last);
  };
  Group group;
  const std::int64_t first = in.get(most_cells * 8 + 7);
  group.cells = static_cast<std::uint16_t>(first / 8);
  group.kind = static_cast<GroupKind>(first % 2);
  const auto sector = static_cast<int>(get_change(before.sector, SummaryBins::n_sectors - 1));
  group.sector = static_cast<std::uint16_t>(std::max(0, sector));
  const std::int64_t chances =
      group.cells * schema::chances_per_window + ((first & 4) != 0 ? in.get_signed(UINT16_MAX) : 0);
  group.chances = static_cast<std::uint16_t>(chances);
  group.heard = static_cast<std::uint16_t>(in.get(UINT16_MAX));
  const std::int64_t without_level = (first & 2) != 0 ? in.get(group.heard) : 0;
  group.levels = static_cast<std::uint16_t>(group.heard - without_level);
  // No path is longer than the Earth is round, none shorter than 1 m.
  group.spreading_db =
      static_cast<float>(get_change(before.spreading, 20'000) * Step::spreading_db);
  group.elevation_deg =
      static_cast<float>(get_change(before.elevation, 9000) * Step::elevation_deg);
  group.horizon_ratio = static_cast<float>(get_change(before.ratio, 50'000'000) * Step::ratio);
  group.bearing_off_deg =
      static_cast<float>(static_cast<double>(in.get_signed(64)) * Step::off_deg);
  group.cos_aspect = static_cast<float>(static_cast<double>(in.get_signed(51)) * Step::aspect);
  if (group.levels > 0)
    group.level_sum_db =
        static_cast<float>(get_change(before.level, 1'000'000) * Step::level_db * group.levels);
  if (group.cells == 0 || sector < 0 || chances < 0 || chances > UINT16_MAX) in.reject();
  return group;
}

void put(ByteWriter& out, const TrackPoint& point, std::int64_t first_window) {
  out.put(point.window - first_window);
  out.put_steps(point.x_km, Step::place_km);
  out.put_steps(point.y_km, Step::place_km);
  out.put_steps(point.altitude_ft, Step::altitude_ft);
}

TrackPoint get_point(ByteReader& in, std::int64_t first_window) {
  constexpr std::int64_t most = 10'000'000;  // steps: further than round the Earth
  TrackPoint point;
  point.window = first_window + in.get(schema::windows_per_hour - 1);
  point.x_km = static_cast<double>(in.get_signed(most)) * Step::place_km;
  point.y_km = static_cast<double>(in.get_signed(most)) * Step::place_km;
  point.altitude_ft = static_cast<double>(in.get_signed(most)) * Step::altitude_ft;
  return point;
}

// A flight but for its groups, which follow: how many.
std::int64_t get_ends(ByteReader& in, std::int64_t id, std::int64_t first_window, Before& before,
                      FlightHour& out) {
  if (id < 1 || id > schema::max_flight_id) in.reject();
  out.flight.id = id;
  const std::int64_t parts = in.get(15);
  for (const auto& [bit, into] : {std::pair{1, &out.backwards}, {2, &out.forwards}}) {
    if ((parts & bit) == 0) continue;
    const TrackPoint before_it = get_point(in, first_window);
    *into = Ending{before_it, get_point(in, first_window)};
  }
  for (const auto& [bit, into] : {std::pair{4, &out.first_cell}, {8, &out.last_cell}})
    if ((parts & bit) != 0) *into = get_group(in, before);
  constexpr std::int64_t least_bytes = 8;  // of a group
  return in.get_count(least_bytes);
}

FlightHour get_flight(ByteReader& in, std::int64_t id, std::int64_t first_window) {
  FlightHour out;
  Before before;
  std::int64_t n = get_ends(in, id, first_window, before, out);
  out.groups.reserve(static_cast<std::size_t>(n));
  for (; n > 0 && in.is_good(); --n) out.groups.push_back(get_group(in, before));
  return out;
}

// All but its flights.
HourExposure get_counts(ByteReader& in, std::int64_t hour_s) {
  const std::int64_t first_window = hour_s / schema::window_s;
  HourExposure out;
  out.counts.start_s = hour_s;
  if (in.get() != flights_format) in.reject();
  for (std::int64_t* count :
       {&out.counts.cells, &out.counts.heard, &out.counts.chances, &out.counts.beyond_horizon_cells,
        &out.silent_cells, &out.partial_cells, &out.inferred_cells, &out.levels})
    *count = in.get();
  out.first_window = first_window + in.get(schema::windows_per_hour - 1);
  out.last_window = first_window + in.get(schema::windows_per_hour - 1);
  for (int s = 0; s < SummaryBins::n_sectors; ++s) out.sector_cells.push_back(in.get());
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    const auto heard = static_cast<std::size_t>(in.get(255));
    out.heard_histogram[heard] = in.get();
  }
  constexpr int bits = 7;
  for (int i = 0; i < schema::windows_per_hour; i += bits) {
    const std::int64_t some = in.get((std::int64_t{1} << bits) - 1);
    for (int k = 0; k < bits && i + k < schema::windows_per_hour; ++k)
      out.heard_windows[static_cast<std::size_t>(i + k)] = (some >> k & 1) != 0;
  }
  for (std::uint8_t& aircraft : out.heard_aircraft)
    aircraft = static_cast<std::uint8_t>(in.get(UINT8_MAX));
  return out;
}

}  // namespace

std::string exposure_bytes(const HourExposure& hour) {
  assert(hour.sector_cells.size() == SummaryBins::n_sectors);
  const std::int64_t first_window = hour.counts.start_s / schema::window_s;
  ByteWriter out;
  out.put(flights_format);
  for (const std::int64_t count :
       {hour.counts.cells, hour.counts.heard, hour.counts.chances, hour.counts.beyond_horizon_cells,
        hour.silent_cells, hour.partial_cells, hour.inferred_cells, hour.levels,
        hour.first_window - first_window, hour.last_window - first_window})
    out.put(count);
  for (const std::int64_t cells : hour.sector_cells) out.put(cells);
  const auto n_counted = std::count_if(hour.heard_histogram.begin(), hour.heard_histogram.end(),
                                       [](std::int64_t cells) { return cells > 0; });
  out.put(n_counted);
  for (std::size_t heard = 0; heard < hour.heard_histogram.size(); ++heard) {
    if (hour.heard_histogram[heard] == 0) continue;
    out.put(static_cast<std::int64_t>(heard));
    out.put(hour.heard_histogram[heard]);
  }
  constexpr int bits = 7;  // one byte
  for (int i = 0; i < schema::windows_per_hour; i += bits) {
    std::int64_t some = 0;
    for (int k = 0; k < bits && i + k < schema::windows_per_hour; ++k)
      some |= std::int64_t{hour.heard_windows[static_cast<std::size_t>(i + k)]} << k;
    out.put(some);
  }
  for (const std::uint8_t aircraft : hour.heard_aircraft) out.put(aircraft);
  out.put(std::ssize(hour.flights));
  std::int64_t id = 0;
  for (const FlightHour& flight : hour.flights) {
    out.put_signed(flight.flight.id - std::exchange(id, flight.flight.id));
    out.put((flight.backwards ? 1 : 0) + (flight.forwards ? 2 : 0) + (flight.first_cell ? 4 : 0) +
            (flight.last_cell ? 8 : 0));
    for (const auto* ending : {&flight.backwards, &flight.forwards}) {
      if (!*ending) continue;
      put(out, (*ending)->before, first_window);
      put(out, (*ending)->end, first_window);
    }
    Before before;
    for (const auto* cell : {&flight.first_cell, &flight.last_cell})
      if (*cell) put(out, **cell, before);
    out.put(std::ssize(flight.groups));
    for (const Group& group : flight.groups) put(out, group, before);
  }
  return std::move(out).bytes();
}

std::optional<HourExposure> exposure_of(std::string_view bytes, std::int64_t hour_s) {
  ByteReader in(bytes);
  HourExposure out = get_counts(in, hour_s);
  const std::int64_t first_window = hour_s / schema::window_s;
  std::int64_t id = 0;
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    id += in.get_signed(schema::max_flight_id);
    out.flights.push_back(get_flight(in, id, first_window));
  }
  if (!in.is_good() || !in.is_at_end()) return std::nullopt;
  return out;
}

std::optional<HourLevels> levels_of(std::string_view bytes, std::int64_t hour_s) {
  ByteReader in(bytes);
  const HourExposure counts = get_counts(in, hour_s);
  HourLevels out = levels_of(counts);
  const std::int64_t first_window = hour_s / schema::window_s;
  std::int64_t id = 0;
  for (std::int64_t n = in.get_count(); n > 0 && in.is_good(); --n) {
    id += in.get_signed(schema::max_flight_id);
    FlightHour ends;
    Before before;
    out.begin_flight(id);
    for (std::int64_t g = get_ends(in, id, first_window, before, ends); g > 0 && in.is_good(); --g)
      out.add(get_group(in, before));
  }
  if (!in.is_good() || !in.is_at_end()) return std::nullopt;
  out.groups.shrink_to_fit();  // they stay where they are
  return out;
}

Result<HourExposure> read_exposure(const schema::Summary& stored) {
  auto hour = exposure_of(stored.detail.flights, stored.hour_s);
  if (!hour) return not_a_summary(stored);
  return std::move(*hour);
}

void name_flights(HourExposure& hour, const FlightsById& flights) {
  std::erase_if(hour.flights, [&](FlightHour& one) {
    const schema::Flight* const flight = flights.find(one.flight.id);
    if (flight) one.flight = *flight;
    return !flight;
  });
}

}  // namespace roundel::pattern
