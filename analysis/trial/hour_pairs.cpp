#include "analysis/trial/hour_pairs.h"

#include <algorithm>

#include "roundel/pattern/gain.h"

namespace roundel::trial {
namespace {

using pattern::FlightHour;
using pattern::Group;
using schema::windows_per_hour;

constexpr int most_deaf_minutes = 4;
constexpr std::uint32_t sector_shift = 16;
constexpr std::int64_t no_bin = 1 << 15;  // in the middle of what fits below the sector

}  // namespace

void HourPairs::add(int side, std::uint16_t stratum, const Interval& overlap,
                    pattern::HourExposure hour) {
  if (hour.counts.start_s != hour_s_) close_hour();
  hour_s_ = hour.counts.start_s;
  stratum_ = stratum;
  overlap_ = overlap;
  hour_.emplace_back(side, std::move(hour));
}

bool HourPairs::is_deaf() const {
  int n_deaf = 0;
  for (std::size_t minute = 0; minute < 60; ++minute) {
    std::array<int, 2> aircraft{};
    for (const auto& [side, hour] : hour_)
      aircraft[static_cast<std::size_t>(side)] += hour.heard_aircraft[minute];
    n_deaf += std::min(aircraft[0], aircraft[1]) == 0 &&
              std::max(aircraft[0], aircraft[1]) >= deaf_aircraft;
  }
  return n_deaf > most_deaf_minutes;
}

void HourPairs::close_hour() {
  if (!hour_.empty() && !is_deaf()) {
    std::vector<Side> all, same;
    for (const auto& [side, hour] : hour_)
      for (const FlightHour& flight : hour.flights) all.push_back({side, &flight});
    const auto address = [](const Side& one) { return one.flight->flight.address; };
    std::stable_sort(all.begin(), all.end(), [&](const Side& one, const Side& other) {
      return address(one) < address(other);
    });
    for (std::size_t i = 0; i < all.size(); i += same.size()) {
      same.clear();
      for (std::size_t j = i; j < all.size() && address(all[j]) == address(all[i]); ++j)
        same.push_back(all[j]);
      follow(same);
    }
  }
  for (auto& [side, hour] : hour_) paired_(side, std::move(hour));
  hour_.clear();
}

// One aircraft's flights of the hour, on both sides.
void HourPairs::follow(const std::vector<Side>& flights) {
  const std::int64_t first = hour_s_ / schema::window_s, last = first + windows_per_hour - 1;
  const auto begin_of = [&](const Side& one) {
    return std::max(one.flight->flight.first_window, first);
  };
  const auto end_of = [&](const Side& one) {
    return std::min(one.flight->flight.last_window.value_or(last), last);
  };
  std::int64_t begin = last, end = first;
  for (const Side& one : flights) {
    begin = std::min(begin, begin_of(one));
    end = std::max(end, end_of(one));
  }
  Contact& contact = contacts_[flights.front().flight->flight.address];
  if (contact.open && begin - contact.last_window > break_windows) close(contact);
  const bool goes_on = contact.open;
  if (!goes_on) {
    contact.open = true;
    contact.number = out_.n_flights++;
  }
  contact.last_window = end;
  for (const Side& one : flights) {
    const auto side = static_cast<std::size_t>(one.side);
    const schema::Flight& flight = one.flight->flight;
    // Where the other began to record later, being first is no merit: near_edge() looks for it.
    const std::int64_t since =
        std::max(flight.first_window, overlap_.from_s / std::int64_t{schema::window_s});
    std::int64_t& first_heard = contact.first_heard[side];
    first_heard = first_heard < 0 ? since : std::min(first_heard, since);
    contact.last_heard[side] = std::max(contact.last_heard[side], end_of(one));
    const auto is_followed = [&](const auto& by) {
      return std::any_of(flights.begin(), flights.end(), [&](const Side& other) {
        return &other != &one && by(other.flight->flight);
      });
    };
    const FlightHour& shown = *one.flight;
    for (const Group& group : shown.groups) add_group(one.side, group);
    if (shown.first_cell && (goes_on || is_followed([&](const schema::Flight& other) {
                               return other.first_window < flight.first_window;
                             })))
      add_group(one.side, *shown.first_cell);
    if (shown.last_cell && is_followed([&](const schema::Flight& other) {
          return !other.last_window || *other.last_window > *flight.last_window;
        }))
      add_group(one.side, *shown.last_cell);
  }
  join(contact.number);
}

void HourPairs::add_group(int side, const Group& group) {
  // Kept values are rounded, but never out of their bin: away from its border all fall in it.
  constexpr double off_border_db = 0.004;
  const std::int64_t bin = pattern::spreading_bin(double{group.spreading_db} + off_border_db);
  entries_.push_back({static_cast<std::uint32_t>(group.sector) << sector_shift |
                          static_cast<std::uint32_t>(bin + no_bin),
                      static_cast<std::uint8_t>(side), group.kind == pattern::GroupKind::recorded,
                      group.heard, group.chances, group.cells, group.spreading_db,
                      group.elevation_deg, group.horizon_ratio});
}

// The groups of one place into one pair.
void HourPairs::join(std::uint32_t contact) {
  std::sort(entries_.begin(), entries_.end(),
            [](const Entry& a, const Entry& b) { return a.place < b.place; });
  for (std::size_t i = 0; i < entries_.size();) {
    const Entry& first = entries_[i];
    std::array<float, 2> heard{}, chances{}, cells{};
    double n = 0, spreading_db = 0, elevation_deg = 0, ratio = 0;
    bool is_sure = false;
    for (; i < entries_.size() && entries_[i].place == first.place; ++i) {
      const Entry& entry = entries_[i];
      heard[entry.side] += entry.heard;
      chances[entry.side] += entry.chances;
      cells[entry.side] += entry.cells;
      is_sure = is_sure || entry.is_sure;
      n += entry.cells;
      spreading_db += entry.cells * double{entry.spreading_db};
      elevation_deg += entry.cells * double{entry.elevation_deg};
      ratio += entry.cells * double{entry.horizon_ratio};
    }
    elevation_deg /= n;
    if (!is_sure || !pattern::tells_level(elevation_deg, ratio / n)) continue;
    PairGroup group;
    group.offset_db = static_cast<float>(spreading_db / n + pattern::dipole_db(elevation_deg));
    group.chances = std::max(chances[0], chances[1]);
    group.heard_a = heard[0];
    group.heard_b = heard[1];
    group.flight = contact;
    group.hour = static_cast<std::uint32_t>(hour_s_ / 3600);
    group.sector = static_cast<std::uint16_t>(first.place >> sector_shift);
    group.stratum = stratum_;
    out_.n_cells += static_cast<std::int64_t>(std::max(cells[0], cells[1]));
    out_.groups.push_back(group);
  }
  entries_.clear();
}

bool HourPairs::near_edge(std::int64_t window) const {
  const auto near = [&](std::int64_t edge_s) {
    return std::abs(window - edge_s / schema::window_s) <= windows_per_minute;
  };
  return near(overlap_.from_s) || near(overlap_.to_s);
}

void HourPairs::close(Contact& contact) {
  tell_first_last(
      contact.first_heard, contact.last_heard,
      [&](std::int64_t window) { return near_edge(window); }, out_.first_last);
  contact = {};
}

void HourPairs::finish(Pairs& out) {
  close_hour();
  for (auto& [address, contact] : contacts_)
    if (contact.open) close(contact);
  if (out.groups.empty()) {
    out.groups = std::move(out_.groups);
  } else {
    for (PairGroup& group : out_.groups) group.flight += out.n_flights;
    out.groups.insert(out.groups.end(), out_.groups.begin(), out_.groups.end());
  }
  out.n_flights += out_.n_flights;
  out.n_cells += out_.n_cells;
  out.first_last += out_.first_last;
  in_order(out);
}

}  // namespace roundel::trial
