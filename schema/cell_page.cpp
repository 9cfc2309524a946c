#include "schema/cell_page.h"

#include <bit>
#include <cstring>

#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

constexpr unsigned char table_leaf = 0x0d;
constexpr std::size_t leaf_header_bytes = 8;  // page 1, which has more, is no leaf of these tables
constexpr std::size_t columns = 8;
constexpr std::size_t least_row_bytes = 2 + columns + 1;  // sizes of payload, key and record header

std::size_t u16(const unsigned char* at) { return std::size_t{at[0]} << 8U | at[1]; }

// How a value of a serial type is read from the eight bytes that end with it: without a branch,
// since types change from row to row.
struct SerialType {
  std::size_t bytes;
  unsigned shift;         // brings the value's sign to the top, and back
  std::uint64_t mask;     // 0 where the type is the value
  std::int64_t constant;  // that value
  bool is_integer;        // or NULL
};
constexpr SerialType sized(std::size_t bytes) {
  return {bytes, 64 - 8 * static_cast<unsigned>(bytes), ~std::uint64_t{0}, 0, true};
}
constexpr SerialType constant(std::int64_t value, bool is_integer = true) {
  return {0, 0, 0, value, is_integer};
}
constexpr SerialType serial[] = {constant(0), sized(1),   sized(2), sized(3),
                                 sized(4),    sized(6),   sized(8), constant(0, false),
                                 constant(0), constant(1)};
constexpr unsigned char type_null = 0, type_most = 9;

// The signed big-endian integer that ends at `end`. The page's header and the row's own stand
// before it, so that eight bytes do.
std::int64_t value_before(const unsigned char* end, const SerialType& type) {
  std::uint64_t bits{};
  std::memcpy(&bits, end - sizeof bits, sizeof bits);
  if constexpr (std::endian::native == std::endian::little) bits = __builtin_bswap64(bits);
  const auto value = static_cast<std::int64_t>(bits << type.shift) >> type.shift;
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(value) & type.mask) + type.constant;
}

// One row at `at`; false where it is laid out otherwise or does not end before `end`.
bool read_row(const unsigned char* at, const unsigned char* end, CellRow& row) {
  if (end - at < static_cast<std::ptrdiff_t>(least_row_bytes)) return false;
  const std::size_t payload = *at++;
  if (payload >= 0x80) return false;
  std::uint64_t key = 0;
  for (int i = 0; i < 9; ++i) {
    if (at == end) return false;
    const unsigned char byte = *at++;
    if (i == 8) {
      key = key << 8U | byte;
      break;
    }
    key = key << 7U | (byte & 0x7fU);
    if (byte < 0x80) break;
  }
  if (static_cast<std::size_t>(end - at) < payload || payload < columns + 1 || *at != columns + 1)
    return false;
  const unsigned char* const types = at + 1;
  std::size_t body = 0;
  bool are_integers = types[0] == type_null;
  for (std::size_t i = 0; i < columns; ++i) {
    if (types[i] > type_most) return false;
    body += serial[types[i]].bytes;
    are_integers = are_integers && serial[types[i]].is_integer;
  }
  if (payload != columns + 1 + body || !are_integers) return false;
  const unsigned char* value = types + columns;
  std::size_t column = 1;
  const auto next = [&] {
    const SerialType& type = serial[types[column++]];
    value += type.bytes;
    return value_before(value, type);
  };
  row.id = static_cast<std::int64_t>(key);
  row.heard = next();
  row.expected = next();
  row.latitude_e4 = next();
  row.longitude_e4 = next();
  row.altitude_25ft = next();
  if (types[column] == type_null) {
    ++column;
    row.signal_half_db.reset();
  } else {
    row.signal_half_db = next();
  }
  row.uncertainty_hm = next();
  return true;
}

}  // namespace

Cell CellRow::cell() const {
  Cell out;
  out.window = id >> flight_bits;
  out.flight = id & max_flight_id;
  out.heard = static_cast<int>(heard);
  out.expected = static_cast<int>(expected);
  out.latitude_deg = static_cast<double>(latitude_e4) / 1e4;
  out.longitude_deg = static_cast<double>(longitude_e4) / 1e4;
  out.altitude_ft = static_cast<double>(altitude_25ft) * 25;
  if (signal_half_db) out.signal_dbfs = static_cast<double>(*signal_half_db) / 2;
  out.uncertainty_km = static_cast<double>(uncertainty_hm) / 10;
  return out;
}

bool read_cell_page(std::span<const unsigned char> page, std::int64_t from, std::int64_t to,
                    std::vector<CellRow>& into) {
  if (page.size() < leaf_header_bytes || page[0] != table_leaf) return false;
  const std::size_t n = u16(&page[3]);
  if (leaf_header_bytes + 2 * n > page.size()) return false;
  const std::size_t before = into.size();
  const unsigned char* const end = page.data() + page.size();
  CellRow row;
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t place = u16(&page[leaf_header_bytes + 2 * i]);
    if (place >= page.size() || !read_row(page.data() + place, end, row)) {
      into.resize(before);
      return false;
    }
    if (row.id >= from && row.id < to) into.push_back(row);
  }
  return true;
}

}  // namespace roundel::schema
