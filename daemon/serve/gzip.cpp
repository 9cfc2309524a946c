#include "daemon/serve/gzip.h"

#include <zlib.h>

#include <cassert>

namespace roundel::serve {
namespace {

// zlib's way to ask for gzip's wrapper instead of its own: 16 more than the window's size.
constexpr int gzip_window_bits = 15 + 16;

// zlib takes a pointer to what it only reads; its interface is older than const.
Bytef* input(std::string_view bytes) {
  return reinterpret_cast<Bytef*>(const_cast<char*>(bytes.data()));
}

}  // namespace

std::string gzip(std::string_view plain, Effort effort) {
  z_stream stream{};
  // Level 6 is zlib's own balance; the largest answers here are some 500 kB, a year's hours, of
  // which it makes 85 kB in 6 ms, and level 1 makes 100 kB in 2 ms.
  const int level = effort == Effort::usual ? 6 : 1;
  [[maybe_unused]] int state =
      deflateInit2(&stream, level, Z_DEFLATED, gzip_window_bits, 8, Z_DEFAULT_STRATEGY);
  assert(state == Z_OK);
  std::string out(deflateBound(&stream, plain.size()), '\0');
  stream.next_in = input(plain);
  stream.avail_in = static_cast<uInt>(plain.size());
  stream.next_out = reinterpret_cast<Bytef*>(out.data());
  stream.avail_out = static_cast<uInt>(out.size());
  state = deflate(&stream, Z_FINISH);
  assert(state == Z_STREAM_END);
  out.resize(stream.total_out);
  out.shrink_to_fit();  // it is kept, and the bound is more than the plain text
  deflateEnd(&stream);
  return out;
}

std::optional<std::string> gunzip(std::string_view packed, std::size_t limit) {
  z_stream stream{};
  if (inflateInit2(&stream, gzip_window_bits) != Z_OK) return {};
  stream.next_in = input(packed);
  stream.avail_in = static_cast<uInt>(packed.size());
  std::string out;
  int state = Z_OK;
  while (state == Z_OK && out.size() <= limit) {
    char piece[16384];
    stream.next_out = reinterpret_cast<Bytef*>(piece);
    stream.avail_out = sizeof piece;
    state = inflate(&stream, Z_NO_FLUSH);
    out.append(piece, sizeof piece - stream.avail_out);
  }
  const bool is_whole = state == Z_STREAM_END && stream.avail_in == 0 && out.size() <= limit;
  inflateEnd(&stream);
  if (!is_whole) return {};
  return out;
}

}  // namespace roundel::serve
