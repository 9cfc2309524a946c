// Sums by hour and over everything: from summaries where they stand, so that a year of recording
// is summed in milliseconds, and from the cells elsewhere.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "schema/store_impl.h"
#include "schema/summary_keeper.h"

namespace roundel::schema {
namespace {

/// One trial's hour without its detail.
struct HourRow {
  std::int64_t hour;
  Id trial;
  bool is_gone, is_stale;
  std::int64_t cells, silent_cells, heard, expected;
};

Result<std::vector<HourRow>> hour_rows(const Database& database, std::int64_t from_hour,
                                       std::int64_t to_hour) {
  auto query = database.prepare(
      "SELECT id, cells_gone, is_stale, cells, silent_cells, heard, expected FROM summary"
      " INDEXED BY summary_size WHERE cells_gone IN (0, 1) AND id >= ? AND id < ?");
  ROUNDEL_TRY(query);
  query->bind_all(summary_key(from_hour, 0), summary_key(to_hour, 0));
  std::vector<HourRow> rows;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return rows;
    const std::int64_t key = query->integer(0);
    rows.push_back({hour_of_key(key), trial_of_key(key), query->integer(1) == 1,
                    query->integer(2) == 1, query->integer(3), query->integer(4), query->integer(5),
                    query->integer(6)});
  }
}

WindowRange windows_of_hour(std::int64_t hour) {
  return {hour * windows_per_hour, (hour + 1) * windows_per_hour};
}

bool holds(WindowRange outer, WindowRange inner) {
  return outer.from <= inner.from && inner.to <= outer.to;
}

/// By hour, from whichever source.
class HourSums {
 public:
  void add(std::int64_t hour, std::int64_t cells, std::int64_t heard, std::int64_t expected) {
    if (cells == 0) return;
    Hour& sum = sums_.try_emplace(hour, Hour{hour * 3600, 0, 0, 0}).first->second;
    sum.cells += cells;
    sum.heard += heard;
    sum.expected += expected;
  }
  std::vector<Hour> finish() const {
    std::vector<Hour> out;
    for (const auto& [hour, sum] : sums_) out.push_back(sum);
    return out;
  }

 private:
  std::map<std::int64_t, Hour> sums_;
};

/// What the summaries, or cells of summarised hours, say of the selected windows of these trials.
Result<void> add_summarised(const Database& database, const std::vector<Trial>& trials,
                            WindowRange time, HourSums& to) {
  std::map<Id, WindowRange> selected;
  for (const Trial& trial : trials) selected[trial.id] = intersect(windows_of(trial), time);
  const auto rows = hour_rows(database, time.from / windows_per_hour,
                              (time.to + windows_per_hour - 1) / windows_per_hour);
  ROUNDEL_TRY(rows);
  // CROSS JOIN: cells by their key, each one's flight by its own.
  auto by_cells = database.prepare(
      "SELECT count(*), sum(cell.heard), sum(cell.expected) FROM cell CROSS JOIN flight"
      " ON flight.id = cell.flight WHERE cell.id >= ? AND cell.id < ? AND flight.trial = ?");
  ROUNDEL_TRY(by_cells);
  for (const HourRow& row : *rows) {
    const auto windows = selected.find(row.trial);
    if (windows == selected.end()) continue;
    const WindowRange hour = windows_of_hour(row.hour);
    const WindowRange part = intersect(windows->second, hour);
    if (part.from >= part.to) continue;
    // Of an hour whose cells are gone nothing but the whole is known; see each_summary().
    const bool counts =
        row.is_gone ? hour.from >= time.from : !row.is_stale && holds(windows->second, hour);
    if (counts) to.add(row.hour, row.cells, row.heard, row.expected);
    if (row.is_gone ? !row.is_stale : counts) continue;
    by_cells->bind_all(cell_key(part.from, 0), cell_key(part.to, 0), row.trial);
    const auto found = by_cells->next();
    ROUNDEL_TRY(found);
    to.add(row.hour, by_cells->integer(0), by_cells->integer(1), by_cells->integer(2));
    by_cells->reset();
  }
  return {};
}

/// Cells that are there, and how many of them are silent.
Result<void> count_cells(const Database& database, Totals& to) {
  const auto rows = hour_rows(database, 0, std::int64_t{1} << 32);
  ROUNDEL_TRY(rows);
  std::set<std::int64_t> stale;
  for (const HourRow& row : *rows)
    if (row.is_stale) stale.insert(row.hour);
  for (const HourRow& row : *rows) {
    if (row.is_gone || stale.contains(row.hour)) continue;
    to.cells += row.cells;
    to.silent_cells += row.silent_cells;
  }
  const auto done = summarised_before_hour(database);
  ROUNDEL_TRY(done);
  const auto count = [&](const char* table, std::int64_t from, std::int64_t end) -> Result<void> {
    auto counted = database.prepare(fmt::format(
        "SELECT count(*), count(*) FILTER (WHERE heard = 0) FROM {} WHERE id >= ? AND id < ?",
        table));
    ROUNDEL_TRY(counted);
    counted->bind_all(from, end);
    ROUNDEL_TRY(counted->next());
    to.cells += counted->integer(0);
    to.silent_cells += counted->integer(1);
    return {};
  };
  ROUNDEL_TRY(count("recent_cell", 0, INT64_MAX));
  ROUNDEL_TRY(count("cell", first_cell_key(*done), INT64_MAX));
  for (const std::int64_t hour : stale)
    ROUNDEL_TRY(count("cell", first_cell_key(hour), first_cell_key(hour + 1)));
  return {};
}

/// Flights, and how many aircraft they are of.
Result<void> count_flights(const Database& database, std::int64_t version, KnownFlights& known,
                           Totals& to) {
  // To count rows SQLite need not look into them.
  const auto n = database.integer("SELECT count(*) FROM flight");
  ROUNDEL_TRY(n);
  auto query = database.prepare("SELECT id, address FROM flight WHERE id > ? ORDER BY id");
  ROUNDEL_TRY(query);
  if (known.version != version) known = {};
  const auto add_new = [&]() -> Result<void> {
    const auto before = std::ssize(known.addresses);
    query->bind_all(known.newest);
    for (;;) {
      const auto row = query->next();
      ROUNDEL_TRY(row);
      if (!*row) break;
      ++known.n;
      known.newest = query->integer(0);
      known.addresses.push_back(static_cast<std::uint64_t>(query->integer(1)));
    }
    query->reset();
    std::sort(known.addresses.begin() + before, known.addresses.end());
    std::inplace_merge(known.addresses.begin(), known.addresses.begin() + before,
                       known.addresses.end());
    known.addresses.erase(std::unique(known.addresses.begin(), known.addresses.end()),
                          known.addresses.end());
    return {};
  };
  ROUNDEL_TRY(add_new());
  if (known.n != *n) {  // some came with lower numbers, or are no more
    known = {};
    ROUNDEL_TRY(add_new());
  }
  known.version = version;
  to.flights = known.n;
  to.aircraft = std::ssize(known.addresses);
  return {};
}

}  // namespace

