// Reading: selections, cells, flights, tallies.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "schema/cell_page.h"
#include "schema/page_watch.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

// Ends of time that leave room for the arithmetic of keys.
constexpr std::int64_t first_window = 0;
constexpr std::int64_t end_window = std::int64_t{1} << (62 - flight_bits);

std::int64_t window_at_or_after(double time_s) {
  const double window = std::ceil(time_s / window_s);
  return static_cast<std::int64_t>(
      std::clamp(window, static_cast<double>(first_window), static_cast<double>(end_window)));
}

std::int64_t floor_div(std::int64_t a, std::int64_t b) { return a / b - (a % b != 0 && a < 0); }

// A name that is asked for must exist: a typing error must not look like an empty answer.
Result<void> require_name(const Database& database, std::string_view table,
                          const std::optional<std::string>& name) {
  if (!name) return {};
  const auto known = read_names(database, table);
  ROUNDEL_TRY(known);
  std::vector<std::string> names;
  for (const Named& row : *known) {
    if (row.name == *name) return {};
    names.push_back(row.name);
  }
  return fail(Errc::not_found, fmt::format("there is no {} \"{}\"", table, *name), database.file(),
              fmt::format("it knows: {}", listed(names)));
}

Result<std::vector<Trial>> select_trials(const Database& database, const Selection& which) {
  ROUNDEL_TRY(require_name(database, "feed", which.feed));
  ROUNDEL_TRY(require_name(database, "antenna", which.antenna));
  ROUNDEL_TRY(require_name(database, "receiver", which.receiver));
  ROUNDEL_TRY(require_name(database, "mount", which.mount));
  auto all = read_trials(database);
  ROUNDEL_TRY(all);
  for (const Id id : which.trials) {
    if (std::any_of(all->begin(), all->end(), [&](const Trial& trial) { return trial.id == id; }))
      continue;
    std::vector<std::string> known;
    for (const Trial& trial : *all) known.push_back(std::to_string(trial.id));
    return fail(Errc::not_found, fmt::format("there is no trial {}", id), database.file(),
                fmt::format("it knows: {}", listed(known)));
  }
  const auto other = [](const std::optional<std::string>& asked, const std::string& name) {
    return asked && *asked != name;
  };
  const WindowRange time = windows_between(which.from_s, which.to_s);
  std::erase_if(*all, [&](const Trial& trial) {
    const WindowRange both = intersect(windows_of(trial), time);
    return other(which.feed, trial.feed) || other(which.antenna, trial.antenna) ||
           other(which.receiver, trial.receiver) || other(which.mount, trial.mount) ||
           (!which.trials.empty() &&
            std::find(which.trials.begin(), which.trials.end(), trial.id) == which.trials.end()) ||
           both.from >= both.to;
  });
  return all;
}

// Which windows of each flight are selected: for the loop over cells a look-up in two arrays, where
// a join in SQL would cost several times the visit itself.
class FlightFilter {
 public:
  static Result<FlightFilter> make(const Database& database, const std::vector<Trial>& trials,
                                   WindowRange time) {
    FlightFilter filter;
    filter.ranges_.push_back({0, 0});  // of flights that are not selected
    std::vector<std::uint32_t> slot_of_trial;
    for (const Trial& trial : trials) {
      const auto id = static_cast<std::size_t>(trial.id);
      if (slot_of_trial.size() <= id) slot_of_trial.resize(id + 1, 0);
      slot_of_trial[id] = static_cast<std::uint32_t>(filter.ranges_.size());
      const WindowRange range = intersect(windows_of(trial), time);
      filter.ranges_.push_back(range);
      filter.hull_ = {std::min(filter.hull_.from, range.from), std::max(filter.hull_.to, range.to)};
    }
    auto query = database.prepare("SELECT id, trial FROM flight ORDER BY id");
    ROUNDEL_TRY(query);
    for (;;) {
      const auto row = query->next();
      ROUNDEL_TRY(row);
      if (!*row) return filter;
      if (query->integer(0) < 1 || query->integer(0) > max_flight_id)
        return fail(Errc::corrupt, fmt::format("holds a flight {}", query->integer(0)),
                    database.file(), "restore a copy");
      const auto flight = static_cast<std::size_t>(query->integer(0));
      const auto trial = static_cast<std::size_t>(query->integer(1));
      filter.slot_of_flight_.resize(flight + 1, 0);
      if (trial < slot_of_trial.size()) filter.slot_of_flight_[flight] = slot_of_trial[trial];
    }
  }

  bool selects(std::int64_t window, Id flight) const {
    const auto index = static_cast<std::size_t>(flight);
    if (index >= slot_of_flight_.size()) return false;
    const WindowRange& range = ranges_[slot_of_flight_[index]];
    return window >= range.from && window < range.to;
  }
  /// No selected cell lies outside; empty when nothing is selected.
  WindowRange hull() const { return hull_; }

 private:
  std::vector<WindowRange> ranges_;
  std::vector<std::uint32_t> slot_of_flight_;
  WindowRange hull_{end_window, first_window};
};

CellRow row_of(const Statement& rows) {
  CellRow out;
  out.id = rows.integer(0);
  out.heard = rows.integer(1);
  out.expected = rows.integer(2);
  out.latitude_e4 = rows.integer(3);
  out.longitude_e4 = rows.integer(4);
  out.altitude_25ft = rows.integer(5);
  out.signal_half_db = rows.optional_integer(6);
  out.uncertainty_hm = rows.integer(7);
  return out;
}

