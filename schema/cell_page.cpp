#include "schema/cell_page.h"

#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

constexpr unsigned char table_leaf = 0x0d;
constexpr std::size_t leaf_header_bytes = 8;  // page 1, which has more, is no leaf of these tables
constexpr std::size_t columns = 8;
constexpr std::size_t least_row_bytes = 2 + columns + 1;  // sizes of payload, key and record header

std::size_t u16(const unsigned char* at) { return std::size_t{at[0]} << 8U | at[1]; }

// A signed big-endian integer.
template <int bytes>
std::int64_t integer(const unsigned char* at) {
  auto value = static_cast<std::uint64_t>(static_cast<std::int64_t>(static_cast<signed char>(*at)));
  for (int i = 1; i < bytes; ++i) value = value << 8U | at[i];
  return static_cast<std::int64_t>(value);
}

// Bytes that a value of a serial type takes; types above are no integers.
constexpr std::size_t type_bytes[] = {0, 1, 2, 3, 4, 6, 8, 8, 0, 0};
constexpr unsigned char type_null = 0, type_real = 7, type_most = 9;

std::int64_t value_of(unsigned char type, const unsigned char* at) {
  switch (type) {
    case 1:
      return integer<1>(at);
    case 2:
      return integer<2>(at);
    case 3:
      return integer<3>(at);
    case 4:
      return integer<4>(at);
    case 5:
      return integer<6>(at);
    case 6:
      return integer<8>(at);
    case 9:
      return 1;
    default:
      return 0;
  }
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
  for (std::size_t i = 0; i < columns; ++i) {
    if (types[i] > type_most || types[i] == type_real) return false;
    body += type_bytes[types[i]];
  }
  if (payload != columns + 1 + body || types[0] != type_null) return false;
  const unsigned char* value = types + columns;
  std::size_t column = 1;
  const auto next = [&] {
    const unsigned char type = types[column++];
    const std::int64_t read = value_of(type, value);
    value += type_bytes[type];
    return read;
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
