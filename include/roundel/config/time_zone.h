// Local times of a zone of the tz database, as the system keeps it.
#pragma once
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "roundel/result.h"

namespace roundel::config {

/// The offsets from UTC of one zone. Read once; any number of threads may ask.
///
/// The file is TZif (RFC 8536): its 64-bit transitions, and after the last of these the rule in its
/// footer ("CET-1CEST,M3.5.0,M10.5.0/3"). Of the footer's forms those with months are read (Mm.w.d,
/// which every zone of 2024a uses that changes its clocks); after another the last offset stays.
class TimeZone {
 public:
  /// "Europe/Vienna". "UTC" needs no file. Errc: bad_config for what can be no name, or is none
  /// there; corrupt for a file that is no TZif of version 2 or later.
  static Result<TimeZone> load(const std::string& name,
                               const std::filesystem::path& folder = "/usr/share/zoneinfo");

  /// Seconds to be added to UTC at that instant.
  int offset_s(double utc_s) const;

  /// The instants at which a clock of the zone shows a local time: `later` differs only in the hour
  /// that is repeated when clocks are put back. A time that clocks put forward leave out is taken
  /// by the offset before, as if they had not been.
  struct Instants {
    double earlier, later;  ///< Unix seconds
  };
  /// @param local_s  seconds since 1970-01-01T00:00:00 on the zone's clocks
  Instants of_local(double local_s) const;

 private:
  struct Date {  // a rule's change of offset: weekday 0 is Sunday, week 5 the last of the month
    int month = 0, week = 0, weekday = 0, time_s = 7200;
    std::int64_t local_s(int year) const;
  };
  void read_footer(std::string_view rule);

  std::vector<std::int64_t> transitions_;
  std::vector<int> offsets_;  // one more than transitions: the first is before them
  bool changes_every_year_ = false;
  int standard_s_ = 0, summer_s_ = 0;
  Date summer_begins_, summer_ends_;
};

}  // namespace roundel::config