// False: the visitor has had enough.
//
// SQLite takes 300 ns to hand out a row of eight columns, and a tenth of that to find a page of
// 130. So it finds pages: the first row of each comes from it, the others are read from the page
// that it has just read for that row. Where it had the page in its cache, or where the page does
// not say the same of that row, the next row comes from it, too. Either way each row comes once, in
// order.
Result<bool> visit_table(const Database& database, std::string_view table,
                         const FlightFilter& filter,
                         const std::function<bool(const Cell&)>& visit) {
  auto query = database.prepare(fmt::format(
      "SELECT id, heard, expected, latitude_e4, longitude_e4, altitude_25ft, signal_half_db,"
      " uncertainty_hm FROM {} WHERE id >= ? AND id < ? ORDER BY id",
      table));
  ROUNDEL_TRY(query);
  Statement& rows = *query;
  std::int64_t from = cell_key(filter.hull().from, 0);
  const std::int64_t to = cell_key(filter.hull().to, 0);
  rows.bind_all(from, to);
  PageWatch watch;
  std::vector<CellRow> found;
  for (;;) {
    watch.clear();
    const auto step = rows.step();
    if (step == Statement::Step::done) return true;
    if (step == Statement::Step::failed) return tl::unexpected(rows.error());
    const CellRow first = row_of(rows);
    // In a forged file pages may refer to one another without end.
    if (first.id < from)
      return fail(Errc::corrupt, "cells do not stand in order", database.file(), "restore a copy");
    found.clear();
    const bool has_page =
        read_cell_page(watch.page(), first.id, to, found) && !found.empty() && found[0] == first;
    if (!has_page) found.assign(1, first);
    for (const CellRow& row : found) {
      if (!filter.selects(row.id >> flight_bits, row.id & max_flight_id)) continue;
      if (!visit(row.cell())) return false;
    }
    from = found.back().id + 1;
    if (!has_page) continue;
    rows.reset();
    rows.bind_all(from, to);
  }
}

}  // namespace

WindowRange windows_of(const Trial& trial) {
  const std::int64_t from = std::max(first_window, floor_div(trial.start_s, window_s));
  if (!trial.stop_s) return {from, end_window};
  return {from, floor_div(*trial.stop_s + window_s - 1, window_s)};
}

WindowRange windows_between(std::optional<double> from_s, std::optional<double> to_s) {
  return {from_s ? window_at_or_after(*from_s) : first_window,
          to_s ? window_at_or_after(*to_s) : end_window};
}

Result<std::vector<Trial>> Store::trials(const Selection& which) const {
  return select_trials(impl_->database, which);
}

Result<void> Store::at_one_moment(const std::function<Result<void>()>& read) const {
  const auto moment = one_moment(impl_->database);
  ROUNDEL_TRY(moment);
  return read();
}

Result<void> Store::each_cell(const Selection& which,
                              const std::function<bool(const Cell&)>& visit) const {
  const Database& database = impl_->database;
  // Both tables as of one moment; a visitor that reads meanwhile shares it.
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  const auto trials = select_trials(database, which);
  ROUNDEL_TRY(trials);
  const auto filter =
      FlightFilter::make(database, *trials, windows_between(which.from_s, which.to_s));
  ROUNDEL_TRY(filter);
  if (filter->hull().from >= filter->hull().to) return {};
  // Every window in recent_cell is later than every one in cell.
  const auto more = visit_table(database, "cell", *filter, visit);
  ROUNDEL_TRY(more);
  if (!*more) return {};
  const auto rest = visit_table(database, "recent_cell", *filter, visit);
  ROUNDEL_TRY(rest);
  return {};
}

Result<std::vector<Flight>> Store::flights(const Selection& which) const {
  const Database& database = impl_->database;
  const auto trials = select_trials(database, which);
  ROUNDEL_TRY(trials);
  const WindowRange time = windows_between(which.from_s, which.to_s);
  auto query = database.prepare(
      "SELECT id, trial, address, first_window, last_window FROM flight ORDER BY id");
  ROUNDEL_TRY(query);
  std::vector<Flight> flights;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return flights;
    const Flight flight{query->integer(0), query->integer(1),
                        static_cast<std::uint64_t>(query->integer(2)), query->integer(3),
                        query->optional_integer(4)};
    const auto trial = std::find_if(trials->begin(), trials->end(),
                                    [&](const Trial& row_) { return row_.id == flight.trial; });
    if (trial == trials->end()) continue;
    const WindowRange range = intersect(windows_of(*trial), time);
    if (flight.first_window < range.to && flight.last_window.value_or(end_window) >= range.from)
      flights.push_back(flight);
  }
}

Result<Tally> Store::tally(std::optional<Id> feed, std::optional<std::int64_t> from_s,
                           std::optional<std::int64_t> to_s) const {
  auto query = impl_->database.prepare(
      "SELECT kind, sum(count) FROM tally WHERE (?1 IS NULL OR feed = ?1)"
      " AND hour_s >= ?2 AND hour_s < ?3 GROUP BY kind ORDER BY kind");
  ROUNDEL_TRY(query);
  query->bind_all(feed, from_s.value_or(std::numeric_limits<std::int64_t>::min()),
                  to_s.value_or(std::numeric_limits<std::int64_t>::max()));
  Tally tally;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return tally;
    tally[query->text(0)] = query->integer(1);
  }
}

Result<std::int64_t> Store::data_version() const {
  return impl_->database.integer("PRAGMA data_version");
}

}  // namespace roundel::schema
