// Gives the values of a line their meaning: what is kept, what a report holds, what is carried
// over from earlier lines of the same aircraft.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"
#include "roundel/config/time_zone.h"
#include "roundel/feed/report.h"

namespace roundel::feed {

/// Whether a text in an altitude's place says that the aircraft is on the ground.
bool says_ground(std::string_view altitude);

/// A text of the layout that a value may equal.
class Literal {
 public:
  explicit Literal(std::string text);
  bool equals(const FieldValue& value) const;

 private:
  std::string text_;
  std::optional<double> number_;
};

/// 24-bit address from hex digits (LayoutReader says what is one). False: it is none, and `address`
/// of no use.
bool parse_address(const FieldValue& value, std::uint32_t& address);

/// The last altitude and on-ground flag of each aircraft, bounded: two generations of at most
/// `generation_size`; when the younger is full, the older is dropped.
class Carry {
 public:
  static constexpr std::size_t generation_size = 8192;
  struct Known {
    double altitude_ft = 0, altitude_at_s = 0;
    double ground_at_s = 0;
    bool has_altitude = false, has_ground = false, on_ground = false;
  };
  /// The aircraft's entry, empty if it was not known. Valid until the next call.
  Known& of(std::uint32_t address);
  std::size_t size() const { return young_.size() + old_.size(); }

 private:
  std::unordered_map<std::uint32_t, Known> young_, old_;
};

class Assembler {
 public:
  explicit Assembler(const config::Layout& layout);
  /// @param values  n_fields, then one for each of the layout's `keep`; asserted
  /// @param report  out; as it was made, and of no use where there is a reason to reject
  std::optional<Reject> assemble(std::span<FieldValue> values, double arrival_s, Report& report);
  /// Which field made the last line malformed or bad_address, and what stands there. @pre it was,
  /// and the values are those.
  std::string fault(std::span<const FieldValue> values) const;

 private:
  struct Condition {
    config::KeepTest test;
    std::vector<Literal> literals;
    std::vector<std::string> texts;
  };
  bool holds(const Condition& condition, const FieldValue& value) const;
  bool take_number(const FieldValue& value, double& number) const;
  std::optional<bool> flag_of(const FieldValue& value) const;
  bool take_instant(std::string_view text, double& time_s) const;
  bool is_said_to_be_missing(const FieldValue& value) const;
  bool take_time(const FieldValue& value, const FieldValue& date, double& time_s) const;
  void carry(Report& report, bool has_ground, double arrival_s);

  std::vector<Condition> keep_;
  std::vector<Literal> missing_;
  config::TimeUnit time_unit_;
  config::AltitudeUnit altitude_unit_;
  bool decimal_comma_;
  std::optional<config::TimeZone> zone_;
  double carry_s_;
  Carry carry_;
  std::optional<double> latest_s_;  // the feed's time, for lines without one and repeated hours
  Field fault_ = n_fields;
};

}  // namespace roundel::feed
