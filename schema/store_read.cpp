// Reading: selections, cells, flights, tallies.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "schema/cell_rows.h"
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
// a join in SQL would cost several times the visit itself. Flights are numbered in order of
// appearance, so those of some hours stand together: they are read some at a time when first met,
// and a question about today does not read those of a year.
class FlightFilter {
 public:
  static Result<FlightFilter> make(const Database& database, const std::vector<Trial>& trials,
                                   WindowRange time) {
    auto query = database.prepare("SELECT id, trial FROM flight WHERE id >= ? AND id < ?");
    ROUNDEL_TRY(query);
    FlightFilter filter(database, std::move(*query));
    filter.ranges_.push_back({0, 0});  // of flights that are not selected
    for (const Trial& trial : trials) {
      const auto id = static_cast<std::size_t>(trial.id);
      if (filter.slot_of_trial_.size() <= id) filter.slot_of_trial_.resize(id + 1, 0);
      filter.slot_of_trial_[id] = static_cast<std::uint32_t>(filter.ranges_.size());
      const WindowRange range = intersect(windows_of(trial), time);
      filter.ranges_.push_back(range);
      filter.hull_ = {std::min(filter.hull_.from, range.from), std::max(filter.hull_.to, range.to)};
    }
    return filter;
  }

  /// Whether it has been met. @param flight  within [0, max_flight_id]
  bool knows(Id flight) const {
    const auto index = static_cast<std::size_t>(flight);
    return index < slot_of_flight_.size() && slot_of_flight_[index] != unread;
  }
  /// Reads this flight and those about it.
  Result<void> meet(Id flight);
  /// @pre knows(flight)
  bool selects(std::int64_t window, Id flight) const {
    const WindowRange& range = ranges_[slot_of_flight_[static_cast<std::size_t>(flight)]];
    return window >= range.from && window < range.to;
  }
  /// No selected cell lies outside; empty when nothing is selected.
  WindowRange hull() const { return hull_; }

 private:
  static constexpr Id at_once = 1024;
  static constexpr std::uint32_t unread = ~std::uint32_t{0};

  FlightFilter(const Database& database, Statement some)
      : database_(&database), some_(std::move(some)) {}

  const Database* database_;
  Statement some_;
  std::vector<WindowRange> ranges_;
  std::vector<std::uint32_t> slot_of_trial_, slot_of_flight_;
  WindowRange hull_{end_window, first_window};
};

Result<void> FlightFilter::meet(Id flight) {
  const Id from = flight / at_once * at_once, to = from + at_once;
  slot_of_flight_.resize(std::max(slot_of_flight_.size(), static_cast<std::size_t>(to)), unread);
  std::fill_n(slot_of_flight_.begin() + from, at_once, 0);
  some_.bind_all(from, to);
  for (;;) {
    const auto row = some_.next();
    ROUNDEL_TRY(row);
    if (!*row) break;
    const Id id = some_.integer(0);
    // In a forged file keys need not stand in order.
    if (id < from || id >= to)
      return fail(Errc::corrupt, fmt::format("holds a flight {}", id), database_->file(),
                  "restore a copy");
    const auto trial = static_cast<std::size_t>(some_.integer(1));
    if (trial < slot_of_trial_.size())
      slot_of_flight_[static_cast<std::size_t>(id)] = slot_of_trial_[trial];
  }
  some_.reset();
  return {};
}

constexpr const char* flight_columns = "id, trial, address, first_window, last_window";

Flight flight_in(const Statement& row) {
  return {row.integer(0), row.integer(1), static_cast<std::uint64_t>(row.integer(2)),
          row.integer(3), row.optional_integer(4)};
}

