// A report as text. Written by hand: it is most of what a simulation spends its time on.
#include <array>
#include <cmath>
#include <cstring>

#include "analysis/simulate/numeric.h"
#include "roundel/simulate/simulate.h"

namespace roundel::simulate {
namespace {

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
    std::array<char, 24> digits;
    int n = 0;
    for (auto rest = static_cast<std::uint64_t>(value); rest > 0 || n <= decimals; rest /= 10)
      digits[static_cast<std::size_t>(n++)] = static_cast<char>('0' + rest % 10);
    while (n > 0) {
      *at_++ = digits[static_cast<std::size_t>(--n)];
      if (n == decimals && decimals > 0) *at_++ = '.';
    }
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
