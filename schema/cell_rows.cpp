#include "schema/cell_rows.h"

#include <fmt/format.h>

#include <vector>

#include "schema/page_watch.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

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

}  // namespace

// SQLite takes 300 ns to hand out a row of eight columns, and a tenth of that to find a page of
// 130. So it finds pages: the first row of each comes from it, the others are read from the page
// that it has just read for that row. Where it had the page in its cache, or where the page does
// not say the same of that row, the next row comes from it, too. Either way each row comes once, in
// order.
Result<bool> each_row(const Database& database, std::string_view table, std::int64_t from,
                      std::int64_t to,
                      const std::function<Result<bool>(std::span<const CellRow>)>& visit) {
  auto query = database.prepare(fmt::format(
      "SELECT id, heard, expected, latitude_e4, longitude_e4, altitude_25ft, signal_half_db,"
      " uncertainty_hm FROM {} WHERE id >= ? AND id < ? ORDER BY id",
      table));
  ROUNDEL_TRY(query);
  Statement& rows = *query;
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
    const auto more = visit(found);
    if (!more || !*more) return more;
    from = found.back().id + 1;
    if (!has_page) continue;
    rows.reset();
    rows.bind_all(from, to);
  }
}

}  // namespace roundel::schema
