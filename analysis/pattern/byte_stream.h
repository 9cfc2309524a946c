// Numbers as few bytes, seven bits a byte: what summaries are stored as.
#pragma once
#include <cmath>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>

namespace roundel::pattern {

class ByteWriter {
 public:
  void put(std::int64_t number) {
    auto rest = static_cast<std::uint64_t>(number);
    for (; rest > 0x7f; rest >>= 7) bytes_ += static_cast<char>(rest | 0x80);
    bytes_ += static_cast<char>(rest);
  }
  void put_signed(std::int64_t number) { put(number < 0 ? ~(number * 2) : number * 2); }
  void put_steps(double value, double step) { put_signed(std::llround(value / step)); }
  std::string bytes() && { return std::move(bytes_); }

 private:
  std::string bytes_;
};

/// Past the end, or past what a number may be, is a mistake that stays.
class ByteReader {
 public:
  explicit ByteReader(std::string_view bytes) : bytes_(bytes) {}
  std::int64_t get(std::int64_t most = std::int64_t{1} << 48) {
    // Most are of one byte or two.
    if (at_ + 1 < bytes_.size()) {
      const auto byte = static_cast<unsigned char>(bytes_[at_]);
      if (byte < 0x80 && byte <= most) return ++at_, byte;
      const auto next = static_cast<unsigned char>(bytes_[at_ + 1]);
      const std::int64_t both = (byte & 0x7f) | (std::int64_t{next} << 7);
      if (byte >= 0x80 && next < 0x80 && both <= most) return at_ += 2, both;
    }
    return get_long(most);
  }
  std::int64_t get_signed(std::int64_t most = std::int64_t{1} << 47) {
    const std::int64_t folded = get(2 * most + 1);
    return (folded & 1) != 0 ? ~(folded >> 1) : folded >> 1;
  }
  double get_steps(double step) { return static_cast<double>(get_signed()) * step; }
  /// How many follow; no more than there are bytes for, at so many each.
  std::int64_t get_count(std::int64_t least_bytes = 1) {
    return get(static_cast<std::int64_t>(bytes_.size() - at_) / least_bytes);
  }
  /// What has been read is none of ours.
  void reject() {
    is_good_ = false;
    at_ = bytes_.size();
  }
  bool is_good() const { return is_good_; }
  bool is_at_end() const { return at_ == bytes_.size(); }

 private:
  std::int64_t get_long(std::int64_t most) {
    std::uint64_t number = 0;
    for (int shift = 0; shift < 63; shift += 7) {
      if (at_ == bytes_.size()) break;
      const auto byte = static_cast<unsigned char>(bytes_[at_++]);
      number |= std::uint64_t{byte & 0x7fU} << shift;
      if ((byte & 0x80U) != 0) continue;
      if (number <= static_cast<std::uint64_t>(most)) return static_cast<std::int64_t>(number);
      break;
    }
    reject();
    return 0;
  }

  std::string_view bytes_;
  std::size_t at_ = 0;
  bool is_good_ = true;
};

}  // namespace roundel::pattern
