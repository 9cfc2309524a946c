#include <sys/random.h>

#include <cassert>

#include "roundel/siphash.h"
#include "schema/sqlite.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

// Above 24-bit addresses and their recorded hashes, and positive.
constexpr std::int64_t forgotten = std::int64_t{1} << 62;

}  // namespace

Result<std::int64_t> Store::forget_addresses(double before_s) {
  assert(impl_->access != Access::read);
  // A key that is thrown away: equal addresses stay equal, for an aircraft heard by two antennas.
  SipKey key{};
  if (::getrandom(key.data(), key.size(), 0) != static_cast<ssize_t>(key.size()))
    return fail(Errc::io, "the system gives no random numbers", impl_->database.file());
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  if (!transaction) return tl::unexpected(transaction.error());
  auto select =
      database.prepare("SELECT id, address FROM flight WHERE last_window < ? AND address < ?");
  if (!select) return tl::unexpected(select.error());
  auto update = database.prepare("UPDATE flight SET address = ? WHERE id = ?");
  if (!update) return tl::unexpected(update.error());
  std::vector<std::pair<Id, std::uint64_t>> flights;
  select->bind_all(windows_between({}, before_s).to, forgotten);
  for (;;) {
    const auto row = select->next();
    if (!row) return tl::unexpected(row.error());
    if (!*row) break;
    flights.emplace_back(select->integer(0), static_cast<std::uint64_t>(select->integer(1)));
  }
  for (const auto& [id, address] : flights) {
    const auto number = static_cast<std::int64_t>(siphash(key, address) >> 2) | forgotten;
    ROUNDEL_TRY(update->run(number, id));
  }
  // Answers that name addresses, kept somewhere, are not to be given any more.
  if (!flights.empty()) ROUNDEL_TRY(count_change(database));
  ROUNDEL_TRY(transaction->commit());
  return static_cast<std::int64_t>(flights.size());
}

}  // namespace roundel::schema
