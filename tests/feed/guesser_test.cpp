#include "roundel/feed/guesser.h"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "roundel/feed/layout_reader.h"
#include "roundel/time.h"
#include "tests/config/sample.h"
#include "tests/feed/layouts.h"
#include "tests/feed/traffic.h"

namespace roundel::feed {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

using Print = std::function<std::string(const Fix&)>;

std::string rfc3339(double time_s) {
  return format_time(time_s).substr(0, 19) +
         fmt::format(".{:03}Z", static_cast<int>(std::fmod(time_s, 1) * 1000));
}

// time, P, address, altitude, latitude, longitude, signal
Print plain_columns(char delimiter) {
  return [delimiter](const Fix& f) {
    return fmt::format("{1:.3f}{0}P{0}{2:06x}{0}{3}{0}{4:.5f}{0}{5:.5f}{0}{6:.1f}", delimiter,
                       f.time_s, f.address, f.altitude_ft, f.latitude_deg, f.longitude_deg,
                       f.signal_dbfs);
  };
}

struct ShapeRow {
  const char* name;
  TrafficOptions traffic;
  Print print;
  config::Layout expected;          // name, confidence and such aside
  std::vector<std::string> before;  // lines put in front: a header
};

config::Layout with(config::Layout layout, const std::function<void(config::Layout&)>& change) {
  layout.name = "feed";
  change(layout);
  return layout;
}

config::Layout plain_layout(char delimiter) {
  return with(columns(3, 5, 6, delimiter), [](config::Layout& l) {
    l.time = at(1);
    l.altitude = at(4);
    l.signal = at(7);
  });
}

std::vector<ShapeRow> shape_rows() {
  std::vector<ShapeRow> rows;
  for (const auto& [name, delimiter] : {std::pair{"commas", ','},
                                        {"semicolons", ';'},
                                        {"tabs", '\t'},
                                        {"pipes", '|'},
                                        {"spaces", ' '}})
    rows.push_back({name, {}, plain_columns(delimiter), plain_layout(delimiter), {}});

  rows.push_back(
      {"the published NDJSON",
       {},
       [](const Fix& f) {
         return fmt::format(
             R"({{"time":{:.3f},"address":"{:06x}","latitude":{:.5f},"longitude":{:.5f},)"
             R"("altitude_ft":{},"signal_dbfs":{:.1f}}})",
             f.time_s, f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft, f.signal_dbfs);
       },
       with(config::default_ndjson(), [](config::Layout&) {}),
       {}});
  rows.push_back(
      {"nested JSON with a GeoJSON point, milliseconds and metres",
       {},
       [](const Fix& f) {
         return fmt::format(
             R"({{"rx":{{"when":{:.0f},"rssi":{:.1f}}},"plane":{{"airframe":"{:06X}"}},)"
             R"("point":{{"type":"Point","coordinates":[{:.5f},{:.5f}]}},"altM":{:.1f},"gnd":{}}})",
             f.time_s * 1000, f.signal_dbfs, f.address, f.longitude_deg, f.latitude_deg,
             f.altitude_ft * 0.3048, f.on_ground);
       },
       with(pointers("/plane/airframe", "/point/coordinates/1", "/point/coordinates/0"),
            [](config::Layout& l) {
              l.time = at("/rx/when");
              l.time_unit = config::TimeUnit::milliseconds;
              l.altitude = at("/altM");
              l.altitude_unit = config::AltitudeUnit::m;
              l.signal = at("/rx/rssi");
              l.on_ground = at("/gnd");
            }),
       {}});
  rows.push_back({"JSON arrays",
                  {},
                  [](const Fix& f) {
                    return fmt::format(R"(["{:06x}",{:.3f},{:.5f},{:.5f},{}])", f.address, f.time_s,
                                       f.latitude_deg, f.longitude_deg, f.altitude_ft);
                  },
                  with(pointers("/0", "/2", "/3"),
                       [](config::Layout& l) {
                         l.time = at("/1");
                         l.altitude = at("/4");
                       }),
                  {}});
  rows.push_back({"a header whose names tell",
                  {},
                  [](const Fix& f) {
                    return fmt::format("{:.5f},{:.5f},\"{:06x}\",{},{},{}", f.longitude_deg,
                                       f.latitude_deg, f.address, f.altitude_ft + 125,
                                       f.altitude_ft, rfc3339(f.time_s));
                  },
                  with(columns(1, 1, 1),
                       [](config::Layout& l) {
                         l.header = true;
                         l.address = at("airframe");
                         l.latitude = at("lat");
                         l.longitude = at("lon");
                         l.altitude = at("pressure_height");
                         l.time = at("utc");
                       }),
                  {"lon,lat,airframe,true_height,pressure_height,utc"}});
  rows.push_back({"longitude first beyond 90",
                  {.latitude_deg = 35.0, .longitude_deg = 139.0},
                  [](const Fix& f) {
                    return fmt::format("{:06x};{:.5f};{:.5f}", f.address, f.longitude_deg,
                                       f.latitude_deg);
                  },
                  with(columns(1, 3, 2, ';'), [](config::Layout&) {}),
                  {}});
  rows.push_back({"longitude first, told by the course",
                  {},
                  [](const Fix& f) {
                    return fmt::format("{:06x},{:.5f},{:.5f},{:.0f},{:.1f}", f.address,
                                       f.longitude_deg, f.latitude_deg, f.speed_kn, f.track_deg);
                  },
                  with(columns(1, 3, 2), [](config::Layout&) {}),
                  {}});
  rows.push_back({"southern and western",
                  {.latitude_deg = -33.9, .longitude_deg = -70.7},
                  plain_columns(','),
                  plain_layout(','),
                  {}});
  rows.push_back({"across the antimeridian",
                  {.latitude_deg = -17.7, .longitude_deg = 179.9},
                  [](const Fix& f) {
                    const double longitude_deg = std::remainder(f.longitude_deg, 360);
                    return fmt::format("{:06x},{:.5f},{:.5f},{}", f.address, f.latitude_deg,
                                       longitude_deg, f.altitude_ft);
                  },
                  with(columns(1, 2, 3), [](config::Layout& l) { l.altitude = at(4); }),
                  {}});
  rows.push_back({"other kinds of lines, with blanks there",
                  {},
                  [](const Fix& f) {
                    if (f.n % 3 == 0) return plain_columns(',')(f);
                    if (f.n % 3 == 1)
                      return fmt::format("{:.3f},V,{:06x},,,,", f.time_s, f.address);
                    return fmt::format("{:.3f},I,{:06x},,,,", f.time_s, f.address);
                  },
                  with(plain_layout(','),
                       [](config::Layout& l) {
                         l.keep = {{at(2), {"P"}}};
                       }),
                  {}});
  rows.push_back({"other kinds of lines, with other numbers there",
                  {},
                  [](const Fix& f) {
                    if (f.n % 3 == 0) return plain_columns('|')(f);
                    if (f.n % 3 == 1)
                      return fmt::format("{:.3f}|V|{:06x}|{}|{:.3f}|{:.3f}|", f.time_s, f.address,
                                         f.n % 5 * 64 - 128, f.speed_kn, f.track_deg);
                    return fmt::format("{:.3f}|S|receiver|{}|ok|{}|0", f.time_s, f.n, f.n * 7);
                  },
                  with(plain_layout('|'),
                       [](config::Layout& l) {
                         l.keep = {{at(2), {"P"}}};
                       }),
                  {}});
  rows.push_back({"two kinds with positions among four",
                  {},
                  [](const Fix& f) {
                    if (f.n % 4 == 0) return fmt::format("A;{:06x};{};{}", f.address, f.n, f.n % 7);
                    if (f.n % 4 == 1)
                      return fmt::format("B;{:06x};{:.4f};{:.4f};{}", f.address, f.latitude_deg,
                                         f.longitude_deg, f.altitude_ft);
                    if (f.n % 4 == 2)
                      return fmt::format("C;{:06x};{:.4f};{:.4f};{}", f.address, f.latitude_deg,
                                         f.longitude_deg, f.altitude_ft);
                    return fmt::format("D;{:06x};{:.3f};{:.3f}", f.address, f.speed_kn,
                                       f.track_deg);
                  },
                  with(columns(2, 3, 4, ';'),
                       [](config::Layout& l) {
                         l.altitude = at(5);
                         l.keep = {{at(1), {"B", "C"}}};
                       }),
                  {}});
  rows.push_back({"altitude on lines of its own",
                  {},
                  [](const Fix& f) {
                    return f.n % 2 == 0 ? fmt::format("{:.3f},{:06x},{:.5f},{:.5f},", f.time_s,
                                                      f.address, f.latitude_deg, f.longitude_deg)
                                        : fmt::format("{:.3f},{:06x},,,{}", f.time_s, f.address,
                                                      f.altitude_ft);
                  },
                  with(columns(2, 3, 4),
                       [](config::Layout& l) {
                         l.time = at(1);
                         l.altitude = at(5);
                         l.carry_s = 30;
                       }),
                  {}});
  rows.push_back({"JSON of several kinds",
                  {},
                  [](const Fix& f) {
                    return f.n % 2 == 0
                               ? fmt::format(
                                     R"({{"kind":"pos","id":"{:06x}","lat":{:.5f},"lon":{:.5f}}})",
                                     f.address, f.latitude_deg, f.longitude_deg)
                               : fmt::format(R"({{"kind":"vel","id":"{:06x}","speed":{:.3f}}})",
                                             f.address, f.speed_kn);
                  },
                  with(pointers("/id", "/lat", "/lon"),
                       [](config::Layout& l) {
                         l.keep = {{at("/kind"), {"pos"}}};
                       }),
                  {}});
  rows.push_back({"texts for no value, and an on-ground flag without a name",
                  {.n_on_ground = 4},
                  [](const Fix& f) {
                    return fmt::format("{:06x},{:.5f},{:.5f},{},{}", f.address, f.latitude_deg,
                                       f.longitude_deg,
                                       f.n % 5 == 0 ? "n/a" : fmt::format("{}", f.altitude_ft),
                                       f.on_ground ? 1 : 0);
                  },
                  with(columns(1, 2, 3),
                       [](config::Layout& l) {
                         l.altitude = at(4);
                         l.on_ground = at(5);
                         l.missing = {"n/a"};
                       }),
                  {}});
  rows.push_back({"among numbers of every other kind",
                  {},
                  [](const Fix& f) {
                    return fmt::format(
                        "{},{:06x},{:.3f},{:04o},{},{:.5f},{:.5f},{:.0f},{:.0f},{},{:.3f}", f.n,
                        f.address, f.time_s, 01000 + f.address % 07000, f.altitude_ft,
                        f.latitude_deg, f.longitude_deg, f.speed_kn, f.track_deg,
                        (f.n % 9 - 4) * 64, f.speed_kn / 600);
                  },
                  with(columns(2, 6, 7),
                       [](config::Layout& l) {
                         l.time = at(3);
                         l.altitude = at(5);
                       }),
                  {}});
  return rows;
}

std::vector<std::string> lines_of(const ShapeRow& row) {
  std::vector<std::string> lines = row.before;
  for (std::string& line : traffic_lines(row.traffic, row.print)) lines.push_back(std::move(line));
  return lines;
}

std::string told(const GuessedLayout& guessed) {
  std::string text = guessed.layout ? to_toml(*guessed.layout) : "no layout\n";
  for (const Guess& guess : guessed.guesses)
    text +=
        fmt::format("  {} {}: {} ({})\n", guess.field, guess.at, guess.reason, guess.confidence);
  for (const std::string& doubt : guessed.doubts) text += "  doubt: " + doubt + "\n";
  return text;
}

TEST(Guesser, FindsTheLayoutOfManyShapes) {
  for (const ShapeRow& row : shape_rows()) {
    const GuessedLayout guessed = guess_layout(lines_of(row));
    ASSERT_TRUE(guessed.layout) << row.name << "\n" << told(guessed);
    EXPECT_EQ(to_toml(*guessed.layout), to_toml(row.expected)) << row.name << "\n" << told(guessed);
    EXPECT_EQ(*guessed.layout, row.expected) << row.name;
    EXPECT_GT(guessed.n_reports * 4, guessed.n_lines) << row.name;
    EXPECT_EQ(guessed.n_aircraft, 12u) << row.name;
  }
}

TEST(Guesser, FindsThemWhateverTheTraffic) {
  for (unsigned seed = 2; seed <= 6; ++seed) {
    for (ShapeRow& row : shape_rows()) {
      row.traffic.seed = seed;
      const GuessedLayout guessed = guess_layout(lines_of(row));
      ASSERT_TRUE(guessed.layout) << row.name << " " << seed << "\n" << told(guessed);
      EXPECT_EQ(to_toml(*guessed.layout), to_toml(row.expected))
          << row.name << ", seed " << seed << "\n"
          << told(guessed);
    }
  }
}

TEST(Guesser, TheTableItPrintsIsReadBackAndReadsTheSample) {
  for (const ShapeRow& row : shape_rows()) {
    const std::vector<std::string> lines = lines_of(row);
    const GuessedLayout guessed = guess_layout(lines);
    ASSERT_TRUE(guessed.layout) << row.name;
    const std::string toml = config::sample_with(to_toml(*guessed.layout));
    const auto config = config::parse(toml, "roundel.toml");
    ASSERT_TRUE(config) << row.name << ": " << config.error().line();
    ASSERT_EQ(config->feeds.size(), 1u);
    EXPECT_EQ(config->feeds[0].layout, *guessed.layout) << row.name;
    LayoutReader reader(config->feeds[0].layout);
    std::size_t n_reports = 0;
    for (const std::string& line : lines) n_reports += reader.read(line, 0).has_value();
    EXPECT_EQ(n_reports, guessed.n_reports) << row.name;
  }
}

struct HopelessRow {
  const char* name;
  std::vector<std::string> lines;
  const char* doubt;  // a part of it
};

std::vector<HopelessRow> hopeless_rows() {
  std::mt19937 random(7);
  std::vector<std::string> noise;
  for (int i = 0; i < 300; ++i)
    noise.push_back(fmt::format("{:06x},{:.5f},{:.5f},{}", random() % 5 + 0x4b1610,
                                static_cast<double>(random() % 18000) / 100.0 - 90.00001,
                                static_cast<double>(random() % 36000) / 100.0 - 180.00001, i));
  return {
      {"nothing", {}, "there are no lines"},
      {"prose",
       {"the quick brown fox", "jumps over", "the lazy dog"},
       "no place holds 24-bit addresses"},
      {"numbers that jump about", noise, "no two places hold latitude and longitude"},
      {"JSON without positions",
       traffic_lines({},
                     [](const Fix& f) {
                       return fmt::format(R"({{"airframe":"{:06x}","speed":{:.1f}}})", f.address,
                                          f.speed_kn);
                     }),
       "no two places hold latitude and longitude"},
      {"addresses hidden",
       traffic_lines({},
                     [](const Fix& f) {
                       return fmt::format("aircraft {},{:.5f},{:.5f}", f.address % 7,
                                          f.latitude_deg, f.longitude_deg);
                     }),
       "no place holds 24-bit addresses"},
      {"degrees and minutes",
       traffic_lines({},
                     [](const Fix& f) {
                       return fmt::format("{:06x},N52 {:05.2f},E019 {:05.2f}", f.address,
                                          f.latitude_deg, f.longitude_deg);
                     }),
       "no two places hold latitude and longitude"},
  };
}

TEST(Guesser, SaysWhyThereIsNoLayout) {
  for (const HopelessRow& row : hopeless_rows()) {
    const GuessedLayout guessed = guess_layout(row.lines);
    EXPECT_FALSE(guessed.layout) << row.name << "\n" << told(guessed);
    EXPECT_THAT(guessed.doubts, Contains(HasSubstr(row.doubt))) << row.name;
  }
}

struct DoubtRow {
  const char* name;
  TrafficOptions traffic;
  Print print;
  const char* field;  // whose guess is to be unsure; or none
  const char* doubt;  // a part of it
};

TEST(Guesser, SaysWhatItCannotTell) {
  const DoubtRow rows[] = {
      {"two altitudes without names",
       {},
       [](const Fix& f) {
         return fmt::format("{:06x},{:.5f},{:.5f},{},{}", f.address, f.latitude_deg,
                            f.longitude_deg, f.altitude_ft, f.altitude_ft + 325);
       },
       "altitude_ft",
       "column 4 and column 5 both look like altitude: which is pressure altitude and which "
       "geometric can't be told"},
      {"latitude or longitude",
       {.latitude_deg = 45, .longitude_deg = 45},
       [](const Fix& f) {
         return fmt::format("{:06x},{:.5f},{:.5f}", f.address, f.latitude_deg, f.longitude_deg);
       },
       "latitude",
       "column 2 and column 3 could each be the latitude"},
      {"few lines", {.n_fixes = 6}, plain_columns(','), "latitude", "too few lines"},
      {"nobody moves",
       {.spacing_s = 0.00001},
       plain_columns(','),
       "latitude",
       "too little movement"},
      {"date and time apart",
       {},
       [](const Fix& f) {
         const std::string time = rfc3339(f.time_s);
         return fmt::format("{},{},{:06x},{:.5f},{:.5f}", time.substr(0, 10), time.substr(11, 12),
                            f.address, f.latitude_deg, f.longitude_deg);
       },
       "zone",
       "the times lack their offset from UTC, and UTC was taken"},
      {"a date of which day and month can't be told",
       {},
       [](const Fix& f) {
         return fmt::format("11/12/2025,{},{:06x},{:.5f},{:.5f}", rfc3339(f.time_s).substr(11, 12),
                            f.address, f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "column 1 holds dates in which day and month can't be told apart"},
      {"time of day only",
       {},
       [](const Fix& f) {
         return fmt::format("{},{:06x},{:.5f},{:.5f}", rfc3339(f.time_s).substr(11, 12), f.address,
                            f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "column 1 holds a time of day"},
      {"microseconds",
       {},
       [](const Fix& f) {
         return fmt::format("{:.0f},{:06x},{:.5f},{:.5f}", f.time_s * 1e6, f.address,
                            f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "microseconds or nanoseconds, which can't be read"},
      {"two times",
       {},
       [](const Fix& f) {
         return fmt::format("{:.3f},{:.3f},{:06x},{:.5f},{:.5f}", f.time_s, f.time_s + 7, f.address,
                            f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "column 2 holds times as well"},
      {"no time at all",
       {},
       [](const Fix& f) {
         return fmt::format("{:06x},{:.5f},{:.5f}", f.address, f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "no time was found"},
      {"no altitude",
       {},
       [](const Fix& f) {
         return fmt::format("{:06x},{:.5f},{:.5f}", f.address, f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "no altitude was found"},
      {"flight levels",
       {},
       [](const Fix& f) {
         return fmt::format(R"({{"airframe":"{:06x}","lat":{:.5f},"lon":{:.5f},"flightLevel":{}}})",
                            f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft / 100);
       },
       nullptr,
       "/flightLevel is named like a flight level (hundreds of feet), which can't be read"},
      {"signal in other units",
       {},
       [](const Fix& f) {
         return fmt::format(R"({{"airframe":"{:06x}","lat":{:.5f},"lon":{:.5f},"signal":{}}})",
                            f.address, f.latitude_deg, f.longitude_deg,
                            static_cast<int>(f.signal_dbfs) + 120);
       },
       nullptr,
       "/signal is named like a signal level, but holds"},
      {"flags that say nothing",
       {},
       [](const Fix& f) {
         return fmt::format("{:06x},{:.5f},{:.5f},{},{}", f.address, f.latitude_deg,
                            f.longitude_deg, f.altitude_ft, f.n % 2);
       },
       nullptr,
       "column 5 holds flags: whether one says \"on the ground\" can't be told"},
      {"the opposite of an on-ground flag",
       {},
       [](const Fix& f) {
         return fmt::format(R"({{"airframe":"{:06x}","lat":{:.5f},"lon":{:.5f},"airborne":true}})",
                            f.address, f.latitude_deg, f.longitude_deg);
       },
       nullptr,
       "/airborne says which aircraft fly"},
      {"an altitude of unknown unit",
       {},
       [](const Fix& f) {
         return fmt::format(R"({{"airframe":"{:06x}","lat":{:.5f},"lon":{:.5f},"alt":{}}})",
                            f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft / 7 + 3);
       },
       "altitude_ft",
       "the unit of /alt can't be told"},
  };
  for (const DoubtRow& row : rows) {
    const GuessedLayout guessed = guess_layout(traffic_lines(row.traffic, row.print));
    EXPECT_TRUE(guessed.layout) << row.name << "\n" << told(guessed);
    EXPECT_THAT(guessed.doubts, Contains(HasSubstr(row.doubt))) << row.name << "\n"
                                                                << told(guessed);
    if (row.field == nullptr) continue;
    for (const Guess& guess : guessed.guesses) {
      if (guess.field != row.field) continue;
      EXPECT_EQ(confidence_word(guess.confidence), "unsure") << row.name << "\n" << told(guessed);
    }
  }
}

TEST(Guesser, IsSureOfAClearCaseAndDoubtsNothing) {
  const GuessedLayout guessed = guess_layout(traffic_lines({}, [](const Fix& f) {
    return fmt::format(R"({{"time":{:.3f},"address":"{:06x}","latitude":{:.5f},"longitude":{:.5f},)"
                       R"("altitude_ft":{},"signal_dbfs":{:.1f}}})",
                       f.time_s, f.address, f.latitude_deg, f.longitude_deg, f.altitude_ft,
                       f.signal_dbfs);
  }));
  EXPECT_THAT(guessed.doubts, IsEmpty());
  for (const Guess& guess : guessed.guesses) {
    EXPECT_EQ(confidence_word(guess.confidence), "sure") << guess.field;
    EXPECT_THAT(guess.reason, Not(IsEmpty())) << guess.field;
  }
  EXPECT_EQ(guessed.n_reports, guessed.n_lines);
}

TEST(ToToml, EscapesWhatTheFormatAsksFor) {
  // TOML 1.0, "String": quotation mark, backslash and control characters must be escaped.
  config::Layout layout = columns(1, 2, 3, '\t');
  layout.name = "my feed";
  layout.header = true;
  layout.address = at("a \"b\" \\c");
  layout.missing = {"-", "\x01"};
  layout.keep = {{at(4), {"P", "Q"}}, {at("k"), {"1"}}};
  EXPECT_EQ(to_toml(layout),
            "[layout.\"my feed\"]\n"
            "kind = \"columns\"\n"
            "delimiter = \"\\t\"\n"
            "header = true\n"
            "address = \"a \\\"b\\\" \\\\c\"\n"
            "latitude = 2\n"
            "longitude = 3\n"
            "missing = [\"-\", \"\\u0001\"]\n"
            "keep = [{ column = 4, equals = [\"P\", \"Q\"] }, { name = \"k\", equals = \"1\" }]\n");
}

}  // namespace
}  // namespace roundel::feed
