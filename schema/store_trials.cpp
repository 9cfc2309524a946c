// What was mounted when.
#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <limits>

#include "roundel/time.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

constexpr std::int64_t end_of_time = std::numeric_limits<std::int64_t>::max();
constexpr std::int64_t latest_s = 253402300799;  // 9999-12-31T23:59:59Z: RFC 3339 ends there

std::int64_t stop_or_never(const Trial& trial) { return trial.stop_s.value_or(end_of_time); }

std::string interval(const Trial& trial) {
  return fmt::format("{} to {}", format_time(static_cast<double>(trial.start_s)),
                     trial.stop_s ? format_time(static_cast<double>(*trial.stop_s)) : "now");
}

Result<void> check_time(std::string_view what, std::int64_t time_s) {
  if (time_s >= 0 && time_s <= latest_s) return {};
  return fail(Errc::out_of_range, fmt::format("{} {} is not between 1970 and 9999", what, time_s),
              {}, "give a time in Unix seconds or as 2026-03-01T12:00:00Z");
}

Result<void> check(const Trial& trial) {
  if (!(trial.rotation_deg >= 0 && trial.rotation_deg < 360))
    return fail(Errc::out_of_range, fmt::format("rotation {} deg", trial.rotation_deg), {},
                "give degrees clockwise, from 0 to below 360");
  ROUNDEL_TRY(check_time("start", trial.start_s));
  if (!trial.stop_s) return {};
  ROUNDEL_TRY(check_time("stop", *trial.stop_s));
  if (*trial.stop_s > trial.start_s) return {};
  return fail(Errc::out_of_range,
              fmt::format("a trial from {} ends before it starts", interval(trial)), {},
              "give a later stop");
}

// None but `except` may share a second with [start, stop) on this feed.
Result<void> refuse_overlap(const std::vector<Trial>& all, const Trial& trial, Id except) {
  for (const Trial& other : all) {
    if (other.feed != trial.feed || other.id == except) continue;
    if (trial.start_s >= stop_or_never(other) || other.start_s >= stop_or_never(trial)) continue;
    return fail(Errc::out_of_range,
                fmt::format("{} overlaps trial {} of feed \"{}\" ({})", interval(trial), other.id,
                            trial.feed, interval(other)),
                {}, "choose another time: see roundel trial list");
  }
  return {};
}

const Trial* running(const std::vector<Trial>& all, std::string_view feed) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const Trial& trial) {
    return trial.feed == feed && !trial.stop_s;
  });
  return found == all.end() ? nullptr : &*found;
}

Result<void> set_stop(const Database& database, Id trial, std::optional<std::int64_t> stop_s) {
  auto update = database.prepare("UPDATE trial SET stop_s = ? WHERE id = ?");
  ROUNDEL_TRY(update);
  return update->run(stop_s, trial);
}

}  // namespace

Result<void> count_change(const Database& database) {
  return database.execute("UPDATE change SET trials_version = trials_version + 1");
}

Result<std::vector<Trial>> read_trials(const Database& database) {
  auto query = database.prepare(
      "SELECT trial.id, feed.name, antenna.name, receiver.name, mount.name, trial.rotation_deg,"
      "       trial.start_s, trial.stop_s, trial.note"
      "  FROM trial JOIN feed ON feed.id = trial.feed JOIN antenna ON antenna.id = trial.antenna"
      "  JOIN receiver ON receiver.id = trial.receiver JOIN mount ON mount.id = trial.mount"
      " ORDER BY trial.start_s, trial.id");
  ROUNDEL_TRY(query);
  std::vector<Trial> trials;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return trials;
    // Others add to these figures; a file may hold anything.
    const auto is_time = [&](int column) {
      return query->integer(column) >= -latest_s && query->integer(column) <= latest_s;
    };
    if (query->integer(0) < 1 || query->integer(0) > max_trial_id || !is_time(6) || !is_time(7))
      return fail(Errc::corrupt, fmt::format("holds a trial {} that cannot be", query->integer(0)),
                  database.file(), "restore a copy");
    trials.push_back({query->integer(0), query->text(1), query->text(2), query->text(3),
                      query->text(4), query->real(5), query->integer(6), query->optional_integer(7),
                      query->text(8)});
  }
}

Result<std::vector<Trial>> Store::trials() const { return read_trials(impl_->database); }

