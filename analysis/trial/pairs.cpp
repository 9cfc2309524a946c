#include "analysis/trial/pairs.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <tuple>

#include "roundel/pattern/gain.h"

namespace roundel::trial {
namespace {

constexpr double reference_slant_km = 200;
constexpr double offset_step_db = 0.75;

}  // namespace

void PairBuilder::add(int side, std::uint16_t stratum, const schema::Cell& cell,
                      const site::Sightline& line, std::uint64_t address) {
  const std::int64_t minute = cell.window / windows_per_minute;
  if (minute != minute_) {
    close_minute();
    minute_ = minute;
  }
  entries_.push_back({address, cell.window, side, stratum, static_cast<std::uint8_t>(cell.heard),
                      static_cast<std::uint8_t>(cell.expected), cell.uncertainty_km == 0,
                      static_cast<float>(cell.altitude_ft), line});
}

void PairBuilder::close_minute() {
  order_.clear();
  for (std::size_t i = 0; i < entries_.size(); ++i)
    order_.push_back({entries_[i].address, 2 * entries_[i].window + entries_[i].side, i});
  std::sort(order_.begin(), order_.end(), [](const Place& x, const Place& y) {
    return std::tie(x.address, x.when, x.entry) < std::tie(y.address, y.when, y.entry);
  });
  std::array<int, 2> aircraft{};
  for (const int side : {0, 1}) {
    std::uint64_t last = ~std::uint64_t{0};
    for (const Place& place : order_) {
      const Entry& entry = entries_[place.entry];
      if (entry.side != side || entry.heard == 0 || entry.address == last) continue;
      last = entry.address;
      ++aircraft[static_cast<std::size_t>(side)];
    }
  }
  const bool is_deaf = std::min(aircraft[0], aircraft[1]) == 0 &&
                       std::max(aircraft[0], aircraft[1]) >= deaf_aircraft;
  for (std::size_t i = 0; i < order_.size() && !is_deaf;) {
    const Entry& first = entries_[order_[i].entry];
    PairCell cell;
    cell.window = first.window;
    cell.stratum = first.stratum;
    int best_heard = -1;
    for (; i < order_.size() && order_[i].address == first.address &&
           order_[i].when / 2 == cell.window;
         ++i) {
      const Entry& one = entries_[order_[i].entry];
      Half& half = cell.half[static_cast<std::size_t>(one.side)];
      half.present = true;
      half.heard += one.heard;
      cell.expected = std::max(cell.expected, int{one.expected});
      cell.is_sure = cell.is_sure || one.is_sure;
      if (one.heard <= best_heard) continue;
      best_heard = one.heard;  // whoever heard most knows the position best
      cell.line = one.line;
      cell.altitude_ft = one.altitude_ft;
    }
    take(first.address, cell);
  }
  entries_.clear();
}

void PairBuilder::take(std::uint64_t address, const PairCell& cell) {
  Contact& contact = contacts_[address];
  if (contact.open && cell.window - contact.last_window > break_windows) close(contact);
  for (std::size_t side = 0; side < 2; ++side) {
    if (cell.half[side].heard == 0) continue;
    if (contact.first_heard[side] < 0) contact.first_heard[side] = cell.window;
    contact.last_heard[side] = cell.window;
  }
  contact.last_window = cell.window;
  if (!contact.open) {  // the first cell is partial
    contact.open = true;
    contact.flight = out_.n_flights++;
    return;
  }
  if (contact.has_pending) keep(contact, contact.pending);
  contact.pending = cell;
  contact.has_pending = true;
}

void PairBuilder::keep(Contact& contact, const PairCell& cell) {
  if (!cell.is_sure) return;
  const site::Sightline& line = cell.line;
  const double horizon_km = horizons_.at(line.bearing_deg, cell.altitude_ft);
  if (!pattern::tells_level(line.elevation_deg, line.range_km / horizon_km)) return;
  ++out_.n_cells;
  const double offset_db = -20 * std::log10(std::max(line.slant_km, 0.1) / reference_slant_km) +
                           pattern::dipole_db(line.elevation_deg);
  const int bin = static_cast<int>(std::floor(offset_db / offset_step_db));
  const auto last_sector = std::lround(360 / sector_deg_) - 1;
  const auto sector = static_cast<std::uint16_t>(
      std::min(last_sector, static_cast<long>(line.bearing_deg / sector_deg_)));
  const auto hour = static_cast<std::uint32_t>(cell.window * schema::window_s / 3600);
  if (contact.run_open && (contact.offset_bin != bin || contact.run.sector != sector ||
                           contact.run.hour != hour || contact.run.stratum != cell.stratum))
    flush(contact);
  if (!contact.run_open) {
    contact.run = {};
    contact.run.sector = sector;
    contact.run.hour = hour;
    contact.run.stratum = cell.stratum;
    contact.run.flight = contact.flight;
    contact.run_open = true;
    contact.offset_bin = bin;
    contact.offset_sum = 0;
    contact.n = 0;
  }
  contact.offset_sum += offset_db;
  ++contact.n;
  const auto chances = static_cast<float>(cell.expected);
  contact.run.chances += chances;
  contact.run.heard_a += static_cast<float>(cell.half[0].heard);
  contact.run.heard_b += static_cast<float>(cell.half[1].heard);
}

void PairBuilder::flush(Contact& contact) {
  if (!contact.run_open) return;
  contact.run.offset_db = static_cast<float>(contact.offset_sum / contact.n);
  out_.groups.push_back(contact.run);
  contact.run_open = false;
}

bool PairBuilder::near_edge(std::int64_t window) const {
  return std::any_of(edges_.begin(), edges_.end(), [&](std::int64_t edge) {
    return std::abs(window - edge) <= windows_per_minute;
  });
}

void PairBuilder::close(Contact& contact) {
  flush(contact);  // what is pending was the last cell, and partial
  tell_first_last(
      contact.first_heard, contact.last_heard,
      [&](std::int64_t window) { return near_edge(window); }, out_.first_last);
  contact = {};
}

// Flights are numbered from nought, so each group's place among flights can be counted.
void in_order(Pairs& pairs) {
  std::vector<std::size_t> place(pairs.n_flights + std::size_t{1}, 0);
  for (const PairGroup& group : pairs.groups) ++place[group.flight + std::size_t{1}];
  std::partial_sum(place.begin(), place.end(), place.begin());
  std::vector<PairGroup> ordered(pairs.groups.size());
  for (const PairGroup& group : pairs.groups) ordered[place[group.flight]++] = group;
  // Each place is now where the next flight begins.
  std::size_t begin = 0;
  for (std::size_t flight = 0; flight < pairs.n_flights; begin = place[flight++])
    std::stable_sort(ordered.begin() + static_cast<std::ptrdiff_t>(begin),
                     ordered.begin() + static_cast<std::ptrdiff_t>(place[flight]),
                     [](const auto& x, const auto& y) { return x.sector < y.sector; });
  pairs.groups = std::move(ordered);
}

Pairs PairBuilder::finish() {
  close_minute();
  for (auto& [address, contact] : contacts_)
    if (contact.open) close(contact);
  in_order(out_);
  return std::move(out_);
}

}  // namespace roundel::trial
