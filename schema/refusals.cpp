#include "schema/refusals.h"

#include <iterator>

#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

// Cells remembered, at some 60 bytes each. The oldest go first: they are given no more.
constexpr std::size_t most_counted = 100'000;

Result<std::int64_t> look_up(const Database& database, const char* sql, std::int64_t key) {
  auto query = database.prepare(sql);
  ROUNDEL_TRY(query);
  query->bind(1, key);
  return query->single();
}

}  // namespace

Result<void> Refusals::add_cell(const Database& database, std::int64_t window, Id flight, int heard,
                                Id batch_feed, const std::string& why) {
  ++total_.rows;
  total_.latest = why;
  const auto [counted, is_new] = counted_.try_emplace({window, flight}, 0);
  if (is_new) {
    // An earlier state of the same cell may have been stored.
    const auto stored = look_up(database,
                                "SELECT max(heard) FROM (SELECT id, heard FROM cell UNION ALL"
                                " SELECT id, heard FROM recent_cell) WHERE id = ?",
                                cell_key(window, flight));
    ROUNDEL_TRY(stored);
    counted->second = *stored;
  }
  const std::int64_t lost = heard - std::exchange(counted->second, heard);
  if (counted_.size() > most_counted)
    counted_.erase(counted_.begin(), std::next(counted_.begin(), most_counted / 2));
  if (lost == 0) return {};
  const auto known_feed = look_up(database,
                                  "SELECT trial.feed FROM flight JOIN trial ON"
                                  " trial.id = flight.trial WHERE flight.id = ?",
                                  flight);
  ROUNDEL_TRY(known_feed);
  const Id feed = *known_feed > 0 ? *known_feed : batch_feed;
  total_.reports_of[feed] += lost;
  const std::int64_t hour_s = window / windows_per_hour * 3600;
  auto tally = database.prepare(tally_sql);
  ROUNDEL_TRY(tally);
  ROUNDEL_TRY(tally->run(feed, hour_s, std::string_view("stored"), -lost));
  return tally->run(feed, hour_s, refused_kind, lost);
}

Result<void> Refusals::add_flight(const Database& database, Id flight, const std::string& why) {
  ++total_.rows;
  total_.latest = why;
  const auto is_stored = look_up(database, "SELECT count(*) FROM flight WHERE id = ?", flight);
  ROUNDEL_TRY(is_stored);
  if (*is_stored == 0) flights_.insert(flight);
  return {};
}

}  // namespace roundel::schema
