// Site, feeds and equipment.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cassert>

#include "schema/store_impl.h"

namespace roundel::schema {

std::string listed(const std::vector<std::string>& names) {
  return names.empty() ? "none" : fmt::format("{}", fmt::join(names, ", "));
}

Result<std::vector<Named>> read_names(const Database& database, std::string_view table) {
  auto query = database.prepare(fmt::format("SELECT id, name FROM {} ORDER BY id", table));
  ROUNDEL_TRY(query);
  std::vector<Named> names;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return names;
    names.push_back({query->integer(0), query->text(1)});
  }
}

Result<Id> ensure_name(const Database& database, std::string_view table, std::string_view name) {
  // Commas separate the pairs of a selection ("antenna=a,mount=b").
  const auto unfit = [](unsigned char c) { return c < 0x20 || c == 0x7f || c == ','; };
  if (name.empty() || std::any_of(name.begin(), name.end(), unfit))
    return fail(Errc::out_of_range, fmt::format("\"{}\" cannot be the name of a {}", name, table),
                {}, "use one or more characters, no comma and no control characters");
  auto find = database.prepare(fmt::format("SELECT id FROM {} WHERE name = ?", table));
  ROUNDEL_TRY(find);
  find->bind(1, name);
  const auto found = find->next();
  ROUNDEL_TRY(found);
  if (*found) return find->integer(0);
  find->reset();
  auto insert = database.prepare(fmt::format("INSERT INTO {} (name) VALUES (?)", table));
  ROUNDEL_TRY(insert);
  ROUNDEL_TRY(insert->run(name));
  return database.last_id();
}

Result<std::optional<SiteRow>> Store::site() const {
  auto query = impl_->database.prepare(
      "SELECT name, latitude_deg, longitude_deg, ground_m, antenna_m, surface_m FROM site");
  ROUNDEL_TRY(query);
  const auto row = query->next();
  ROUNDEL_TRY(row);
  if (!*row) return std::nullopt;
  return SiteRow{query->text(0), query->real(1), query->real(2),
                 query->real(3), query->real(4), query->real(5)};
}

Result<void> Store::set_site(const SiteRow& site) {
  assert(impl_->access != Access::read);
  auto transaction = Transaction::begin(impl_->database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto before = this->site();
  ROUNDEL_TRY(before);
  auto upsert = impl_->database.prepare(
      "INSERT INTO site (id, name, latitude_deg, longitude_deg, ground_m, antenna_m, surface_m)"
      " VALUES (1, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET name = excluded.name,"
      " latitude_deg = excluded.latitude_deg, longitude_deg = excluded.longitude_deg,"
      " ground_m = excluded.ground_m, antenna_m = excluded.antenna_m,"
      " surface_m = excluded.surface_m");
  ROUNDEL_TRY(upsert);
  ROUNDEL_TRY(upsert->run(std::string_view(site.name), site.latitude_deg, site.longitude_deg,
                          site.ground_m, site.antenna_m, site.surface_m));
  // Bearings and ranges in summaries are from where the antenna stood.
  if (*before && **before != site)
    ROUNDEL_TRY(impl_->database.execute(
        "UPDATE summary SET is_stale = 1 WHERE cells_gone = 0 AND is_stale = 0"));
  return transaction->commit();
}

Result<Id> Store::feed_id(std::string_view name) {
  assert(impl_->access != Access::read);
  auto transaction = Transaction::begin(impl_->database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto id = ensure_name(impl_->database, "feed", name);
  ROUNDEL_TRY(id);
  ROUNDEL_TRY(transaction->commit());
  return *id;
}

Result<std::vector<Named>> Store::feeds() const { return read_names(impl_->database, "feed"); }
Result<std::vector<Named>> Store::antennas() const {
  return read_names(impl_->database, "antenna");
}
Result<std::vector<Named>> Store::receivers() const {
  return read_names(impl_->database, "receiver");
}
Result<std::vector<Named>> Store::mounts() const { return read_names(impl_->database, "mount"); }

}  // namespace roundel::schema
