// Turns a feed's lines into reports, as its layout says.
#pragma once
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/feed/report.h"

namespace roundel::feed {

/// Reads lines of one connection, in order: it remembers the header line, with carry_s each
/// aircraft's last altitude and on-ground flag, and with a zone the time of the last line. One per
/// connection or file; not shared by threads.
///
/// How values are read, in every kind of layout:
/// - A value is missing if it is absent, null, blank, or one of the layout's `missing` texts.
///   Blanks around a value don't count. A JSON number equals a text that reads as that number.
/// - Numbers: decimal, with or without sign, fraction and exponent; as JSON numbers or as text.
///   Not finite, or anything left over after the number ("12 ft"): malformed. With decimal_comma
///   texts have commas for points, and none has a point.
/// - Altitude: "ground", "gnd" and "surface", in any case, say that the aircraft is on the ground.
/// - Address: 1 to 8 hex digits of any case, with or without 0x, below 2^24; a JSON number is
///   its value. Any other mark before the digits says that this is no ICAO address: bad_address.
/// - Time: a number is Unix seconds or milliseconds (TimeUnit::automatic: milliseconds from 1e11
///   up, which as seconds would be the year 5138); anything else as parse_time(), or that without
///   its offset where there is a zone. With a date, the time of day. The age is subtracted.
/// - On-ground flag: true false, t f, yes no, y n, in any case, or a number that is or isn't 0.
///
/// carry_s: a missing altitude or on-ground flag is taken from that aircraft's latest line which
/// had one, if their times are at most carry_s apart. Lines kept out by `keep` are not read for it.
/// For at most 16 384 aircraft; beyond that the ones not heard of for longest are forgotten.
class LayoutReader {
 public:
  explicit LayoutReader(const config::Layout& layout);
  LayoutReader(LayoutReader&&) noexcept;
  LayoutReader& operator=(LayoutReader&&) noexcept;
  ~LayoutReader();

  /// @param line       without its end; any bytes are safe, of any length
  /// @param arrival_s  Unix seconds; clock for carry_s where no line has carried a time
  /// Rejects, in this order: malformed (not JSON, broken quoting), not_position (the header line,
  /// kept out, latitude or longitude missing), malformed (they cannot be read), bad_address,
  /// malformed (another value cannot be read). Ranges are not judged here, nor a missing altitude.
  /// No allocation for a line in the common case: flat JSON, or columns without quotes.
  tl::expected<Report, Reject> read(std::string_view line, double arrival_s);
  /// The same, quicker, for those who have a place for it. @param report  out; of no use where
  /// there is a reason to reject
  std::optional<Reject> read(std::string_view line, double arrival_s, Report& report);

  /// Whether a line may hold several reports: the layout has `each`. If so read_each() is for it,
  /// if not read().
  bool reads_many() const;
  using OnReport = std::function<void(std::optional<Reject>, const Report&)>;
  /// Calls for each element of the line's array; once, with `malformed`, where the line can't be
  /// read, or with `not_position` where it has no such array or an empty one.
  void read_each(std::string_view line, double arrival_s, const OnReport& on_report);

  /// What is wrong with the first three lines that were malformed or bad_address, as far as it has
  /// not been taken yet: `latitude "12 N" is no number`.
  std::vector<std::string> take_faults();

  /// Another reader, for other lines of the same file at the same time. None where lines can only
  /// be read in order: as long as a header line is to come, and with carry_s.
  std::optional<LayoutReader> another() const;

  /// Why no line at all can be read, in words: `the header has no column "lat"`. Empty: nothing is
  /// wrong. All lines are malformed as long as there is trouble.
  const std::string& trouble() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Why a line is not one JSON document, in words. @pre it is none
std::string json_fault(std::string_view line);

}  // namespace roundel::feed
