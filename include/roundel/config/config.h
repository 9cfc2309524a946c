// roundel.toml as values: read once, every key checked, every default written down here.
#pragma once
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/site/expect_settings.h"

namespace roundel::config {

/// Where one field stands: a 1-based column, a header name, a key, or a JSON Pointer (RFC 6901).
struct FieldAt {
  std::optional<int> column;
  std::string name;  ///< header name (columns), key (pairs) or pointer (ndjson); or column is set
  bool outside = false;  ///< of the whole document, where `each` makes a report of each element
  friend bool operator==(const FieldAt&, const FieldAt&) = default;
};

/// What a condition asks of the value at its place.
enum class KeepTest {
  equals,  ///< it is one of the texts
  lists,   ///< it is a list, or a text of several words, that names one of the texts
  lacks,   ///< it is no such list, names none of the texts, or there is no value
  absent,  ///< there is no value
};

/// A line is read only if every condition holds.
struct Keep {
  FieldAt at;
  std::vector<std::string> texts;
  KeepTest test = KeepTest::equals;
  friend bool operator==(const Keep&, const Keep&) = default;
};

/// The longest line that is read unless a layout says otherwise, and the most that one may ask for.
inline constexpr int usual_line_bytes = 4096, most_line_bytes = 1 << 20;

enum class LayoutKind { ndjson, columns, pairs };
enum class AltitudeUnit { ft, m };
enum class TimeUnit { automatic, seconds, milliseconds };

/// How a feed's lines are read.
struct Layout {
  std::string name = "ndjson";
  LayoutKind kind = LayoutKind::ndjson;
  char delimiter = ',';  ///< between columns, or between pairs
  /// Between key and value of a pair; where it is the delimiter, keys and values take turns.
  char between = '=';
  bool header = false;              ///< first line holds names
  std::optional<std::string> each;  ///< pointer to an array: each of its elements is a report
  int line_bytes = usual_line_bytes;
  FieldAt address, latitude, longitude;  ///< required
  std::optional<FieldAt> time, altitude, signal, on_ground;
  std::optional<FieldAt> date;  ///< where `time` is the time of day alone
  std::optional<FieldAt> age;   ///< of the position, in seconds before `time`
  std::string zone;             ///< of times without an offset; empty: such times are malformed
  bool decimal_comma = false;
  AltitudeUnit altitude_unit = AltitudeUnit::ft;
  TimeUnit time_unit = TimeUnit::automatic;
  std::vector<std::string> missing;  ///< texts that stand for "no value", besides empty
  std::vector<Keep> keep;
  double carry_s = 0;  ///< how long a last known altitude serves
  friend bool operator==(const Layout&, const Layout&) = default;
};

/// The layout of `layout = "ndjson"`: /time /address /latitude /longitude /altitude_ft
/// /signal_dbfs.
Layout default_ndjson();
/// The layout of `layout = "columns"`: commas, and a first line that names
/// time,address,latitude,longitude,altitude_ft,signal_dbfs in any order.
Layout default_columns();

/// Where to connect or listen. To listen, the host is a numeric address and port 0 is any free one.
struct Endpoint {
  std::string host;  ///< a name, an IPv4 address, or an IPv6 address without brackets
  int port{};
  /// "host:port", with brackets round an IPv6 address.
  std::string text() const {
    const bool is_ipv6 = host.find(':') != std::string::npos;
    return (is_ipv6 ? "[" + host + "]" : host) + ":" + std::to_string(port);
  }
  friend bool operator==(const Endpoint&, const Endpoint&) = default;
};

/// A document that is asked for again and again, over HTTP without TLS.
struct PolledSource {
  Endpoint endpoint;
  std::string path;  ///< with its query; begins with "/"
  std::string text() const { return "http://" + endpoint.text() + path; }
  friend bool operator==(const PolledSource&, const PolledSource&) = default;
};

struct Feed {
  std::string name;
  std::optional<Endpoint> connect, listen;  ///< one of these three at most; none: only loaded from
  std::optional<PolledSource> get;          ///< files
  double every_s = 1;                       ///< between the beginnings of two requests (get)
  Layout layout = default_ndjson();
  std::string antenna, receiver, mount;
  double rotation_deg = 0;  ///< [0, 360)
  bool clock_is_arrival = false;
  double stall_s = 300;     ///< silence after which the connection is made anew
  int max_connections = 4;  ///< listening only
  int line = 0;             ///< in the file, for messages
  /// Whether it brings reports by itself; else it is only loaded from files.
  bool is_live() const { return connect || listen || get; }
  /// The same feed in every respect (where it stands in the file is none).
  friend bool operator==(const Feed& a, const Feed& b) {
    const auto all = [](const Feed& f) {
      return std::tie(f.name, f.connect, f.listen, f.get, f.every_s, f.layout, f.antenna,
                      f.receiver, f.mount, f.rotation_deg, f.clock_is_arrival, f.stall_s,
                      f.max_connections);
    };
    return all(a) == all(b);
  }
};

struct Config {
  std::filesystem::path file;
  schema::SiteRow site;
  site::ExpectSettings expect;
  std::filesystem::path store = "roundel.db";
  bool hash_addresses = false;  ///< record keyed hashes of aircraft addresses
  schema::Retention keep;       ///< of the cells
  double write_s = 5;           ///< seconds between commits
  int queue_reports = 20000;    ///< reports that may wait for the writer
  std::vector<std::string> antennas, receivers, mounts;
  std::vector<Feed> feeds;
  std::vector<Layout> layouts;
  std::optional<Endpoint> web = Endpoint{"127.0.0.1", 27410};
  std::vector<std::string> web_names;  ///< host names the page may be asked for by
  std::string web_token;               ///< lets its bearer change trials; empty: nobody may
  std::string notify_command;          ///< for /bin/sh; empty: none
  double silent_after_s = 900;         ///< without a report, until a feed counts as failing
  std::optional<double>
      sensitivity_db;  ///< loss against earlier days that is told; none: not looked
  /// Every key of the sections that stand once, "[store] write_s", with its value or default as a
  /// person would write it: to tell what has changed.
  std::map<std::string, std::string> settings;
};

/// The keys of `settings` that differ.
std::vector<std::string> changed_settings(const Config& before, const Config& after);

/// Reads and validates. Relative paths are taken from the file's folder. Errc::bad_config, with
/// file:line, the section and key, and what is accepted; for a file that cannot be read, too, as a
/// program without its configuration has been called wrongly.
Result<Config> load(const std::filesystem::path& file);
/// The same from text; `file` is used in messages only.
Result<Config> parse(std::string_view toml, const std::filesystem::path& file);

/// One row of the configuration's reference: a section (key is empty), or a key of it.
struct ReferenceRow {
  std::string section;  ///< as written: "[site]", "[[feed]]", "[layout.NAME]"
  std::string key;
  std::string type;  ///< in words
  std::string unit;
  std::string range;          ///< "-90 to 90", or empty
  std::string default_value;  ///< as written in the file; "required" or "none"
  std::string meaning;
};

/// Every section and key there is, in the order a person would write them.
std::vector<ReferenceRow> reference();

}  // namespace roundel::config
