#include "daemon/feed/assemble.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <utility>

#include "analysis/config/checked_table.h"
#include "daemon/feed/number.h"
#include "roundel/time.h"

namespace roundel::feed {
namespace {

using Kind = FieldValue::Kind;

constexpr double metres_per_foot = 0.3048;        // exact: international foot, 1959
constexpr double last_second_s = 253402300799.0;  // 9999-12-31T23:59:59Z, as parse_time()
constexpr double milliseconds_from = 1e11;

bool same_word(std::string_view text, std::string_view lower_case) {
  return std::equal(text.begin(), text.end(), lower_case.begin(), lower_case.end(),
                    [](char a, char b) { return (a >= 'A' && a <= 'Z' ? a + 32 : a) == b; });
}

// Whether a text of several words, like "lat,lon" or "lat lon", names one of those.
bool names_one(std::string_view list, const std::vector<std::string>& texts) {
  constexpr std::string_view ends = " \t,;|/+";
  while (!list.empty()) {
    const std::size_t end = std::min(list.find_first_of(ends), list.size());
    if (std::find(texts.begin(), texts.end(), list.substr(0, end)) != texts.end()) return true;
    list.remove_prefix(std::min(end + 1, list.size()));
  }
  return false;
}

// A date as parse_time() wants it; false where it is written in none of the ways that are read.
bool take_date(std::string_view text, std::array<char, 10>& date) {
  const auto digits = [&](std::size_t at, std::size_t n, std::size_t to) {
    for (std::size_t i = 0; i < n; ++i) {
      if (!is_digit(text[at + i])) return false;
      date[to + i] = text[at + i];
    }
    return true;
  };
  if (text.size() != date.size()) return false;
  date[4] = date[7] = '-';
  if (text[2] == '.' && text[5] == '.')
    return digits(6, 4, 0) && digits(3, 2, 5) && digits(0, 2, 8);
  return (text[4] == '-' || text[4] == '/' || text[4] == '.') && text[7] == text[4] &&
         digits(0, 4, 0) && digits(5, 2, 5) && digits(8, 2, 8);
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

bool says_ground(std::string_view altitude) {
  for (std::string_view word : {"ground", "gnd", "surface", "on ground"})
    if (same_word(altitude, word)) return true;
  return false;
}

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
    case Kind::list:
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
      altitude_unit_(layout.altitude_unit),
      decimal_comma_(layout.decimal_comma),
      carry_s_(layout.carry_s) {
  for (const config::Keep& keep : layout.keep) {
    Condition& condition = keep_.emplace_back(Condition{keep.test, {}, keep.texts});
    for (const std::string& text : keep.texts) condition.literals.emplace_back(text);
  }
  for (const std::string& text : layout.missing) missing_.emplace_back(text);
  // The configuration has found the zone; should it have gone since, its times are malformed.
  if (!layout.zone.empty())
    if (auto zone = config::TimeZone::load(layout.zone)) zone_ = std::move(*zone);
}

bool Assembler::is_said_to_be_missing(const FieldValue& value) const {
  return std::any_of(missing_.begin(), missing_.end(),
                     [&](const Literal& text) { return text.equals(value); });
}

bool Assembler::holds(const Condition& condition, const FieldValue& value) const {
  const auto names = [&] {
    return value.kind == Kind::list   ? value.truth
           : value.kind == Kind::text ? names_one(value.text, condition.texts)
                                      : false;
  };
  switch (condition.test) {
    case config::KeepTest::equals:
      return std::any_of(condition.literals.begin(), condition.literals.end(),
                         [&](const Literal& text) { return text.equals(value); });
    case config::KeepTest::lists:
      return names();
    case config::KeepTest::lacks:
      return !names();
    case config::KeepTest::absent:
      return value.kind == Kind::absent || (value.kind == Kind::text && value.text.empty()) ||
             is_said_to_be_missing(value);
  }
  return false;
}

// The number that a value is. Neither this nor an address is an optional, which g++ 12 writes in
// two pieces and then copies in one, and a processor has to wait for that: for a seventh of a load.
bool Assembler::take_number(const FieldValue& value, double& number) const {
  if (value.kind == Kind::number) {
    number = value.number;
    return true;
  }
  if (value.kind != Kind::text) return false;
  if (!decimal_comma_) return parse_number(value.text, number);
  std::array<char, 40> with_point;
  if (value.text.size() > with_point.size() || value.text.find('.') != std::string_view::npos)
    return false;
  std::replace_copy(value.text.begin(), value.text.end(), with_point.begin(), ',', '.');
  return parse_number({with_point.data(), value.text.size()}, number);
}

std::optional<bool> Assembler::flag_of(const FieldValue& value) const {
  if (value.kind == Kind::boolean) return value.truth;
  if (double number{}; take_number(value, number)) return number != 0;
  if (value.kind != Kind::text) return std::nullopt;
  for (std::string_view yes : {"true", "t", "yes", "y"})
    if (same_word(value.text, yes)) return true;
  for (std::string_view no : {"false", "f", "no", "n"})
    if (same_word(value.text, no)) return false;
  return std::nullopt;
}

// A time with its offset from UTC, or without one where there is a zone.
bool Assembler::take_instant(std::string_view text, double& time_s) const {
  std::array<char, 48> buffer;
  if (zone_ && text.size() < buffer.size()) {
    std::copy(text.begin(), text.end(), buffer.begin());
    buffer[text.size()] = 'Z';
    if (const auto local_s = parse_time({buffer.data(), text.size() + 1})) {
      const auto instants = zone_->of_local(*local_s);
      // Lines come in order, to within the minute or so after which they are stale.
      constexpr double surely_later_s = 600;
      const bool is_second = latest_s_ && *latest_s_ > instants.earlier + surely_later_s;
      time_s = is_second ? instants.later : instants.earlier;
      return true;
    }
  }
  const auto time = parse_time(text);
  time_s = time.value_or(0);
  return time.has_value();
}

bool Assembler::take_time(const FieldValue& value, const FieldValue& date, double& time_s) const {
  if (date.kind == Kind::text && value.kind == Kind::text) {
    std::array<char, 10> day;
    std::array<char, 40> joined;
    if (!take_date(date.text, day) || value.text.size() > joined.size() - 11) return false;
    std::copy(day.begin(), day.end(), joined.begin());
    joined[10] = 'T';
    std::copy(value.text.begin(), value.text.end(), joined.begin() + 11);
    return take_instant({joined.data(), value.text.size() + 11}, time_s);
  }
  if (date.kind != Kind::absent) return false;
  if (take_number(value, time_s)) {
    const bool milliseconds =
        time_unit_ == config::TimeUnit::milliseconds ||
        (time_unit_ == config::TimeUnit::automatic && std::abs(time_s) >= milliseconds_from);
    if (milliseconds) time_s /= 1000;
    return std::abs(time_s) <= last_second_s;
  }
  return value.kind == Kind::text && take_instant(value.text, time_s);
}

std::optional<Reject> Assembler::assemble(std::span<FieldValue> values, double arrival_s,
                                          Report& report) {
  assert(values.size() == n_fields + keep_.size());
  for (FieldValue& value : values)
    if (value.kind == Kind::text) value.text = trimmed(value.text);

  for (std::size_t i = 0; i < keep_.size(); ++i)
    if (!holds(keep_[i], values[n_fields + i])) return Reject::not_position;
  for (FieldValue& value : values.first(n_fields)) {
    if (value.kind == Kind::text && value.text.empty()) value.kind = Kind::absent;
    if (!missing_.empty() && is_said_to_be_missing(value)) value.kind = Kind::absent;
  }
  const auto present = [&](Field field) { return values[field].kind != Kind::absent; };

  const bool has_position = present(latitude_field) && present(longitude_field);
  // A line without a position is of another kind; what it can't say is no fault.
  const auto refusal = [&](Field field, Reject reason = Reject::malformed) {
    fault_ = field;
    return has_position ? reason : Reject::not_position;
  };
  if (has_position) {
    if (!take_number(values[latitude_field], report.latitude_deg)) return refusal(latitude_field);
    if (!take_number(values[longitude_field], report.longitude_deg))
      return refusal(longitude_field);
  } else if (carry_s_ <= 0) {
    return Reject::not_position;
  }
  if (!parse_address(values[address_field], report.address))
    return refusal(address_field, Reject::bad_address);
  if (present(time_field)) {
    if (!take_time(values[time_field], values[date_field], report.time_s.emplace()))
      return refusal(time_field);
    if (zone_) latest_s_ = report.time_s;
  }
  if (present(age_field)) {
    // Some count a hundredth of a second ahead.
    constexpr double least_s = -1, most_s = 1e6;
    if (!take_number(values[age_field], report.age_s) || report.age_s < least_s ||
        report.age_s > most_s)
      return refusal(age_field);
    if (report.time_s) *report.time_s -= report.age_s;
  }
  const bool altitude_says_ground =
      values[altitude_field].kind == Kind::text && says_ground(values[altitude_field].text);
  if (present(altitude_field) && !altitude_says_ground) {
    double& altitude_ft = report.altitude_ft.emplace();
    if (!take_number(values[altitude_field], altitude_ft)) return refusal(altitude_field);
    if (altitude_unit_ == config::AltitudeUnit::m) altitude_ft *= 1 / metres_per_foot;
    // The conversion may overflow.
    if (!std::isfinite(altitude_ft)) return refusal(altitude_field);
  }
  if (present(signal_field)) {
    if (!take_number(values[signal_field], report.signal_dbfs.emplace()))
      return refusal(signal_field);
  }
  report.on_ground = altitude_says_ground;
  if (present(on_ground_field)) {
    const auto flag = flag_of(values[on_ground_field]);
    if (!flag) return refusal(on_ground_field);
    report.on_ground = report.on_ground || *flag;
  }
  if (carry_s_ > 0) carry(report, present(on_ground_field) || altitude_says_ground, arrival_s);
  if (!has_position) return Reject::not_position;
  return std::nullopt;
}

std::string Assembler::fault(std::span<const FieldValue> values) const {
  const FieldValue& value = values[fault_];
  const auto text = [&](const FieldValue& shown) {
    switch (shown.kind) {
      case Kind::text:
        return config::shown(shown.text);
      case Kind::number:
        return fmt::format("{}", shown.number);
      case Kind::boolean:
        return std::string(shown.truth ? "true" : "false");
      default:
        return std::string("a list or an object");
    }
  };
  switch (fault_) {
    case address_field:
      if (value.kind == Kind::absent) return "there is no address";
      if (value.kind == Kind::text && value.text.size() == 7 &&
          hex_digits[static_cast<unsigned char>(value.text.front())] < 0)
        return fmt::format(
            "address {} is no 24-bit address: the sign before it marks one that was made up on the "
            "ground, and an antenna is not to be judged by it",
            text(value));
      return fmt::format("address {} is no 24-bit address in hexadecimal", text(value));
    case latitude_field:
      return fmt::format("latitude {} is no number", text(value));
    case longitude_field:
      return fmt::format("longitude {} is no number", text(value));
    case time_field: {
      const FieldValue& date = values[date_field];
      if (date.kind != Kind::absent)
        return fmt::format("date {} with time {} is no time that can be read", text(date),
                           text(value));
      const bool lacks_offset = value.kind == Kind::text && !zone_ &&
                                parse_time(std::string(value.text) + "Z").has_value();
      return fmt::format(
          "time {} is no time that can be read{}", text(value),
          lacks_offset ? ": it lacks its offset from UTC, so the layout needs a zone" : "");
    }
    case altitude_field:
      return fmt::format("altitude {} is no number", text(value));
    case signal_field:
      return fmt::format("signal {} is no number", text(value));
    case on_ground_field:
      return fmt::format("on_ground {} is neither true nor false", text(value));
    case age_field:
      return fmt::format("age_s {} is no age in seconds", text(value));
    case date_field:
    case n_fields:
      break;
  }
  return {};
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
