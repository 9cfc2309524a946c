#include "analysis/trial/level_record.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "analysis/pattern/flight_sample.h"

namespace roundel::trial {

using pattern::LevelGroup;

LevelRecord::LevelRecord(double sector_deg, std::vector<schema::Flight> flights)
    : sector_deg_(sector_deg),
      n_sectors_(static_cast<int>(std::lround(360 / sector_deg))),
      flights_(std::move(flights)),
      by_id_(flights_) {}

LevelRecord LevelRecord::of(const pattern::Exposure& exposure) {
  std::vector<schema::Flight> flights(exposure.flights.size());
  pattern::HourLevels all;
  for (std::size_t f = 0; f < flights.size(); ++f) {
    // Simulated ones may have no number of their own.
    flights[f].id = static_cast<schema::Id>(f + 1);
    flights[f].address = exposure.flights[f].address;
    all.begin_flight(flights[f].id);
    for (const pattern::Group& group : exposure.of(exposure.flights[f])) all.add(group);
  }
  LevelRecord out(exposure.sector_deg, std::move(flights));
  out.first_hour_s_ = exposure.hours.empty() ? 0 : exposure.hours.front().start_s;
  out.n_hours_ = std::ssize(exposure.hours);
  out.from_s_ = exposure.from_s;
  out.to_s_ = exposure.to_s;
  out.heard_histogram_ = exposure.heard_histogram;
  out.groups_.push_back(std::move(all.groups));
  out.add_parts(all);
  out.finish();
  return out;
}

void LevelRecord::add(pattern::HourLevels hour) {
  if (n_hours_ == 0) first_hour_s_ = hour.start_s;
  const std::int64_t at = std::max<std::int64_t>(0, (hour.start_s - first_hour_s_) / 3600);
  n_hours_ = std::max(n_hours_, at + 1);
  const std::int64_t from_s = hour.first_window * schema::window_s;
  const std::int64_t to_s = (hour.last_window + 1) * schema::window_s;
  from_s_ = std::min(from_s_.value_or(from_s), from_s);
  to_s_ = std::max(to_s_.value_or(to_s), to_s);
  pattern::add_each(heard_histogram_, hour.heard_histogram);
  for (LevelGroup& group : hour.groups) group.hour = static_cast<std::uint16_t>(at);
  groups_.push_back(std::move(hour.groups));
  add_parts(hour);
}

// Of the groups added last.
void LevelRecord::add_parts(const pattern::HourLevels& hour) {
  const LevelGroup* groups = groups_.back().data();
  for (const auto& [id, n_groups] : hour.flights) {
    const schema::Flight* const flight = by_id_.find(id);
    if (flight && n_groups > 0)
      parts_.push_back({groups, n_groups, static_cast<std::uint32_t>(flight - flights_.data())});
    groups += n_groups;
  }
}

void LevelRecord::finish() {
  first_part_.assign(flights_.size() + 1, 0);
  for (const Part& part : parts_) ++first_part_[part.flight + 1];
  std::partial_sum(first_part_.begin(), first_part_.end(), first_part_.begin());
  std::vector<Part> by_flight(parts_.size());
  std::vector<std::size_t> next = first_part_;
  for (const Part& part : parts_) by_flight[next[part.flight]++] = part;
  parts_ = std::move(by_flight);
}

std::vector<bool> LevelRecord::chosen(int flights_per_sector) const {
  std::vector<pattern::Candidacy> flights(n_flights());
  for (std::uint32_t f = 0; f < flights.size(); ++f) {
    flights[f].key = pattern::sample_key(f);
    std::vector<std::uint16_t>& sectors = flights[f].sectors;
    each_part(f, [&](std::span<const LevelGroup> groups) {
      for (const LevelGroup& group : groups)
        if (const auto at = std::lower_bound(sectors.begin(), sectors.end(), group.sector);
            at == sectors.end() || *at != group.sector)
          sectors.insert(at, group.sector);
    });
  }
  return pattern::sample(flights, n_sectors_, flights_per_sector);
}

pattern::Exposure LevelRecord::sample(int flights_per_sector) const {
  pattern::Exposure out;
  out.sector_deg = sector_deg_;
  out.n_sectors = n_sectors_;
  out.heard_histogram = heard_histogram_;
  out.from_s = from_s_;
  out.to_s = to_s_;
  for (std::size_t hour = 0; hour < n_hours(); ++hour) out.hours.push_back({hour_s(hour)});
  const std::vector<bool> stays = chosen(flights_per_sector);
  for (std::size_t f = 0; f < n_flights(); ++f) {
    if (!stays[f]) continue;
    const auto index = static_cast<std::uint32_t>(out.flights.size());
    const auto first = static_cast<std::uint32_t>(out.groups.size());
    each_part(f, [&](std::span<const LevelGroup> groups) {
      for (const LevelGroup& told : groups) {
        pattern::Group& group = out.groups.emplace_back();
        group.spreading_db = told.spreading_db;
        group.elevation_deg = told.elevation_deg;
        group.bearing_off_deg = told.bearing_off_deg;
        group.cos_aspect = told.cos_aspect;
        group.heard = told.heard;
        group.chances = told.chances;
        group.sector = told.sector;
        group.hour = told.hour;
        group.flight = index;
      }
    });
    std::stable_sort(out.groups.begin() + first, out.groups.end(),
                     [](const auto& a, const auto& b) { return a.sector < b.sector; });
    out.flights.push_back({flights_[f].id, flights_[f].address, first,
                           static_cast<std::uint32_t>(out.groups.size()) - first, index});
  }
  out.n_flights = std::ssize(out.flights);
  return out;
}

}  // namespace roundel::trial
