// What was mounted when.
#include <fmt/format.h>

#include <algorithm>
#include <array>
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

Result<Trial> find_trial(const std::vector<Trial>& all, Id id) {
  const auto found = std::ranges::find(all, id, &Trial::id);
  if (found != all.end()) return *found;
  return fail(Errc::not_found, fmt::format("there is no trial {}", id), {},
              "see roundel trial list");
}

// The ids of what a trial names, made where missing.
Result<std::array<Id, 4>> ensure_names(const Database& database, const Trial& trial) {
  std::array<Id, 4> ids{};
  const std::array<std::pair<const char*, const std::string*>, 4> names{
      {{"feed", &trial.feed},
       {"antenna", &trial.antenna},
       {"receiver", &trial.receiver},
       {"mount", &trial.mount}}};
  for (std::size_t i = 0; i < names.size(); ++i) {
    const auto id = ensure_name(database, names[i].first, *names[i].second);
    ROUNDEL_TRY(id);
    ids[i] = *id;
  }
  return ids;
}

Result<Id> insert_trial(const Database& database, const Trial& trial) {
  const auto ids = ensure_names(database, trial);
  ROUNDEL_TRY(ids);
  auto insert = database.prepare(
      "INSERT INTO trial (feed, antenna, receiver, mount, rotation_deg, start_s, stop_s, note)"
      " VALUES (?, ?, ?, ?, ?, ?, ?, ?)");
  ROUNDEL_TRY(insert);
  const auto& [feed, antenna, receiver, mount] = *ids;
  ROUNDEL_TRY(insert->run(feed, antenna, receiver, mount, trial.rotation_deg, trial.start_s,
                          trial.stop_s, std::string_view(trial.note)));
  return database.last_id();
}

Result<void> update_trial(const Database& database, const Trial& trial) {
  const auto ids = ensure_names(database, trial);
  ROUNDEL_TRY(ids);
  auto update = database.prepare(
      "UPDATE trial SET antenna = ?, receiver = ?, mount = ?, rotation_deg = ?, start_s = ?,"
      " stop_s = ?, note = ? WHERE id = ?");
  ROUNDEL_TRY(update);
  return update->run((*ids)[1], (*ids)[2], (*ids)[3], trial.rotation_deg, trial.start_s,
                     trial.stop_s, std::string_view(trial.note), trial.id);
}

// All that is of one trial becomes another's.
Result<void> give_all(const Database& database, Id from, Id to) {
  const auto run = [&](std::string_view sql, auto... values) -> Result<void> {
    auto statement = database.prepare(sql);
    ROUNDEL_TRY(statement);
    return statement->run(values...);
  };
  constexpr const char* gone_in_both =
      "SELECT count(*) FROM summary AS a JOIN summary AS b ON b.id = a.id - ?1 + ?2"
      " WHERE a.id & 16777215 = ?1 AND a.cells_gone = 1 AND b.cells_gone = 1";
  auto both = database.prepare(gone_in_both);
  ROUNDEL_TRY(both);
  both->bind_all(from, to);
  const auto n_both = both->single();
  ROUNDEL_TRY(n_both);
  if (*n_both > 0)
    return fail(Errc::out_of_range,
                fmt::format("trials {} and {} share an hour whose cells are gone", from, to), {},
                "its summaries cannot be joined: select by time instead");
  ROUNDEL_TRY(run("UPDATE flight SET trial = ?2 WHERE trial = ?1", from, to));
  ROUNDEL_TRY(run("UPDATE note SET trial = ?2 WHERE trial = ?1", from, to));
  // Hours that have their cells are summarised anew, those that lost them keep what they have.
  ROUNDEL_TRY(
      run("INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale,"
          " cells_gone, detail) SELECT id - ?1 + ?2, 0, 0, 0, 0, 1, 0, x'' FROM summary"
          " WHERE id & 16777215 = ?1 AND cells_gone = 0"
          " ON CONFLICT (id) DO UPDATE SET is_stale = 1",
          from, to));
  ROUNDEL_TRY(
      run("DELETE FROM summary_flights WHERE id IN (SELECT id FROM summary"
          " WHERE id & 16777215 = ?1 AND cells_gone = 0)",
          from));
  ROUNDEL_TRY(run("DELETE FROM summary WHERE id & 16777215 = ?1 AND cells_gone = 0", from));
  ROUNDEL_TRY(
      run("UPDATE summary_flights SET id = id - ?1 + ?2 WHERE id & 16777215 = ?1", from, to));
  ROUNDEL_TRY(run("UPDATE summary SET id = id - ?1 + ?2 WHERE id & 16777215 = ?1", from, to));
  return run("DELETE FROM trial WHERE id = ?", from);
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
        {}, "choose a later start, or divide an earlier trial: roundel trial split");
  ROUNDEL_TRY(refuse_overlap(*all, trial, before ? before->id : 0));
  if (before) ROUNDEL_TRY(set_stop(database, before->id, trial.start_s));

  const auto id = insert_trial(database, trial);
  ROUNDEL_TRY(id);
  stored.id = *id;
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
  const auto found = find_trial(*all, trial);
  ROUNDEL_TRY(found);
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
  const auto found = find_trial(*all, trial);
  ROUNDEL_TRY(found);
  if (stop_s == found->stop_s) return {};
  Trial changed = *found;
  changed.stop_s = stop_s;
  ROUNDEL_TRY(check(changed));
  ROUNDEL_TRY(refuse_overlap(*all, changed, trial));
  ROUNDEL_TRY(set_stop(database, trial, stop_s));
  ROUNDEL_TRY(count_change(database));
  return transaction->commit();
}