Result<std::vector<Hour>> Store::hours(const Selection& which) const {
  const Database& database = impl_->database;
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  const auto selected = trials(which);
  ROUNDEL_TRY(selected);
  const auto done = summarised_before_hour(database);
  ROUNDEL_TRY(done);
  const WindowRange time = windows_between(which.from_s, which.to_s);
  HourSums sums;
  ROUNDEL_TRY(add_summarised(database, *selected, time, sums));
  Selection rest = which;
  const double done_s = static_cast<double>(*done) * 3600;
  rest.from_s = std::max(which.from_s.value_or(done_s), done_s);
  std::int64_t this_hour = 0;
  Hour sum;  // of this one
  const auto visited = each_cell(rest, [&](const Cell& cell) {
    if (const std::int64_t hour = cell.window / windows_per_hour; hour != this_hour) {
      sums.add(this_hour, sum.cells, sum.heard, sum.expected);
      this_hour = hour;
      sum = {};
    }
    ++sum.cells;
    sum.heard += cell.heard;
    sum.expected += cell.expected;
    return true;
  });
  ROUNDEL_TRY(visited);
  sums.add(this_hour, sum.cells, sum.heard, sum.expected);
  return sums.finish();
}

Result<std::optional<CellSpan>> Store::cell_span() const {
  const Database& database = impl_->database;
  std::optional<CellSpan> span;
  // Every window in recent_cell is later than every one in cell. Apart, ends of a key cost nothing.
  for (const char* table : {"cell", "recent_cell"}) {
    auto ends = database.prepare(fmt::format("SELECT min(id) FROM {}", table));
    ROUNDEL_TRY(ends);
    ROUNDEL_TRY(ends->next());
    if (ends->is_null(0)) continue;
    const auto last = database.integer(fmt::format("SELECT max(id) FROM {}", table));
    ROUNDEL_TRY(last);
    if (!span) span = CellSpan{(ends->integer(0) >> flight_bits) * window_s, 0};
    span->to_s = ((*last >> flight_bits) + 1) * window_s;
  }
  return span;
}

Result<Totals> Store::totals() const {
  const Database& database = impl_->database;
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  Totals totals;
  ROUNDEL_TRY(count_cells(database, totals));
  const auto span = cell_span();
  ROUNDEL_TRY(span);
  if (*span) {
    totals.from_s = (*span)->from_s;
    totals.to_s = (*span)->to_s;
  }
  auto gone =
      database.prepare("SELECT sum(cells), min(id) >> 24 FROM summary WHERE cells_gone = 1");
  ROUNDEL_TRY(gone);
  const auto gone_row = gone->next();
  ROUNDEL_TRY(gone_row);
  if (!gone->is_null(0)) {
    totals.summarised_cells = gone->integer(0);
    totals.summarised_from_s = gone->integer(1) * 3600;
  }
  const auto version = trials_version();
  ROUNDEL_TRY(version);
  if (auto counted = count_flights(database, *version, impl_->flights, totals); !counted) {
    impl_->flights = {};  // some of it may have been added
    return tl::unexpected(std::move(counted.error()));
  }
  const auto pages = database.integer("PRAGMA page_count");
  ROUNDEL_TRY(pages);
  const auto page_bytes = database.integer("PRAGMA page_size");
  ROUNDEL_TRY(page_bytes);
  totals.bytes = *pages * *page_bytes;
  return totals;
}

}  // namespace roundel::schema
