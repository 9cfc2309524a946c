// roundel.toml as values: read once, every key checked, every default written down here.
#pragma once
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"

namespace roundel::config {

/// Where one field stands: a 1-based column, a header name, or a JSON Pointer (RFC 6901).
struct FieldAt {
  std::optional<int> column;
  std::string name;  ///< header name (columns) or pointer (ndjson); empty when column is set
  friend bool operator==(const FieldAt&, const FieldAt&) = default;
};

/// A line is read only if every condition holds.
struct Keep {
  FieldAt at;
  std::vector<std::string> equals;  ///< any of these texts
  friend bool operator==(const Keep&, const Keep&) = default;
};

enum class LayoutKind { ndjson, columns };
enum class AltitudeUnit { ft, m };
enum class TimeUnit { automatic, seconds, milliseconds };

/// How a feed's lines are read.
struct Layout {
  std::string name = "ndjson";
  LayoutKind kind = LayoutKind::ndjson;
  char delimiter = ',';
  bool header = false;                       ///< first line holds names
  FieldAt address, latitude, longitude;      ///< required
  std::optional<FieldAt> time, altitude, signal, on_ground;
  AltitudeUnit altitude_unit = AltitudeUnit::ft;
  TimeUnit time_unit = TimeUnit::automatic;
  std::vector<std::string> missing;          ///< texts that stand for "no value", besides empty
  std::vector<Keep> keep;
  double carry_s = 0;                        ///< how long a last known altitude or position serves
  friend bool operator==(const Layout&, const Layout&) = default;
};

/// The layout of `layout = "ndjson"`: /time /address /latitude /longitude /altitude_ft /signal_dbfs.
Layout default_ndjson();

struct Endpoint {
  std::string host;
  int port{};
};

struct Feed {
  std::string name;
  std::optional<Endpoint> connect, listen;  ///< exactly one in use, none for load only
  Layout layout = default_ndjson();
  std::string antenna, receiver, mount;
  double rotation_deg = 0;
  bool clock_is_arrival = false;
  double stall_s = 300;                     ///< silence after which the connection is made anew
  int max_connections = 4;                  ///< listening only
  int line = 0;                             ///< in the file, for messages
};

struct Config {
  std::filesystem::path file;
  schema::SiteRow site;
  std::filesystem::path store = "roundel.db";
  double write_s = 5;                       ///< seconds between commits
  std::vector<std::string> antennas, receivers, mounts;
  std::vector<Feed> feeds;
  std::vector<Layout> layouts;
  std::optional<Endpoint> web = Endpoint{"127.0.0.1", 8090};
};

/// Reads and validates. Relative paths are taken from the file's folder. Errors: bad_config with
/// file:line, the key, what is accepted; not_found for the file itself.
Result<Config> load(const std::filesystem::path& file);
/// The same from text; `file` is used in messages only.
Result<Config> parse(std::string_view toml, const std::filesystem::path& file);

}  // namespace roundel::config
