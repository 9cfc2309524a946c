#include "daemon/feed/assemble.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <utility>

#include "daemon/feed/number.h"
#include "roundel/time.h"

namespace roundel::feed {
namespace {

using Kind = FieldValue::Kind;

constexpr double metres_per_foot = 0.3048;        // exact: international foot, 1959
constexpr double last_second_s = 253402300799.0;  // 9999-12-31T23:59:59Z, as parse_time()
constexpr double milliseconds_from = 1e11;

// The number that a value is. Neither this nor an address is an optional, which g++ 12 writes in
// two pieces and then copies in one, and a processor has to wait for that: for a seventh of a load.
bool take_number(const FieldValue& value, double& number) {
  if (value.kind == Kind::number) {
    number = value.number;
    return true;
  }
  return value.kind == Kind::text && parse_number(value.text, number);
}

bool same_word(std::string_view text, std::string_view lower_case) {
  return std::equal(text.begin(), text.end(), lower_case.begin(), lower_case.end(),
                    [](char a, char b) { return (a >= 'A' && a <= 'Z' ? a + 32 : a) == b; });
}

std::optional<bool> flag_of(const FieldValue& value) {
  if (value.kind == Kind::boolean) return value.truth;
  if (double number{}; take_number(value, number)) return number != 0;
  if (value.kind != Kind::text) return std::nullopt;
  for (std::string_view yes : {"true", "t", "yes", "y"})
    if (same_word(value.text, yes)) return true;
  for (std::string_view no : {"false", "f", "no", "n"})
    if (same_word(value.text, no)) return false;
  return std::nullopt;
}

// Of each character its value as a hex digit, or -1.
constexpr std::array<std::int8_t, 256> hex_digits = [] {
  std::array<std::int8_t, 256> table{};
  table.fill(-1);
  constexpr std::string_view lower = "0123456789abcdef", upper = "0123456789ABCDEF";
  for (std::size_t i = 0; i < lower.size(); ++i)
    table[static_cast<unsigned char>(lower[i])] = table[static_cast<unsigned char>(upper[i])] =
        static_cast<std::int8_t>(i);
  return table;
}();

}  // namespace

Literal::Literal(std::string text) : text_(std::move(text)), number_(parse_number(text_)) {}

bool Literal::equals(const FieldValue& value) const {
  switch (value.kind) {
    case Kind::text:
      return value.text == text_;
    case Kind::number:
      return number_ && *number_ == value.number;
    case Kind::boolean:
      return text_ == (value.truth ? "true" : "false");
    case Kind::absent:
      return text_.empty();
    case Kind::other:
      return false;
  }
  return false;
}

bool parse_address(const FieldValue& value, std::uint32_t& address) {
  constexpr std::uint32_t none = 0, all_call = 0xffffff;  // not assigned to any aircraft
  if (value.kind == Kind::number) {
    if (!(value.number > none && value.number < all_call)) return false;
    address = static_cast<std::uint32_t>(value.number);
    return static_cast<double>(address) == value.number;
  }
  if (value.kind != Kind::text) return false;
  std::string_view text = value.text;
  if (text.size() > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X'))
    text.remove_prefix(2);
  if (text.empty() || text.size() > 8) return false;
  std::uint32_t number = 0;
  for (const char c : text) {
    const int digit = hex_digits[static_cast<unsigned char>(c)];
    if (digit < 0) return false;
    number = number << 4 | static_cast<std::uint32_t>(digit);
  }
  address = number;
  return number != none && number < all_call;
}

Carry::Known& Carry::of(std::uint32_t address) {
  if (const auto found = young_.find(address); found != young_.end()) return found->second;
  if (young_.size() == generation_size) {
    old_ = std::exchange(young_, {});
  }
  Known known;
  if (const auto found = old_.find(address); found != old_.end()) {
    known = found->second;
    old_.erase(found);
  }
  return young_.emplace(address, known).first->second;
}

Assembler::Assembler(const config::Layout& layout)
    : time_unit_(layout.time_unit),
      ft_per_unit_(layout.altitude_unit == config::AltitudeUnit::m ? 1 / metres_per_foot : 1),
      carry_s_(layout.carry_s) {
  for (const config::Keep& keep : layout.keep) {
    std::vector<Literal>& texts = keep_.emplace_back();
    for (const std::string& text : keep.equals) texts.emplace_back(text);
  }
  for (const std::string& text : layout.missing) missing_.emplace_back(text);
}

bool Assembler::is_said_to_be_missing(const FieldValue& value) const {
  return std::any_of(missing_.begin(), missing_.end(),
                     [&](const Literal& text) { return text.equals(value); });
}

bool Assembler::take_time(const FieldValue& value, double& time_s) const {
  if (take_number(value, time_s)) {
    const bool milliseconds =
        time_unit_ == config::TimeUnit::milliseconds ||
        (time_unit_ == config::TimeUnit::automatic && std::abs(time_s) >= milliseconds_from);
    if (milliseconds) time_s /= 1000;
    return std::abs(time_s) <= last_second_s;
  }
  if (value.kind != Kind::text) return false;
  const auto time = parse_time(value.text);
  time_s = time.value_or(0);
  return time.has_value();
}

std::optional<Reject> Assembler::assemble(std::span<FieldValue> values, double arrival_s,
                                          Report& report) {
  assert(values.size() == n_fields + keep_.size());
  for (FieldValue& value : values)
    if (value.kind == Kind::text) value.text = trimmed(value.text);

  for (std::size_t i = 0; i < keep_.size(); ++i) {
    const FieldValue& value = values[n_fields + i];
    if (std::none_of(keep_[i].begin(), keep_[i].end(),
                     [&](const Literal& text) { return text.equals(value); }))
      return Reject::not_position;
  }
  for (FieldValue& value : values.first(n_fields)) {
    if (value.kind == Kind::text && value.text.empty()) value.kind = Kind::absent;
    if (!missing_.empty() && is_said_to_be_missing(value)) value.kind = Kind::absent;
  }
  const auto present = [&](Field field) { return values[field].kind != Kind::absent; };

  const bool has_position = present(latitude_field) && present(longitude_field);
  if (has_position) {
    if (!take_number(values[latitude_field], report.latitude_deg) ||
        !take_number(values[longitude_field], report.longitude_deg))
      return Reject::malformed;
  } else if (carry_s_ <= 0) {
    return Reject::not_position;
  }

  // A line without a position is of another kind; what it can't say is no fault.
  const auto refusal = [&](Reject reason) { return has_position ? reason : Reject::not_position; };
  if (!parse_address(values[address_field], report.address)) return refusal(Reject::bad_address);
  if (present(time_field)) {
    if (!take_time(values[time_field], report.time_s.emplace())) return refusal(Reject::malformed);
  }
  if (present(altitude_field)) {
    double& altitude_ft = report.altitude_ft.emplace();
    if (!take_number(values[altitude_field], altitude_ft)) return refusal(Reject::malformed);
    altitude_ft *= ft_per_unit_;
    // The conversion may overflow.
    if (!std::isfinite(altitude_ft)) return refusal(Reject::malformed);
  }
  if (present(signal_field)) {
    if (!take_number(values[signal_field], report.signal_dbfs.emplace()))
      return refusal(Reject::malformed);
  }
  if (present(on_ground_field)) {
    const auto flag = flag_of(values[on_ground_field]);
    if (!flag) return refusal(Reject::malformed);
    report.on_ground = *flag;
  }
  if (carry_s_ > 0) carry(report, present(on_ground_field), arrival_s);
  if (!has_position) return Reject::not_position;
  return std::nullopt;
}

void Assembler::carry(Report& report, bool has_ground, double arrival_s) {
  if (report.time_s) latest_s_ = report.time_s;
  const double now_s = report.time_s ? *report.time_s : latest_s_.value_or(arrival_s);
  Carry::Known& known = carry_.of(report.address);
  if (report.altitude_ft) {
    known.altitude_ft = *report.altitude_ft;
    known.altitude_at_s = now_s;
    known.has_altitude = true;
  } else if (known.has_altitude && std::abs(now_s - known.altitude_at_s) <= carry_s_) {
    report.altitude_ft = known.altitude_ft;
  }
  if (has_ground) {
    known.on_ground = report.on_ground;
    known.ground_at_s = now_s;
    known.has_ground = true;
  } else if (known.has_ground && std::abs(now_s - known.ground_at_s) <= carry_s_) {
    report.on_ground = known.on_ground;
  }
}

}  // namespace roundel::feed
