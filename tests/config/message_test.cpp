// The exact text of every message that a configuration can meet.
#include <gtest/gtest.h>

#include "analysis/config/checked_table.h"
#include "roundel/config/config.h"
#include "tests/config/sample.h"

namespace roundel::config {
namespace {

struct Row {
  const char* name;
  const char* from;  ///< in the sample
  const char* to;
  const char* message;
};

void check(std::span<const Row> rows) {
  for (const Row& row : rows) {
    const auto config = parse(changed(row.from, row.to), "r.toml");
    ASSERT_FALSE(config) << row.name << " was accepted";
    EXPECT_EQ(config.error().line(), row.message) << row.name;
    EXPECT_EQ(exit_code(config.error().code), 2) << row.name;
  }
}

TEST(ConfigMessage, TextThatIsNotToml) {
  const Row rows[] = {
      {"open bracket", "[store]", "[store",
       "r.toml:8: not TOML: in a table header: expected ']', saw '\\n'"},
      {"key twice", "ground_m = 110", "ground_m = 110\nground_m = 111",
       "r.toml:6: not TOML: in a key-value pair: cannot redefine existing integer 'ground_m'"},
      {"bytes", "Hill", "\xff\xfe", "r.toml:2: not TOML: Encountered invalid utf-8 sequence"},
  };
  check(rows);
}

TEST(ConfigMessage, Sections) {
  const Row rows[] = {
      {"misspelt", "[store]", "[stroe]",
       "r.toml:8: there is no section \"stroe\"; did you mean \"store\"?"},
      {"unknown", "[store]", "[database]",
       "r.toml:8: there is no section \"database\"; there are: site, refraction, mask, terrain, "
       "feeder, link, store, antenna, receiver, "
       "mount, feed, layout, web, notify"},
      {"inside only", "[store]", "[keep]",
       "r.toml:8: there is no section \"keep\"; did you mean \"feed\"?"},
      {"key outside", "[site]", "latitude = 3\n[site]",
       "r.toml:1: there is no section \"latitude\"; there are: site, refraction, mask, terrain, "
       "feeder, link, store, antenna, receiver, "
       "mount, feed, layout, web, notify"},
      {"single brackets", "[[feed]]", "[feed]",
       "r.toml:18: feed may stand several times; write [[feed]], with two brackets"},
      {"double brackets", "[store]", "[[store]]",
       "r.toml:8: store is not a section; write [store]"},
      {"layout as a list", "[layout.lines]", "[[layout]]",
       "r.toml:26: layout is not a section; write [layout.NAME]"},
      {"layout without a name", "[layout.lines]", "[layout]",
       "r.toml:27: layout.kind is text; write [layout.NAME], with a name of your own"},
      {"built-in layout", "[layout.lines]", "[layout.ndjson]",
       "r.toml:26: layout \"ndjson\" is built in; choose another name"},
  };
  check(rows);
  const auto empty = parse("", "r.toml");
  ASSERT_FALSE(empty);
  EXPECT_EQ(empty.error().line(), "r.toml:1: no [site]; add [site]: Where the antenna stands.");
}

TEST(ConfigMessage, Keys) {
  const Row rows[] = {
      {"misspelt", "latitude", "latitud",
       "r.toml:3: [site] has no key \"latitud\"; did you mean \"latitude\"?"},
      {"swapped letters", "name = \"roof\"", "nmae = \"roof\"",
       "r.toml:19: [[feed]] has no key \"nmae\"; did you mean \"name\"?"},
      {"unknown", "[store]", "[store]\ncolour = 3",
       "r.toml:9: [store] has no key \"colour\"; it has: path, addresses, "
       "keep_cells_days, keep_cells_mb, write_s, queue_reports"},
      {"line end in a key", "[store]", "[store]\n\"a\\nb\" = 3",
       "r.toml:9: [store] has no key \"a\\x0ab\"; it has: path, addresses, "
       "keep_cells_days, keep_cells_mb, write_s, queue_reports"},
      {"missing number", "latitude = 52.1\n", "",
       "r.toml:1: [site] lacks latitude; add latitude = a number (deg): WGS 84, north positive"},
      {"missing name", "[[antenna]]\nname = \"collinear\"", "[[antenna]]",
       "r.toml:11: [[antenna]] lacks name; add name = a name"},
      {"missing antenna", "antenna = \"collinear\"\n", "",
       "r.toml:18: [[feed]] lacks antenna; add antenna = a name: the antenna on it when the first "
       "trial starts"},
      {"missing field", "longitude = 8\n", "",
       "r.toml:26: [layout.lines] lacks longitude; add longitude = a column number, header name, "
       "key or JSON Pointer: deg, WGS 84"},
  };
  check(rows);
}

TEST(ConfigMessage, Types) {
  const Row rows[] = {
      {"number", "52.1", "\"52.1\"", "r.toml:3: [site] latitude is text; use a number (deg)"},
      {"name", "\"Hill house\"", "17", "r.toml:2: [site] name is a whole number; use a name"},
      {"boolean", "[web]", "[web]\nenabled = 1",
       "r.toml:33: [web] enabled is a whole number; use true or false"},
      {"whole number", "[store]", "[store]\nqueue_reports = 20.5",
       "r.toml:9: [store] queue_reports is a number; use a whole number"},
      {"date", "52.1", "2026-03-01",
       "r.toml:3: [site] latitude is a date or time; use a number (deg)"},
      {"address", "\"127.0.0.1:27411\"", "27411",
       "r.toml:20: [[feed]] connect is a whole number; use HOST:PORT"},
      {"field", "address = 3", "address = true",
       "r.toml:28: [layout.lines] address is true or false; use a column number, header name, "
       "key or JSON Pointer"},
      {"list of texts", "address = 3", "address = 3\nmissing = [1]",
       "r.toml:29: [layout.lines] missing holds a whole number; write texts, in quotes"},
      {"list of tables", "address = 3", "address = 3\nkeep = [1]",
       "r.toml:29: [layout.lines] keep holds a whole number; write tables: [{ column = 2, equals = "
       "\"P\" }]"},
      {"list", "address = 3", "address = 3\nkeep = { column = 2, equals = \"P\" }",
       "r.toml:29: [layout.lines] keep is a table; use a list of tables"},
  };
  check(rows);
}

TEST(ConfigMessage, Ranges) {
  const Row rows[] = {
      {"latitude", "52.1", "95", "r.toml:3: [site] latitude is 95; use -90 to 90 deg"},
      {"not a number", "52.1", "nan", "r.toml:3: [site] latitude is nan; use -90 to 90 deg"},
      {"longitude", "19.4", "-180.5", "r.toml:4: [site] longitude is -180.5; use -180 to 180 deg"},
      {"antenna height", "antenna_m = 12", "antenna_m = -1",
       "r.toml:6: [site] antenna_m is -1; use 0 to 2000 m"},
      {"no day", "[store]", "[store]\nkeep_cells_days = 0.5",
       "r.toml:9: [store] keep_cells_days is 0.5; use 1 to 36500 days"},
      {"no megabyte", "[store]", "[store]\nkeep_cells_mb = 0",
       "r.toml:9: [store] keep_cells_mb is 0; use 1 to 1000000 MB"},
      {"write interval", "[store]", "[store]\nwrite_s = 0",
       "r.toml:9: [store] write_s is 0; use 0.1 to 3600 s"},
      {"queue", "[store]", "[store]\nqueue_reports = 15",
       "r.toml:9: [store] queue_reports is 15; use 16 to 1000000"},
      {"rotation", "connect", "rotation_deg = -90\nconnect",
       "r.toml:20: [[feed]] rotation_deg is -90; use 0 to 360 deg"},
      {"choice", "connect", "clock = \"arival\"\nconnect",
       "r.toml:20: [[feed]] clock is \"arival\"; did you mean \"arrival\"?"},
      {"choice far off", "connect", "clock = \"gps\"\nconnect",
       "r.toml:20: [[feed]] clock is \"gps\"; use one of: feed, arrival"},
      {"empty name", "\"Hill house\"", "\"\"",
       "r.toml:2: [site] name \"\" is empty; choose another"},
      {"name with a comma", "\"Hill house\"", "\"Hill, house\"",
       "r.toml:2: [site] name \"Hill, house\" holds a comma or equals sign; choose another"},
      {"name with a line end", "\"Hill house\"", "\"Hill\\nhouse\"",
       "r.toml:2: [site] name \"Hill\\x0ahouse\" holds a control character; choose another"},
      {"name with a space before", "\"Hill house\"", "\" Hill\"",
       "r.toml:2: [site] name \" Hill\" begins or ends with a space; choose another"},
      {"long name", "\"Hill house\"",
       "\"aaaaaaaaaabbbbbbbbbbccccccccccddddddddddeeeeeeeeeeffffffffffg\"",
       "r.toml:2: [site] name \"aaaaaaaaaabbbbbbbbbbccccccccccddddddddddeeeeeeeeeeffffffffff...\" "
       "is "
       "longer than 60 bytes; choose another"},
      {"empty path", "\"roundel.db\"", "\"\"", "r.toml:9: [store] path is empty"},
      {"path with a line end", "\"roundel.db\"", "\"a\\tb\"",
       "r.toml:9: [store] path \"a\\x09b\" holds a control character"},
      {"delimiter", "address = 3", "delimiter = \"::\"\naddress = 3",
       "r.toml:28: [layout.lines] delimiter is \"::\"; use one character such as \",\" \";\" \"|\" "
       "or "
       "\"\\t\", not a quotation mark"},
      {"connect address", "\"127.0.0.1:27411\"", "\"127.0.0.1\"",
       "r.toml:20: [[feed]] connect \"127.0.0.1\": no port; write HOST:PORT, like 127.0.0.1:27411 "
       "or "
       "[::1]:27411"},
      {"listen address", "connect = \"127.0.0.1:27411\"", "listen = \"hillhouse:1\"",
       "r.toml:20: [[feed]] listen \"hillhouse:1\": \"hillhouse\" is not a numeric address of this "
       "computer; write ADDRESS:PORT, like 127.0.0.1:27411 or 0.0.0.0:27411"},
  };
  check(rows);
}

TEST(ConfigMessage, NamesThatAreTakenOrDoNotExist) {
  const Row rows[] = {
      {"antenna twice", "[[receiver]]", "[[antenna]]\nname = \"collinear\"\n[[receiver]]",
       "r.toml:14: [[antenna]] name \"collinear\" is taken by line 12; choose another"},
      {"antenna misspelt", "antenna = \"collinear\"", "antenna = \"colinear\"",
       "r.toml:22: [[feed]] antenna \"colinear\" is not declared; did you mean \"collinear\"?"},
      {"antenna unknown", "antenna = \"collinear\"", "antenna = \"spider\"",
       "r.toml:22: [[feed]] antenna \"spider\" is not declared; declared are: collinear"},
      {"mount, none declared", "[[mount]]\nname = \"gable\"\n", "",
       "r.toml:22: [[feed]] mount \"gable\" is not declared; add [[mount]] with name = \"gable\""},
      {"layout", "layout = \"lines\"", "layout = \"csv\"",
       "r.toml:21: [[feed]] layout \"csv\" does not exist; there are: ndjson, columns, lines"},
      {"feed twice", "[layout.lines]",
       "[[feed]]\nname = \"roof\"\nantenna = \"collinear\"\nreceiver = \"rx1\"\nmount = \"gable\"\n"
       "[layout.lines]",
       "r.toml:27: [[feed]] name \"roof\" is taken by line 19; choose another"},
      {"connect and listen", "connect", "listen = \":5\"\nconnect",
       "r.toml:20: [[feed]] has both connect and listen; keep one"},
      {"feed and page on one port", "connect = \"127.0.0.1:27411\"", "listen = \":27410\"",
       "r.toml:33: [web] listens on 127.0.0.1:27410, as does [[feed]] \"roof\"; choose another "
       "port"},
      {"two feeds on one port", "connect = \"127.0.0.1:27411\"",
       "listen = \":5\"\nantenna = \"collinear\"\nreceiver = \"rx1\"\nmount = \"gable\"\n"
       "[[feed]]\nname = \"yard\"\nlisten = \"localhost:5\"",
       "r.toml:24: [[feed]] \"yard\" listens on 127.0.0.1:5, as does [[feed]] \"roof\"; choose "
       "another port"},
  };
  check(rows);
}

TEST(ConfigMessage, LayoutsThatContradictThemselves) {
  const Row rows[] = {
      {"column number in ndjson", "kind = \"columns\"", "kind = \"ndjson\"",
       "r.toml:28: [layout.lines] address is a column, but kind is \"ndjson\"; write a JSON "
       "Pointer: "
       "address = \"/address\""},
      {"pointer in columns", "address = 3", "address = \"/hex\"",
       "r.toml:28: [layout.lines] address is \"/hex\"; kind is \"columns\": write a column number "
       "or "
       "a header name"},
      {"name in ndjson", "kind = \"columns\"\naddress = 3", "kind = \"ndjson\"\naddress = \"hex\"",
       "r.toml:28: [layout.lines] address \"hex\" is not a JSON Pointer; write it like "
       "\"/address\""},
      {"tilde in a pointer", "kind = \"columns\"\naddress = 3",
       "kind = \"ndjson\"\naddress = \"/a~2\"",
       "r.toml:28: [layout.lines] address \"/a~2\" is not a JSON Pointer; write it like "
       "\"/address\""},
      {"column 0", "address = 3", "address = 0",
       "r.toml:28: [layout.lines] address is 0; use 1 to 256"},
      {"name without a header", "address = 3", "header = false\naddress = \"hex\"",
       "r.toml:29: [layout.lines] address is a header name, but header is false; set header = "
       "true, "
       "or give the column's number"},
      {"delimiter of ndjson", "kind = \"columns\"", "kind = \"ndjson\"\ndelimiter = \";\"",
       "r.toml:28: [layout.lines] delimiter is for kind = \"columns\" or \"pairs\" only"},
      {"two altitudes", "address = 3", "address = 3\naltitude_ft = 4\naltitude_m = 5",
       "r.toml:30: [layout.lines] has both altitude_ft and altitude_m; keep one"},
      {"same place", "longitude = 8", "longitude = 7",
       "r.toml:30: [layout.lines] latitude and longitude stand in the same place"},
      {"keep without a place", "address = 3", "keep = [{ equals = \"P\" }]\naddress = 3",
       "r.toml:28: [layout.lines] keep needs one of column, name, key and pointer"},
      {"keep with two places", "address = 3",
       "keep = [{ column = 2, name = \"t\", equals = \"P\" }]\naddress = 3",
       "r.toml:28: [layout.lines] keep needs one of column, name, key and pointer"},
      {"keep without a text", "address = 3", "keep = [{ column = 2 }]\naddress = 3",
       "r.toml:28: [layout.lines] keep needs one of equals, lists, lacks and absent = true"},
      {"keep with no texts", "address = 3", "keep = [{ column = 2, equals = [] }]\naddress = 3",
       "r.toml:28: [layout.lines] keep equals is an empty list"},
      {"keep by pointer in columns", "address = 3",
       "keep = [{ pointer = \"/t\", equals = \"P\" }]\naddress = 3",
       "r.toml:28: [layout.lines] keep has no column or name, but kind is \"columns\"; write { "
       "column = ..., equals = ... }"},
      {"keep by column in ndjson", "kind = \"columns\"\naddress = 3\nlatitude = 7\nlongitude = 8",
       "kind = \"ndjson\"\naddress = \"/a\"\nlatitude = \"/b\"\nlongitude = \"/c\"\n"
       "keep = [{ column = 2, equals = \"P\" }]",
       "r.toml:31: [layout.lines] keep has no pointer, but kind is \"ndjson\"; write { pointer = "
       "..., equals = ... }"},
      {"keep by a pointer that is none",
       "kind = \"columns\"\naddress = 3\nlatitude = 7\nlongitude = 8",
       "kind = \"ndjson\"\naddress = \"/a\"\nlatitude = \"/b\"\nlongitude = \"/c\"\n"
       "keep = [{ pointer = \"t\", equals = \"P\" }]",
       "r.toml:31: [layout.lines] keep pointer \"t\" is not a JSON Pointer; it begins with \"/\""},
      {"unknown key in keep", "address = 3", "keep = [{ colum = 2, equals = \"P\" }]\naddress = 3",
       "r.toml:28: [layout.lines] keep has no key \"colum\"; did you mean \"column\"?"},
  };
  check(rows);
}

TEST(ConfigMessage, LayoutsOfDocumentsAndPairs) {
  const char* const fields = "kind = \"columns\"\naddress = 3\nlatitude = 7\nlongitude = 8";
  const Row rows[] = {
      {"each in columns", "address = 3", "each = \"/a\"\naddress = 3",
       "r.toml:28: [layout.lines] each is for kind = \"ndjson\" only"},
      {"each that is no pointer", fields,
       "kind = \"ndjson\"\neach = \"a\"\naddress = \"/a\"\nlatitude = \"/b\"\nlongitude = \"/c\"",
       "r.toml:28: [layout.lines] each \"a\" is not a JSON Pointer; it is \"\" or begins with "
       "\"/\""},
      {"outside of nothing", fields,
       "kind = \"ndjson\"\naddress = \"/a\"\nlatitude = \"/b\"\nlongitude = \"/c\"\n"
       "time = { outside = \"/t\" }",
       "r.toml:31: [layout.lines] time is outside of each, but there is no each; write time = "
       "\"/t\""},
      {"another table", "address = 3", "address = { inside = \"/a\" }",
       "r.toml:28: [layout.lines] address is a table; write address = { outside = \"/address\" }"},
      {"column in pairs", "kind = \"columns\"", "kind = \"pairs\"",
       "r.toml:28: [layout.lines] address is a column, but kind is \"pairs\"; write the key: "
       "address "
       "= \"address\""},
      {"longer than can be", "address = 3", "line_bytes = 2000000\naddress = 3",
       "r.toml:28: [layout.lines] line_bytes is 2000000; use 256 to 1048576"},
      {"unknown zone", "address = 3", "zone = \"Europe/Atlantis\"\naddress = 3",
       "r.toml:28: [layout.lines] zone: there is no time zone \"Europe/Atlantis\"; use a name of "
       "the "
       "tz database, like \"Europe/Vienna\", or \"UTC\""},
      {"date without a zone", "address = 3", "date = 1\ntime = 2\naddress = 3",
       "r.toml:28: [layout.lines] has a date, but no zone; add zone = \"UTC\", or a name like "
       "\"Europe/Vienna\""},
      {"date without a time", "address = 3", "date = 1\nzone = \"UTC\"\naddress = 3",
       "r.toml:28: [layout.lines] has a date, but no time; add time: the time of day"},
      {"two tests in a keep", "address = 3",
       "keep = [{ column = 2, lists = \"P\", absent = true }]\naddress = 3",
       "r.toml:28: [layout.lines] keep needs one of equals, lists, lacks and absent = true"},
  };
  check(rows);
}

TEST(ConfigMessage, SayWhatToType) {
  const Row rows[] = {
      {"URL of a stream", "\"127.0.0.1:27411\"", "\"tcp://192.168.1.5:27411/\"",
       "r.toml:20: [[feed]] connect is \"tcp://192.168.1.5:27411/\", a URL; write connect = "
       "\"192.168.1.5:27411\""},
      {"URL of a page", "\"127.0.0.1:27411\"", "\"http://pi.local/sky.json\"",
       "r.toml:20: [[feed]] connect is \"http://pi.local/sky.json\", a URL; for lines of text over "
       "TCP write connect = \"HOST:PORT\"; to ask for the document again and again write get = "
       "\"http://pi.local/sky.json\""},
      {"URL to listen on", "connect = \"127.0.0.1:27411\"", "listen = \"tcp://pi.local\"",
       "r.toml:20: [[feed]] listen is \"tcp://pi.local\", a URL; write listen = \"HOST:PORT\""},
      {"TLS", "connect = \"127.0.0.1:27411\"", "get = \"https://pi.local/sky.json\"",
       "r.toml:20: [[feed]] get \"https://pi.local/sky.json\": TLS is not spoken; use http:// on "
       "your "
       "own network, or a proxy on this computer that speaks TLS"},
      {"get without a scheme", "connect = \"127.0.0.1:27411\"", "get = \"pi.local/sky.json\"",
       "r.toml:20: [[feed]] get \"pi.local/sky.json\": does not begin with http://; write "
       "http://HOST[:PORT]/PATH"},
      {"get and connect", "connect", "get = \"http://pi.local/sky.json\"\nconnect",
       "r.toml:20: [[feed]] has both connect and get; keep one"},
      {"every_s without get", "connect", "every_s = 2\nconnect",
       "r.toml:20: [[feed]] every_s is for feeds with get only; remove it"},
      {"feet", "ground_m = 110", "ground_ft = 361",
       "r.toml:5: [site] has no key \"ground_ft\"; write ground_m = 110.0, in metres"},
      {"quote left out", "\"roundel.db\"", "\"roundel.db",
       "r.toml:9: not TOML: a quotation mark is missing; write text between two: name = \"text\""},
      {"no quotes", "\"roundel.db\"", "roundel.db",
       "r.toml:9: not TOML: the value has no quotation marks; write text between two: name = "
       "\"text\""},
  };
  check(rows);
}

TEST(ConfigMessage, SuggestionsAreNearWordsOnly) {
  const std::vector<std::string> words{"latitude", "longitude", "name"};
  EXPECT_EQ(suggestion("latitud", words, "it has"), "did you mean \"latitude\"?");
  EXPECT_EQ(suggestion("naem", words, "it has"), "did you mean \"name\"?");
  EXPECT_EQ(suggestion("colour", words, "it has"), "it has: latitude, longitude, name");
  EXPECT_EQ(suggestion(std::string(100000, 'a'), words, "it has"),
            "it has: latitude, longitude, name");
}

}  // namespace
}  // namespace roundel::config
