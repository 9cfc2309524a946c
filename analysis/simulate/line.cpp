// A report as text. Written by hand: it is most of what a simulation spends its time on.
#include <array>
#include <cmath>
#include <cstring>

#include "analysis/simulate/numeric.h"
#include "roundel/simulate/simulate.h"

namespace roundel::simulate {
namespace {

/// "00" "01" ... "99"
constexpr std::array<char, 200> pairs = [] {
  std::array<char, 200> out{};
  for (std::size_t i = 0; i < 100; ++i) {
    out[2 * i] = static_cast<char>('0' + i / 10);
    out[2 * i + 1] = static_cast<char>('0' + i % 10);
  }
  return out;
}();

class Text {
 public:
  void put(std::string_view text) {
    std::memcpy(at_, text.data(), text.size());
    at_ += text.size();
  }
  /// value / 10^decimals
  void put_fixed(std::int64_t value, int decimals) {
    if (value < 0) {
      *at_++ = '-';
      value = -value;
    }
    // Two digits a division, from the last backwards.
    std::array<char, 24> digits;
    char* const end = digits.data() + digits.size();
    char* first = end;
    auto rest = static_cast<std::uint64_t>(value);
    while (rest >= 100 || end - first < decimals - 1) {
      first -= 2;
      std::memcpy(first, &pairs[rest % 100 * 2], 2);
      rest /= 100;
    }
    if (rest >= 10 || end - first < decimals) {
      first -= 2;
      std::memcpy(first, &pairs[rest * 2], 2);
    } else {
      *--first = static_cast<char>('0' + rest);
    }
    // There may be one zero too many in front, or the one before the point may be missing.
    if (end - first > decimals + 1 && *first == '0') ++first;
    if (end - first == decimals) *--first = '0';
    const auto n_whole = static_cast<std::size_t>(end - first - decimals);
    std::memcpy(at_, first, n_whole);
    at_ += n_whole;
    if (decimals == 0) return;
    *at_++ = '.';
    std::memcpy(at_, end - decimals, static_cast<std::size_t>(decimals));
    at_ += decimals;
  }
  void put_hex(std::uint32_t address) {
    for (int shift = 20; shift >= 0; shift -= 4) *at_++ = "0123456789abcdef"[address >> shift & 15];
  }
  std::string_view view() const {
    return {buffer_.data(), static_cast<std::size_t>(at_ - buffer_.data())};
  }

 private:
  std::array<char, 256> buffer_;
  char* at_ = buffer_.data();
};

}  // namespace

void append_line(std::string& out, const Report& report) {
  Text text;
  text.put("{\"time\":");
  text.put_fixed(whole(report.time_s * 1000), 3);
  text.put(",\"address\":\"");
  text.put_hex(report.address);
  text.put("\",\"latitude\":");
  text.put_fixed(whole(report.latitude_deg * 1e5), 5);
  text.put(",\"longitude\":");
  text.put_fixed(whole(report.longitude_deg * 1e5), 5);
  if (report.altitude_ft) {
    text.put(",\"altitude_ft\":");
    text.put_fixed(whole(*report.altitude_ft), 0);
  }
  if (report.signal_dbfs) {
    text.put(",\"signal_dbfs\":");
    text.put_fixed(whole(*report.signal_dbfs * 10), 1);
  }
  text.put("}\n");
  out += text.view();
}

}  // namespace roundel::simulate