Result<Trial> Store::split_trial(Id trial, std::int64_t at_s, const Trial& changed) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const auto found = find_trial(*all, trial);
  ROUNDEL_TRY(found);
  if (at_s <= found->start_s || at_s >= stop_or_never(*found))
    return fail(Errc::out_of_range,
                fmt::format("{} is not within trial {} ({})",
                            format_time(static_cast<double>(at_s)), trial, interval(*found)),
                {}, "choose a time within it: see roundel trial list");
  Trial later = changed;
  later.feed = found->feed;
  later.start_s = at_s;
  later.stop_s = found->stop_s;
  ROUNDEL_TRY(check(later));
  ROUNDEL_TRY(set_stop(database, trial, at_s));
  const auto id = insert_trial(database, later);
  ROUNDEL_TRY(id);
  later.id = *id;
  ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return later;
}

Result<void> Store::change_trial(const Trial& changed) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const auto found = find_trial(*all, changed.id);
  ROUNDEL_TRY(found);
  Trial wanted = changed;
  wanted.feed = found->feed;
  ROUNDEL_TRY(check(wanted));
  ROUNDEL_TRY(refuse_overlap(*all, wanted, wanted.id));
  ROUNDEL_TRY(update_trial(database, wanted));
  ROUNDEL_TRY(count_change(database));
  return transaction->commit();
}

Result<Trial> Store::undo_trial(Id trial) {
  assert(impl_->access != Access::read);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto all = read_trials(database);
  ROUNDEL_TRY(all);
  const auto undone = find_trial(*all, trial);
  ROUNDEL_TRY(undone);
  std::optional<Trial> kept;
  for (const Trial& other : *all) {
    if (other.feed != undone->feed) continue;
    const bool is_before = other.stop_s == undone->start_s;
    if (is_before || (!kept && undone->stop_s == other.start_s)) kept = other;
  }
  if (!kept)
    return fail(
        Errc::not_found,
        fmt::format("no trial of feed \"{}\" ends where trial {} starts, or starts where it "
                    "ends",
                    undone->feed, trial),
        {}, "say what was mounted instead: roundel trial change");
  if (kept->start_s < undone->start_s)
    kept->stop_s = undone->stop_s;
  else
    kept->start_s = undone->start_s;
  ROUNDEL_TRY(give_all(database, trial, kept->id));
  ROUNDEL_TRY(update_trial(database, *kept));
  ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return *kept;
}

Result<void> Store::rename(Part part, std::string_view from, std::string_view to) {
  assert(impl_->access != Access::read);
  const std::string table = part == Part::antenna    ? "antenna"
                            : part == Part::receiver ? "receiver"
                                                     : "mount";
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto names = read_names(database, table);
  ROUNDEL_TRY(names);
  const auto old = std::ranges::find(*names, from, &Named::name);
  if (old == names->end()) {
    std::vector<std::string> known;
    for (const Named& one : *names) known.push_back(one.name);
    return fail(Errc::not_found, fmt::format("there is no {} \"{}\"", table, from), {},
                "the database knows: " + listed(known));
  }
  const auto id = ensure_name(database, table, to);
  ROUNDEL_TRY(id);
  if (*id == old->id) return {};
  auto move = database.prepare(fmt::format("UPDATE trial SET {0} = ? WHERE {0} = ?", table));
  ROUNDEL_TRY(move);
  ROUNDEL_TRY(move->run(*id, old->id));
  auto remove = database.prepare(fmt::format("DELETE FROM {} WHERE id = ?", table));
  ROUNDEL_TRY(remove);
  ROUNDEL_TRY(remove->run(old->id));
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