Result<Trial> Store::start_trial(const Trial& trial) {
  assert(impl_->access != Access::read);
  ROUNDEL_TRY(check(trial));
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);

  Trial stored = trial;
  const Trial* before = trial.stop_s ? nullptr : running(*all, trial.feed);
  if (before && before->start_s >= trial.start_s)
    return fail(
        Errc::out_of_range,
        fmt::format("trial {} of feed \"{}\" runs since {}, which is not before {}", before->id,
                    trial.feed, format_time(static_cast<double>(before->start_s)),
                    format_time(static_cast<double>(trial.start_s))),
        {}, "choose a later start");
  ROUNDEL_TRY(refuse_overlap(*all, trial, before ? before->id : 0));
  if (before) ROUNDEL_TRY(set_stop(database, before->id, trial.start_s));

  const auto feed = ensure_name(database, "feed", trial.feed);
  ROUNDEL_TRY(feed);
  const auto antenna = ensure_name(database, "antenna", trial.antenna);
  ROUNDEL_TRY(antenna);
  const auto receiver = ensure_name(database, "receiver", trial.receiver);
  ROUNDEL_TRY(receiver);
  const auto mount = ensure_name(database, "mount", trial.mount);
  ROUNDEL_TRY(mount);
  auto insert = database.prepare(
      "INSERT INTO trial (feed, antenna, receiver, mount, rotation_deg, start_s, stop_s, note)"
      " VALUES (?, ?, ?, ?, ?, ?, ?, ?)");
  ROUNDEL_TRY(insert);
  ROUNDEL_TRY(insert->run(*feed, *antenna, *receiver, *mount, trial.rotation_deg, trial.start_s,
                          trial.stop_s, std::string_view(trial.note)));
  stored.id = database.last_id();
  ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return stored;
}

Result<Trial> Store::stop_trial(std::string_view feed, std::int64_t stop_s) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const Trial* found = running(*all, feed);
  if (!found) {
    std::vector<std::string> names;
    for (const Trial& trial : *all)
      if (!trial.stop_s) names.push_back(trial.feed);
    return fail(Errc::not_found, fmt::format("no trial runs on feed \"{}\"", feed), {},
                fmt::format("feeds with a running trial: {}", listed(names)));
  }
  Trial stopped = *found;
  stopped.stop_s = stop_s;
  ROUNDEL_TRY(check(stopped));
  ROUNDEL_TRY(set_stop(database, stopped.id, stop_s));
  ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return stopped;
}

Result<void> Store::extend_trial(Id trial, std::int64_t start_s) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const auto found =
      std::find_if(all->begin(), all->end(), [&](const Trial& row) { return row.id == trial; });
  if (found == all->end()) return fail(Errc::not_found, fmt::format("there is no trial {}", trial));
  if (start_s >= found->start_s) return {};
  Trial longer = *found;
  longer.start_s = start_s;
  ROUNDEL_TRY(check(longer));
  ROUNDEL_TRY(refuse_overlap(*all, longer, trial));
  auto update = database.prepare("UPDATE trial SET start_s = ? WHERE id = ?");
  ROUNDEL_TRY(update);
  ROUNDEL_TRY(update->run(start_s, trial));
  ROUNDEL_TRY(count_change(database));
  return transaction->commit();
}

Result<void> Store::set_trial_stop(Id trial, std::optional<std::int64_t> stop_s) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const auto found =
      std::find_if(all->begin(), all->end(), [&](const Trial& row) { return row.id == trial; });
  if (found == all->end()) return fail(Errc::not_found, fmt::format("there is no trial {}", trial));
  if (stop_s == found->stop_s) return {};
  Trial changed = *found;
  changed.stop_s = stop_s;
  ROUNDEL_TRY(check(changed));
  ROUNDEL_TRY(refuse_overlap(*all, changed, trial));
  ROUNDEL_TRY(set_stop(database, trial, stop_s));
  ROUNDEL_TRY(count_change(database));
  return transaction->commit();
}

Result<Id> Store::add_note(const Note& note) {
  assert(impl_->access != Access::read);
  ROUNDEL_TRY(check_time("time", note.time_s));
  if (note.text.empty()) return fail(Errc::out_of_range, "an empty note", {}, "say what was done");
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  if (note.trial && std::none_of(all->begin(), all->end(),
                                 [&](const Trial& trial) { return trial.id == *note.trial; }))
    return fail(Errc::not_found, fmt::format("there is no trial {}", *note.trial), {},
                "see roundel trial list");
  auto insert = database.prepare("INSERT INTO note (time_s, trial, text) VALUES (?, ?, ?)");
  ROUNDEL_TRY(insert);
  ROUNDEL_TRY(insert->run(note.time_s, note.trial, std::string_view(note.text)));
  const Id id = database.last_id();
  ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return id;
}

Result<std::vector<Note>> Store::notes() const {
  auto query =
      impl_->database.prepare("SELECT id, time_s, trial, text FROM note ORDER BY time_s, id");
  ROUNDEL_TRY(query);
  std::vector<Note> notes;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return notes;
    notes.push_back(
        {query->integer(0), query->integer(1), query->optional_integer(2), query->text(3)});
  }
}

Result<std::int64_t> Store::trials_version() const {
  return impl_->database.integer("SELECT trials_version FROM change");
}

}  // namespace roundel::schema
