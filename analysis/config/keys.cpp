#include "analysis/config/keys.h"

#include <fmt/format.h>

#include <array>

#include "roundel/config/config.h"

namespace roundel::config {
namespace {

constexpr std::array all_sections{
    Section{"site", Shape::once, true, "Where the antenna stands."},
    Section{"refraction", Shape::once, false, "How the air bends rays, for every horizon."},
    Section{"mask", Shape::once, false, "What hides the sky, bearing by bearing."},
    Section{"terrain", Shape::once, false, "Elevation tiles of the country round the site."},
    Section{"feeder", Shape::once, false, "The cable between antenna and receiver."},
    Section{"link", Shape::once, false, "Transponder, antenna and receiver, for the link budget."},
    Section{"store", Shape::once, false, "Where the record is kept, and how often it is written."},
    Section{"antenna", Shape::list, false, "An antenna that may be mounted."},
    Section{"receiver", Shape::list, false, "A receiver that an antenna may be on."},
    Section{"mount", Shape::list, false, "A place where an antenna may be mounted."},
    Section{"feed", Shape::list, false, "A stream of position reports from one receiver."},
    Section{"layout", Shape::named, false, "How the lines of a feed are read."},
    Section{"keep", Shape::inside, false,
            "A condition in a layout's keep: lines that do not meet it carry no position."},
    Section{"web", Shape::once, false, "The page and its API."},
    Section{"notify", Shape::once, false, "Who is told when recording fails, and recovers."},
};

// What the aircraft heights and mountains of the Earth allow, with room to spare.
constexpr double lowest_m = -500, highest_m = 9000;

constexpr std::array all_keys{
    Key{"site", "name", Kind::name, "", 0, 0, "", "\"site\"", "what the page and reports call it"},
    Key{"site", "latitude", Kind::number, "deg", -90, 90, "", required, "WGS 84, north positive"},
    Key{"site", "longitude", Kind::number, "deg", -180, 180, "", required, "WGS 84, east positive"},
    Key{"site", "ground_m", Kind::number, "m", lowest_m, highest_m, "", required,
        "ground above mean sea level"},
    Key{"site", "antenna_m", Kind::number, "m", 0, 2000, "", required, "antenna above ground"},
    Key{"site", "surface_m", Kind::number, "m", lowest_m, highest_m, "", none,
        "the surrounding country above mean sea level; ground_m where it is left out"},
    Key{"site", "pressure_hpa", Kind::number, "hPa", 850, 1090, "", "1013.25",
        "air pressure reduced to sea level: turns pressure altitudes into heights"},

    Key{"refraction", "method", Kind::choice, "", 0, 0, "effective|ray|none", "\"ray\"",
        "an Earth enlarged by k, rays through an atmosphere, or straight rays"},
    Key{"refraction", "k", Kind::number, "", 0.5, 10, "", "1.3333333333333333",
        "effective-Earth factor (effective)"},
    Key{"refraction", "atmosphere", Kind::choice, "", 0, 0, "p453|p835", "\"p453\"",
        "ITU-R P.453 exponential, or ITU-R P.835 mean annual global (ray)"},
    Key{"refraction", "surface_n", Kind::number, "", 0, 800, "", "315",
        "refractivity at the surface, N-units (ray, p453)"},
    Key{"refraction", "scale_height_km", Kind::number, "km", 1, 100, "", "7.35",
        "height over which it falls by e (ray, p453)"},

    Key{"mask", "file", Kind::text, "", 0, 0, "", none,
        "CSV of bearing_deg,elevation_deg or bearing_deg,range_km,height_m; from the folder of the "
        "configuration"},

    Key{"terrain", "folder", Kind::text, "", 0, 0, "", none,
        "holds tiles like N52E019.hgt; from the folder of the configuration"},
    Key{"terrain", "radius_km", Kind::number, "km", 1, 400, "", "150", "how far out to look"},

    Key{"feeder", "length_m", Kind::number, "m", 0, 500, "", "0", "of the cable"},
    Key{"feeder", "db_per_100m", Kind::number, "dB", 0, 200, "", "20",
        "at 1 GHz; grows as the square root of frequency"},
    Key{"feeder", "connectors", Kind::integer, "", 0, 20, "", "2",
        "how many, both ends and between"},
    Key{"feeder", "connector_db", Kind::number, "dB", 0, 3, "", "0.1", "each"},

    Key{"link", "power_dbm", Kind::number, "dBm", 40, 60, "", "54",
        "at the aircraft's antenna; 51 to 57 for the larger classes"},
    Key{"link", "aircraft_antenna_dbi", Kind::number, "dBi", -20, 10, "", "0",
        "towards the horizon"},
    Key{"link", "elements", Kind::integer, "", 1, 32, "", "1",
        "half-wave dipoles above each other in the antenna"},
    Key{"link", "threshold_dbm", Kind::number, "dBm", -120, -30, "", "-92",
        "weakest message that is read, at the receiver"},
    Key{"link", "receiver_noise_db", Kind::number, "dB", 0, 30, "", "6", "its noise figure"},
    Key{"link", "amplifier_db", Kind::number, "dB", 0, 60, "", "0",
        "gain of an amplifier at the antenna; 0: none"},
    Key{"link", "amplifier_noise_db", Kind::number, "dB", 0, 20, "", "1", "its noise figure"},
    Key{"link", "ground", Kind::choice, "", 0, 0, "smooth|two_ray", "\"smooth\"",
        "two_ray: with the lobes that reflection from water makes"},
    Key{"link", "roughness_m", Kind::number, "m", 0, 100, "", "0",
        "standard deviation of the water's height (two_ray)"},

    Key{"store", "path", Kind::text, "", 0, 0, "", "\"roundel.db\"",
        "the database; taken from the folder of the configuration"},
    Key{"store", "addresses", Kind::choice, "", 0, 0, "plain|hashed", "\"plain\"",
        "hashed: aircraft addresses are recorded as keyed hashes; the key is made beside the "
        "database"},
    Key{"store", "keep_cells_days", Kind::number, "days", 1, 36500, "", none,
        "days of recording whose cells are kept; of earlier ones the hourly summaries stay"},
    Key{"store", "keep_cells_mb", Kind::number, "MB", 1, 1'000'000, "", none,
        "megabytes of cells that are kept, the newest, at 31 bytes a cell"},
    Key{"store", "write_s", Kind::number, "s", 0.1, 3600, "", "5",
        "between commits: the most that a power cut can lose"},
    Key{"store", "queue_reports", Kind::integer, "", 16, 1'000'000, "", "20000",
        "reports that may wait for the writer before the feeds are made to wait"},

    Key{"antenna", "name", Kind::name, "", 0, 0, "", required, ""},
    Key{"receiver", "name", Kind::name, "", 0, 0, "", required, ""},
    Key{"mount", "name", Kind::name, "", 0, 0, "", required, ""},

    Key{"feed", "name", Kind::name, "", 0, 0, "", required, ""},
    Key{"feed", "connect", Kind::connect, "", 0, 0, "", none,
        "HOST:PORT to connect to; one of this, listen and get, or none for a feed only loaded from "
        "files"},
    Key{"feed", "listen", Kind::listen, "", 0, 0, "", none,
        "ADDRESS:PORT to be connected to; :PORT alone is loopback, port 0 any free one"},
    Key{"feed", "get", Kind::get, "", 0, 0, "", none,
        "a document that is asked for again and again; without TLS"},
    Key{"feed", "every_s", Kind::number, "s", 0.2, 3600, "", "1",
        "how often (get); 1 or less, or positions between are missed"},
    Key{"feed", "layout", Kind::name, "", 0, 0, "", "\"ndjson\"",
        "ndjson, columns, or the name of a [layout.NAME] table"},
    Key{"feed", "antenna", Kind::name, "", 0, 0, "", required,
        "the antenna on it when the first trial starts"},
    Key{"feed", "receiver", Kind::name, "", 0, 0, "", required, "its receiver"},
    Key{"feed", "mount", Kind::name, "", 0, 0, "", required, "where that antenna is mounted"},
    Key{"feed", "rotation_deg", Kind::number, "deg", 0, 360, "", "0",
        "of the antenna on its mount, clockwise seen from above"},
    Key{"feed", "clock", Kind::choice, "", 0, 0, "feed|arrival", "\"feed\"",
        "arrival: ignore the reports' own time"},
    Key{"feed", "stall_s", Kind::number, "s", 1, 86400, "", "300",
        "silence after which the connection is made anew"},
    Key{"feed", "max_connections", Kind::integer, "", 1, 64, "", "4",
        "at a time, where the feed listens"},

    Key{"layout", "kind", Kind::choice, "", 0, 0, "ndjson|columns|pairs", required,
        "a JSON document a line, columns of text (RFC 4180), or keys with values in any order"},
    Key{"layout", "delimiter", Kind::byte, "", 0, 0, "", "\",\"",
        "between columns or pairs; several blanks (space or tab) between pairs are one"},
    Key{"layout", "between", Kind::byte, "", 0, 0, "", "\"=\"",
        "between key and value (pairs); the same as delimiter where keys and values take turns"},
    Key{"layout", "header", Kind::boolean, "", 0, 0, "", "false",
        "the first line names the columns; true where a field is given by name"},
    Key{"layout", "each", Kind::pointer, "", 0, 0, "", none,
        "JSON Pointer to an array whose elements are reports: other pointers begin at the element, "
        "or are written { outside = \"/time\" } and begin at the document (ndjson); \"\" where the "
        "document is the array"},
    Key{"layout", "line_bytes", Kind::integer, "", 256, most_line_bytes, "", none,
        "the longest line that is read; 1048576 with each, else 4096"},
    Key{"layout", "address", Kind::field, "", 0, 0, "", required, "ICAO 24-bit address in hex"},
    Key{"layout", "latitude", Kind::field, "", 0, 0, "", required, "deg, WGS 84"},
    Key{"layout", "longitude", Kind::field, "", 0, 0, "", required, "deg, WGS 84"},
    Key{"layout", "time", Kind::field, "", 0, 0, "", none,
        "Unix seconds, milliseconds or RFC 3339; with date, the time of day; arrival time where it "
        "is "
        "left out"},
    Key{"layout", "date", Kind::field, "", 0, 0, "", none,
        "the date, where time holds the time of day: 2026-03-01, 2026/03/01 or 01.03.2026"},
    Key{"layout", "zone", Kind::text, "", 0, 0, "", none,
        "of times without an offset: \"UTC\", or a name of the tz database like \"Europe/Vienna\". "
        "An hour that clocks repeat is taken for the first, unless the feed was in the second "
        "already; an hour that they leave out is read as if they had not"},
    Key{"layout", "age_s", Kind::field, "", 0, 0, "", none,
        "age of the position, in seconds: subtracted from time, or from the arrival time"},
    Key{"layout", "altitude_ft", Kind::field, "", 0, 0, "", none, "pressure altitude, feet"},
    Key{"layout", "altitude_m", Kind::field, "", 0, 0, "", none, "pressure altitude, metres"},
    Key{"layout", "signal_dbfs", Kind::field, "", 0, 0, "", none, "received level, dBFS"},
    Key{"layout", "on_ground", Kind::field, "", 0, 0, "", none,
        "true, yes, or a number other than 0, when on the ground; an altitude of \"ground\" says "
        "it too"},
    Key{"layout", "time_unit", Kind::choice, "", 0, 0, "s|ms", none,
        "of a numeric time; told from its size where it is left out"},
    Key{"layout", "decimal", Kind::choice, "", 0, 0, ".|,", "\".\"", "the sign before decimals"},
    Key{"layout", "missing", Kind::texts, "", 0, 0, "", none,
        "texts that stand for no value, besides an empty one"},
    Key{"layout", "keep", Kind::tables, "", 0, 0, "", none,
        "conditions that a line must meet, all of them"},
    Key{"layout", "carry_s", Kind::number, "s", 0, 600, "", "0",
        "how long an aircraft's last altitude serves lines that lack it"},

    Key{"keep", "column", Kind::integer, "", 1, 256, "", none, "counted from 1"},
    Key{"keep", "name", Kind::text, "", 0, 0, "", none, "or the column's name in the header"},
    Key{"keep", "pointer", Kind::text, "", 0, 0, "", none, "or a JSON Pointer"},
    Key{"keep", "key", Kind::text, "", 0, 0, "", none, "or a key (pairs)"},
    Key{"keep", "equals", Kind::texts, "", 0, 0, "", none,
        "the text, or any of several; this or one of the next"},
    Key{"keep", "lists", Kind::texts, "", 0, 0, "", none,
        "what stands there is a list, or words, and names the text, or any of several"},
    Key{"keep", "lacks", Kind::texts, "", 0, 0, "", none,
        "the list there names none of these; or nothing stands there"},
    Key{"keep", "absent", Kind::boolean, "", 0, 0, "", "false", "true: nothing stands there"},

    Key{"web", "enabled", Kind::boolean, "", 0, 0, "", "true", "false: no page"},
    Key{"web", "listen", Kind::listen, "", 0, 0, "", "\"127.0.0.1:27410\"",
        "ADDRESS:PORT; :PORT alone is loopback, port 0 any free one"},
    Key{"web", "names", Kind::texts, "", 0, 0, "", none,
        "host names the page is asked for by, besides localhost and addresses"},
    Key{"web", "token", Kind::text, "", 0, 0, "", none,
        "secret of 16 characters or more; whoever sends it may change trials and notes"},

    Key{"notify", "command", Kind::text, "", 0, 0, "", none,
        "run by /bin/sh when recording fails and when it recovers; ROUNDEL_STATE, ROUNDEL_REASON, "
        "ROUNDEL_FEED, ROUNDEL_TEXT and ROUNDEL_SITE tell it what"},
    Key{"notify", "silent_s", Kind::number, "s", 1, 604800, "", "900",
        "how long a feed may bring no report before it counts as failing; longer where nights are "
        "quiet"},
    Key{"notify", "sensitivity_db", Kind::number, "dB", 0.2, 30, "", none,
        "how far a running trial's last day may fall below its earlier days, surely, before the "
        "command is run; looked at once a day"},
};

std::string shown_section(const Section& section) {
  switch (section.shape) {
    case Shape::once:
      return fmt::format("[{}]", section.name);
    case Shape::list:
      return fmt::format("[[{}]]", section.name);
    case Shape::named:
      return fmt::format("[{}.NAME]", section.name);
    case Shape::inside:
      return std::string(section.name);
  }
  return {};
}

std::string_view type_words(Kind kind) {
  switch (kind) {
    case Kind::name:
      return "a name";
    case Kind::text:
      return "text";
    case Kind::number:
      return "a number";
    case Kind::integer:
      return "a whole number";
    case Kind::boolean:
      return "true or false";
    case Kind::connect:
      return "HOST:PORT";
    case Kind::get:
      return "http://HOST[:PORT]/PATH";
    case Kind::listen:
      return "ADDRESS:PORT";
    case Kind::choice:
      return "a word";
    case Kind::byte:
      return "one character";
    case Kind::field:
      return "a column number, header name, key or JSON Pointer";
    case Kind::pointer:
      return "a JSON Pointer";
    case Kind::texts:
      return "text or a list of texts";
    case Kind::tables:
      return "a list of tables";
  }
  return {};
}

std::string choice_words(std::string_view choices) {
  std::string out;
  while (!choices.empty()) {
    const auto bar = std::min(choices.find('|'), choices.size());
    if (!out.empty()) out += bar == choices.size() ? " or " : ", ";
    out += fmt::format("\"{}\"", choices.substr(0, bar));
    choices.remove_prefix(std::min(bar + 1, choices.size()));
  }
  return out;
}

}  // namespace

std::span<const Section> sections() { return all_sections; }
std::span<const Key> keys() { return all_keys; }

const Key* find_key(std::string_view section, std::string_view key) {
  for (const Key& row : all_keys)
    if (row.section == section && row.key == key) return &row;
  return nullptr;
}

std::string accepted_words(const Key& key) {
  if (key.kind == Kind::choice) return choice_words(key.choices);
  if (key.unit.empty()) return std::string(type_words(key.kind));
  return fmt::format("{} ({})", type_words(key.kind), key.unit);
}

std::vector<ReferenceRow> reference() {
  std::vector<ReferenceRow> out;
  for (const Section& section : all_sections) {
    ReferenceRow head;
    head.section = shown_section(section);
    head.meaning = section.meaning;
    out.push_back(std::move(head));
    for (const Key& key : all_keys) {
      if (key.section != section.name) continue;
      ReferenceRow row;
      row.section = shown_section(section);
      row.key = key.key;
      row.type =
          key.kind == Kind::choice ? choice_words(key.choices) : std::string(type_words(key.kind));
      row.unit = key.unit;
      row.default_value = key.default_value;
      row.meaning = key.meaning;
      if (key.high > key.low) row.range = fmt::format("{} to {}", key.low, key.high);
      out.push_back(std::move(row));
    }
  }
  return out;
}

}  // namespace roundel::config
