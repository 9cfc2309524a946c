// Hourly summaries: kept, read, compared with the cells.
#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <set>

#include "schema/store_impl.h"
#include "schema/summary_keeper.h"

namespace roundel::schema {
namespace {

bool is_same(const Summary& a, const Summary& b) {
  return a.cells == b.cells && a.silent_cells == b.silent_cells && a.heard == b.heard &&
         a.expected == b.expected && a.detail == b.detail;
}

Summary summary_in(const Statement& row) {
  const std::int64_t key = row.integer(0);
  return {hour_of_key(key) * 3600, trial_of_key(key), row.integer(1),      row.integer(2),
          row.integer(3),          row.integer(4),    row.integer(5) == 1, {}};
}

constexpr const char* summary_columns =
    "summary.id, cells, silent_cells, heard, expected, cells_gone";
constexpr const char* with_flights = "LEFT JOIN summary_flights ON summary_flights.id = summary.id";

}  // namespace

Result<std::optional<Transaction>> one_moment(const Database& database) {
  if (database.in_transaction()) return std::optional<Transaction>();
  auto begun = Transaction::begin(database, Transaction::Kind::read);
  ROUNDEL_TRY(begun);
  return std::optional<Transaction>(std::move(*begun));
}

Cell cell_in(const Statement& row) {
  Cell cell;
  const std::int64_t key = row.integer(0);
  cell.window = key >> flight_bits;
  cell.flight = key & max_flight_id;
  cell.heard = static_cast<int>(row.integer(1));
  cell.expected = static_cast<int>(row.integer(2));
  cell.latitude_deg = static_cast<double>(row.integer(3)) / 1e4;
  cell.longitude_deg = static_cast<double>(row.integer(4)) / 1e4;
  cell.altitude_ft = static_cast<double>(row.integer(5)) * 25;
  if (!row.is_null(6)) cell.signal_dbfs = static_cast<double>(row.integer(6)) / 2;
  cell.uncertainty_km = static_cast<double>(row.integer(7)) / 10;
  return cell;
}

Store::Impl::Impl(std::optional<RecorderLock> taken, Access how, Database opened)
    : lock(std::move(taken)), access(how), database(std::move(opened)) {}
Store::Impl::~Impl() = default;

Result<SummaryKeeper*> Store::Impl::summaries() {
  if (!keeper) {
    auto made = SummaryKeeper::make(database);
    ROUNDEL_TRY(made);
    keeper = std::make_unique<SummaryKeeper>(std::move(*made));
  }
  return keeper.get();
}

Result<void> Store::keep_summaries(std::unique_ptr<Summariser> by) {
  assert(impl_->access == Access::record && by);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto method = database.integer("SELECT method FROM summarised");
  ROUNDEL_TRY(method);
  if (*method != by->method()) {
    const auto summaries = impl_->summaries();
    ROUNDEL_TRY(summaries);
    ROUNDEL_TRY((*summaries)->mark_all_stale());
    auto set = database.prepare("UPDATE summarised SET method = ?");
    ROUNDEL_TRY(set);
    ROUNDEL_TRY(set->run(std::int64_t{by->method()}));
    set->reset();
  }
  ROUNDEL_TRY(transaction->commit());
  impl_->summariser = std::move(by);
  return {};
}

Result<bool> Store::summarise(int n_hours) {
  assert(impl_->summariser);
  auto transaction = Transaction::begin(impl_->database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto summaries = impl_->summaries();
  ROUNDEL_TRY(summaries);
  (*summaries)->forget_touched();
  const auto has_more = (*summaries)->advance(*impl_->summariser, n_hours);
  ROUNDEL_TRY(has_more);
  ROUNDEL_TRY(transaction->commit());
  return *has_more;
}

Result<void> Store::each_summary(const Selection& which, bool only_gone, SummaryPart part,
                                 const std::function<bool(Summary&&)>& visit) const {
  const Database& database = impl_->database;
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  const auto selected = trials(which);
  ROUNDEL_TRY(selected);
  std::map<Id, WindowRange> windows;
  for (const Trial& trial : *selected) windows[trial.id] = windows_of(trial);
  const WindowRange time = windows_between(which.from_s, which.to_s);
  // The hours that begin in it.
  const auto up = [](std::int64_t window) {
    return window / windows_per_hour + (window % windows_per_hour != 0);
  };
  const bool by_flight = part == SummaryPart::flights;
  auto query = database.prepare(fmt::format(
      "SELECT {}, {}.detail FROM summary{} {} WHERE {} summary.id >= ? AND summary.id < ?"
      " AND is_stale = 0 ORDER BY summary.id",
      summary_columns, by_flight ? "summary_flights" : "summary",
      only_gone ? " INDEXED BY summary_size" : "", by_flight ? with_flights : "",
      only_gone ? "cells_gone = 1 AND" : ""));
  ROUNDEL_TRY(query);
  query->bind_all(summary_key(up(time.from), 0), summary_key(up(time.to), 0));
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return {};
    const Id trial = trial_of_key(query->integer(0));
    const auto range = windows.find(trial);
    if (range == windows.end()) continue;
    const std::int64_t first = hour_of_key(query->integer(0)) * windows_per_hour;
    if (first >= range->second.to || first + windows_per_hour <= range->second.from) continue;
    Summary summary = summary_in(*query);
    (by_flight ? summary.detail.flights : summary.detail.places) = query->blob(6);
    if (!visit(std::move(summary))) return {};
  }
}

Result<SummaryState> Store::summary_state() const {
  const Database& database = impl_->database;
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  SummaryState state;
  const auto before_hour = summarised_before_hour(database);
  ROUNDEL_TRY(before_hour);
  state.before_s = *before_hour * 3600;
  auto query = database.prepare("SELECT id FROM summary WHERE is_stale = 1 ORDER BY id");
  ROUNDEL_TRY(query);
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return state;
    const std::int64_t key = query->integer(0);
    state.stale.push_back({hour_of_key(key) * 3600, trial_of_key(key)});
  }
}