// False: the visitor has had enough.
Result<bool> visit_table(const Database& database, std::string_view table, FlightFilter& filter,
                         const std::function<bool(const Cell&)>& visit) {
  return each_row(database, table, cell_key(filter.hull().from, 0), cell_key(filter.hull().to, 0),
                  [&](std::span<const CellRow> rows) -> Result<bool> {
                    for (const CellRow& row : rows) {
                      const Id flight = flight_of_key(row.id);
                      if (!filter.knows(flight)) ROUNDEL_TRY(filter.meet(flight));
                      if (!filter.selects(window_of_key(row.id), flight)) continue;
                      if (!visit(row.cell())) return false;
                    }
                    return true;
                  });
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
  auto filter = FlightFilter::make(database, *trials, windows_between(which.from_s, which.to_s));
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
  auto of_one = flights_of_each(std::span(&which, 1));
  ROUNDEL_TRY(of_one);
  return std::move(of_one->front());
}

Result<std::vector<std::vector<Flight>>> Store::flights_of_each(
    std::span<const Selection> each) const {
  struct Asked {
    std::vector<Trial> trials;
    WindowRange time;
  };
  const Database& database = impl_->database;
  std::vector<Asked> asked;
  WindowRange any{end_window, first_window};
  for (const Selection& which : each) {
    auto trials = select_trials(database, which);
    ROUNDEL_TRY(trials);
    const WindowRange time = windows_between(which.from_s, which.to_s);
    asked.push_back({std::move(*trials), time});
    any = {std::min(any.from, time.from), std::max(any.to, time.to)};
  }
  // Told of the time, SQLite steps over the others without handing them out.
  auto query = database.prepare(
      fmt::format("SELECT {} FROM flight WHERE first_window < ? AND (last_window IS NULL OR"
                  " last_window >= ?) ORDER BY id",
                  flight_columns));
  ROUNDEL_TRY(query);
  query->bind_all(any.to, any.from);
  std::vector<std::vector<Flight>> out(each.size());
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return out;
    const Flight flight = flight_in(*query);
    for (std::size_t i = 0; i < asked.size(); ++i) {
      const auto& [trials, time] = asked[i];
      const auto trial = std::find_if(trials.begin(), trials.end(),
                                      [&](const Trial& row_) { return row_.id == flight.trial; });
      if (trial == trials.end()) continue;
      const WindowRange range = intersect(windows_of(*trial), time);
      if (flight.first_window < range.to && flight.last_window.value_or(end_window) >= range.from)
        out[i].push_back(flight);
    }
  }
}

Result<std::vector<Flight>> Store::flights_of(std::span<const Id> ids) const {
  std::vector<Id> sorted(ids.begin(), ids.end());
  std::sort(sorted.begin(), sorted.end());
  sorted.erase(std::unique(sorted.begin(), sorted.end()), sorted.end());
  auto query =
      impl_->database.prepare(fmt::format("SELECT {} FROM flight WHERE id = ?", flight_columns));
  ROUNDEL_TRY(query);
  std::vector<Flight> flights;
  for (const Id id : sorted) {
    query->bind_all(id);
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (*row) flights.push_back(flight_in(*query));
    query->reset();
  }
  return flights;
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

// Not grouped by SQLite: its sorter takes 300 ns a row, and kinds come in nearly the same order
// hour by hour.
Result<std::map<Id, Tally>> Store::tallies() const {
  auto query =
      impl_->database.prepare("SELECT feed, kind, count FROM tally ORDER BY feed, hour_s, kind");
  ROUNDEL_TRY(query);
  std::map<Id, Tally> out;
  Tally* of = nullptr;
  Id feed{};
  Tally::iterator next;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return out;
    if (!of || query->integer(0) != feed) {
      feed = query->integer(0);
      of = &out[feed];
      next = of->begin();
    }
    std::string kind = query->text(1);
    if (next == of->end()) next = of->begin();
    if (next == of->end() || next->first != kind) next = of->try_emplace(std::move(kind), 0).first;
    next->second += query->integer(2);
    ++next;
  }
}

Result<std::int64_t> Store::data_version() const {
  return impl_->database.integer("PRAGMA data_version");
}

}  // namespace roundel::schema