Result<SummaryCheck> Store::check_summaries(Summariser& by) const {
  const Database& database = impl_->database;
  const auto moment = one_moment(database);
  ROUNDEL_TRY(moment);
  SummaryCheck check;
  const auto before_hour = summarised_before_hour(database);
  ROUNDEL_TRY(before_hour);
  for (const auto& [into, where] :
       {std::pair{&check.stale, "is_stale = 1"}, {&check.cells_gone, "cells_gone = 1"}}) {
    const auto n = database.integer(fmt::format("SELECT count(*) FROM summary WHERE {}", where));
    ROUNDEL_TRY(n);
    *into = *n;
  }
  auto reader = HourReader::make(database);
  ROUNDEL_TRY(reader);
  auto kept = database.prepare(
      fmt::format("SELECT {}, summary.detail, summary_flights.detail, is_stale FROM summary {}"
                  " WHERE summary.id >= ? AND summary.id < ? ORDER BY summary.id",
                  summary_columns, with_flights));
  ROUNDEL_TRY(kept);
  auto next_kept = database.prepare(
      "SELECT min(id) FROM summary WHERE id >= ? AND is_stale = 0 AND cells_gone = 0");
  ROUNDEL_TRY(next_kept);
  for (std::int64_t hour = 0;; ++hour) {
    // The next hour that has cells or a summary.
    const auto with_cells = reader->next_hour(hour);
    ROUNDEL_TRY(with_cells);
    next_kept->bind(1, summary_key(hour, 0));
    const auto row = next_kept->next();
    ROUNDEL_TRY(row);
    constexpr std::int64_t none = INT64_MAX;
    std::int64_t next = next_kept->is_null(0) ? none : hour_of_key(next_kept->integer(0));
    next_kept->reset();
    if (*with_cells && **with_cells < *before_hour) next = std::min(next, **with_cells);
    if (next == none) return check;
    // In a forged file keys need not stand in order.
    if (next < hour)
      return fail(Errc::corrupt, "hours do not stand in order", database.file(), "restore a copy");
    hour = next;

    auto made = reader->read(hour, by);
    ROUNDEL_TRY(made);
    bool is_wrong = false;
    kept->bind_all(summary_key(hour, 0), summary_key(hour + 1, 0));
    for (;;) {
      const auto more = kept->next();
      ROUNDEL_TRY(more);
      if (!*more) break;
      Summary summary = summary_in(*kept);
      summary.detail = {kept->blob(6), kept->blob(7)};
      const bool is_stale = kept->integer(8) == 1;
      const auto same = made->find(summary.trial);
      if (!is_stale && !summary.cells_gone)
        is_wrong = is_wrong || same == made->end() || !is_same(same->second, summary);
      if (same != made->end()) made->erase(same);
    }
    kept->reset();
    is_wrong = is_wrong || !made->empty();  // cells that no summary knows of
    ++check.hours;
    if (is_wrong) check.wrong_hours_s.push_back(hour * 3600);
  }
}

}  // namespace roundel::schema
